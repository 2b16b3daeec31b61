#!/bin/sh
# SPDX-License-Identifier: MIT
#
# make install into a folder, compared with what it must hold; make uninstall takes all of it
# back but what is the bench's: configuration, dialects, logs.

set -u
build=${TALLY_BUILD:-build}
dir=$(mktemp -d) || exit 2
trap 'rm -rf "$dir"' EXIT
failed=0
fail() {
	echo "FAILED: $1"
	failed=1
}
# Of those who made us, nothing: their options are for the build.
unset MAKEFLAGS MFLAGS MAKELEVEL
run() {
	make --no-print-directory B="$build" DESTDIR="$dir/root" "$@" >"$dir/said" 2>&1 ||
		fail "make $*: $(tail -n 5 "$dir/said")"
}

# What is compiled stays as it is: this is of the list alone.
run -o all PREFIX=/usr install
for file in etc/tally.ini usr/bin/tallyd usr/bin/tally usr/lib/udev/rules.d/60-tally.rules \
            usr/lib/systemd/system/tallyd.service usr/lib/systemd/system/tallyd.socket \
            usr/lib/systemd/system/tallyd-viewers.socket usr/lib/sysusers.d/tally.conf \
            usr/lib/tmpfiles.d/tally.conf usr/share/doc/splittally/README.md \
            usr/share/doc/splittally/LICENSE usr/share/doc/splittally/WIRE.md \
            usr/share/doc/splittally/SEAL.md usr/share/doc/splittally/tally.ini \
            usr/share/doc/splittally/70-tally-pedal.rules \
            usr/share/doc/splittally/dialects/scpi.ini; do
	[ -f "$dir/root/$file" ] || fail "make install left out $file"
done
[ -d "$dir/root/etc/tally/dialects" ] || fail "there is no folder for dialects"
# Everything of the list is there, and nothing else.
(cd "$dir/root" && find . -type f | sed 's/^\.//' | sort) >"$dir/there"
sed -n "s|^  install $dir/root||p" "$dir/said" >"$dir/listed"
echo /etc/tally.ini >>"$dir/listed"
sort -o "$dir/listed" "$dir/listed"
cmp -s "$dir/there" "$dir/listed" || fail "$(diff "$dir/there" "$dir/listed")"
for page in "$build"/man/*.[1578]; do
	[ -f "$page" ] || continue
	name=$(basename "$page")
	[ -f "$dir/root/usr/share/man/man${name##*.}/$name" ] || fail "the page $name is not installed"
done
for file in usr/bin/tallyd usr/bin/tally; do
	mode=$(stat -c %a "$dir/root/$file")
	[ "$mode" = 755 ] || fail "$file has mode $mode"
done
"$dir/root/usr/bin/tally" --version >/dev/null || fail "the installed tally does not run"

# A configuration that is there is somebody's: neither replaced nor removed, nor is a log.
echo '# mine' >"$dir/root/etc/tally.ini"
mkdir -p "$dir/root/var/lib/tally"
echo log >"$dir/root/var/lib/tally/north.db"
run -o all PREFIX=/usr install
grep -q '^# mine$' "$dir/root/etc/tally.ini" || fail "make install replaced the configuration"
run PREFIX=/usr uninstall
left=$(cd "$dir/root" && find . -type f | sort | tr '\n' ' ')
[ "$left" = "./etc/tally.ini ./var/lib/tally/north.db " ] || fail "after make uninstall: $left"
grep -q '/var/lib/tally' "$dir/said" || fail "make uninstall does not say where the logs are"
run PREFIX=/usr uninstall

# A configuration that nobody touched goes as well, and no empty folder of ours is left.
rm -rf "$dir/root"
run -o all PREFIX=/opt/tally install
run PREFIX=/opt/tally uninstall
left=$(cd "$dir/root" && find . -mindepth 1 ! -path ./etc ! -path ./opt | tr '\n' ' ')
[ -z "$left" ] || fail "after make uninstall of what nobody touched: $left"

# Elsewhere: the unit runs what was installed there.
run -o all PREFIX=/opt/tally install
grep -q '^ExecStart=/opt/tally/bin/tallyd$' "$dir/root/opt/tally/lib/systemd/system/tallyd.service" ||
	fail "the unit of another prefix runs something else"

# The package says the version that the programs say.
version=$("$build/tallyd" --version | sed 's/^tallyd //')
head -n 1 debian/changelog | grep -q "^splittally ($version)" || fail "debian/changelog is not $version"
exit $failed
