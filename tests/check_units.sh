#!/bin/sh
# SPDX-License-Identifier: MIT
#
# The units, users and folders of the service, by systemd's own tools where they are: they must
# be good, and the daemon's exposure at most 1.5 of 10.  Elsewhere: skipped, and said so.

set -u
build=${TALLY_BUILD:-build}
dir=$(mktemp -d) || exit 2
trap 'rm -rf "$dir"' EXIT
failed=0
fail() {
	echo "FAILED: $1"
	failed=1
}

# What must stand in them, whatever the machine has.
has() {
	grep -q "^$2\$" "systemd/$1" || fail "systemd/$1 lacks $2"
}
has tallyd.service Type=notify
has tallyd.service 'WatchdogSec=[0-9]*'
has tallyd.service StateDirectory=tally
has tallyd.service RuntimeDirectory=tally
# Without it a restart would remove the socket that clients wait at.
has tallyd.service RuntimeDirectoryPreserve=yes
# Without it an adapter that is plugged in after the start is refused for ever.
has tallyd.service 'Wants=modprobe@usbserial.service modprobe@cdc_acm.service'
has tallyd.service 'After=modprobe@usbserial.service modprobe@cdc_acm.service.*'
has tallyd.service 'DeviceAllow=char-ttyUSB rw'
has tallyd.service 'DeviceAllow=char-ttyACM rw'
has tallyd.socket FileDescriptorName=bench
has tallyd.socket SocketMode=0660
has tallyd-viewers.socket FileDescriptorName=viewers
if grep -q 'BindsTo\|dev-tty' systemd/tallyd.service; then
	fail "the service is bound to a device"
fi

if command -v systemd-analyze >/dev/null 2>&1; then
	cp systemd/tallyd* "$dir" || exit 2
	program=$(realpath "$build")
	sed -i "s|/usr/bin/|$program/|" "$dir/tallyd.service"
	said=$(cd "$dir" && systemd-analyze verify --man=no ./tallyd.service ./tallyd.socket \
		./tallyd-viewers.socket 2>&1) || fail "systemd-analyze verify: status $?"
	# Unknown keys are printed, with status 0.  What it says of units that this machine
	# lacks is not of ours.
	said=$(echo "$said" | grep 'tallyd' | grep -v 'not found')
	[ -z "$said" ] || fail "systemd-analyze verify: $said"
	if systemd-analyze security --help 2>&1 | grep -q offline; then
		systemd-analyze security --offline=true --threshold=15 systemd/tallyd.service \
			>"$dir/security" 2>&1 || fail "the exposure: $(tail -n 1 "$dir/security")"
		tail -n 1 "$dir/security"
		# It must not have been reached by taking the lines away.
		grep -q '^PrivateDevices=no$' systemd/tallyd.service || fail "PrivateDevices"
	else
		echo "skipped: this systemd-analyze cannot look at a unit that is not loaded"
	fi
else
	echo "skipped: systemd-analyze is not here"
fi

if command -v systemd-sysusers >/dev/null 2>&1; then
	# --root: a file system of its own, with the one group that Debian has from the start.
	mkdir -p "$dir/root/etc" "$dir/root/usr/lib/sysusers.d" "$dir/root/usr/lib/tmpfiles.d"
	printf 'root:x:0:\ndialout:x:20:\n' >"$dir/root/etc/group"
	printf 'root:x:0:0::/root:/bin/sh\n' >"$dir/root/etc/passwd"
	cp systemd/tally.sysusers "$dir/root/usr/lib/sysusers.d/tally.conf"
	cp systemd/tally.tmpfiles "$dir/root/usr/lib/tmpfiles.d/tally.conf"
	if [ "$(id -u)" -eq 0 ]; then
		systemd-sysusers --root="$dir/root" tally.conf >"$dir/users" 2>&1 ||
			fail "systemd-sysusers: $(cat "$dir/users")"
		grep -q '^tally:' "$dir/root/etc/passwd" || fail "there is no user tally"
		grep -q '^dialout:.*:tally$' "$dir/root/etc/group" || fail "tally is not in dialout"
		systemd-tmpfiles --root="$dir/root" --create tally.conf >"$dir/tmp" 2>&1 ||
			fail "systemd-tmpfiles: $(cat "$dir/tmp")"
		mode=$(stat -c %a "$dir/root/var/lib/tally" 2>/dev/null)
		[ "$mode" = 750 ] || fail "/var/lib/tally has mode $mode"
	else
		systemd-sysusers --dry-run systemd/tally.sysusers >"$dir/users" 2>&1 ||
			fail "systemd-sysusers: $(cat "$dir/users")"
	fi
else
	echo "skipped: systemd-sysusers is not here"
fi

# The configuration that is installed: no meters, and nothing else is wrong with it.
"$build/tallyd" --check-config --config systemd/tally.ini >"$dir/config" 2>&1 &&
	grep -q 'is good: 0 meters' "$dir/config" || fail "systemd/tally.ini: $(cat "$dir/config")"
# And its example, uncommented, is a meter.
sed 's/^# \(\[meter\|port\|dialect\|accuracy\)/\1/' systemd/tally.ini >"$dir/example.ini"
"$build/tallyd" --check-config --config "$dir/example.ini" >"$dir/config" 2>&1 &&
	grep -q 'is good: 1 meters' "$dir/config" || fail "its example: $(cat "$dir/config")"
exit $failed
