#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""make check-sound: what is heard, through the kernel's drivers of two sound cards.

The virtual machine has an HDA card and USB sockets for an USB one; ALSA mixes (dmix) as on
a desktop without a sound server.  QEMU writes what the cards play into files, and these are
looked at: is each tone there, with its pitch, rhythm and length, without a click; when did
it begin; what happens where a card is missing, pulled out, plugged in again.  Speech is the
real espeak-ng on the same card; a shell file before it on PATH notes what it was told.

    tests/plug/check_sound.py     as check.py; what is made lies in build/plug/sound
                                  (heard.wav and usb.wav: listen to them)

A place in heard.wav is a time of the guest: a program plays silence, so the card never
stops, and the kernel says when it began (trigger_time in /proc/asound).
"""

import re
import sys
import time

import senses
from check import ROOT, check, ms
from console import Console
from listen import Ear, matches, table
from senses import OPEN, touch_of

WAV = "out.frequency=48000,out.channels=2,out.format=s16"
DEVICES = ("-audiodev wav,id=card,path=heard.wav,%s -audiodev wav,id=usb,path=usb.wav,%s "
           "-device intel-hda -device hda-output,audiodev=card,mixer=off" % (WAV, WAV)).split()
SETTINGS = "/home/person/.config/tally/tally.ini"
# Notes what is said, then says it.
NOTED = r"""#!/bin/sh
cat >/tmp/person/text.$$
echo "speaks $(cat /tmp/person/text.$$)" >/run/said
exec /usr/bin/espeak-ng "$@" </tmp/person/text.$$
"""
TONES = {name: (gain, notes) for name, gain, notes in table(ROOT)}


class Sound:
    def __init__(self, bench):
        self.b, self.m = bench, bench.m
        self.ear = Ear("heard.wav")
        self.console = Console(bench)

    def card(self, on):
        """The driver has the HDA card, or not."""
        self.m.must("cd /sys/bus/pci/drivers/snd_hda_intel; "
                    "c=$(cat /tmp/hda 2>/dev/null || basename $(ls -d 0000:*)); "
                    "echo $c >/tmp/hda; echo $c >%s; sleep 1; udevadm settle -t 20" %
                    ("bind" if on else "unbind"))

    def hush(self):
        """The card plays from now on for ever; when it began."""
        self.m.must("hush >/tmp/hush.txt 2>&1 & sleep 1")
        text = self.m.must("cat /proc/asound/card0/pcm0p/sub0/status")
        self.began = float(re.search(r"trigger_time: (\S+)", text)[1])

    def late(self, since):
        """Did the machine stand still since then, so that what was heard has a hole?"""
        return [float(t) for t in re.findall(r"(?m)^(\S+) late", self.m.must("cat /tmp/hush.txt"))
                if float(t) > since]

    def calm(self, what):
        """what() gives (good, more); again where it is not good and the machine stood still."""
        for _ in range(3):
            since = self.now()
            good, more = what()
            if good or not self.late(since):
                break
            print("note    once more: the machine stood still while this was heard")
        return good, more

    def now(self):
        """Seconds of the guest."""
        return float(self.m.must("cut -d' ' -f1 /proc/uptime"))

    # For the kernel it is unplugged.  QEMU is left in peace: while it plugs it may stand still
    # for a moment on a busy host, and the card's file then lacks a piece of what sounded.
    PULL = "echo 0 >/sys/bus/usb/devices/1-1/authorized"
    BACK = "echo 1 >/sys/bus/usb/devices/1-1/authorized"

    def settle(self, seconds=0.5):
        self.m.must("sleep %g" % seconds, 30 + 5 * seconds)

    def notes(self, since, until=None):
        """What was heard from a time of the guest on; `at` is of the guest, too."""
        got = self.ear.notes(since - self.began, (until or self.now()) - self.began - 0.05)
        for n in got:
            n.at += self.began
        return got

    def tones(self, since, until=None):
        """The names of the tones, in turn; a note that is of none stands for itself."""
        left, names = self.notes(since, until), []
        while left:
            for name, (_, pattern) in sorted(TONES.items(), key=lambda x: -len(x[1][1])):
                if not matches(left[:len(pattern)], pattern):
                    names.append((left[0].at, name))
                    left = left[len(pattern):]
                    break
            else:
                names.append((left[0].at, repr(left.pop(0))))
        return names

    def settings(self, **keys):
        """sound_volume=50 is `volume = 50` in [sound]."""
        lines = []
        for section in ("sound", "speech"):
            lines.append("[%s]" % section)
            lines += ["%s = %s" % (k[len(section) + 1:], v) for k, v in keys.items()
                      if k.startswith(section + "_")]
        self.m.must(self.b.person("mkdir -p /home/person/.config/tally; printf \"%s\\n\" >%s" %
                                  ("\\n".join(lines), SETTINGS)))

    def bench(self):
        self.console.run("tally bench")
        self.console.until(r"space take")
        self.settle(1.5)

    def leave(self):
        self.console.press("q")
        for _ in range(100):
            if not self.console.runs():
                return True
            self.m.must("sleep 0.1")
        return False


def names(tones):
    return [name for _, name in tones]


# ---- no card ----

def check_none(s):
    """A bench computer that has no sound at all."""
    m, b = s.m, s.b
    s.card(False)
    s.settings(speech_use="none")
    began = s.now()
    status, says = m.run(b.person("tally sound check"), 120)
    check("no card: the sound check says so, and is no failure", status == 0 and
          "no sound: the audio device default is not there" in says,
          re.search(r"tally: (no sound.*)|$", says)[1])
    check("... and takes no time over it", s.now() - began < 15, "%.1f s" % (s.now() - began))
    m.must("tally at R1")
    s.console.run("tally bench")
    s.console.until(r"space take")
    start = len(m.records)
    b.touch(touch_of("100.0"))
    check("no card: the bench works", len(b.entries(start)) == 1)
    screen = s.console.screen()
    check("... with a note on the screen", "no sound: the audio device default" in screen,
          re.search(r"no sound.*", screen) and re.search(r"no sound.*", screen)[0].strip())
    s.card(True)
    s.hush()
    since = s.now()
    s.console.press("kp_add")
    s.settle(1.5)
    check("a card that comes later is taken with the next tone",
          names(s.tones(since)) == ["logged"], s.tones(since))
    check("... and that is said", "sounds again" in s.console.screen())
    _, says = m.run(b.person("tally sound check | head -n 1").replace("person -c", "other -c"), 120)
    check("who has no right to the card is told so, and the cure",
          "is not yours to use: join the group audio" in says, says.splitlines()[0])
    check("... and the bench ends as it should", s.leave())
    s.settings(sound_device="hw:0", speech_use="none")
    _, says = m.run(b.person("tally sound check | head -n 1"), 120)
    check("a card that another program has for itself: that is said",
          "hw:0 is held by another program" in says, says.splitlines()[0])


# ---- the tones ----

def check_tones(s):
    m, b = s.m, s.b
    heard = {}
    for volume in (100, 70, 20):
        s.settings(sound_volume=volume, speech_use="none")

        def checked():
            since, wrong = s.now(), []
            m.must(b.person("tally sound check"), 300)
            s.settle()
            left = s.notes(since)
            notes = left[:]
            for name, _, _ in table(ROOT):
                pattern = TONES[name][1]
                bad = matches(left[:len(pattern)], pattern)
                left = left[len(pattern):]
                if bad:
                    wrong.append("%s: %s" % (name, bad))
            return not wrong, (wrong, notes, left)
        _, (wrong, heard[volume], left) = s.calm(checked)
        check("volume %d: all %d tones, each with its pitch, length and rhythm, no click" %
              (volume, len(TONES)), not wrong, wrong[:3] or "worst pitch %.2f %%, roughest %.2f" % (
                  max(abs(n.hertz / hz - 1) for n, hz in zip(heard[volume], (
                      hz for name, _, _ in table(ROOT) for hz, _ in TONES[name][1]))) * 100,
                  max(n.click for n in heard[volume])))
        tune = [n for n in left if n.ms > 30]
        check("... and the pitch of what is set by ear, without a click", len(tune) >= 6 and
              max(n.click for n in tune) < 1.1, "%d notes, %s Hz" % (
                  len(tune), sorted({round(n.hertz) for n in tune})))
    peaks = {v: heard[v][0].peak for v in heard}
    want = {v: peaks[100] * (v / 100) ** 2 for v in heard}
    check("loudness goes with the square of the volume", all(
        abs(peaks[v] - want[v]) < 5 for v in peaks), peaks)
    check("... and the loudest does not clip", max(n.peak for n in heard[100]) < 32767,
          max(n.peak for n in heard[100]))
    for legend, keys in (("muted", {"sound_mute": "yes"}), ("volume 0", {"sound_volume": 0})):
        s.settings(speech_use="none", **keys)
        since = s.now()
        m.must(b.person("tally sound check"), 120)
        s.settle()
        check("%s: nothing is heard" % legend, s.notes(since) == [])


# ---- at the bench ----

def record_of(s, since, kind):
    """When a client was told of this record: it is durable by then."""
    return s.m.see("said", r'^\{"seq":\d+,.*"kind":"%s"' % kind, since)[0]


def check_bench(s):
    m, b = s.m, s.b
    s.settings(sound_volume=70, speech_use="none")
    m.must("tally --json watch >/run/said & echo $! >/tmp/watch.pid")
    m.must("tally walk off; tally at R2")
    s.bench()

    def touch(position, value, want, **more):
        def touched():
            m.must("tally at %s; sleep 1.5" % position)
            since, mark = s.now(), m.mark()
            b.touch(touch_of(value, **more))
            s.settle()
            heard = s.tones(since)
            return names(heard) == [want], (record_of(s, mark, "entry"), heard)
        _, (told, heard) = s.calm(touched)
        legend = {"logged": "an entry within its limits", "outside": "one outside",
                  "unsure": "one that is unsure"}[want]
        check("%s: %s" % (want, legend), names(heard) == [want], heard)
        return heard[0][0] - told

    late = [touch("R2", "47.01", "logged"), touch("R3", "25.50", "outside"),
            touch("R4", "10.09", "unsure"), touch("R2", "47.02", "logged"),
            touch("R2", "47.03", "logged")]
    # Two clients on one slow processor: which of them is the first is chance.
    check("a tone begins when another client has the record", min(late) > -0.1 and max(late) < 0.4,
          "%s after it" % ms(*sorted(late)))
    red = m.meters["red"]
    m.must("tally at R5; sleep 1.5")

    def moving():
        since, value, red.says = s.now(), 1.0, []
        for _ in range(25):
            value *= 1.03
            red.write(b"+%.4f kOhm\r\n" % value)
            m.must("sleep 0.25")
        s.settle()
        heard = s.tones(since)
        red.says = OPEN
        s.settle(2)
        return names(heard) == ["keeps moving"], heard
    good, heard = s.calm(moving)
    check("keeps moving: its tone, once", good, heard)
    since = s.now()
    m.must(s.PULL)
    s.settle(2)
    check("meter lost: its tone", names(s.tones(since)) == ["meter gone"], s.tones(since))
    since = s.now()
    m.must(s.BACK)
    s.settle(3)
    check("meter back: its tone", names(s.tones(since)) == ["meter back"], s.tones(since))
    since = s.now()
    m.must("tally job live")
    s.settle(2)
    check("live: its tone", "live" in names(s.tones(since)), s.tones(since))
    since = s.now()
    b.touch(touch_of("1.00"))
    s.settle(2)
    check("refused: ohms on a unit that is live", names(s.tones(since)) == ["refused"],
          s.tones(since))
    m.must("tally job cold")
    s.settle(2)


def check_durable(s):
    """The disk stands still: nothing may sound until the record is on it."""
    m, b = s.m, s.b
    m.must("tally at R2; sleep 1.5")
    since, mark, start = s.now(), m.mark(), len(m.records)
    m.must("fsfreeze --freeze /var/lib/tally")
    b.touch(touch_of("47.01"), lift=False)
    s.settle(3)
    still = s.now()
    check("the disk is frozen and the value has settled: no record, and no tone",
          b.entries(start) == [] and s.notes(since, still) == [], s.tones(since, still))
    thawed = s.now()
    m.must("fsfreeze --unfreeze /var/lib/tally")
    told = record_of(s, mark, "entry")
    s.settle(1)
    heard = s.tones(since)
    check("... it goes on: the record is written, and it sounds", names(heard) == ["logged"] and
          told > thawed and heard[0][0] > thawed, "record %s, tone %s after the disk went on" %
          (ms(told - thawed), ms(heard[0][0] - thawed)))
    b.lift()
    s.settle()


def check_keys(s):
    """Volume, mute and the sound check by keys."""
    m = s.m
    peaks = []
    for _ in range(3):
        since = s.now()
        s.console.press("kp_add")
        s.settle(0.8)
        peaks.append([n.peak for n in s.notes(since)])
    check("three times louder: each with its tone, each louder",
          [len(p) for p in peaks] == [1] * 3 and peaks[0] < peaks[1] < peaks[2], peaks)
    s.console.press("z")
    s.settle()
    since = s.now()
    m.must(s.PULL)
    s.settle(2)
    m.must(s.BACK)
    s.settle(3)
    check("muted: even an alarm is silent, and the screen says what is off",
          s.notes(since) == [] and "are on" not in s.console.screen())
    s.console.press("z")
    s.settle()
    since = s.now()
    s.console.press("y")
    s.settle(36)
    got = names(s.tones(since))
    check("the sound check of the bench: every tone", got[:len(TONES)] == [
        name for name, _, _ in table(ROOT)], got)
    check("left", s.leave())
    kept = m.must("cat " + SETTINGS)
    check("... and the volume is kept", "volume = 100" in kept, kept.split())


# ---- words ----

def spoken(s, mark):
    with s.m.lock:
        return [(t, text[7:]) for t, kind, text in s.m.seen[mark:]
                if kind == "said" and text.startswith("speaks ")]


def check_words(s):
    m, b = s.m, s.b
    s.settings(sound_volume=70, speech_use="espeak-ng", speech_language="en")
    s.bench()
    s.settle(8)
    mark, since = m.mark(), s.now()
    m.must("tally at R3")
    s.settle(5)
    said, heard = spoken(s, mark), s.ear.sounds(since - s.began, s.now() - s.began - 0.05)
    check("the next name is spoken, once", len(said) == 1 and "R three" in said[0][1], said)
    words = [x for x in heard if x[0] + s.began > said[0][0]]
    long = words[-1][1] - words[0][0] if words else 0
    check("... and it is heard: speech after its tone", len(words) > 0 and long > 0.4 and
          words[0][0] + s.began - said[0][0] < 1.0, "%.1f s long, begins %s after espeak-ng" % (
              long, ms(words[0][0] + s.began - said[0][0]) if words else "-"))
    mark, since = m.mark(), s.now()
    b.touch(touch_of("25.50"))
    s.settle(7)
    said = spoken(s, mark)
    check("a verdict that is not within is spoken, with its value in words",
          said and "R three" in said[0][1] and "twenty-five point five zero" in said[0][1] and
          "outside" in said[0][1], said)
    tone = s.notes(since)[:2]
    first = s.ear.sounds(tone[1].at - s.began + 0.3, s.now() - s.began - 0.05)
    check("... its tone first, whole, and the words behind it", not matches(
        tone, TONES["outside"][1]) and first and first[0][0] + s.began > tone[1].at + 0.28, tone)
    mark = m.mark()
    m.must("tally at R4; tally at R5; tally at R1")
    s.settle(6)
    said = spoken(s, mark)
    check("three names at once: the newest is said to its end, those before are cut off or never "
          "begun", said and "R one" in said[-1][1] and len(said) <= 2, said)
    mark, since = m.mark(), s.now()
    m.must("tally at R3")
    m.see("said", "^speaks R three", mark)
    s.settle(0.8)
    m.must("tally at R4")
    s.settle(5)
    said = spoken(s, mark)
    check("a name that is being said is cut off by a newer one", len(said) == 2 and
          "R four" in said[1][1] and said[1][0] - said[0][0] < 1.6,
          "%s %s" % ([text for _, text in said], ms(said[-1][0] - said[0][0])))

    def alarmed():
        mark, since = m.mark(), s.now()
        m.must("tally job live; " + s.PULL)
        s.settle(14)
        tones = names(s.tones(since))
        m.must(s.BACK + "; tally job cold")
        s.settle(8)
        return set(tones[:2]) == {"live", "meter gone"}, (tones, [
            x for x in spoken(s, mark) if "caution" in x[1] or "gone" in x[1]])
    good, (tones, said) = s.calm(alarmed)
    check("two alarms at once: both tones, whole, before a word", good, tones[:3])
    check("... and the words of both, one after the other", len(said) == 2 and
          any(text.startswith("caution, live") for _, text in said) and
          any("meter red is gone" in text for _, text in said), said)
    mark = m.mark()
    s.console.press("s")
    s.settle(3)
    said = spoken(s, mark)
    check("say again: the last result in full", said and "R three" in said[0][1], said)
    s.settle(6)
    check("left", s.leave())
    s.settings(sound_volume=70, speech_use="espeak-ng", speech_language="de")
    mark = m.mark()
    s.bench()
    s.settle(6)
    m.must("tally at R2")
    s.settle(5)
    said = spoken(s, mark)
    check("in German", said and "R zwei" in said[-1][1], said)
    check("left", s.leave())


# ---- a card that is pulled out ----

def check_pulled(s):
    m, b = s.m, s.b
    usb = Ear("usb.wav")

    def heard():
        """On the USB card: QEMU begins its file anew when it is plugged in."""
        return usb.notes(0, usb.seconds())

    m.add("usb-audio", "usb-card", 4, audiodev="usb")
    m.must("sleep 2; udevadm settle -t 20")
    cards = m.must("cat /proc/asound/cards")
    name = re.search(r"1 \[(\w+)", cards)[1]
    s.settings(sound_volume=70, sound_device="default:CARD=" + name, speech_use="none")
    m.must("tally at R2")
    s.bench()
    b.touch(touch_of("47.01"))
    s.settle(2)
    notes = heard()
    check("a USB card: the tones are heard there, without a click", not matches(
        notes[:2], TONES["up"][1]) and not matches(notes[2:], TONES["logged"][1]), notes)
    # Pulled out in the middle of a long tone.
    m.must("tally job live & sleep 0.35")
    m.remove("usb-card")
    s.settle(4)
    check("pulled out in the middle of a tone: the bench goes on", s.console.runs())
    screen = s.console.screen()
    check("... and says so", "no sound: the audio device" in screen,
          re.search(r"no sound.*|foot.*", screen) and re.search(r"no sound.*", screen)[0].strip())
    m.must("tally job cold; sleep 3")
    m.must("tally at R4; sleep 1.5")
    start, since = len(m.records), s.now()
    b.touch(touch_of("10.00"))
    m.wait(lambda: b.entries(start), 10, "an entry without the card")
    check("... and logs", len(b.entries(start)) == 1)
    m.add("usb-audio", "usb-card", 4, audiodev="usb")
    m.must("sleep 2; udevadm settle -t 20")
    s.console.press("kp_add")
    s.settle(2)
    check("plugged in again it sounds with the next tone",
          not matches(heard(), TONES["logged"][1]), heard())
    check("... and that is said", "sounds again" in s.console.screen())
    m.remove("usb-card")
    began = s.now()
    check("pulled out in silence, and left at once", s.leave() and s.now() - began < 5,
          "%.1f s" % (s.now() - began))


def main(b):
    b.start(disk=True)
    s = Sound(b)
    b.m.must("mkdir -p /usr/local/bin; printf '%s' >/usr/local/bin/espeak-ng; "
             "chmod 755 /usr/local/bin/espeak-ng" % NOTED.replace("\n", "\\n").replace("%", "%%"))
    check_none(s)
    check_tones(s)
    check_bench(s)
    check_durable(s)
    check_keys(s)
    check_words(s)
    print("note    heard.wav lacks %.2f s: where QEMU stood still" %
          (s.now() - s.began - s.ear.seconds()))
    check_pulled(s)


if __name__ == "__main__":
    sys.exit(senses.begin("sound", main, DEVICES))
