#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""The plan, what to buy and what to measure again, end to end, also as CSV (RFC 4180) and under
another locale.  What must be replaced, kept and looked at again is worked out by hand for a job
of every kind of case; common practice, no source.
"""

import csv
import io
import os
import subprocess
import sys
import tempfile

from counted import check, ended
from tape import BUILD, Tape, objects, tally

CONFIG = """[bench]
name = tests
[meter red]
port = /dev/ttyUSB0
dialect = ascii-unit
accuracy ohm = 0.5% + 2
accuracy farad = 1% + 3
"""
SHEET = """position,kind,nominal,tolerance,rated,role,with,channel,twin,part,source,max,price,note
C1,electrolytic,32u,-20/+50%,450 V,reservoir,,,,CAN1,,,12.50,"can, 2 x 32"
C2,electrolytic,32u,-20/+50%,450 V,smoothing,,,,CAN1,,,12.50,
C7,paper,0.1u,20%,400 V,coupling,R14,left,C107,,,,"1,80",
C107,paper,0.1u,20%,400 V,coupling,R14,right,C7,,,,"1,80",
C8,film,0.047u,10%,630 V,"=coupling ""bass"", red",R15,left,C108,,,,2.10,
C108,film,0.047u,10%,630 V,coupling,R15,right,C8,,,,,
C10,film,0.047u,10%,630 V,coupling,R15,right,,,,,2.40,
R12,carbon-composition,470k,10%,,anode load,,left,R112,,,,0.40,
R112,carbon-composition,470k,10%,,anode load,,right,R12,,,,0.40,
R14,resistor,1M,10%,,grid leak,,left,,,,,0.4,
R15,resistor,1M,10%,,grid leak,,left,,,,,0.4,
R16,resistor,220,5%,,cathode,,left,,,,,@SUM(A1),
R17,resistor,1k,10%,,grid stopper,,left,,,,,0.4,
R18,resistor,22k,10%,,,,left,,,,,,
R19,resistor,47k,10%,,,,left,,,,,,
C9,electrolytic,25u,-20/+80%,25 V,cathode bypass,R16,left,,,,,3,
"""
TOUCHES = [("C1", "21.0 uF"), ("C2", "33.0 uF"), ("C7", "0.163 uF"), ("C107", "0.104 uF"),
           ("C8", "48.0 nF"), ("C108", "52.9 nF"), ("C10", "53.9 nF"), ("R12", "612.0 kOhm"),
           ("R112", "480.0 kOhm"), ("R16", "247.0 Ohm"), ("R17", "1.420 kOhm"), ("C9", "2.10 uF"),
           ("R18", "27.0 kOhm")]


def make(folder):
    tape = Tape()
    tape.act("reach lifted")
    for position, reading in TOUCHES:
        tape.touch(position, "red", [reading] * 16, None,
                   "0.002 nF" if reading.endswith("F") else "OL MOhm")
    tape.act("reach in-circuit")
    tape.touch("R14", "red", ["880.0 kOhm"] * 16)  # other paths, or not
    tape.touch("R19", "red", ["61.0 kOhm"] * 16)   # high, but not yet with the leads swapped
    tape.act("reach lifted")
    tape.act("condition new")
    tape.touch("R12", "red", ["471.0 kOhm"] * 16)  # good: not ordered
    tape.touch("R16", "red", ["251.0 Ohm"] * 16)   # not what was ordered: once more
    tape.act("condition done")
    tape.touch("R18", "red", ["22.10 kOhm"] * 16)  # replaced already
    return tape.replay(folder, SHEET, CONFIG)


def table(text):
    return list(csv.reader(io.StringIO(text, newline="")))


def names(rows, column):
    return [row[column] for row in rows[1:]]


def main():
    with tempfile.TemporaryDirectory(prefix="tally-plan-") as folder:
        log = make(folder)
        plan = tally(log, "plan", "--csv").stdout
        order = tally(log, "plan", "order", "--csv").stdout
        look = tally(log, "plan", "recheck", "--csv").stdout
        first = [tally(log, "plan", "--round", n, "--csv").stdout for n in "123"]
        buys = [tally(log, "plan", "order", "--round", n, "--csv").stdout for n in "12"]
        kept = tally(log, "plan", "--keep", "paper,C2", "--csv").stdout
        words = tally(log, "plan", "order").stdout
        other = []
        for locale in ("de_DE.UTF-8", "C", "fr_FR.UTF-8"):
            r = subprocess.run([BUILD + "/tally", "--file", log, "plan", "order", "--csv"],
                               capture_output=True, env=dict(os.environ, LC_ALL=locale), timeout=60)
            other.append(r.stdout.decode())
    rows = table(plan)
    replaced = [(int(row[0]), row[2]) for row in rows[1:]]
    check("what is replaced, in which round", replaced == [
        (1, "C1"), (1, "C2"), (1, "C9"), (2, "C7"), (2, "C107"), (2, "C8"), (2, "C108"), (2, "C10"),
        (3, "R12"), (3, "R112"), (3, "R16")], replaced)
    why = {row[2]: row[9] for row in rows[1:]}
    for position, words_ in (("C1", "dried out"), ("C2", "always replaced"), ("C7", "leak"),
                             ("C107", "always replaced"), ("C8", "twin C108"), ("C108", "high"),
                             ("R12", "drifted up"), ("R112", "twin R12"), ("R16", "12 % high")):
        check(position + ": because", words_ in why.get(position, ""), why.get(position))
    check("lines end as RFC 4180 says, rows are as long as the head",
          all(t.endswith("\r\n") and "\n" not in t.replace("\r\n", "") and
              len({len(r) for r in table(t)}) == 1 for t in [plan, order, look]), repr(plan))
    roles = {row[2]: row[6] for row in rows[1:]}
    check("a text that a spreadsheet would run is a text, quotes and commas hold",
          roles["C8"] == "'=coupling \"bass\", red", roles["C8"])
    # The order.
    rows = table(order)
    items = {row[5]: row for row in rows[1:]}
    check("what is bought", list(items) == ["C1 C2", "C7 C107", "C8 C108", "C10", "R112", "R16", "C9"],
          list(items))
    count = {k: int(row[0]) for k, row in items.items()}
    check("how many", count == {"C1 C2": 1, "C7 C107": 2, "C8 C108": 2, "C10": 1, "R112": 1,
                                "R16": 1, "C9": 1}, count)
    for key, value, rated in (("C1 C2", "33 uF + 33 uF", "450 V"), ("C7 C107", "100 nF", "400 V"),
                              ("C8 C108", "47 nF", "630 V"), ("R112", "470 kohm", ""),
                              ("C9", "25 uF", "25 V")):
        row = items.get(key, [""] * 9)
        check(key + ": value and rating", row[2] == value and row[4] == rated, row)
    price = {k: row[8] for k, row in items.items()}
    check("prices as the sheet says, no formula", price == {
        "C1 C2": "12.50", "C7 C107": "1,80", "C8 C108": "2.10", "C10": "2.40", "R112": "0.40",
        "R16": "'@SUM(A1)", "C9": "3"}, price)
    check("what is here is said", "here already, measured new: R12\n" in words, words)
    # Looked at again: unsure and unmeasured, never in the order.
    rows = table(look)
    check("what is looked at again", names(rows, 0) == ["R14", "R15", "R19"], names(rows, 0))
    check("with what would settle it", [row[4] for row in rows[1:]][0].startswith("lift one leg") and
          "swap" in rows[-1][4], rows)
    # Rounds.
    check("round by round", [len(table(t)) - 1 for t in first] == [3, 8, 11],
          [len(table(t)) - 1 for t in first])
    check("the order, too", [len(table(t)) - 1 for t in buys] == [2, 5],
          [len(table(t)) - 1 for t in buys])
    check("what is kept: C2 goes with its can, C107 with its twin",
          names(table(kept), 2) == names(table(plan), 2) and
          "twin C7" in dict(zip(names(table(kept), 2), names(table(kept), 9)))["C107"], kept)
    check("free of the locale", all(o == order for o in other), other)
    return ended()


if __name__ == "__main__":
    sys.exit(main())
