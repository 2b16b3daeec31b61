#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""A meter's limits of use and its accuracy by function, range and frequency, end to end: outside
what it was made for there is a reading and no verdict, with what to measure with instead; inside,
the statement of that range and frequency is the one that counts.

Common practice, no source: the bounds of protocol/trade/use.h.
"""

import math
import sys
import tempfile

from counted import check, ended
from tape import Tape, objects

CONFIG = """[bench]
name = tests
[meter red]
port = /dev/ttyUSB0
dialect = ascii-unit
accuracy ohm = 0.5% + 2
accuracy ohm below 100 = 1% + 5
accuracy ohm below 1k = 0.7% + 3
accuracy volt-ac = 3% + 10
accuracy volt-ac below 1 kHz = 1% + 5
accuracy volt-ac below 100 Hz = 0.5% + 3
accuracy volt-dc = 0.5%
accuracy farad = 1% + 3
accuracy farad below 10n = 2% + 10
ac = average
bandwidth = 2 kHz
input volt-dc = 1M
test farad = 10 kHz, bridge
test ohm = 0.5 V
[meter blue]
port = /dev/ttyUSB1
dialect = ascii-unit
accuracy volt-ac = 1% + 3
accuracy ohm = 0.5% + 2
accuracy farad = 1% + 3
ac = rms
crest = 1.5
test farad = 100 Hz, bridge
"""
SHEET = """position,kind,nominal,tolerance,rated,role,source,insulation
R1,resistor,47,10%,,,,
R2,resistor,470,10%,,,,
R3,resistor,4k7,10%,,,,
R4,resistor,100,10%,,,,
B1,rail,250 V,10%,,,470k,
B2,rail,250 V,10%,,,1k,
H1,heater,6.3 V AC,10%,,heater,,
O1,rail,9 V AC,10%,,output 1 kHz,,
O2,rail,9 V AC,10%,,output 10 kHz,,
W1,rail,2 V AC,50%,,ripple,,
C1,electrolytic,47u,-20/+50%,450 V,reservoir,,
C2,film,4n7,10%,400 V,,,
C3,film,47n,10%,400 V,,,
C4,paper,100n,20%,400 V,coupling,,>=100M
C5,paper,100n,20%,400 V,coupling,,>=1M
C6,electrolytic,47u,-20/+50%,450 V,reservoir,,
"""
# position, meter, reading, acts before it, quantity, verdict (None: of any kind, ""  : there is
# none), percent and counts that count, words of why and next
ROWS = [
    ("R1", "red", "47.1 Ohm", "", None, None, (1, 5), ""),
    ("R4", "red", "99.9 Ohm", "", None, None, (1, 5), ""),
    ("R2", "red", "471.0 Ohm", "", None, "within", (0.7, 3), ""),
    ("R3", "red", "4.705 kOhm", "", None, "within", (0.5, 2), ""),
    ("C2", "red", "4.71 nF", "", None, None, (2, 10), ""),
    ("C3", "red", "47.1 nF", "", None, "within", (1, 3), ""),
    # a frequency at which an electrolytic is another one
    ("C1", "red", "47.0 uF", "", None, "none", (1, 3), "10000 Hz"),
    ("C1", "blue", "47.0 uF", "", None, "within", (1, 3), ""),
    # loaded: 470 kohm into 1 Mohm reads a third low
    ("B1", "red", "240.0 V DC", "take", "volts", "none", (0.5, 0), "loads this place"),
    ("B2", "red", "249.0 V DC", "take", "volts", "within", (0.5, 0), ""),
    # by frequency: a heater has 50 Hz, the roles say the others
    ("H1", "red", "6.31 V AC", "take", "volts", "within", (0.5, 3), ""),
    ("O1", "red", "9.01 V AC", "take", "volts", "within", (3, 10), ""),
    ("O2", "red", "9.01 V AC", "take", "volts", "none", (3, 10), "bandwidth"),
    # said with the entry, against what the role would have
    ("O2", "red", "9.02 V AC", "take red 80", "volts", None, (0.5, 3), ""),
    ("O2", "red", "9.03 V AC", "take red 800", "volts", None, (1, 5), ""),
    # what is no sine wave
    ("W1", "red", "2.01 V AC", "take", "volts", "none", None, "average"),
    ("W1", "blue", "2.01 V AC", "take", "volts", "none", None, "crest"),
    # insulation with half a volt
    ("C4", "red", "19.0 MOhm", "", "insulation", "none", None, "0.5 V"),
    # and beyond its range it says no more of that
    ("C5", "red", "OL MOhm", "take", "insulation", "none", None, "0.5 V"),
    # ESR is meant at 10 kHz and above; of a resistance meter nothing was said
    ("C6", "red", "5.00 Ohm", "", "esr", None, None, ""),
]


def make(folder):
    tape = Tape()
    tape.act("reach lifted")
    for position, meter, reading, act, quantity, *_ in ROWS:
        leads = ("0.002 nF" if reading.endswith("F") else "OL MOhm" if reading.endswith("Ohm") else
                 "OL V " + reading[-2:])
        tape.say(meter, leads, 8)
        tape.act("at %s%s" % (position, " " + quantity if quantity else ""))
        tape.say(meter, leads, 8)
        tape.say(meter, reading, 4 if act else 16)
        if act:
            tape.say(meter, reading, 6)
            tape.act(act)
        tape.say(meter, leads, 8)
    return tape.replay(folder, SHEET, CONFIG)


def clipped_on():
    """A probe that stays on: the bias moves on over a soak, stands still again, and then climbs."""
    sheet = "position,kind,nominal,tolerance,role\nR1,resistor,10,1%,cathode\n"
    tape = Tape()
    tape.act("reach lifted")
    tape.say("red", "0.003 V DC", 8)
    tape.act("at R1 volts")
    tape.say("red", "0.003 V DC", 8)
    tape.say("red", "0.420 V DC", 10)
    tape.act("take")
    for i in range(2800):
        tape.say("red", "%.3f V DC" % (0.420 + 0.035 * i / 2800))
    tape.say("red", "0.455 V DC", 10)
    tape.act("take")
    tape.say("red", "0.455 V DC", 2)
    for i in range(20):
        tape.say("red", "%.3f V DC" % (0.455 + 0.020 * i))
    tape.act("take")
    tape.say("red", "0.004 V DC", 8)
    with tempfile.TemporaryDirectory(prefix="tally-clipped-") as folder:
        log = tape.replay(folder, sheet, CONFIG)
        entries, places = objects(log, "entries"), objects(log, "places")
    taken = [(e["value"], e["settled"]) for e in entries]
    check("clipped on: at rest, at rest again, climbing",
          [t[1] for t in taken] == [True, True, False] and taken[1][0] == 0.455, taken)
    drift = next((p for p in places if p["what"] == "bias-drift"), None)
    check("clipped on: drift over the soak", drift is not None and
          abs(drift["value"] - 100 * (0.455 - 0.420) / 0.420) < 1e-3, drift)


def main():
    clipped_on()
    with tempfile.TemporaryDirectory(prefix="tally-use-") as folder:
        log = make(folder)
        entries = objects(log, "entries")
    left = list(entries)
    for position, meter, reading, act, _, word, accuracy, says in ROWS:
        legend = "%s %s %s %s" % (position, meter, reading, act)
        shown = "overload" if reading.startswith("OL") else float(reading.split()[0])
        e = next((x for x in left if x["position"] == position and x["meter"] == meter and
                  (x["shown"] == shown or x["value"] is not None and
                   float(x["shown"].split()[0]) == shown)), None)
        if not check(legend, e is not None, [(x["position"], x["shown"]) for x in left]):
            continue
        left.remove(e)
        said = "%s | %s" % (e.get("why"), e.get("next"))
        seen = (e["verdict"], e["reason"], e.get("basis"), said)
        check(legend + ": verdict", word is None or (e["verdict"] or "none") == word, seen)
        check(legend + ": says", says in said, seen)
        if word == "none":
            check(legend + ": the reason, and what to do", e["reason"] == "limits-of-meter" and
                  bool(e.get("next")), seen)
            check(legend + ": no probability", e.get("probability") is None, seen)
        if accuracy:
            check(legend + ": the statement", (e["basis"]["percent"], e["basis"]["counts"]) ==
                  accuracy, seen)
            half = accuracy[0] / 100 * abs(e["value"]) + accuracy[1] * e["digit"]
            u = math.hypot(half / math.sqrt(3), e["digit"] / math.sqrt(12))
            check(legend + ": u", abs(e["u"] / u - 1) < 1e-5, (e["u"], u))
    extra = [(x["position"], x["shown"]) for x in left]
    check("no other entry", not left, extra)
    return ended()


if __name__ == "__main__":
    sys.exit(main())
