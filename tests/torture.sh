#!/bin/sh
# SPDX-License-Identifier: MIT
#
# The log under fire, for so long as is given: `make torture`.
#
#     tests/torture.sh BUILD SECONDS
#
# Round after round, each with seeds of its own, which are printed: every system call failing in
# turn, power cuts, kill -9 under load, flipped bytes, and the independent verifier over damaged
# copies; and the whole daemon, with meters and clients.  TALLY_SEED is the first seed, else the
# clock's.  Ends with the counts, and with status 1 where anything failed.  The first round is run to
# its end, however long that takes; after it nothing is begun that took longer, when it was run
# last, than the time that is left.

build=$1
seconds=$2
seed=${TALLY_SEED:-$(date +%s)}
TALLY_BUILD=$build
export TALLY_BUILD
start=$(date +%s)
end=$((start + seconds))
out=$(mktemp) || exit 2
trap 'rm -f "$out"' EXIT
rounds=0
passed=0
failed=0
# Of the whole time, for each of the four tests of failing calls: sorts of failure are begun until it is
# over, each to its end.  An hour and more: all of them, in the first round.
share=$((seconds / 12))
[ $share -gt 300 ] && share=300
whole=
[ "$seconds" -ge 3600 ] && whole=1

# NAME COMMAND...: what it counts is shown, all of it where it fails.
one() {
	name=$1
	shift
	began=$(date +%s)
	# How long it took, by the name of the program.
	for which in "$@"; do
		case $which in */*) break ;; esac
	done
	which=took_$(basename "$which" | tr -c 'a-z\n' _)
	eval "last=\${$which:-0}"
	[ $rounds -gt 1 ] && [ $((began + last)) -gt $end ] && return
	ran=$((ran + 1))
	[ $ran -eq 1 ] && printf 'round %d, seed %s\n' $rounds "$seed"
	timeout 3600 env "$@" >"$out" 2>&1
	status=$?
	eval "$which=$(($(date +%s) - began))"
	good=$(sed -n 's/^\[  PASSED  \] \([0-9]*\) test(s).*/\1/p' "$out" | tail -n 1)
	passed=$((passed + ${good:-0}))
	if [ $status -ne 0 ]; then
		failed=$((failed + 1))
		cat "$out"
		printf '%s FAILED: %s\n' "$name" "$*"
		return
	fi
	printf '%s, %d s\n' "$name" $(($(date +%s) - began))
	# Their counts; not the rows.
	sed -n '/^  row: /d; s/^  \(.*[0-9].*\)/    \1/p' "$out"
}

while :; do
	rounds=$((rounds + 1))
	ran=0
	one "every call, every code, power cuts" TALLY_SEED="$seed" TALLY_TORTURE=$share \
		TALLY_WHOLE=$whole "$build/tests/test_log_torture"
	whole=
	one "kill -9" TALLY_SEED="$seed" TALLY_KILLS=$((seconds >= 900 ? 1000 : 100)) \
		"$build/tests/test_log_kill"
	one "restores failing and killed" TALLY_SEED="$seed" TALLY_TORTURE=1 \
		TALLY_KILLS=$((seconds >= 900 ? 500 : 60)) "$build/tests/test_restore"
	one "flipped bytes" TALLY_SEED="$seed" TALLY_FLIPS=$((seconds >= 900 ? 3000 : 300)) \
		"$build/tests/test_log_damage"
	[ $rounds -eq 1 ] && [ "$seconds" -ge 240 ] &&
		one "the daemon killed" TALLY_SEED="$seed" TALLY_KILLS=$((seconds >= 1800 ? 300 : 60)) \
			TALLY_TEST=test_kill "$build/tests/test_daemon_harm"
	one "disks that fail" "$build/tests/test_log_fault"
	one "earlier logs" "$build/tests/test_log_versions"
	if [ $rounds -eq 1 ] && [ "$seconds" -ge 900 ]; then
		one "the independent verifier" TALLY_LONG=1 python3 tests/check_seal.py
	else
		one "the independent verifier" python3 tests/check_seal.py
	fi
	seed=$(((seed * 1103515245 + 12345) % 2147483647))
	[ $ran -eq 0 ] && rounds=$((rounds - 1)) && break
	[ "$(date +%s)" -ge $end ] && break
done
printf '%d rounds in %d s: %d tests passed, %d programs failed\n' $rounds $(($(date +%s) - start)) \
	$passed $failed
[ $failed -eq 0 ]
