#!/bin/sh
# SPDX-License-Identifier: MIT
#
# What a cross-compiler needs of a Debian for arm64, in a folder: headers, libraries, the
# loader.  Nothing of this machine is changed; apt works on lists of its own.
#
#     tests/arm64/sysroot.sh FOLDER
#
# Quick where it is there already.

set -u
root=$1
packages="libc6-dev libuv1-dev libserialport-dev libsqlite3-dev libjansson-dev libssl-dev \
  libcsv-dev libpcre2-dev libudev-dev libevdev-dev libasound2-dev libncurses-dev libcmocka-dev libgsl-dev"
[ -e "$root/complete" ] && exit 0
command -v apt-get >/dev/null 2>&1 || { echo "no apt-get: put an arm64 Debian into $root by hand" >&2; exit 2; }

mkdir -p "$root/apt/state/lists/partial" "$root/apt/cache/archives/partial" || exit 2
root=$(realpath "$root")
: >"$root/apt/status"
own="-qq -o APT::Architecture=arm64 -o APT::Architectures=arm64 -o Dir::State=$root/apt/state \
  -o Dir::State::status=$root/apt/status -o Dir::Cache=$root/apt/cache -o Debug::NoLocking=1 \
  -o APT::Sandbox::User=$(id -un)"
apt-get $own update || exit 2
# Dependencies of the base system too, for nothing is there yet.
apt-get $own -y --no-install-recommends --download-only install $packages >/dev/null || exit 2
for deb in "$root"/apt/cache/archives/*.deb; do
	dpkg -x "$deb" "$root" || exit 2
done
# Absolute links lead out of the folder.
find "$root/usr/lib" "$root/lib" -type l -lname '/*' 2>/dev/null | while read -r link; do
	ln -sfn "$root$(readlink "$link")" "$link"
done
rm -rf "$root/apt/cache"
: >"$root/complete"
