#!/bin/sh
# SPDX-License-Identifier: MIT
#
# The release archive: what git has at HEAD, nothing of this machine.
#
#     tests/dist.sh OUT
#
# OUT/splittally-VERSION.tar.gz and its .sha256.  Made twice from one commit it is the same to
# the byte: names, owners and times are the commit's, and gzip keeps no time.

set -u
out=$1
version=$(cat VERSION)
newest=$(sed -n 's/^## \([^ ]*\) - .*/\1/p' CHANGELOG.md | head -n 1)
[ "$version" = "$newest" ] || { echo "VERSION is $version, CHANGELOG.md begins with $newest" >&2; exit 1; }
git diff --quiet HEAD -- || echo "note: what is not committed is not in the archive" >&2
mkdir -p "$out" || exit 2
name=splittally-$version
git -c tar.umask=0022 archive --format=tar --prefix="$name/" HEAD | gzip -9n >"$out/$name.tar.gz" || exit 1
(cd "$out" && sha256sum "$name.tar.gz" | tee "$name.tar.gz.sha256")
