#!/bin/sh
# SPDX-License-Identifier: MIT
#
# The rules of udev/, read by udevadm where there is one (and a private mount, so as
# root): any word it has about our file is a fault.  udevadm always ends with status
# 0 here, and on a device with a node it would really change that node: the device is
# one without.

rules=udev/60-tally.rules
pedal=udev/70-tally-pedal.rules
bad=$(grep -nE 'MODE="0[0-7][0-7][2367]"' "$rules" "$pedal")
[ -z "$bad" ] || { echo "open to everybody: $bad"; exit 1; }
if ! command -v udevadm >/dev/null 2>&1 || [ "$(id -u)" -ne 0 ]; then
	echo "note: no udevadm, or not root: the rules were not read by it"
	exit 0
fi
check() {
	unshare -m sh -c '
		mkdir -p /run/udev && mount -t tmpfs none /run/udev && mkdir -p /run/udev/rules.d || exit 3
		cp "$1" /run/udev/rules.d/60-tally.rules
		udevadm test --action=add /sys/devices/system/cpu/cpu0 2>&1 |
			grep -E "60-tally.rules:[0-9]+|60-tally.rules.*(Invalid|Unknown|invalid|unknown)"
		exit 0' sh "$1" 2>/dev/null
}
said=$(check "$rules")
if [ $? -eq 3 ]; then
	echo "note: no private mount here: the rules were not read by udevadm"
	exit 0
fi
[ -z "$said" ] || { echo "$said"; exit 1; }
# The lines that the pedal's file shows, as someone would take them over.
shown=$(mktemp) && sed -n 's/^# \(SUBSYSTEM==\)/\1/p' "$pedal" >"$shown"
[ "$(wc -l <"$shown")" -ge 4 ] || { echo "$pedal shows no rules"; exit 1; }
said=$(check "$shown")
rm -f "$shown"
[ -z "$said" ] || { echo "$pedal: $said"; exit 1; }
# The check itself must be able to fail.
broken=$(mktemp) && sed 's/^KERNEL=="ttyACM/KERNLE=="ttyACM/' "$rules" >"$broken"
[ -n "$(check "$broken")" ] || echo "note: udevadm does not complain of a broken rule here"
rm -f "$broken"
