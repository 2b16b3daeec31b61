#!/bin/sh
# SPDX-License-Identifier: MIT
#
# Run libFuzzer programs one after the other.
#
#     tests/fuzz.sh BUILD SECONDS NAME...
#
# New inputs go to BUILD/found/NAME, what crashes to BUILD/found/NAME-crash-...; the
# kept corpus is tests/corpus/NAME, its words, where it has any, tests/corpus/NAME.dict.
# Ends with status 1 where anything was found.

build=$1
seconds=$2
shift 2
failed=0
passed=0
for name in "$@"; do
	mkdir -p "$build/found/$name"
	dict=
	[ -f "tests/corpus/$name.dict" ] && dict=-dict=tests/corpus/$name.dict
	"$build/fuzz_$name" -max_total_time="$seconds" -timeout=10 -print_final_stats=1 -verbosity=0 \
		$dict -artifact_prefix="$build/found/$name-" "$build/found/$name" "tests/corpus/$name" \
		>"$build/found/$name.txt" 2>&1
	status=$?
	runs=$(sed -n 's/^stat::number_of_executed_units: //p' "$build/found/$name.txt")
	if [ $status -eq 0 ]; then
		passed=$((passed + 1))
		printf '%-12s %10s executions\n' "$name" "$runs"
	else
		failed=$((failed + 1))
		tail -n 40 "$build/found/$name.txt"
		printf '%-12s FAILED (exit status %s)\n' "$name" "$status"
	fi
done
printf '%s passed, %s failed\n' "$passed" "$failed"
[ "$failed" -eq 0 ]
