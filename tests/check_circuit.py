#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""Parts measured where they are, end to end: what other paths can and cannot have done to a
resistor (leads swapped, overload, a limit to one side, the bound itself), that no capacitor is
ever within, twin against twin at the bound of what their tolerances allow, and the verdict of
the place beside that of the tolerance.

A row: position, reading, and the words, reason and parts of what is said that must come.  Common
practice, no source, but for the guard band (JCGM 106:2012 8.3).
"""

import json
import sys
import tempfile

from counted import check, ended
from tape import Tape, objects

CONFIG = """[bench]
name = tests
[meter red]
port = /dev/ttyUSB0
dialect = ascii-unit
accuracy ohm = 1%
accuracy farad = 1%
accuracy diode = 1%
[meter plain]
port = /dev/ttyUSB1
dialect = ascii-unit
"""
SHEET = """position,kind,nominal,tolerance,service,role,twin
R1,resistor,100k,10%,,,
R2,resistor,100k,10%,,,
R3,resistor,100k,10%,,,
R4,resistor,100k,10%,,,
R5,resistor,100k,10%,,,
R6,resistor,,>=2M,,,
R7,resistor,,>=2M,,,
R8,resistor,1k,10%,,grid stopper,
R9,resistor,1k,10%,,cathode,
R10,resistor,10,5%,,,
R11,resistor,100k,10%,,,
R12,resistor,100k,10%,50%,,
R13,resistor,,<=5 ohm,,,
R14,resistor,100k,10%,,,
R15,resistor,100k,10%,,,
C1,film,100n,10%,,,
C2,film,100n,10%,,,
C3,film,100n,10%,,,
C4,film,100n,10%,,,
C5,paper,100n,20%,,,
R20,resistor,100k,5%,,,R120
R120,resistor,100k,5%,,,
R21,resistor,100k,5%,,,R121
R121,resistor,100k,5%,,,
R22,resistor,100k,5%,,,R122
R122,resistor,100k,5%,,,
C20,film,100n,10%,,,C120
C120,film,100n,10%,,,
"""
OPEN = "OL MOhm"
# position, meter, reading, acts before it, verdict, side, reason, parts of `why` and `next`,
# service verdict; None: not looked at
ROWS = [
    ("R1", "red", "83.1 kOhm", "", "unsure", "low", "circuit", "lift one leg", "unsure"),
    ("R2", "red", "100.2 kOhm", "", "unsure", None, "circuit", "lift one leg", "unsure"),
    ("R3", "red", "131.0 kOhm", "", "outside", "high", None, "swap the leads", "outside"),
    # 110 kohm + U (1.2836 kohm: 1 % of 111.28 rectangular, and the digit): the bound itself is
    # the better side
    ("R4", "red", "111.2 kOhm", "", "unsure", "high", "circuit", "lift one leg", "unsure"),
    ("R5", "red", "111.4 kOhm", "", "outside", "high", None, "swap the leads", "unsure"),
    ("R6", "red", "2.60 MOhm", "", "within", None, None, "only lower it", None),
    ("R7", "red", "1.51 MOhm", "", "unsure", "low", "circuit", "lift one leg", None),
    ("R8", "red", "1.301 kOhm", "", "outside", "high", None, "", "unsure"),
    ("R9", "red", "1.301 kOhm", "", "outside", "high", None, "", "outside"),
    # what bad leads add could be all of it
    ("R10", "red", "11.02 Ohm", "", "unsure", "high", "offset", "take the offset", None),
    ("R10", "red", "13.40 Ohm", "again", "outside", "high", None, "swap the leads", None),
    ("R11", "red", "130.0 kOhm", "", "outside", "high", None, "swap the leads", None),
    ("R11", "red", "130.1 kOhm", "again swapped", "outside", "high", None, "swapped", None),
    ("R14", "red", "130.0 kOhm", "", "outside", "high", None, "swap the leads", None),
    ("R14", "red", "91.0 kOhm", "again swapped", "unsure", None, "circuit", "discharge", None),
    ("R12", "red", "131.0 kOhm", "", "outside", "high", None, "", "unsure"),
    ("R13", "red", "7.02 Ohm", "", "outside", "high", None, "", None),
    ("R15", "red", OPEN, "take", "outside", "high", "open", "swap", "outside"),
    ("C1", "red", "100.2 nF", "", "unsure", None, "circuit", "lift one leg", "unsure"),
    ("C2", "red", "71.0 nF", "", "unsure", "low", "circuit", "lift one leg", "unsure"),
    ("C3", "red", "163.0 nF", "", "unsure", "high", "circuit", "lift one leg", "unsure"),
    ("C5", "red", "700.0 nF", "", "unsure", "high", "circuit", "lift one leg", "unsure"),
    # 5 % parts may differ by 10 % of their mean; U of both helps
    ("R20", "red", "63.00 kOhm", "", "unsure", "low", "circuit", None, None),
    ("R120", "red", "57.00 kOhm", "", "unsure", "low", "circuit", "as its twin", None),
    ("R21", "red", "63.00 kOhm", "", "unsure", "low", "circuit", None, None),
    ("R121", "red", "56.10 kOhm", "", "unsure", "low", "circuit", "lift both", None),
    # high is conclusive, whatever the twin says
    ("R22", "red", "131.0 kOhm", "", "outside", "high", None, "swap", None),
    ("R122", "red", "131.5 kOhm", "", "outside", "high", None, "swap", None),
    ("C20", "red", "140.0 nF", "", "unsure", "high", "circuit", None, None),
    ("C120", "red", "139.0 nF", "", "unsure", "high", "circuit", "as its twin", None),
    # an assumed accuracy widens what is unsure, and never narrows it
    ("R4", "plain", "112.3 kOhm", "", "unsure", "high", "circuit", "lift one leg", None),
    ("C4", "plain", "100.0 nF", "", "unsure", None, "circuit", "lift one leg", None),
]
# The same parts with a leg up: now they are judged as they are.
LIFTED = [
    ("R1", "red", "83.1 kOhm", "", "outside", "low", None, "", "within"),
    ("R2", "red", "100.2 kOhm", "", "within", "high", None, "", "within"),
    ("R4", "red", "111.2 kOhm", "", "unsure", "high", "meter", "", "within"),
    ("R8", "red", "1.301 kOhm", "", "outside", "high", None, "can live with", "within"),
    ("R9", "red", "1.301 kOhm", "", "outside", "high", None, "cannot live", "outside"),
    ("R10", "red", "10.62 Ohm", "", "unsure", "high", "offset", "take the offset", None),
    ("C1", "red", "100.2 nF", "", "within", "high", None, "", "within"),
    ("C5", "red", "700.0 nF", "", "outside", "high", "leakage", "measure", "outside"),
]


def make(folder):
    tape = Tape()
    for reach, rows in (("in-circuit", ROWS), ("lifted", LIFTED)):
        tape.act("reach " + reach)
        for position, meter, reading, act, *_ in rows:
            leads = "0.002 nF" if reading.endswith("F") else OPEN
            if act.startswith("again"):
                tape.act(act)
                tape.say(meter, leads, 8)
                tape.say(meter, reading, 16)
                tape.say(meter, leads, 8)
            else:
                tape.touch(position, meter, [reading] * 16, None, leads, act == "take")
    return tape.replay(folder, SHEET, CONFIG)


def main():
    with tempfile.TemporaryDirectory(prefix="tally-circuit-") as folder:
        log = make(folder)
        entries = objects(log, "entries")
    left = list(entries)
    for reach, rows in (("in-circuit", ROWS), ("lifted", LIFTED)):
        for position, meter, reading, act, word, side, reason, says, service in rows:
            legend = "%s %s %s %s" % (position, reach, reading, act)
            e = next((x for x in left if x["position"] == position and x["reach"] == reach and
                      x["meter"] == meter and (reading == OPEN) == (x["value"] is None)), None)
            if not check(legend, e is not None, "made no entry"):
                continue
            left.remove(e)
            said = "%s | %s" % (e.get("why", ""), e.get("next", ""))
            seen = (e["verdict"], e["side"], e["reason"], said, (e.get("service") or {}).get("verdict"))
            check(legend + ": verdict", e["verdict"] == word, seen)
            check(legend + ": side", side is None or e["side"] == side, seen)
            check(legend + ": reason", e["reason"] == reason, seen)
            check(legend + ": says", says is None or says in said, seen)
            check(legend + ": its place", service is None or seen[4] == service, seen)
            if reach == "in-circuit" and e["function"] == "farad":
                check(legend + ": a capacitor in circuit is never within",
                      e["verdict"] == "unsure" and seen[4] in (None, "unsure"), seen)
            if e["verdict"] == "unsure" and e["reason"] == "circuit":
                check(legend + ": no probability where the reading is not to be believed",
                      e.get("probability") is None, e.get("probability"))
    check("no other entry", not left, [(x["position"], x["shown"]) for x in left])
    return ended()


if __name__ == "__main__":
    sys.exit(main())
