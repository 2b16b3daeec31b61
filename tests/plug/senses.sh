# SPDX-License-Identifier: MIT
#
# What the virtual machine of `make check-pedal` and `make check-sound` has beyond that of
# `make check-plug`: drivers of keyboards and sound cards, the rules and libraries that go
# with them, espeak-ng, a file system that can be frozen, and two people.  Sourced by guest.sh.

modules usbhid hid_generic uhid evdev snd_hda_intel snd_hda_codec_generic snd_usb_audio ext4 loop
add "$build/tests/plug/foot"
add "$build/tests/plug/hush"
add "$(command -v espeak-ng)"
add "$(command -v mke2fs)"

# What these open without naming it to the linker.
for file in /lib/terminfo/l/linux /usr/lib/locale/C.utf8 /usr/share/alsa /usr/lib/*/espeak-ng-data; do
	[ -e "$file" ] || missing "$file is not there"
	file=$(realpath "$file")
	mkdir -p "$root$(dirname "$file")" && cp -rL "$file" "$root$file" || exit 2
done
for dict in "$root"/usr/lib/*/espeak-ng-data/*_dict; do
	case $dict in */en_dict|*/de_dict) ;; *) rm -f "$dict" ;; esac
done
# Two languages are enough, and the machine is slow.
rm -rf "$root"/usr/lib/*/espeak-ng-data/voices/!v
for lang in "$root"/usr/lib/*/espeak-ng-data/lang/*; do
	case $lang in */gmw) ;; *) rm -rf "$lang" ;; esac
done

for file in 60-evdev 60-input-id 60-persistent-input 70-uaccess 71-seat 73-seat-late 78-sound-card; do
	for folder in /usr/lib/udev/rules.d /lib/udev/rules.d; do
		[ -f "$folder/$file.rules" ] && cp "$folder/$file.rules" "$root/usr/lib/udev/rules.d/"
	done
	[ -f "$root/usr/lib/udev/rules.d/$file.rules" ] || missing "udev's $file.rules is not there"
done

# `person` works at the bench, and is in no group that may read a keyboard; `other` is
# somebody else on the machine.
cat >>"$root/etc/passwd" <<'USERS'
person:x:1000:1000::/home/person:/bin/sh
other:x:1001:1001::/:/bin/sh
USERS
sed -i 's/^\(audio:.*\)/\1person/; s/^\(tally:.*\)/\1person/' "$root/etc/group"
printf 'person:x:1000:\nother:x:1001:\n' >>"$root/etc/group"
mkdir -p "$root/home/person"
