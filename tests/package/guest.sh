#!/bin/sh
# SPDX-License-Identifier: MIT
#
# What the virtual machine of `make check-package` boots from: a Debian root with the package,
# systemd and udev in it, whole in memory, and Debian's kernel.
#
#     tests/package/guest.sh ROOT OUT
#
# ROOT becomes OUT/guest.cpio.gz, less what only people read; OUT/vmlinuz is the kernel.  The
# first process is systemd; a service of ours answers commands on ttyS1 as tests/plug/init does.

set -u
root=$1 out=$(realpath "$2")
missing() {
	echo "the machine cannot be made: $1" >&2
	exit 2
}
PATH=$PATH:/usr/sbin:/sbin
export PATH
for program in qemu-system-x86_64 kmod depmod cpio; do
	command -v "$program" >/dev/null 2>&1 || missing "$program is not there"
done
. "$(dirname "$0")/../plug/kernel.sh"

for module in xhci_pci ftdi_sio usbserial cdc_acm; do
	for path in $(modprobe -d "$kernel" -S "$kver" --show-depends $module |
	              sed -n 's/^insmod \([^ ]*\).*/\1/p'); do
		inside=${path#"$kernel"}
		mkdir -p "$root/usr$(dirname "$inside")" && cp "$path" "$root/usr$inside" || exit 2
	done
done
cp "$kernel/lib/modules/$kver"/modules.order "$kernel/lib/modules/$kver"/modules.builtin* \
	"$root/usr/lib/modules/$kver/" || missing "the kernel image lacks its lists of modules"
depmod -b "$root" "$kver" || missing "depmod failed"

cat >"$root/usr/local/bin/guest-control" <<'CONTROL'
#!/bin/sh
# One line is a command, its answer "@STATUS LENGTH" and LENGTH bytes.
stty -F /dev/ttyS1 raw -echo 115200
exec 3<>/dev/ttyS1
echo "@0 0" >&3
while read -r line <&3; do
	eval "$line" >/tmp/answer 2>&1 </dev/null
	status=$?
	echo "@$status $(wc -c </tmp/answer)" >&3
	cat /tmp/answer >&3
done
CONTROL
chmod 755 "$root/usr/local/bin/guest-control"
cat >"$root/etc/systemd/system/guest-control.service" <<'UNIT'
[Unit]
After=multi-user.target
[Service]
Type=idle
ExecStart=/usr/local/bin/guest-control
[Install]
WantedBy=multi-user.target
UNIT
mkdir -p "$root/etc/systemd/system/multi-user.target.wants"
ln -sfn ../guest-control.service "$root/etc/systemd/system/multi-user.target.wants/"
# Nobody logs in, nothing is updated.
for unit in serial-getty@ttyS0.service getty@tty1.service apt-daily.timer apt-daily-upgrade.timer \
            e2scrub_all.timer fstrim.timer dpkg-db-backup.timer systemd-timesyncd.service; do
	ln -sfn /dev/null "$root/etc/systemd/system/$unit"
done
echo guest >"$root/etc/hostname"
: >"$root/etc/fstab"
ln -sfn usr/lib/systemd/systemd "$root/init"
rm -rf "$root"/usr/share/doc "$root"/usr/share/man "$root"/usr/share/locale "$root"/usr/share/i18n \
	"$root"/usr/share/zoneinfo "$root"/var/cache/apt "$root"/var/lib/apt/lists "$root"/tmp/* \
	"$root"/usr/lib/x86_64-linux-gnu/gconv "$root"/usr/share/perl* "$root"/usr/lib/x86_64-linux-gnu/perl* \
	"$root"/usr/lib/gcc "$root"/usr/share/icons "$root"/usr/share/fonts "$root"/usr/share/mime
chmod 755 "$root"
(cd "$root" && find . -xdev | cpio -o -H newc --quiet | gzip -1) >"$out/guest.cpio.gz" || exit 2
cp "$kernel/boot/vmlinuz-$kver" "$out/vmlinuz" || exit 2
ls -l "$out/guest.cpio.gz"
