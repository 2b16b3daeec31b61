#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""make check-pedal: foot switches at a virtual machine.

Two kinds of them: QEMU's USB keyboard (real USB, hot plug, usbhid), and keyboards of the
kernel's HID layer with feet that press to the millisecond (foot.c, /dev/uhid).  The
person is not root and in no group that may read keyboards; systemd-udevd gives her the
switch by the rule that `tally pedal` prints.  She works at the machine's own console
(tty1) with another keyboard (QEMU's PS/2 one): what leaks there is seen.

    tests/plug/check_pedal.py     as check.py; what is made lies in build/plug/pedal

The first process of the machine stands in for systemd-logind: it writes the one file in
which that says who sits there, and udev's own `uaccess` does the rest.
"""

import json
import os
import re
import sys
import time

import senses
from check import ROOT, check, ms
from console import Console
from senses import touch_of

DEVICES = "-device bochs-display,id=pedal".split()
SWITCH = "plug 1 1209:0002 A1 usb-test-1/input0 Foot Switch"
TWIN = "plug 2 1209:0002 A1 usb-test-2/input0 Foot Switch"
OTHER = "plug 3 1209:0003 - usb-test-3/input0 Treadle"
RULES = "/etc/udev/rules.d/70-tally-pedal.rules"
SETTINGS = "/home/person/.config/tally/tally.ini"
# A contact that chatters when it closes, under the foot and when it opens.
BOUNCE = "+b 1 -b 0.5 +b 2 -b 1 +b 4 -b 8 +b 120 -b 5 +b 90 -b 1 +b 3 -b 2 +b 1 -b"


class Foot:
    """What is done to the switches of foot.c, and what a running `tally` says of them."""

    def __init__(self, bench):
        self.b, self.m = bench, bench.m
        self.m.must("modprobe uhid && mkfifo /tmp/foot && foot /tmp/foot >/run/said & sleep 1")

    def do(self, order, until, seconds=60):
        """An order to foot, until it says so: when (in the guest)."""
        since = self.m.mark()
        self.m.must("echo '%s' >/tmp/foot" % order)
        return self.m.see("said", r"^\d+\.\d+ foot %s$" % re.escape(until), since, seconds)[0]

    def plug(self, order):
        at = self.do(order, order.split()[1] + " there")
        self.m.must("sleep 0.3; udevadm settle -t 20")
        return at

    def unplug(self, n):
        return self.do("unplug %d" % n, "%d gone" % n)

    def play(self, n, keys):
        return self.do("play %d %s" % (n, keys), "%d played" % n)

    def stamps(self, since):
        """When each key went down or up: [(seconds, "+b")...]."""
        with self.m.lock:
            said = [re.match(r"(\d+\.\d+) foot \d ([+-]\w)$", text)
                    for _, kind, text in self.m.seen[since:] if kind == "said"]
        return [(float(s[1]), s[2]) for s in said if s]


class Test:
    """A `tally pedal test --json` of the person, its lines with the time in the guest."""

    def __init__(self, bench, name="test"):
        self.m, self.name = bench.m, name
        self.since = self.m.mark()
        self.m.must(bench.person("echo $$ >/tmp/person/%s.pid; exec tally --json pedal test "
                                 ">/run/said 2>&1" % name) + " &")

    def lines(self, since=None):
        with self.m.lock:
            said = [(t, text) for t, kind, text in self.m.seen[since or self.since:]
                    if kind == "said" and text.startswith("{")]
        return [(t, json.loads(text)) for t, text in said]

    def wait(self, legend, what, since=None, seconds=60):
        """The first line that fits: (time, line)."""
        return self.m.wait(lambda: next(((t, x) for t, x in self.lines(since) if what(x)), None),
                           seconds, legend)

    def state(self, state, since=None, seconds=60):
        return self.wait("the state " + state, lambda x: x.get("state") == state, since, seconds)

    def actions(self, since):
        return [x["action"] for _, x in self.lines(since) if "action" in x]

    def end(self):
        self.m.run("kill -INT $(cat /tmp/person/%s.pid); sleep 0.5" % self.name)


# ---- the right to it ----

def event_of(b, name, which=0):
    """/dev/input/eventN of the device of this name."""
    return b.m.must("grep -l '^%s$' /sys/class/input/event*/device/name | sort -V | sed -n %dp" %
                    (name, which + 1)).strip().split("/")[4]


def may_read(b, user, event):
    return b.m.run("busybox su -s /bin/sh %s -c 'head -c 0 </dev/input/%s'" % (user, event))[0] == 0


def check_right(b, foot):
    foot.plug(SWITCH)
    foot.plug(OTHER)
    event = event_of(b, "Foot Switch")
    check("a new switch is nobody's but root's and the group input's",
          b.m.must("stat -c '%%a %%U:%%G' /dev/input/%s" % event).strip() == "660 root:input")
    status, says = b.m.run(b.person("tally pedal choose </dev/null"))
    rule = re.search(r"# Foot Switch\n +(SUBSYSTEM.*)", says)
    check("without the right: choosing says which file, which line, and what to do then",
          status == 2 and RULES in says and rule and "plug it in again" in says,
          "status %d" % status)
    line = rule[1]
    # As the words say: into the file, reload, unplug, plug.
    b.m.must("echo '%s' >%s && udevadm control --reload" % (line, RULES))
    foot.unplug(1)
    foot.plug(SWITCH)
    event = event_of(b, "Foot Switch")
    check("with that line udev gives it to who sits at the machine", may_read(b, "person", event),
          line[:200])
    check("... to nobody else", not may_read(b, "other", event))
    others = [event_of(b, "Treadle"), event_of(b, "AT Translated Set 2 keyboard")]
    check("... and nothing else: no keyboard, no other switch",
          not any(may_read(b, "person", e) for e in others), " ".join(others))
    return line


def check_group_rule(b, foot):
    """The other line of udev/70-tally-pedal.rules: for who does not sit there."""
    text = open(os.path.join(ROOT, "udev/70-tally-pedal.rules")).read()
    line = next(x for x in text.splitlines() if 'GROUP="dialout"' in x).lstrip("# ")
    b.m.must("cp %s /tmp/kept.rules; echo '%s' >%s; udevadm control --reload" %
             (RULES, line, RULES))
    foot.unplug(1)
    foot.plug(SWITCH)
    event = event_of(b, "Foot Switch")
    check("the shipped line for a group gives it to that group",
          b.m.must("stat -c '%%a %%G' /dev/input/%s" % event).strip() == "660 dialout" and
          may_read(b, "tally", event) and not may_read(b, "other", event))
    b.m.must("cp /tmp/kept.rules %s; udevadm control --reload" % RULES)
    foot.unplug(1)
    foot.plug(SWITCH)


# ---- chosen by pressing it ----

def check_choose(b, foot, console):
    console.run("tally pedal choose")
    console.until("Press the foot switch once")
    foot.play(1, "+b 80 -b")
    console.until("Is this the foot switch")
    screen = console.screen()
    check("chosen by pressing it: it is named, with its key", re.search(
        r"/dev/input/event\d+, Foot Switch: KEY_B", screen))
    check("... and its letter is not on the screen", not re.search(r"^ *b", screen, re.M))
    console.type("yes\n")
    console.until("KEY_B pressed:")
    console.type("take\n")
    for key, action in (("c", "next"), ("d", "back"), ("e", "again"), ("f", "say")):
        console.until("Press the next button[^_]*$")
        foot.play(1, "+%s 80 -%s" % (key, key))
        console.until("KEY_%s pressed:" % key.upper())
        console.type(action + "\n")
    console.until("Press the next button[^_]*$")
    console.type("\n")
    console.until("Kept in")
    kept = b.m.must("cat " + SETTINGS)
    check("... and kept by what it is, each button with its action",
          "device = usb:1209:0002 uniq=A1 phys=input0 name=Foot Switch" in kept and
          "KEY_B take, KEY_C next, KEY_D back, KEY_E again, KEY_F say" in kept,
          " ".join(kept.split()))


# ---- had alone, debounced, back again ----

def check_press(b, foot, console):
    m = b.m
    console.leak()
    t = Test(b)
    t.state("ready")
    late = []
    for _ in range(10):
        since = m.mark()
        foot.play(1, "+b 90 -b 150")
        at = next(s for s, key in foot.stamps(since) if key == "+b")
        late.append(t.wait("take", lambda x: x.get("action") == "take", since)[0] - at)
    late.sort()
    check("a press is an action at once, at its first contact", late[-1] < 0.1,
          "median %s, longest %s, here" % (ms(late[5]), ms(late[-1])))
    since = m.mark()
    for _ in range(5):
        foot.play(1, BOUNCE + " 150")
    got = t.actions(since)
    check("five presses of a contact that chatters all the way: five actions", got == ["take"] * 5,
          got)
    since = m.mark()
    foot.play(1, "+b 3000 -b 150")
    repeats = sum(x.get("is") == "repeats" for _, x in t.lines(since))
    check("a foot that rests for three seconds, with the kernel's auto-repeat: one action",
          t.actions(since) == ["take"] and repeats > 20, "%d repeats" % repeats)
    since = m.mark()
    foot.play(1, "+b -b 200 +b 1 -b 200")
    check("down and up within one moment is a press, too", t.actions(since) ==
          ["take"] * 2, t.actions(since))
    since = m.mark()
    foot.play(1, "+c 30 +d 200 -c 50 -d 150")
    check("a foot on two pedals means the first alone", t.actions(since) == ["next"],
          t.actions(since))
    since = m.mark()
    foot.play(1, "+b 80 -b 150 +c 80 -c 150 +d 80 -d 150 +e 80 -e 150 +f 80 -f 150 +g 80 -g 150")
    check("five pedals, five actions, and a sixth does nothing", t.actions(since) ==
          ["take", "next", "back", "again", "say"], t.actions(since))
    m.must("sleep 0.5")
    leak = m.must("cat /tmp/leak")
    check("all this while no letter of it got to the console", leak == "", repr(leak))
    m.key(None, "x", True)
    m.key(None, "x", False)
    foot.play(3, "+y 80 -y 100")
    m.must("sleep 0.5")
    leak = m.must("cat /tmp/leak")
    check("... while another keyboard types on, and a switch that was not chosen", leak == "xy",
          repr(leak))
    return t


def check_replug(b, foot, t):
    m = b.m
    old = event_of(b, "Foot Switch")
    since = m.mark()
    m.must("echo 'play 1 +b 200' >/tmp/foot")
    m.see("said", r"foot 1 played$", since)
    gone_at = foot.unplug(1)
    gone, line = t.state("away", since)
    check("pulled out with a foot on it: it is said", "is gone: plug it in again" in line["words"],
          "%s, %s" % (line["words"], ms(gone - gone_at)))
    foot.plug("plug 4 1209:0009 - - Something else")  # takes its number
    since = m.mark()
    there_at = foot.plug(SWITCH)
    ready, line = t.state("ready", since)
    new = event_of(b, "Foot Switch")
    check("plugged in again under another number: it is said, and is ready", new != old,
          "%s after %s, %s after it was plugged, %s" % (new, old, ms(ready - there_at),
                                                       line["words"]))
    m.must("sleep 1")
    check("... and no action came of it all", t.actions(since) == [])
    foot.play(1, "+b 90 -b 150")
    check("... one press, one action", t.actions(since) == ["take"], t.actions(since))
    foot.unplug(4)


def check_two(b, foot, t):
    m = b.m
    since = m.mark()
    foot.unplug(1)
    t.state("away", since)
    foot.plug(TWIN)
    since = m.mark()
    foot.plug(SWITCH)
    m.must("sleep 2")
    one = [x["words"] for _, x in t.lines(since) if "state" in x]
    # The first of them was taken when it came alone: that one stays in use.
    foot.play(1, "+b 90 -b 150")
    foot.play(2, "+b 90 -b 150")
    in_use = t.actions(since)
    t.end()
    t = Test(b)
    _, line = t.state("trouble")
    check("two that say the same of themselves: neither is guessed, both are counted",
          "2 devices are what was chosen" in line["words"], line["words"])
    since = m.mark()
    foot.play(1, "+b 90 -b 150")
    check("... and neither acts", t.actions(since) == [])
    check("... while one that was in use stays in use, and the newcomer does nothing",
          in_use == ["take"], "%s %s" % (in_use, one))
    since = m.mark()
    foot.unplug(2)
    t.state("ready", since)
    check("... until one of them is gone", True)
    again = Test(b, "again")
    _, line = again.state("trouble")
    check("a second program that wants it is told so", "another program has" in line["words"],
          line["words"])
    again.end()
    t.end()
    return Test(b)


def check_stopped(b, foot, t):
    """The program stands still while feet move: what is late does nothing."""
    m = b.m
    t.state("ready")
    m.must("kill -STOP $(cat /tmp/person/test.pid)")
    since = m.mark()
    foot.play(1, "+b 90 -b 100 +c 90 -c 100")
    m.must("sleep 2; kill -CONT $(cat /tmp/person/test.pid); sleep 1")
    check("what was pressed while the program stood still does nothing later",
          t.actions(since) == [], t.actions(since))
    foot.play(1, "+c 90 -c 150")
    check("... and the next press does what it says", t.actions(since) == ["next"])
    t.end()
    m.must("echo 'play 1 +b 4000 -b 300' >/tmp/foot; sleep 0.3")
    since = m.mark()
    t = Test(b)
    waits = t.state("wait")
    ready = t.state("ready")
    up = next(at for at, key in foot.stamps(since) if key == "-b")
    m.must("sleep 0.5")
    check("a foot on it when the program starts: it waits for the foot to leave, and does nothing",
          waits[0] < up < ready[0] and t.actions(since) == [], waits[1]["words"])
    return t


def check_second(b, foot, t):
    """One button, three actions."""
    m = b.m
    t.end()
    m.must("cp %s /tmp/kept.ini" % SETTINGS)
    m.must(b.person("sed -i \"s/^buttons.*/buttons = KEY_B take long undo double next, "
                    "KEY_C back/\" %s" % SETTINGS))
    t = Test(b)
    t.state("ready")
    for legend, keys, want in (
            ("once", "+b 90 -b 600", ["take"]),
            ("twice", "+b 90 -b 110 +b 90 -b 600", ["next"]),
            ("twice, chattering", BOUNCE + " 110 " + BOUNCE + " 600",
             ["next"]),
            ("held", "+b 1000 -b 600", ["undo"]),
            ("twice, slowly", "+b 90 -b 600 +b 90 -b 600", ["take", "take"]),
            ("once, then another button", "+b 90 -b 80 +c 90 -c 600", ["take", "back"])):
        since = m.mark()
        foot.play(1, keys)
        m.must("sleep 0.5")
        check("a button with three actions, %s: %s" % (legend, " ".join(want)),
              t.actions(since) == want, t.actions(since))
    t.end()
    m.must("cp /tmp/kept.ini %s" % SETTINGS)


# ---- a switch on real USB ----

def check_usb(b, console):
    """QEMU's USB keyboard: usbhid, no serial number but the one we give, hot plug."""
    m = b.m
    console.leak()
    m.add("usb-kbd", "kbd", 2, display="pedal", serial="F7")
    m.must("sleep 1; udevadm settle -t 20")
    event = event_of(b, "QEMU QEMU USB Keyboard")
    said = m.must("udevadm info -a -n /dev/input/%s" % event)
    phys = re.search(r'ATTRS\{phys\}=="(usb[^"]*)"', said)[1]
    m.must(b.person("sed -i \"s|^device.*|device = usb:0627:0001 phys=%s name=QEMU QEMU USB "
                    "Keyboard|; s/^buttons.*/buttons = KEY_Q take, KEY_W next/\" %s" %
                    (phys, SETTINGS)))
    t = Test(b)
    _, line = t.state("trouble")
    rule = line["words"].split("\n")[-1]
    check("a USB switch without the right to it: the running program says the line, too",
          RULES in line["words"] and 'ATTRS{id/vendor}=="0627"' in rule, rule)
    m.must("echo '%s' >>%s; udevadm control --reload" % (rule, RULES))
    since = m.mark()
    m.remove("kbd")
    t.state("away", since)
    since = m.mark()
    m.add("usb-kbd", "kbd", 2, display="pedal", serial="F7")
    t.state("ready", since)
    for key in ("q", "w"):
        m.key("pedal", key, True)
        time.sleep(0.2)
        m.key("pedal", key, False)
        m.must("sleep 0.2")
    check("plugged in again it is ready, and its keys act", t.actions(since) == ["take", "next"],
          t.actions(since))
    since = m.mark()
    m.key("pedal", "q", True)
    m.must("sleep 2")
    m.remove("kbd")
    t.state("away", since)
    check("held down, then pulled out of the socket: one action, and it is said",
          t.actions(since) == ["take"], t.actions(since))
    since = m.mark()
    m.add("usb-kbd", "kbd", 3, display="pedal", serial="F7")
    m.must("sleep 2.5")
    words = [x["words"] for _, x in t.lines(since) if "state" in x]
    check("in another socket it is not the same one, where it is known by its place",
          words and "one like it is at another" in words[-1] and t.actions(since) == [], words)
    t.end()
    m.must(b.person("sed -i \"s|^device.*|device = usb:0627:0001 uniq=F7 phys=input0 "
                    "name=QEMU QEMU USB Keyboard|\" %s" % SETTINGS))
    since = m.mark()
    t = Test(b)
    t.state("ready")
    m.key("pedal", "w", True)
    m.must("sleep 0.2")
    m.key("pedal", "w", False)
    m.must("sleep 0.5")
    check("... where it is known by its serial number it is", t.actions(since) == ["next"],
          t.actions(since))
    leak = m.must("cat /tmp/leak")
    check("no letter of it got to the console", leak == "", repr(leak))
    m.remove("kbd")
    t.end()
    console.leak(False)
    m.must("cp /tmp/kept.ini %s" % SETTINGS)


# ---- at the bench ----

def check_bench(b, foot, console):
    m = b.m
    m.must(b.person("sed -i \"s/^buttons.*/&, KEY_G undo, KEY_H other/\" %s" % SETTINGS))
    m.must("printf '[speech]\\nuse = none\\n' >>" + SETTINGS)
    m.must("tally walk off; tally at R1")
    console.run("tally bench")
    console.until("R1")
    console.until("foot switch: Foot Switch is ready|Foot Switch is ready")
    check("the full screen on the console says that the switch is ready", True)

    def press(key):
        foot.play(1, "+%s 90 -%s 150" % (key, key))

    def at(position):
        for _ in range(40):
            if b.at() == position:
                return True
            m.must("sleep 0.1")
        return False

    press("c")
    check("next: the next position is up", at("R2"), b.at())
    press("d")
    check("back: the one before is up again", at("R1"), b.at())
    red = m.meters["red"]
    start, sent = len(m.records), red.sent
    red.says = ["OL MOhm"]
    m.wait(lambda: red.sent >= sent + 6, 60, "open leads")
    press("b")
    entries = m.wait(lambda: b.entries(start), 30, "the entry by take")
    check("take: the overload is an entry, as it was asked for", len(entries) == 1 and
          entries[0]["state"] == "overload" and entries[0]["position"] == "R1",
          "%(position)s %(state)s" % entries[0])
    b.lift()
    start = len(m.records)
    b.touch(touch_of("100.2"))
    check("a touch after that makes no second entry", b.entries(start) == [])
    press("e")
    m.must("sleep 1.5")
    b.touch(touch_of("100.3"))
    entries = b.entries(start)
    check("again: it is measured again", len(entries) == 1 and
          abs(entries[0]["value"] / 100.3e3 - 1) < 0.002,
          ["%(position)s %(shown)s" % e for e in entries])
    # `say` is heard, not seen: check_sound.py hears it.
    m.must("tally at R2; sleep 1.5")
    start = len(m.records)
    b.touch(touch_of("22.01"), lift=False)
    m.must("sleep 1")
    held = b.entries(start)
    press("h")
    entries = m.wait(lambda: b.entries(start), 30, "the entry of what was held")
    check("other: a value that looks like R3 was held at R2, and is R3's by the pedal",
          held == [] and [e["position"] for e in entries] == ["R3"],
          "%(position)s %(shown)s" % entries[0])
    b.lift()
    press("g")
    struck = m.wait(lambda: [r for r in m.records[start:] if r["kind"] == "strike"], 30, "a strike")
    check("undo: it does not count", struck[0]["of"] == entries[0]["seq"],
          "record %d" % struck[0]["of"])
    m.must("tally at R1; sleep 0.5")
    start = len(m.records)
    foot.play(1, "+q 90 -q 150 +u 90 -u 150 +n 90 -n 150 +x 90 -x 300")
    m.must("sleep 1")
    check("keys of it that have no action do nothing at the screen, not even q",
          console.runs() and b.at() == "R1" and
          not [r for r in m.records[start:] if r["kind"] in ("entry", "strike")])
    foot.unplug(1)
    console.until("is gone: plug it in again")
    check("pulled out: the screen says so", True)
    foot.plug(SWITCH)
    console.until("Foot Switch is ready")
    press("c")
    check("... plugged in: the screen says so, and it acts", at("R2"), b.at())
    console.press("b")
    check("the keyboard goes on beside it", at("R1"), b.at())
    console.type("q")
    for _ in range(50):
        if not console.runs():
            break
        m.must("sleep 0.2")
    check("q on the keyboard ends it", not console.runs())
    console.leak()
    foot.play(1, "+b 90 -b 150")
    m.must("sleep 0.5")
    check("after that it is let go: it types as before", m.must("cat /tmp/leak") == "b")
    t = Test(b)
    t.state("ready")
    foot.play(1, "+b 90 -b 150")
    m.must("kill -9 $(cat /tmp/person/test.pid); sleep 0.3; cp /tmp/leak /tmp/leak.1")
    foot.play(1, "+b 90 -b 150")
    m.must("sleep 0.5")
    check("... and so it is when the program was killed", m.must("cat /tmp/leak.1") == "b" and
          m.must("cat /tmp/leak") == "bb")
    console.leak(False)


def main(b):
    b.start()
    # Who sits at the machine, as systemd-logind would say it.
    b.m.must("mkdir -p /run/systemd/seats && printf 'ACTIVE=1\\nACTIVE_UID=1000\\n' "
             ">/run/systemd/seats/seat0")
    foot, console = Foot(b), Console(b)
    check_right(b, foot)
    check_group_rule(b, foot)
    check_choose(b, foot, console)
    t = check_press(b, foot, console)
    check_replug(b, foot, t)
    t = check_two(b, foot, t)
    t = check_stopped(b, foot, t)
    check_second(b, foot, t)
    check_usb(b, console)
    check_bench(b, foot, console)


if __name__ == "__main__":
    sys.exit(senses.begin("pedal", main, DEVICES))
