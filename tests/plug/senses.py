# SPDX-License-Identifier: MIT
"""What check_pedal.py and check_sound.py share: the bench in the virtual machine.

A meter on USB socket 1, the daemon with a job and a sheet, and `person`, who is not
root, and works with the real `tally`.
"""

import json
import os
import subprocess

import check as plug
from machine import Failure, Machine

CONFIG = """[bench]
name   = senses
log    = /var/lib/tally/senses.db
socket = /run/tally/tally.sock
moving seconds = 3

[meter red]
port     = usb:0403:6001:AB01
dialect  = ascii-unit
accuracy ohm = 0.5% + 2
"""
SHEET = """position,kind,nominal,tolerance
R1,metal-film,100k,1%
R2,metal-film,47k,1%
R3,metal-film,22k,1%
R4,metal-film,10k,1%
R5,metal-film,1k,1%
"""
OPEN = ["OL MOhm"]
PACKAGES = ("espeak-ng systemd e2fsprogs "
            "ncurses-base libasound2-data").split()


def touch_of(value, unit="kOhm"):
    """What the meter says of a part, in turn."""
    digits = value.split(".")[1] if "." in value else ""
    step = 10 ** -len(digits)
    return ["%+.*f %s" % (len(digits), float(value) + k * step, unit) for k in (0, 1, 0, 0)]


def prepare():
    os.makedirs(plug.OUT, exist_ok=True)
    if subprocess.call(["sh", "tests/deps.sh"] + plug.PACKAGES + PACKAGES) != 0:
        return False
    texts = {"60-tally.rules": open("udev/60-tally.rules").read(), "senses.ini": CONFIG,
             "senses.csv": SHEET}
    for name, text in texts.items():
        with open(os.path.join(plug.OUT, name), "w") as f:
            f.write(text)
    return subprocess.call(
        ["sh", os.path.join(plug.HERE, "guest.sh"), plug.BUILD, plug.OUT] +
        [os.path.join(plug.OUT, name) for name in texts] +
        [os.path.join(plug.HERE, "senses.sh"), "senses"]) == 0


class Bench:
    """The machine, and what is asked of it and done in it."""

    def __init__(self, folder, devices):
        self.m = Machine(os.path.join(plug.OUT, folder), ["red"], "senses", devices)

    def start(self, disk=False):
        """`disk`: the log lies on a file system of its own, which can be frozen."""
        self.m.meters["red"].says = OPEN
        self.m.start()
        print("the virtual machine is up after %s s" %
              self.m.must("cut -d' ' -f1 /proc/uptime").strip())
        # Home and settings of the person; the folder of the root is of root.
        self.m.must("chown -R person:person /home/person && mkdir -p /tmp/person && "
                    "chown person:person /tmp/person")
        if disk:
            self.m.must("dd if=/dev/zero of=/tmp/disk bs=1M count=48 2>/dev/null; modprobe loop; "
                        "mke2fs -q -t ext4 /tmp/disk && mount -t ext4 -o loop /tmp/disk "
                        "/var/lib/tally && chown tally:tally /var/lib/tally", 120)
        since = self.m.mark()
        self.m.must("busybox su -s /bin/sh tally -c 'echo $$ >/run/tally/pid; exec tallyd' "
                    "2>/run/said &")
        self.m.see("said", "^bench senses: 1 meters?", since)
        self.m.plug("red", 1, "AB01")
        self.m.see("said", "^red: line open", since)
        self.m.must("tally --json watch --after 0 >/dev/ttyS3 2>/tmp/watch.txt &")
        self.m.must("tally job start bench && tally sheet load /etc/tally/sheet.csv && "
                    "tally reach lifted")

    def person(self, line):
        """A line of shell as `person`, in words for run()."""
        return ("busybox su -s /bin/sh person -c 'export LANG=C.UTF-8 TERM=linux "
                "PATH=/usr/local/bin:$PATH; %s'" % line)

    def at(self):
        """The position that is up."""
        return json.loads(self.m.must("tally --json at").splitlines()[0])["chosen"]["position"]

    def entries(self, since=0):
        with self.m.lock:
            return [r for r in self.m.records[since:] if r["kind"] == "entry"]

    def touch(self, frames, lift=True):
        """Red is put to a part until it must have settled, and is lifted; times are of the host."""
        red = self.m.meters["red"]
        red.turn, red.says = 0, frames
        start = red.sent
        self.m.wait(lambda: red.sent >= start + 12, 60, "a touch")
        if lift:
            self.lift()

    def lift(self):
        red = self.m.meters["red"]
        red.says = OPEN
        start = red.sent
        self.m.wait(lambda: red.sent >= start + 8, 60, "the lift")


def run(name, main, bench):
    """Run the checks, say how they went: the status of the program."""
    try:
        main(bench)
    except (Failure, LookupError, ValueError, StopIteration, OSError) as why:
        plug.check("gone on to the end", False, "%s: %s" % (type(why).__name__, why))
    finally:
        plug.write_down(bench.m)
        bench.m.end()
    print("%d passed, %d failed" % (plug.passed, plug.failed))
    return 1 if plug.failed else 0


def begin(name, main, devices):
    """The whole of a check: what it needs, the machine, its checks; the status of the program."""
    try:
        ready = prepare()
    except Failure as why:
        print("check-%s cannot run: %s" % (name, why))
        ready = False
    return run(name, main, Bench(name, devices)) if ready else 2
