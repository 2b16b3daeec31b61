#!/bin/sh
# SPDX-License-Identifier: MIT
#
# Build the Debian package from a copy of the sources, so that nothing of it is left in them.
#
#     tests/package/build.sh OUT
#
# OUT/splittally_VERSION_ARCH.deb and its .changes are what it makes; OUT/build.log what was
# said.  Status 1 and the end of that where it fails.

set -u
out=$1
mkdir -p "$out" && out=$(realpath "$out") || exit 2
sh tests/deps.sh dpkg-dev debhelper fakeroot || exit 1

rm -rf "$out/src" "$out"/*.deb "$out"/*.changes "$out"/*.buildinfo
mkdir -p "$out/src" || exit 2
if [ -e .git ] && command -v git >/dev/null 2>&1; then
	git ls-files -co --exclude-standard | grep -v '^build/' | tar -cf - -T - | tar -xf - -C "$out/src"
else
	tar -cf - --exclude=./build --exclude=./.git . | tar -xf - -C "$out/src"
fi

cd "$out/src" || exit 2
if ! dpkg-buildpackage -b -us -uc -j"$(nproc)" >"$out/build.log" 2>&1; then
	tail -n 30 "$out/build.log" >&2
	echo "the package was not built: $out/build.log has everything" >&2
	exit 1
fi
cd "$out" && rm -rf "$out/src" && ls -l ./*.deb | sed "s|\./|$out/|"
