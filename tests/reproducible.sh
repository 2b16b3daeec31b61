#!/bin/sh
# SPDX-License-Identifier: MIT
#
# Two builds from one archive, in two folders with other names and at other times, must be the
# same to the byte: programs, manual pages, completions, the list of what is in them.
#
#     tests/reproducible.sh OUT
#
# Status 1 with the names of what differs.

set -u
out=$1
sh tests/dist.sh "$out/dist" >/dev/null || exit 1
sh tests/dist.sh "$out/again" >/dev/null || exit 1
cmp "$out"/dist/*.tar.gz "$out"/again/*.tar.gz || exit 1
first=$out/one second=$out/a-longer/name/of/a/folder
for where in "$first" "$second"; do
	rm -rf "$where"
	mkdir -p "$where" || exit 2
	tar -xzf "$out"/dist/*.tar.gz -C "$where" --strip-components=1 || exit 2
	(cd "$where" && env -u TALLY_BUILD make -s -j"${JOBS:-2}" B=build all sbom) >"$out/build.log" 2>&1 || {
		tail -n 20 "$out/build.log"
		exit 1
	}
	sleep 1
done
status=0
compared=0
for file in tallyd tally tally-draw demo/libadapters.so demo/meters man/tally.1 man/tallyd.8 man/tally.ini.5 \
	man/tally-dialect.5 man/tally-sheet.5 man/tally-log.5 man/tally-protocol.7 completions/tally.bash \
	completions/_tally sbom.spdx.json; do
	[ -e "$first/build/$file" ] || [ "$file" != tally-draw ] || continue
	compared=$((compared + 1))
	cmp "$first/build/$file" "$second/build/$file" || status=1
done
[ $status -eq 0 ] && echo "$compared files are the same in both builds"
exit $status
