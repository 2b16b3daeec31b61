#!/bin/sh
# SPDX-License-Identifier: MIT
#
# Two builds from one archive must be the same to the byte: programs, manual pages, completions,
# the list of what is in them, and the Debian packages.  All that a build must not depend on
# is different between the two: the folder, the user and its home, the mask of new files, the
# time zone, the language, the name of the machine, how many jobs run at once, and the clock
# (by a day and more where faketime is installed, else by what the first build took).
#
#     tests/reproducible.sh OUT
#
# Status 1 with the names of what differs.  What could not be varied is said.

set -u
out=$1
mkdir -p "$out" && out=$(realpath "$out") || exit 2
sh tests/dist.sh "$out/dist" >/dev/null || exit 1
sh tests/dist.sh "$out/again" >/dev/null || exit 1
cmp "$out"/dist/*.tar.gz "$out"/again/*.tar.gz || exit 1
packages=
if command -v dpkg-buildpackage >/dev/null 2>&1 && command -v dh >/dev/null 2>&1; then
	packages=yes
else
	echo "no debhelper here: the packages are not compared"
fi
first=$out/one second=$out/a-longer/name/of/a/folder
# Of those who made us, nothing.
unset MAKEFLAGS MFLAGS MAKELEVEL TALLY_BUILD SOURCE_DATE_EPOCH

build() { # folder, jobs, command that varies the rest...
	where=$1 jobs=$2
	shift 2
	"$@" sh -c 'cd "$1" || exit 2; umask "$MASK"
		make -s "-j$2" B=build all sbom || exit 1
		[ -z "$3" ] || sh tests/package/build.sh build/deb' sh "$where" "$jobs" "$packages" \
		>"$out/build.log" 2>&1 || {
		tail -n 20 "$out/build.log"
		echo "the build in $where failed: $out/build.log"
		exit 1
	}
}

for where in "$first" "$second"; do
	rm -rf "$where"
	mkdir -p "$where" || exit 2
	tar -xzf "$out"/dist/*.tar.gz -C "$where" --strip-components=1 || exit 2
done
build "$first" "${JOBS:-2}" env MASK=022 TZ=UTC LC_ALL=C

vary="env MASK=027 TZ=Pacific/Kiritimati HOME=/nonexistent USER=somebody"
language=$(locale -a 2>/dev/null | grep -i -m 1 '^\(de\|fr\|tr\)_')
[ -n "$language" ] || { language=C.UTF-8; echo "no foreign language is installed: C against $language"; }
vary="$vary LC_ALL=$language"
if command -v faketime >/dev/null 2>&1; then
	# The times of files stay: make would build again what is made later than now.
	vary="$vary NO_FAKE_STAT=1 faketime -f +400d"
else
	echo "no faketime here: the clock differs by minutes"
	sleep 1
fi
if [ "$(id -u)" -eq 0 ] && command -v setpriv >/dev/null 2>&1; then
	chown -R 65534:65534 "$out/a-longer"
	vary="setpriv --reuid 65534 --regid 65534 --clear-groups $vary"
	! unshare -u true 2>/dev/null ||
		vary="unshare -u sh -c 'echo elsewhere >/proc/sys/kernel/hostname; exec \"\$@\"' sh $vary"
else
	echo "not root: the same user and machine's name in both"
fi
eval build '"$second"' 1 "$vary"

status=0
compared=0
for file in tallyd tally tally-draw demo/libadapters.so demo/meters man/tally.1 man/tallyd.8 man/tally.ini.5 \
	man/tally-dialect.5 man/tally-sheet.5 man/tally-log.5 man/tally-protocol.7 completions/tally.bash \
	completions/_tally sbom.spdx.json ${packages:+$(cd "$first/build" && echo deb/*.deb)}; do
	[ -e "$first/build/$file" ] || [ "$file" != tally-draw ] || continue
	compared=$((compared + 1))
	cmp "$first/build/$file" "$second/build/$file" || status=1
done
[ $status -eq 0 ] && echo "$compared files are the same in both builds"
exit $status
