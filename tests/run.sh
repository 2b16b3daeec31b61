#!/bin/sh
# SPDX-License-Identifier: MIT
#
# Run test programs one after the other and count what they say.
#
#     tests/run.sh BUILD PROGRAM...
#
# A cmocka program prints its own lines; of one that passes only the summary is
# shown, of one that fails everything.  A program that prints no cmocka summary
# counts as one test, by its exit status.  Ends with "N passed, N failed", and
# with status 1 where any failed.

build=$1
shift
TALLY_BUILD=$build
export TALLY_BUILD
passed=0
failed=0
out=$(mktemp) || exit 2
trap 'rm -f "$out"' EXIT

for program in "$@"; do
	name=$(basename "$program")
	timeout 300 "$program" >"$out" 2>&1
	status=$?
	# cmocka: "[  PASSED  ] 7 test(s)." and "[  FAILED  ] 1 test(s), listed below:"
	good=$(sed -n 's/^\[  PASSED  \] \([0-9]*\) test(s).*/\1/p' "$out" | tail -n 1)
	bad=$(sed -n 's/^\[  FAILED  \] \([0-9]*\) test(s).*/\1/p' "$out" | tail -n 1)
	if [ -z "$good$bad" ]; then
		good=0
		bad=0
		[ $status -eq 0 ] && good=1 || bad=1
	fi
	good=${good:-0}
	bad=${bad:-0}
	# A program that died counts as a failure, whatever it printed before.
	[ $status -ne 0 ] && [ "$bad" -eq 0 ] && bad=1
	passed=$((passed + good))
	failed=$((failed + bad))
	if [ "$bad" -gt 0 ]; then
		cat "$out"
		printf '%-28s %s passed, %s FAILED (exit status %s)\n' "$name" "$good" "$bad" "$status"
	else
		skipped=$(sed -n 's/^\[  SKIPPED \] \([0-9]*\) test(s).*/, \1 skipped/p' "$out" | tail -n 1)
		printf '%-28s %s passed%s\n' "$name" "$good" "$skipped"
	fi
done

printf '%s passed, %s failed\n' "$passed" "$failed"
[ "$failed" -eq 0 ]
