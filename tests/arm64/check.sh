#!/bin/sh
# SPDX-License-Identifier: MIT
#
# Programs for arm64 under qemu-user: the test programs named, a replay that must give the
# same records as here, and what memory and start cost.
#
#     tests/arm64/check.sh BUILD TEST...
#
# qemu-user translates every instruction, so its times say nothing of a real board; they are
# printed with those of this machine beside them, and only sanity is checked.

set -u
build=$1
shift
root=$build/root
qemu=$(command -v qemu-aarch64-static || command -v qemu-aarch64) || { echo "no qemu-aarch64" >&2; exit 2; }
lib=$root/usr/lib/aarch64-linux-gnu:$root/lib/aarch64-linux-gnu
arm() { "$qemu" -L "$root" -E LD_LIBRARY_PATH="$lib" "$@"; }
# Programs of ours that start others (tally --file runs tallyd) start them without qemu.
passed=0 failed=0
out=$(mktemp -d) || exit 2
trap 'rm -rf "$out"' EXIT

says() { # legend, status
	if [ "$2" -eq 0 ]; then passed=$((passed + 1)); else failed=$((failed + 1)); echo "FAILED: $1"; fi
}

for name in "$@"; do
	program=$build/tests/test_$name
	[ -x "$program" ] || { echo "$program is not there" >&2; says "test_$name" 1; continue; }
	TALLY_BUILD=$build arm "$program" >"$out/said" 2>&1
	status=$?
	printf '  test_%-18s %s\n' "$name" "$(grep -a 'PASSED\|FAILED' "$out/said" | head -n 1)"
	[ $status -eq 0 ] || tail -n 15 "$out/said"
	says "test_$name" $status
done

file -L "$build/tallyd" 2>/dev/null | grep -q 'aarch64' || readelf -h "$build/tallyd" | grep -q AArch64
says "tallyd is for arm64" $?
arm "$build/tallyd" --version
says "tallyd starts" $?

# The same recording gives the same records on both: exact decimals, no fused arithmetic.
for rec in tests/recordings/*.rec; do
	name=${rec%.rec}
	[ -e "$name.want" ] || continue
	set -- --replay "$rec" --config tests/recordings/bench.conf
	[ -e tests/recordings/bench.conf ] || set -- --replay "$rec"
	[ ! -e "$name.csv" ] || set -- "$@" --sheet "$name.csv"
	build/tallyd "$@" 2>/dev/null | sed 's/"\(identity\|boot\|uid\|key\|signature\|hash\)":"[^"]*"//g' >"$out/here"
	arm "$build/tallyd" "$@" 2>/dev/null | sed 's/"\(identity\|boot\|uid\|key\|signature\|hash\)":"[^"]*"//g' >"$out/there"
	[ -s "$out/here" ] && cmp -s "$out/here" "$out/there"
	says "the replay of $rec gives the same records" $?
done

# Memory: qemu-user puts the program, its libraries, heap and stacks at addresses of ten digits
# that begin with 55 (0x5500000000), and itself far above.  What is resident there is the program's, with the
# pages of code that ran or were read; what a board would show as VmRSS.  The rest is qemu's.
guest_kb() { # process
	awk '/^[0-9a-f]+-[0-9a-f]+ / { split($1, a, "-"); guest = length(a[1]) == 10 && a[1] ~ /^55/; next }
		guest && $1 == "Rss:" { all += $2 }
		guest && $1 == "Private_Dirty:" { own += $2 }
		END { printf "%d kB of it the program (%d kB its own)", all, own }' "/proc/$1/smaps"
}
measure() { # legend, command of a daemon
	legend=$1
	shift
	rm -f "$out"/log* "$out/sock"
	begin=$(date +%s%N)
	"$@" --config /dev/null --log "$out/log.db" --socket "$out/sock" 2>"$out/said" &
	pid=$!
	n=0
	until [ -S "$out/sock" ] || [ $n -gt 400 ]; do n=$((n + 1)); sleep 0.01; done
	end=$(date +%s%N)
	[ -S "$out/sock" ]
	says "$legend: the socket is there" $?
	sleep 0.3
	printf '  %-34s started in %s ms, resident %s kB (highest %s kB)%s\n' "$legend" "$(((end - begin) / 1000000))" \
		"$(sed -n 's/^VmRSS:[^0-9]*\([0-9]*\) kB/\1/p' "/proc/$pid/status")" \
		"$(sed -n 's/^VmHWM:[^0-9]*\([0-9]*\) kB/\1/p' "/proc/$pid/status")" \
		"$(case $legend in *qemu*) echo ", $(guest_kb "$pid")" ;; esac)"
	kill "$pid" && wait "$pid"
	says "$legend: ends" $?
}
measure "here" build/tallyd
measure "arm64 under qemu-user (with qemu)" "$qemu" -L "$root" -E LD_LIBRARY_PATH="$lib" "$build/tallyd"
size "$build/tallyd" build/tallyd 2>/dev/null | sed 's/^/  /'

printf '%s passed, %s failed\n' "$passed" "$failed"
[ "$failed" -eq 0 ]
