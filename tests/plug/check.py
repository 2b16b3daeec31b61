#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""make check-plug: USB-serial adapters that are plugged in and out of a virtual machine.

In the guest run the real tallyd and tally, the real udev/60-tally.rules under the real
systemd-udevd, and the kernel's own ftdi_sio; the adapters are QEMU's.  Checked are the
rules, how a meter is found, plugging, unplugging in the middle of a frame, coming back
under another number, and that nothing leaks.  It takes minutes, so it is not part of
`make check`.

    tests/plug/check.py         needs Debian with apt-get and about 100 MB from it, once

What is made lies in build/plug: run/console.txt (the guest's kernel), run/seen.txt
(what happened there, with times), run/records.txt, run/plug.db (the log).  All times
are of the guest's monotonic clock, which counts the guest's own instructions (8 ns each,
slower than a bench computer): a busy host makes the run longer, not the times.
"""

import base64
import json
import os
import re
import sqlite3
import subprocess
import sys
import time

from machine import Failure, Machine

BUILD = os.environ.get("TALLY_BUILD", "build")
OUT = "build/plug"
HERE = os.path.dirname(os.path.abspath(__file__))
ROOT = os.path.dirname(os.path.dirname(HERE))
PACKAGES = "qemu-system-x86 busybox-static udev kmod cpio".split()

CONFIG = """[bench]
name   = plug
log    = /var/lib/tally/plug.db
socket = /run/tally/tally.sock

[meter red]                      ; by its serial number
port     = usb:0403:6001:AB01
dialect  = ascii-unit
accuracy ohm = 0.5% + 2

[meter blue]                     ; by the name that the rule gives
port     = /dev/tally/blue
dialect  = ascii-unit
accuracy ohm = 0.5% + 2

[meter green]                    ; no serial number: by its place on the bus
port     = usb-place:1-4:1.0
dialect  = ascii-unit
accuracy ohm = 0.5% + 2

[meter twin]                     ; two adapters have this number
port     = usb:0403:6001:SAME
dialect  = ascii-unit
accuracy ohm = 0.5% + 2
"""
SHEET = """position,kind,nominal,tolerance
R1,metal-film,100k,1%
R2,metal-film,47k,1%
"""
OPEN = ["OL MOhm"]
R1 = ["+100.2 kOhm", "+100.3 kOhm", "+100.2 kOhm", "+100.1 kOhm"]
R2 = ["+47.05 kOhm", "+47.06 kOhm", "+47.04 kOhm", "+47.05 kOhm"]
# What a frame that is cut off would be if somebody took it for whole: in each cycle
# its last piece is left out, and comes after the meter is back.
CUT = ["+7.777 kO|hm", "+7.777 k|Ohm", "+7.777 kOhm|", "+7.77|7 kOhm", "+|77.77 kOhm"]
TWO_SECONDS = 2.0
FD_SECONDS = 0.1
SAID_SECONDS = 0.5  # the promise is of the descriptors; close(2) itself takes its time here
CYCLES = 10

passed = failed = 0


def check(legend, good, measured=""):
    global passed, failed
    passed, failed = passed + bool(good), failed + (not good)
    print("%s  %s%s" % ("ok    " if good else "FAILED", legend, measured and ": %s" % measured),
          flush=True)


def ms(*seconds):
    return ", ".join("%.0f ms" % (s * 1000) for s in seconds)


def rules_of_a_bench(text):
    """The shipped rules with their two examples filled in, as a technician does it."""
    def example(pattern, values):
        match = re.search(r"^# *(%s[^\n]*SYMLINK\+=\"tally/[^\n]*)$" % pattern, text, re.M)
        if not match:
            raise Failure("udev/60-tally.rules has no example with %s and SYMLINK" % pattern)
        line = match[1]
        for key, value in values.items():
            line = re.sub(r'(%s\+?==?)"[^"]*"' % re.escape(key), r'\g<1>"%s"' % value, line)
        return match[0], line
    made = {}
    for name, serial in (("red", "AB01"), ("blue", "AB02")):
        old, line = example(r"ATTRS\{idVendor\}", {
            "ATTRS{idVendor}": "0403", "ATTRS{idProduct}": "6001", "ATTRS{serial}": serial,
            "SYMLINK": "tally/" + name})
        made.setdefault(old, []).append(line)
    old, line = example("KERNELS", {"KERNELS": "1-4:1.0", "SYMLINK": "tally/green"})
    made.setdefault(old, []).append(line)
    for old, lines in made.items():
        text = text.replace(old, "\n".join(lines))
    return text


def prepare():
    os.makedirs(OUT, exist_ok=True)
    if subprocess.call(["sh", "tests/deps.sh"] + PACKAGES) != 0:
        return False
    with open("udev/60-tally.rules") as f:
        rules = rules_of_a_bench(f.read())
    for name, text in (("60-tally.rules", rules), ("tally.ini", CONFIG), ("sheet.csv", SHEET)):
        with open(os.path.join(OUT, name), "w") as f:
            f.write(text)
    return subprocess.call(["sh", os.path.join(HERE, "guest.sh"), BUILD, OUT] + [
        os.path.join(OUT, name) for name in ("60-tally.rules", "tally.ini", "sheet.csv")]) == 0


class Scene:
    def __init__(self, machine):
        self.m = machine
        self.unplugged = {"red": 0, "blue": 0, "green": 0, "twin": 0}  # while it was open
        self.got_before = {}  # what had come over their lines to the meters before the cycles
        for meter in machine.meters.values():
            meter.says = OPEN

    # ---- what is asked ----

    def meter(self, name):
        text = self.m.must("tally --json meters")
        return next(m for m in parse(text) if m["name"] == name)

    def pid(self):
        return self.m.must("cat /run/tally/pid").strip()

    def fds(self):
        return int(self.m.must("ls /proc/%s/fd 2>/dev/null | wc -l" % self.pid()))

    def resident(self):
        return int(self.m.must("sed -n 's/^VmRSS:[^0-9]*\\([0-9]*\\) kB/\\1/p' /proc/%s/status" %
                               self.pid()))

    def records(self, kind, **fields):
        with self.m.lock:
            return [r for r in self.m.records if r["kind"] == kind and
                    all(r.get(k) == v for k, v in fields.items())]

    # ---- what is done ----

    def plug(self, adapter, port, serial, meter=None, meanwhile=None):
        """Plug it in.  With `meter`, until that is open: its number, and the seconds from
        the node to the line open.  meanwhile(number, since) when the node is there."""
        since = self.m.mark()
        self.m.plug(adapter, port, serial)
        _, number = self.m.see("kernel", r"^usb 1-%d: .* attached to (ttyUSB\d)" % port, since)
        node, _ = self.m.see("node", r"^%s \d" % number[1], since)
        if not meter:
            return number[1], None
        if meanwhile:
            meanwhile(number[1], since)
        t, _ = self.m.see("said", r"^%s: line open at /dev/%s$" % (meter, number[1]), since)
        return number[1], t - node

    def unplug(self, adapter, meter, node):
        """Pull it.  The seconds from the kernel's notice until tallyd has no descriptor
        of it, and until it says so."""
        since = self.m.mark()
        self.m.unplug(adapter)
        self.unplugged[meter] += 1
        t0, _ = self.m.see("kernel", "USB disconnect", since)
        closed, _ = self.m.see("lines", r"^(?!.*\b%s\b)" % node, since)
        said, _ = self.m.see("said", "^%s: line gone" % meter, since)
        self.m.see("node", "^%s -" % node, since)
        return closed - t0, said - t0

    def cut_off(self, frame):
        """Red sends the first piece of a frame, and nothing after it; until tallyd has it."""
        red = self.m.meters["red"]
        red.says = []
        first, rest = frame.split("|")
        self.m.must("sleep 0.5")
        red.write(first.encode())
        for _ in range(40):
            if self.m.must("tail -n 1 /tmp/tape.rec").endswith(' red "%s"\n' % first):
                return rest
        raise Failure("the piece of a frame did not arrive")

    def touch(self, position, frames):
        """Choose the position, touch it with red, lift; the entry that came of it."""
        red = self.m.meters["red"]
        self.m.must("tally at " + position)
        red.says = OPEN
        opened = red.sent
        self.m.wait(lambda: red.sent >= opened + 8, 20, "open leads")
        red.says = ["+1.00 MOhm", "+0.30 MOhm"]
        self.m.wait(lambda: red.sent >= opened + 10, 20, "two readings of a touch")
        red.turn, red.says = 0, frames
        touched, start = red.sent, len(self.m.records)
        self.m.wait(lambda: red.sent >= touched + 12, 20, "a touch")
        red.says = OPEN
        self.m.wait(lambda: red.sent >= touched + 20, 20, "the lift")
        return [r for r in self.m.records[start:] if r["kind"] == "entry"]


def parse(text):
    return [json.loads(line) for line in text.splitlines() if line.strip()]


# ---- the checks, in their order ----

def check_rules(s):
    node, _ = s.plug("red", 1, "AB01")
    s.m.must("udevadm settle -t 20")
    says = s.m.must("udevadm info --query=property --name=/dev/" + node)
    check("the rule's name /dev/tally/red leads to the node",
          s.m.must("readlink -f /dev/tally/red").strip() == "/dev/" + node and
          re.search(r"^DEVLINKS=.*/dev/tally/red\b", says, re.M), node)
    stat = s.m.must("stat -c '%a %U:%G' /dev/" + node).strip()
    check("owner, group and mode of the node", stat == "660 root:dialout", stat)
    place = s.m.must("readlink -f /dev/tally/place-1-1:1.0").strip()
    check("... and so does the name of its place", place == "/dev/" + node,
          "/dev/tally/place-1-1:1.0")
    check("the modem manager is kept off", "ID_MM_DEVICE_IGNORE=1" in says.split() and
          "ID_MM_PORT_IGNORE=1" in says.split())
    latency = s.m.run("cat /sys/bus/usb-serial/devices/%s/latency_timer" % node)[1].strip()
    check("latency timer", latency == "1", latency + " ms")
    stty = s.m.must("stty -F /dev/%s -a" % node)
    check("no hang-up at close, no echo", re.search(r"(?<!\w)-hupcl\b", stty) and
          re.search(r"(?<!\w)-echo\b", stty))
    since = s.m.mark()
    s.m.unplug("red")
    s.m.see("node", "^%s -" % node, since)
    s.m.see("link", "^red -", since)
    check("its name goes with it", True)


def check_start(s):
    """No meter is there but two adapters with one serial number."""
    a, _ = s.plug("same", 5, "SAME")
    b, _ = s.plug("again", 6, "SAME")
    s.m.must("udevadm settle -t 20")
    since = s.m.mark()
    s.m.must("busybox su -s /bin/sh tally -c 'echo $$ >/run/tally/pid; exec tallyd --say-all' 2>/run/said &")
    s.m.see("said", "^bench plug: 4 meters", since)
    s.m.must("tally --json watch --after 0 >/dev/ttyS3 2>/tmp/watch.txt &")
    s.m.must("tally meters tape red >/tmp/tape.rec 2>/tmp/tape.txt &")
    says = s.m.must("sed -n 's/^\\([UG]id\\|Groups\\):[\t ]*//p' /proc/%s/status" %
                    s.pid()).split("\n")
    check("the daemon is not root, and in the group of the nodes",
          says[0].split() == ["990"] * 4 and says[1].split() == ["990"] * 4 and
          set(says[2].split()) == {"20", "990"},
          "uid %s, groups %s" % (says[0].split()[0], says[2]))
    states = {m["name"]: m["state"] for m in parse(s.m.must("tally --json meters"))}
    check("absent meters at the start are normal",
          [states[name] for name in ("red", "blue", "green")] == ["absent"] * 3, states)
    _, said = s.m.see("said", "^twin: .*", since)
    check("two adapters with one serial number are refused, and both are named",
          all(word in said[0] for word in (a, b, "1-5:1.0", "1-6:1.0", "usb-place")), said[0])
    check("... none of them was opened", s.m.first("lines", "ttyUSB") is None)
    check("... and `tally meters` says why", "2 adapters fit" in s.meter("twin")["why"])
    since = s.m.mark()
    s.m.unplug("same")
    gone, _ = s.m.see("node", "^%s -" % a, since)
    t, _ = s.m.see("said", "^twin: line open at /dev/" + b, since)
    check("when one of them is pulled the other is taken", t - gone < TWO_SECONDS, ms(t - gone))
    since = s.m.mark()
    c, _ = s.plug("same", 5, "SAME")
    s.m.see("said", "^twin: line gone: ambiguous", since)
    _, said = s.m.see("said", "^twin: 2 adapters fit .*", since)
    check("when it comes back both are refused again", c in said[0] and b in said[0], said[0])
    since = s.m.mark()
    s.m.unplug("same")
    s.m.see("said", "^twin: line open at /dev/" + b, since)
    s.unplug("again", "twin", b)


def check_identity(s):
    """Every meter is known by what it sends."""
    s.m.meters["blue"].says = ["+22.22 kOhm"]
    s.m.meters["green"].says = ["+33.33 kOhm"]
    for name, port, serial, how in (("green", 4, "", "usb-place:1-4:1.0, and no serial number"),
                                    ("blue", 2, "AB02", "/dev/tally/blue"),
                                    ("red", 1, "AB01", "usb:0403:6001:AB01")):
        node, seconds = s.plug(name, port, serial, name)
        check("plugged: %s is open, by %s" % (name, how), seconds <= TWO_SECONDS,
              "%s at %s" % (ms(seconds), node))
    serial = s.m.must("cat /sys/bus/usb/devices/1-4/serial || true").strip()
    check("... green's adapter has none", serial == "" or "No such file" in serial)
    want = {"red": "overload", "blue": "22.22", "green": "33.33"}

    def shown():
        return {m["name"]: m["shown"] or "" for m in parse(s.m.must("tally --json meters"))}
    for _ in range(20):
        got = shown()
        if all(want[name] in got[name] for name in want):
            break
    check("each shows what its own meter sends", all(want[n] in got[n] for n in want), got)
    links = [s.m.must("readlink -f /dev/tally/" + name).strip() for name in want]
    check("three names, three nodes", len(set(links)) == 3, " ".join(links))


def check_frames(s):
    red = s.m.meters["red"]
    red.says = []
    before, _ = red.sent, s.m.must("sleep 1")
    counted = s.meter("red")["counters"]
    red.says, red.period = OPEN, 0.01
    s.m.wait(lambda: red.sent >= before + 400, 30, "400 frames")
    red.says, red.period = [], 0.25
    s.m.must("sleep 1")
    now = s.meter("red")["counters"]
    check("frames become readings, none lost, at 100 a second",
          now["readings"] - counted["readings"] == red.sent - before and
          now["bad"] == counted["bad"],
          "%d of %d" % (now["readings"] - counted["readings"], red.sent - before))


def check_touch(s, position, frames, legend):
    entries = s.touch(position, frames)
    good = len(entries) == 1 and entries[0]["position"] == position and \
        entries[0]["meter"] == "red" and entries[0]["settled"] is True and \
        abs(entries[0]["value"] / float(frames[0].split()[0]) / 1000 - 1) < 0.002
    check(legend, good, ["%s %s %s" % (e["position"], e["shown"], e["verdict"]) for e in entries])


def red_back(s, port, rest):
    """Red comes back, and says the rest of its frame; its node and seconds."""
    red = s.m.meters["red"]

    def talk(node, since):
        """It is in the middle of a frame when tallyd opens the line: what tallyd gets of
        it would pass for a whole one.  It begins when the rule's stty is done."""
        s.m.see("closed", "^%s$" % node, since)
        red.write(rest.encode() + b"\r\n+")
        for _ in range(500):
            if s.m.first("said", "^red: line open", since):
                break
            red.write(b"7")
            time.sleep(0.01)
        red.write(b".777 kOhm\r\n")
        red.says = OPEN
    return s.plug("red", port, "AB01", "red", talk)


def check_unplug(s):
    node = s.m.must("readlink -f /dev/tally/red").strip()[len("/dev/"):]
    rest = s.cut_off(CUT[0])
    gaps = len(s.records("gap", meter="red"))
    closed, said = s.unplug("red", "red", node)
    check("unplugged in mid-frame: its descriptors are closed", closed <= FD_SECONDS, ms(closed))
    check("... and it is said", said <= SAID_SECONDS, ms(said))
    red = s.meter("red")
    gone = s.m.wait(lambda: s.records("meter", meter="red", state="gone"), 5, "the meter record")
    check("... red is gone, with the cause", red["state"] == "absent" and
          gone[-1]["cause"] == "unplugged", "%s, %s" % (red["state"], gone[-1]["cause"]))
    other, _ = s.plug("same", 5, "SAME", "twin")
    again, seconds = red_back(s, 1, rest)
    check("another adapter took its number: red is back under a new one",
          other == node and again != node and seconds <= TWO_SECONDS,
          "%s after %s, %s" % (again, node, ms(seconds)))
    gap = s.m.wait(lambda: s.records("gap", meter="red")[gaps:], 5, "the gap record")
    check("one gap record, with its cause", len(gap) == 1 and gap[0]["cause"] == "unplugged" and
          gap[0]["from"] < gap[0]["to"], "%(from)s to %(to)s, %(cause)s" % gap[0])
    s.unplug("same", "twin", other)
    # Pulled once more, and its old number is still held by somebody.
    s.m.must("sleep 600 <>/dev/%s >/dev/null & echo $! >/tmp/holder" % again)
    rest = s.cut_off(CUT[1])
    closed, _ = s.unplug("red", "red", again)
    check("unplugged while another program has it open too: closed", closed <= FD_SECONDS,
          ms(closed))
    third, seconds = red_back(s, 1, rest)
    check("replugged while the old number is held", third != again and seconds <= TWO_SECONDS,
          "%s after %s, %s" % (third, again, ms(seconds)))
    s.m.must("kill $(cat /tmp/holder)")


def check_cycles(s):
    node = s.m.must("readlink -f /dev/tally/red").strip()[len("/dev/"):]
    fds, resident = s.fds(), s.resident()
    s.got_before = {name: meter.got for name, meter in s.m.meters.items()}
    back, closed = [], []
    for i in range(CYCLES):
        rest = s.cut_off(CUT[i % len(CUT)])
        closed.append(s.unplug("red", "red", node)[0])
        node, seconds = red_back(s, 1 if i % 2 else 3, rest)
        back.append(seconds)
    check("%d cycles: back in time each time, in either socket" % CYCLES,
          max(back) <= TWO_SECONDS, ms(*sorted(back)))
    check("... descriptors closed in time each time", max(closed) <= FD_SECONDS,
          ms(*sorted(closed)))
    now = s.fds()
    check("... the daemon's descriptors do not grow", now == fds,
          "%d before, %d after" % (fds, now))
    grown = s.resident() - resident
    check("... nor does its memory", grown < 512, "%+d kB" % grown)


def check_end(s):
    pid = s.pid()
    since = s.m.mark()
    for meter in s.m.meters.values():
        meter.says = []
    s.m.must("kill -TERM %s" % pid)
    s.m.see("said", "^SIGTERM", since)
    s.m.must("while [ -d /proc/%s ]; do sleep 0.1; done" % pid)
    check("at its end the daemon lets all lines go", s.m.see("lines", "^-$", since))
    status, says = s.m.run("tally --json verify /var/lib/tally/plug.db")
    answer = parse(says)[0] if status in (0, 1) else {"verdict": says, "records": 0}
    check("the seal is intact", status == 0, "%(verdict)s, %(records)d records" % answer)
    db = s.m.must("base64 /var/lib/tally/plug.db", 120)
    with open("plug.db", "wb") as f:
        f.write(base64.b64decode(db))
    rows = sqlite3.connect("plug.db").execute(
        "SELECT meter, function, value FROM reading WHERE value IS NOT NULL").fetchall()
    right = {"red": {float(f.split()[0]) * 1000 for f in R1 + R2} | {1e6, 3e5},
             "blue": {22220.0}, "green": {33330.0}, "twin": set()}
    false = [row for row in rows if row[1] != "ohm" or
             not any(abs(row[2] / v - 1) < 1e-9 for v in right[row[0]])]
    check("no reading from a piece of a frame, in all of the trail", rows and not false,
          "%d readings with a value, %d false %s" % (len(rows), len(false), false[:3] or ""))
    gaps = {name: len(s.records("gap", meter=name, cause="unplugged")) for name in s.unplugged}
    pulled = dict(s.unplugged)
    pulled["twin"] = pulled["twin"] - 1  # the last time it did not come back
    check("one gap record each time a meter went and came back", gaps == pulled, gaps)
    sent = {name: s.m.meters[name].got for name in ("red", "blue", "green")}
    # A node begins with the kernel's echo, for the moment until the first program that
    # opens it (the rule's stty) has switched it off: nobody can do it earlier.  These
    # meters talk into that moment when they are first plugged in; in the cycles, after.
    first = {name: len(got) for name, got in s.got_before.items() if got}
    print("note    bytes echoed before the rule had switched the echo off: %s" % (first or "none"))
    check("in all cycles nothing was sent to a meter, for all are listened to",
          all(len(sent[name]) == len(s.got_before[name]) for name in sent),
          {name: "%d bytes" % (len(sent[name]) - len(s.got_before[name])) for name in sent})


def write_down(machine):
    with open("seen.txt", "w") as f:
        for t, kind, text in machine.seen:
            f.write("%.6f %s %s\n" % (t, kind, text))
    with open("records.txt", "w") as f:
        for record in machine.records:
            f.write("%s\n" % record)


def main():
    try:
        ready = prepare()
    except Failure as why:
        print("check-plug cannot run: %s" % why)
        ready = False
    if not ready:
        return 2
    machine = Machine(os.path.join(OUT, "run"), ["red", "blue", "green", "same", "again"])
    try:
        machine.start()
        print("the virtual machine is up after %s s" %
              machine.must("cut -d' ' -f1 /proc/uptime").strip())
        s = Scene(machine)
        check_rules(s)
        check_start(s)
        check_identity(s)
        s.m.must("tally job start plugged && tally sheet load /etc/tally/sheet.csv && "
                 "tally reach lifted")
        check_frames(s)
        check_touch(s, "R1", R1, "a touch makes one entry, with its value")
        check_unplug(s)
        check_cycles(s)
        check_touch(s, "R2", R2, "a touch after all that makes one entry, too")
        check_end(s)
    except (Failure, LookupError, ValueError, StopIteration, OSError) as why:
        check("gone on to the end", False, "%s: %s" % (type(why).__name__, why))
    finally:
        write_down(machine)
        machine.end()
    print("%d passed, %d failed" % (passed, failed))
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
