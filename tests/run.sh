#!/bin/sh
# SPDX-License-Identifier: MIT
#
# Run test programs, as many at once as the machine has processors, and count what they say.
#
#     tests/run.sh BUILD PROGRAM...
#
# Most of a daemon's test is waiting (for a touch to settle, a process to come), so
# programs share the processors; CHECK_JOBS=1 runs them one after the other, in the
# order given.  A cmocka program prints its own lines; of one that passes only the
# summary is shown, of one that fails everything.  A program that prints no cmocka
# summary counts as one test, by its exit status.  Ends with "N passed, N failed", and
# with status 1 where any failed.

# One program: its line, or all it said, in one write, and its counts into RESULTS.
run_one() {
	results=$1
	program=$2
	name=$(basename "$program")
	out=$results/$name.out
	began=$(date +%s)
	timeout 300 "$program" >"$out" 2>&1
	status=$?
	took=$(($(date +%s) - began))
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
	echo "$good $bad" >"$results/$name.counts"
	if [ "$bad" -gt 0 ]; then
		printf '%-28s %s passed, %s FAILED (exit status %s)\n' \
			"$name" "$good" "$bad" "$status" >>"$out"
		cat "$out"
	else
		skipped=$(sed -n 's/^\[  SKIPPED \] \([0-9]*\) test(s).*/, \1 skipped/p' "$out" | tail -n 1)
		printf '%-28s %s passed%s%s\n' "$name" "$good" "$skipped" \
			"$([ "$took" -ge 10 ] && echo " ($took s)")"
	fi
	rm -f "$out"
}

if [ "$1" = --one ]; then
	run_one "$2" "$3"
	exit 0
fi

TALLY_BUILD=$1
export TALLY_BUILD
shift
results=$(mktemp -d) || exit 2
trap 'rm -rf "$results"' EXIT

printf '%s\n' "$@" | xargs -P "${CHECK_JOBS:-$(nproc)}" -I PROGRAM sh "$0" --one "$results" PROGRAM

# Whoever left no counts did not run: that is a failure, not a smaller sum.
for program in "$@"; do
	counts=$results/$(basename "$program").counts
	[ -f "$counts" ] || { echo "$program: did not run"; echo "0 1" >"$counts"; }
done
cat "$results"/*.counts | awk '{ passed += $1; failed += $2 }
	END { printf "%d passed, %d failed\n", passed, failed; exit failed > 0 }'
