#!/bin/sh
# SPDX-License-Identifier: MIT
#
# Make what the virtual machine of `make check-plug` boots from, in build/plug:
#
#     kernel/KVER/         Debian's kernel image, unpacked, not installed; kept for next time
#     vmlinuz guest.cpio.gz   the kernel and the file system in memory
#
#     tests/plug/guest.sh BUILD OUT RULES CONFIG SHEET [MORE NAME]
#
# MORE is a shell file with what one check needs beyond that, sourced before the end: it
# may call `add PROGRAM` and `modules DRIVER...`, and write into $root; then the file
# system is NAME.cpio.gz.
#
# BUILD holds tallyd, tally and the witness; RULES, CONFIG and SHEET become
# /etc/udev/rules.d/60-tally.rules, /etc/tally.ini and /etc/tally/sheet.csv.
# Everything else is copied from this machine: systemd-udevd with Debian's own rules,
# kmod, a shell, stty, and busybox for the rest.  Status 2 and a sentence where
# something is missing.

set -u
build=$1 out=$(realpath "$2") rules=$3 config=$4 sheet=$5 more=${6:-} system=${7:-guest}

missing() {
	echo "check-plug cannot run: $1" >&2
	exit 2
}

PATH=$PATH:/usr/sbin:/sbin
export PATH
for program in qemu-system-x86_64 busybox udevadm kmod depmod cpio ldd; do
	command -v "$program" >/dev/null 2>&1 || missing "$program is not there"
done

. "$(dirname "$0")/kernel.sh"

# ---- the file system ----

root=$out/root
rm -rf "$root"
for folder in usr/bin usr/sbin usr/lib/udev/rules.d usr/lib/systemd usr/lib64 etc/udev/rules.d \
              etc/tally proc sys dev run tmp var/lib; do
	mkdir -p "$root/$folder" || exit 2
done
for folder in bin sbin lib lib64; do
	ln -s "usr/$folder" "$root/$folder"
done

# A program under its own path, with the libraries that it names.
add() {
	cp -L --remove-destination "$1" "$root/usr/bin/$(basename "$1")" || missing "$1 is not there"
	ldd "$1" 2>/dev/null | grep -o '/[^ ]*' | while read -r lib; do
		mkdir -p "$root$(dirname "$lib")" && cp -L -n "$lib" "$root$lib"
	done
}
for program in busybox udevadm kmod sh stty; do
	add "$(command -v $program)"
done
add "$build/tallyd"
add "$build/tally"
add "$build/tests/plug/witness"
for applet in $(busybox --list); do
	[ -e "$root/usr/bin/$applet" ] || ln -s busybox "$root/usr/bin/$applet"
done
ln -s ../../bin/udevadm "$root/usr/lib/systemd/systemd-udevd"
for name in modprobe depmod lsmod; do
	ln -sf ../bin/kmod "$root/usr/sbin/$name"
	rm -f "$root/usr/bin/$name"
done

for file in 50-udev-default 60-serial 80-drivers; do
	for folder in /usr/lib/udev/rules.d /lib/udev/rules.d; do
		[ -f "$folder/$file.rules" ] && cp "$folder/$file.rules" "$root/usr/lib/udev/rules.d/"
	done
	[ -f "$root/usr/lib/udev/rules.d/$file.rules" ] || missing "udev's $file.rules is not there"
done
cp "$rules" "$root/etc/udev/rules.d/60-tally.rules" || exit 2
cp "$config" "$root/etc/tally.ini" || exit 2
cp "$sheet" "$root/etc/tally/sheet.csv" || exit 2

# The daemon's user is in no group but its own and the one of the rules.
cat >"$root/etc/passwd" <<'USERS'
root:x:0:0::/root:/bin/sh
tally:x:990:990::/:/bin/sh
USERS
cat >"$root/etc/group" <<'GROUPS'
root:x:0:
tty:x:5:
disk:x:6:
lp:x:7:
kmem:x:15:
dialout:x:20:tally
cdrom:x:24:
floppy:x:25:
tape:x:26:
audio:x:29:
video:x:44:
input:x:101:
sgx:x:102:
render:x:103:
kvm:x:104:
tally:x:990:
GROUPS
printf 'passwd: files\ngroup: files\n' >"$root/etc/nsswitch.conf"

# Drivers by name, with what they need.
modules() {
	for module in "$@"; do
		for path in $(modprobe -d "$kernel" -S "$kver" --show-depends "$module" |
		              sed -n 's/^insmod \([^ ]*\).*/\1/p'); do
			inside=${path#"$kernel"}
			mkdir -p "$root/usr$(dirname "$inside")" && cp "$path" "$root/usr$inside" || exit 2
		done
	done
}
modules xhci_pci ftdi_sio
[ -z "$more" ] || . "$more"
cp "$kernel/lib/modules/$kver"/modules.order "$kernel/lib/modules/$kver"/modules.builtin* \
	"$root/usr/lib/modules/$kver/" || missing "the kernel image lacks its lists of modules"
depmod -b "$root" "$kver" || missing "depmod failed"

cp "$(dirname "$0")/init" "$root/init" && chmod 755 "$root/init" || exit 2
# The folder's own mode becomes that of / in the guest, where not only root must pass.
chmod -R u+rwX,go+rX "$root"
(cd "$root" && find . | cpio -o -H newc --quiet --owner=0:0 | gzip -1) \
	>"$out/$system.cpio.gz" || exit 2
cp "$kernel/boot/vmlinuz-$kver" "$out/vmlinuz" || exit 2
rm -rf "$root"
