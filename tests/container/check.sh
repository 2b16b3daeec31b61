#!/bin/sh
# SPDX-License-Identifier: MIT
#
# tallyd in a root of its own, with the lines passed through: what a container does, with the
# kernel's own means (unshare: mount, pid, network and ipc of its own, no new privileges), for
# podman and docker want a registry.  What runs in it is what Containerfile copies: programs
# and libraries alone.
#
#     tests/container/check.sh BUILD
#
# Root is needed (namespaces, mounts); without it this is left out with a note, status 0.

set -u
build=$1
[ "$(id -u)" -eq 0 ] && unshare -mpfn true 2>/dev/null || { echo "no right to namespaces: left out"; exit 0; }
root=$(mktemp -d) || exit 2
pids=
tidy() {
	for pid in $pids; do kill "$pid" 2>/dev/null && wait "$pid" 2>/dev/null; done
	rm -rf "$root"
}
trap tidy EXIT
. "$(dirname "$0")/stand.sh"

# ---- the root: programs, their libraries, a user, nothing else ----

image=$root/image
mkdir -p "$image/usr/bin" "$image/dev" "$image/proc" "$image/sys" "$image/etc" "$image/opt" "$image/tmp" \
	"$image/run/tally" "$image/var/lib/tally" "$root/lines"
# setpriv is the container's runtime here, the shim what makes a pty a serial adapter.
for program in "$build/tallyd" "$build/tally" "$(command -v setpriv)"; do
	cp "$program" "$image/usr/bin/"
	ldd "$program" | sed -n 's/.*=> \(\/[^ ]*\).*/\1/p; s/^[[:space:]]*\(\/lib[^ ]*\) .*/\1/p'
done | sort -u | while read -r lib; do
	mkdir -p "$image${lib%/*}" && cp -L "$lib" "$image$lib"
done
cp "$build/demo/libadapters.so" "$image/opt/"
printf 'tally:x:990:\n' >"$image/etc/group"
printf 'tally:x:990:990::/var/lib/tally:/bin/false\n' >"$image/etc/passwd"
chmod 755 "$root" "$image" "$root/lines"
chown 990:990 "$image/run/tally" "$image/var/lib/tally"
configuration >"$image/etc/tally.ini"

# ---- outside: a meter that is a program, and the hands ----

cat >"$root/scene" <<SCENE
meter red talks 6000 5
dial red ohm
await R1
touch red 4.7k
hold logged
lift
SCENE
socket=$image/run/tally/tally.sock
tally="$build/tally --socket $socket"
"$build/demo/meters" --lines "$root/lines" --socket "$socket" --stay "$root/scene" >"$root/meters.txt" 2>&1 &
pids=$!
until_true 10 test -e "$root/lines/red"
line=$(realpath "$root/lines/red")
chown 990:990 "$line"

# ---- inside: no network, no other process, no right, and of /dev what was passed through ----

cat >"$root/inside" <<INSIDE
mount -t tmpfs -o mode=755 none "$image/dev" && mkdir "$image/dev/pts" || exit 2
for node in null urandom; do
	touch "$image/dev/\$node" && mount --bind "/dev/\$node" "$image/dev/\$node" || exit 2
done
touch "$image/dev/pts/\${1##*/}" && mount --bind "\$1" "$image/dev/pts/\${1##*/}" || exit 2
mount -t proc none "$image/proc" && mount -t sysfs -o ro none "$image/sys" || exit 2
exec env -i LD_PRELOAD=/opt/libadapters.so "TALLY_ADAPTERS=ttyRED=\$1,f0f0:0002:R22
" $(command -v chroot) "$image" /usr/bin/setpriv --no-new-privs --reuid 990 --regid 990 --clear-groups \
	--bounding-set=-all --inh-caps=-all /usr/bin/tallyd --config /etc/tally.ini
INSIDE
unshare --mount --pid --fork --net --ipc --kill-child sh "$root/inside" "$line" 2>"$root/said.txt" &
outer=$!
pids="$outer $pids"
until_true 10 $tally status
if ! $tally status >/dev/null; then
	cat "$root/said.txt"
	echo "0 passed, 1 failed: the daemon does not answer through the shared socket"
	exit 1
fi
passed=1
inner=$(cat "/proc/$outer/task/$outer/children")
inner=${inner%% *}
grep -q '^CapEff:[[:space:]]*0*$' "/proc/$inner/status"
says "it has no capability" $?
grep -q '^NoNewPrivs:[[:space:]]*1$' "/proc/$inner/status"
says "it can get none" $?
grep -q '^Uid:[[:space:]]*990[[:space:]]*990' "/proc/$inner/status"
says "it is a user of its own" $?
until_true 10 reads
says "the meter is read" $?
$tally job start container >/dev/null && $tally sheet add "R1 4k7 5%" >/dev/null && $tally reach lifted >/dev/null && $tally at R1 >/dev/null
says "a job" $?
until_true 10 entry R1
says "a touch is an entry" $?
# A service manager's way to end it.
kill -TERM "$inner" && wait "$outer"
status=$?
[ $status -eq 0 ]
says "it ends on SIGTERM with everything logged (status $status)" $?
"$build/tally" verify "$image/var/lib/tally/container.db" >/dev/null
says "the log outlives the container" $?
[ $failed -eq 0 ] || cat "$root/said.txt"

printf '%s passed, %s failed\n' "$passed" "$failed"
[ "$failed" -eq 0 ]
