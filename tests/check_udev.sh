#!/bin/sh
# SPDX-License-Identifier: MIT
#
# The rules of udev/, read and run by udevadm where there is one (in mounts of our own,
# so as root), over adapters that umockdev makes up (tests/adapters.umockdev): which
# line of our file does what to which node.
#
# udevadm ends with status 0 whatever it finds, prints file:line of what it cannot read,
# and really makes links and changes nodes: /dev and /run are our own here.

rules=udev/60-tally.rules
pedal=udev/70-tally-pedal.rules
bad=$(grep -nE '^[^#]*MODE:?="0?[0-7][0-7][1-7]"' "$rules"; grep -nE 'MODE="0[0-7][0-7][2367]"' "$pedal")
[ -z "$bad" ] || { echo "open to everybody: $bad"; exit 1; }
bad=$(grep -n '^[^#]*SUBSYSTEMS!=' "$rules")
[ -z "$bad" ] || { echo "holds for every device, for the device itself is meant too: $bad"; exit 1; }
if ! command -v udevadm >/dev/null 2>&1 || [ "$(id -u)" -ne 0 ] || ! unshare -m true 2>/dev/null; then
	echo "note: no udevadm, or no mounts of our own: the rules were not read by it"
	exit 0
fi
work=$(mktemp -d) || exit 2
trap 'rm -rf "$work"' EXIT

# in_private RULES COMMAND...: with RULES as the only ones of /run and /etc.
cat >"$work/in_private" <<'END'
rules=$1
shift
mount --make-rprivate / && mkdir -p "$work/dev" && mount --rbind /dev "$work/dev" || exit 3
mount -t tmpfs none /run && mkdir -p /run/udev/rules.d && mount -t tmpfs none /dev || exit 3
for node in null zero urandom tty; do
	touch /dev/$node && mount --bind "$work/dev/$node" /dev/$node || exit 3
done
mkdir /dev/pts && mount --bind "$work/dev/pts" /dev/pts && ln -s pts/ptmx /dev/ptmx || exit 3
[ ! -d /etc/udev/rules.d ] || mount -t tmpfs none /etc/udev/rules.d || exit 3
cp "$rules" /run/udev/rules.d/60-tally.rules || exit 3
"$@" 2>&1
exit 0
END
private() {
	work=$work unshare -m sh "$work/in_private" "$@"
}

# ---- can it be read? ----

faults() {
	private "$1" udevadm test --action=add /sys/devices/system/cpu/cpu0 |
		grep -E '60-tally.rules:[0-9]+|60-tally.rules.*([Ii]nvalid|[Uu]nknown)'
}
said=$(private "$rules" udevadm test --action=add /sys/devices/system/cpu/cpu0)
if ! echo "$said" | grep -q 'Reading rules file: .*/60-tally.rules'; then
	echo "note: udevadm does not read rules here: $(echo "$said" | tail -n 1)"
	exit 0
fi
said=$(faults "$rules")
[ -z "$said" ] || { echo "$said"; exit 1; }
# The lines that the pedal's file shows, as someone would take them over.
shown=$(mktemp) && sed -n 's/^# \(SUBSYSTEM==\)/\1/p' "$pedal" >"$shown"
[ "$(wc -l <"$shown")" -ge 4 ] || { echo "$pedal shows no rules"; exit 1; }
said=$(faults "$shown")
rm -f "$shown"
[ -z "$said" ] || { echo "$pedal: $said"; exit 1; }
# The check itself must be able to fail.
sed 's/^KERNEL!="ttyUSB/KERNLE!="ttyUSB/' "$rules" >"$work/broken"
[ -n "$(faults "$work/broken")" ] || { echo "a broken rule went unnoticed"; exit 1; }

# ---- does it do what it says? ----

if ! command -v umockdev-run >/dev/null 2>&1; then
	echo "note: no umockdev: what the rules do was not tried"
	exit 0
fi
usb=/sys/devices/pci0000:00/0000:00:14.0/usb1
failed=0

grep -v '^#' tests/adapters.umockdev >"$work/adapters" # it knows no comments
# try RULES ACTION SYSPATH: what our file did, and what came of it.
try() {
	private "$1" umockdev-run -d "$work/adapters" -- udevadm test --action="$2" "$3" |
		sed -n -e 's/^[^ ]*: [^ ]*60-tally.rules:[0-9]* //p' -e "s/^run: '\(.*\)'/run \1/p" \
		    -e '/^ID_MM_/p' -e '/^DEVLINKS=/p' >"$work/said"
}
must() {
	grep -qF -- "$1" "$work/said" || { echo "$what: lacks '$1' in:"; cat "$work/said"; failed=1; }
}
mustnot() {
	! grep -qF -- "$1" "$work/said" || { echo "$what: has '$1' in:"; cat "$work/said"; failed=1; }
}
nothing() {
	[ ! -s "$work/said" ] || { echo "$what: not left alone:"; cat "$work/said"; failed=1; }
}
common() {
	must "GROUP $(getent group dialout | cut -d: -f3)"
	must 'MODE 0660'
	must 'ID_MM_DEVICE_IGNORE=1'
	must 'ID_MM_PORT_IGNORE=1'
}
grep -v '^#' "$rules" >"$work/plain"
sed 's/^# \(ATTRS\|KERNELS\)/\1/' "$rules" >"$work/named" # with both examples

what='on a hub'
try "$rules" add "$usb/1-1/1-1.4/1-1.4:1.0/ttyUSB0/tty/ttyUSB0"
common
must "LINK 'tally/place-1-1.4:1.0'"
must "device/latency_timer' writing '1'"
must 'run /bin/stty -F /dev/ttyUSB0 -hupcl -echo'
mustnot 'tally/red'

what='named by its serial number'
try "$work/named" add "$usb/1-1/1-1.4/1-1.4:1.0/ttyUSB0/tty/ttyUSB0"
must "LINK 'tally/red'"
mustnot 'tally/blue'

what='told again'
try "$work/named" change "$usb/1-1/1-1.4/1-1.4:1.0/ttyUSB0/tty/ttyUSB0"
common
must "LINK 'tally/red'"
mustnot 'stty'

what='first of two ports'
try "$work/named" add "$usb/1-2/1-2:1.0/ttyUSB1/tty/ttyUSB1"
common
must "LINK 'tally/place-1-2:1.0'"
must "LINK 'tally/blue'"
mustnot 'latency_timer'
mustnot 'tally/red'

what='second of two ports'
try "$rules" add "$usb/1-2/1-2:1.0/ttyUSB2/tty/ttyUSB2"
common
must "LINK 'tally/place-1-2:1.0-1'"
mustnot "LINK 'tally/place-1-2:1.0'"

what='modem class'
try "$rules" add "$usb/1-3/1-3:1.0/tty/ttyACM0"
common
must "LINK 'tally/place-1-3:1.0'"
must 'run /bin/stty -F /dev/ttyACM0 -hupcl -echo'
mustnot 'latency_timer'

what='line of the mainboard'
try "$work/named" add /sys/devices/platform/serial8250/tty/ttyS0
nothing
what='the adapter itself'
try "$work/named" add "$usb/1-1/1-1.4"
nothing
what='unplugged'
try "$work/named" remove "$usb/1-1/1-1.4/1-1.4:1.0/ttyUSB0/tty/ttyUSB0"
mustnot 'LINK'
mustnot 'stty'

exit $failed
