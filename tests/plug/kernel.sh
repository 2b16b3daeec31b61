#!/bin/sh
# SPDX-License-Identifier: MIT
#
# Debian's kernel image with its drivers of USB, input and sound, unpacked into
# $out/kernel/KVER, not installed; kept for next time.  Sourced by those that make a
# virtual machine; sets $kver and $kernel,
# and calls missing() where it cannot be had.

# Whole folders, so that what a driver needs of others is there, too.
parts="drivers/usb drivers/hid drivers/input drivers/soundwire drivers/media/mc drivers/leds drivers/block
       sound fs/ext4 fs/jbd2 fs/mbcache.ko lib crypto arch"

# The name of the image moves with each point release; the metapackage knows it.
newest() {
	apt-cache depends linux-image-amd64 2>/dev/null |
		sed -n 's/.*Depends: linux-image-\([0-9][^ ]*\)$/\1/p' | head -n 1
}

fetch_kernel() {
	image=
	rm -rf "$out/download" && mkdir -p "$out/download" || exit 2
	# As root, apt fetches as a user that may not write here: it says so, and goes on.
	(cd "$out/download" && apt-get -qq download "linux-image-$1") >"$out/download.txt" 2>&1
	for image in "$out"/download/*.deb; do :; done
	if [ ! -f "$image" ]; then
		cat "$out/download.txt" >&2
		return 1
	fi
	mkdir -p "$out/kernel/$1.part"
	dpkg-deb --fsys-tarfile "$image" | tar -x -C "$out/kernel/$1.part" --wildcards \
		"./boot/vmlinuz-$1" "./lib/modules/$1/modules.*" $(for part in $parts; do
			echo "./lib/modules/$1/kernel/$part"; done) && rm -rf "$out/kernel/$1" &&
		depmod -b "$out/kernel/$1.part" "$1" && mv "$out/kernel/$1.part" "$out/kernel/$1" || return 1
	rm -rf "$out/download"
}

mkdir -p "$out/kernel" || exit 2
rm -rf "$out"/kernel/*.part
kver=
if command -v apt-cache >/dev/null 2>&1; then
	kver=$(newest)
	if [ -z "$kver" ] && [ "$(id -u)" -eq 0 ]; then
		apt-get -qq update >/dev/null 2>&1
		kver=$(newest)
	fi
fi
# One that was unpacked before sound was asked for is fetched again.
if [ -z "$kver" ] || { [ ! -d "$out/kernel/$kver/lib/modules/$kver/kernel/sound" ] &&
                       ! fetch_kernel "$kver"; }; then
	# Without a network one from an earlier run does as well.
	kver=$(ls "$out/kernel" | tail -n 1)
	[ -n "$kver" ] || missing "the kernel image of Debian could not be downloaded: a Debian \
system with a package mirror in reach is needed, once (about 70 MB, kept in $out/kernel)"
fi
kernel=$out/kernel/$kver
echo "kernel $kver, $(qemu-system-x86_64 --version | head -n 1)"
