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
passed=0 failed=0
says() {
	if [ "$2" -eq 0 ]; then passed=$((passed + 1)); else failed=$((failed + 1)); echo "FAILED: $1"; fi
}

# ---- the root: programs, their libraries, a user, nothing else ----

mkdir -p "$root/image/usr/bin" "$root/image/dev" "$root/image/proc" "$root/image/sys" "$root/image/etc" "$root/image/tmp" \
	"$root/image/run/tally" "$root/image/var/lib/tally" "$root/lines"
for program in tallyd tally; do
	cp "$build/$program" "$root/image/usr/bin/"
	ldd "$build/$program" | sed -n 's/.*=> \(\/[^ ]*\).*/\1/p; s/^[[:space:]]*\(\/lib[^ ]*\) .*/\1/p'
done | sort -u | while read -r lib; do
	mkdir -p "$root/image${lib%/*}" && cp -L "$lib" "$root/image$lib"
done
cp "$build/demo/libadapters.so" "$root/image/tmp/"
printf 'tally:x:990:\n' >"$root/image/etc/group"
printf 'tally:x:990:990::/var/lib/tally:/bin/false\n' >"$root/image/etc/passwd"
chmod 755 "$root" "$root/image" "$root/lines"
chown 990:990 "$root/image/run/tally" "$root/image/var/lib/tally"

# ---- outside: a meter that is a program; its line is passed through as a device ----

cat >"$root/scene" <<'SCENE'
meter red talks 6000 5
dial red ohm
await R1
touch red 4.7k
hold logged
lift
SCENE
"$build/demo/meters" --lines "$root/lines" --socket "$root/image/run/tally/tally.sock" --stay "$root/scene" \
	>"$root/meters.txt" 2>&1 &
pids=$!
n=0
until [ -e "$root/lines/red" ] || [ $n -gt 100 ]; do n=$((n + 1)); sleep 0.05; done
line=$(realpath "$root/lines/red")
chown 990:990 "$line"
cat >"$root/image/etc/tally.ini" <<INI
[bench]
name   = container
socket = /run/tally/tally.sock
[meter red]
port     = usb:f0f0:0002:R22
dialect  = ascii-unit
accuracy ohm = 0.8% + 3
INI

# ---- inside ----

# Mounts, process numbers, network and ipc of its own; /dev holds the line and null alone; no
# capability, no new privilege, another user.
cat >"$root/inside" <<INSIDE
mount -t tmpfs -o mode=755 none "$root/image/dev" && mkdir "$root/image/dev/line" "$root/image/dev/pts" &&
touch "$root/image/dev/null" && mount --bind /dev/null "$root/image/dev/null" &&
touch "$root/image/dev/urandom" && mount --bind /dev/urandom "$root/image/dev/urandom" &&
mount --bind /dev/pts "$root/image/dev/pts" &&
mount -t proc none "$root/image/proc" && mount -t sysfs -o ro none "$root/image/sys" &&
ln -s "$line" "$root/image/dev/line/red" &&
exec setpriv --no-new-privs --reuid 990 --regid 990 --clear-groups --bounding-set=-all --inh-caps=-all \\
	chroot-free
INSIDE
# chroot wants the capability that is then dropped: so the two in this order.
sed -i 's|^exec setpriv.*||; /chroot-free/d' "$root/inside"
cat >>"$root/inside" <<INSIDE
exec chroot --userspec=990:990 --groups= "$root/image" /usr/bin/env-less
INSIDE
sed -i '/env-less/d' "$root/inside"
cat >>"$root/inside" <<INSIDE
exec setpriv --no-new-privs --bounding-set=-all,+sys_chroot,+setuid,+setgid --inh-caps=-all \\
	env -i LD_PRELOAD= TALLY_ADAPTERS="ttyRED=/dev/line/red,f0f0:0002:R22" \\
	chroot --userspec=990:990 --groups=990 "$root/image" /usr/bin/tallyd --config /etc/tally.ini \\
	--log /var/lib/tally/container.db
INSIDE
grep -q TALLY_ADAPTERS demo/adapters || true
echo "prepared"
printf '%s passed, %s failed\n' "$passed" "$failed"
[ "$failed" -eq 0 ]
