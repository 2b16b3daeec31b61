#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""Meters against each other (`tally compare`), end to end: E_n after the leads were taken off,
who of three stands apart, reference parts, twins, and what is refused with its reason and cure.
Every number is worked out again from the sealed entries.

E_n = |x1 - x2| / sqrt(U1^2 + U2^2), U = 2 u (ISO 13528:2022 9); the weighted mean of three and
its chi-square (Cox, Metrologia 39 (2002) 589).
"""

import itertools
import json
import math
import sys
import tempfile

from counted import check, ended
from tape import Tape, objects, tally

CONFIG = """[bench]
name = tests
[meter red]
port = /dev/ttyUSB0
dialect = ascii-unit
accuracy ohm = 0.3% + 2
accuracy farad = 0.5% + 2
accuracy volt-dc = 0.1% + 2
test farad = 100 Hz, ramp
[meter blue]
port = /dev/ttyUSB1
dialect = ascii-unit
accuracy ohm = 0.2% + 2
accuracy farad = 0.5% + 2
test farad = 1 kHz, bridge
[meter grey]
port = /dev/ttyUSB2
dialect = ascii-unit
accuracy ohm = 0.1% + 1
accuracy farad = 0.5% + 2
"""
SHEET = """position,kind,nominal,tolerance,twin
R1,resistor,10,5%,R101
R101,resistor,10,5%,
R2,resistor,4k7,5%,
R3,resistor,22k,5%,
R4,resistor,100k,5%,
C1,film,100n,10%,
C2,film,100n,10%,C102
C102,film,100n,10%,
C3,electrolytic,47u,-20/+50%,
C4,film,10n,10%,
R5,resistor,1k,5%,
R6,resistor,1k,5%,
R7,resistor,1M,5%,
REF1,reference,10 kohm,0.1%,
REF2,reference,1 kohm,0.05%,
"""
LEADS = {"red": ("0.31 Ohm", 0.31), "blue": ("0.09 Ohm", 0.09), "grey": ("0.152 Ohm", 0.152)}
# position, meter, reading; `quantity` where it is not the value; an act before it
TOUCHES = [
    ("R1", "red", "10.41 Ohm"), ("R1", "blue", "10.19 Ohm"),       # alike once the leads are off
    ("R101", "red", "10.93 Ohm"),
    ("R2", "red", "4.720 kOhm"), ("R2", "blue", "4.731 kOhm"), ("R2", "grey", "4.7201 kOhm"),
    ("R3", "red", "22.00 kOhm"), ("R3", "blue", "22.01 kOhm"), ("R3", "grey", "22.310 kOhm"),
    ("R4", "red", "100.0 kOhm"), ("R4", "blue", "101.5 kOhm"), ("R4", "grey", "103.20 kOhm"),
    ("C1", "red", "101.0 nF"), ("C1", "blue", "99.0 nF"), ("C1", "grey", "108.0 nF"),
    ("C4", "red", "10.03 nF"), ("C4", "grey", "10.05 nF"),
    ("R7", "red", "OL MOhm", None, "take"), ("R7", "blue", "1.0430 MOhm"),
    ("R6", "red", "1.003 kOhm"), ("R6", "blue", "1.004 kOhm", None, "condition done"),
    ("C3", "red", "48.2 uF", None, "condition found"), ("C3", "blue", "0.62 Ohm", "esr"),
    ("R5", "red", "1.002 kOhm"), ("R5", "blue", "0.981 kOhm", None, "reach in-circuit"),
    ("C2", "red", "101.2 nF", None, "reach lifted"), ("C102", "blue", "1.85 Ohm", "esr"),
    ("REF1", "red", "9.998 kOhm"), ("REF2", "blue", "1.0132 kOhm"),
]


def make(folder):
    tape = Tape()
    tape.act("reach lifted")
    for meter, (shown, _) in LEADS.items():
        tape.act("offset short " + meter)
        tape.say(meter, "OL MOhm", 4)
        tape.say(meter, shown, 10)
        tape.say(meter, "OL MOhm", 8)
    for position, meter, reading, *more in TOUCHES:
        quantity, act = (more + [None, None])[:2]
        leads = "0.002 nF" if reading.endswith("F") else "OL MOhm"
        if act and act != "take":
            tape.act(act)
        for other in LEADS:
            tape.say(other, leads, 4)
        if position.startswith("REF"):
            tape.act("check %s %s" % (meter, position))
            tape.say(meter, leads, 8)
            tape.say(meter, reading, 16)
            tape.say(meter, leads, 8)
        else:
            tape.touch(position, meter, [reading] * 16, quantity, leads, act == "take")
    return tape.replay(folder, SHEET, CONFIG)


def en(a, b):
    return abs(a["value"] - b["value"]) / math.hypot(2 * a["u"], 2 * b["u"])


def chi_tail_2(x):
    """With two degrees of freedom, as three values have."""
    return math.exp(-x / 2)


def pairs(checks, entries, text):
    for c in checks:
        for p in c["pairs"]:
            a, b = entries[p["a"]["seq"]], entries[p["b"]["seq"]]
            legend = "%s: %s and %s" % (c["position"], a["meter"], b["meter"])
            check(legend + ": E_n", abs(p["en"] - en(a, b)) <= 1e-5 * p["en"] + 1e-9, (p, en(a, b)))
            check(legend + ": agree", p["agree"] == (en(a, b) <= 1), p)
            check(legend + ": printed", any(
                line.startswith(c["position"] + " ") and " %.2f " % en(a, b) in line
                for line in text.splitlines()), text)
            for side, e in (("a", a), ("b", b)):
                shown = float(p[side].get("judged", p[side]["shown"]).split()[0])
                check(legend + ": what is compared is shown", abs(
                    shown * 10.0 ** e["prefix"] - e["value"]) <= e.get("raw-digit", 0) * 0.5001 +
                      1e-9 * abs(e["value"]), (p[side], e["value"]))
                check(legend + ": U", abs(p[side]["U"] - 2 * e["u"]) <= 1e-5 * e["u"], p)
        together = c["together"]
        used = {p[s]["seq"] for p in c["pairs"] for s in "ab"}
        if len(used) == 3 and len(c["pairs"]) == 3:
            three = [entries[seq] for seq in used]
            w = sum(1 / e["u"] ** 2 for e in three)
            m = sum(e["value"] / e["u"] ** 2 for e in three) / w
            chi = sum(((e["value"] - m) / e["u"]) ** 2 for e in three)
            check(c["position"] + ": one value for three", together is not None and
                  abs(together["mean"] / m - 1) < 5e-6 and abs(together["chi2"] - chi) <= 1e-4 * chi
                  and abs(together["p"] - chi_tail_2(chi)) <= 1e-4 * (1 + chi) * chi_tail_2(chi),
                  (together, m, chi))
            apart = [x for x in three if all(en(x, y) > 1 for y in three if y is not x) and
                     all(en(y, z) <= 1 for y, z in itertools.combinations(three, 2)
                         if x is not y and x is not z)]
            want = apart[0]["meter"] if len(apart) == 1 else None
            check(c["position"] + ": who stands apart", c["apart"] == want, (c["apart"], want))
        else:
            check(c["position"] + ": of two, or where one pair was refused, nobody stands apart",
                  c["apart"] is None and together is None, c)


def main():
    with tempfile.TemporaryDirectory(prefix="tally-compare-") as folder:
        log = make(folder)
        export = tally(log, "export").stdout
        entries = {e["seq"]: e for e in objects(log, "entries")}
        run = tally(log, "--json", "compare")
        text = tally(log, "compare").stdout
        one = tally(log, "compare", "C3").stdout
    result = {}
    for line in run.stdout.splitlines():
        o = json.loads(line)
        for name in ("crosschecks", "references", "twins", "refused"):
            if name in o:
                result.setdefault(name, []).extend(o[name])
        if "list" in o:
            result.setdefault(o["list"], []).append(o)
    checks = {c["position"]: c for c in result["crosschecks"]}
    check("meters disagree: status 1", run.returncode == 1, run.returncode)
    check("which were compared", set(checks) == {"R1", "R2", "R3", "R4", "C1", "C4"}, set(checks))
    pairs(result["crosschecks"], entries, text)
    check("R1 agrees because the leads are off", checks["R1"]["agree"], checks["R1"])
    check("R3: grey", checks["R3"]["apart"] == "grey", checks["R3"]["apart"])
    check("R4: all three differ, nobody", checks["R4"]["apart"] is None, checks["R4"]["apart"])
    refused = {}
    for r in result["refused"]:
        refused.setdefault(r["position"], []).append(r)
    for position, words, cure in (
            ("C1", ["red", "by a ramp", "blue", "by a bridge"], "of the same way"),
            ("R7", ["overload"], "no value"), ("R6", ["found", "done"], "in one condition"),
            ("C3", ["different quantities", "value", "esr"], "measure the same one with both"),
            ("R5", ["in-circuit", "lifted"], "measure both the same way"),
            ("C2", ["different quantities", "value", "esr"], "measure the same one with both")):
        why = " ".join(r["why"] for r in refused.get(position, []))
        check("%s is refused" % position, all(w in why for w in words + [cure]), why or "is not there")
        for r in refused.get(position, []):
            check("%s: printed" % position, r["why"] in text, text)
    check("C3 alone says so, too", "different quantities" in one, one)
    check("nothing else is refused", set(refused) == {"C1", "R7", "R6", "C3", "R5", "C2"},
          set(refused))
    # Reference parts: the sheet's tolerance as a rectangle.
    records = [json.loads(line) for line in export.splitlines()]
    made = {r["position"]: r for r in records if r.get("kind") == "check"}
    for position, nominal, percent, good in (("REF1", 10e3, 0.1, True), ("REF2", 1e3, 0.05, False)):
        r = made.get(position)
        if not check(position, r is not None, "no check was made"):
            continue
        u = nominal * percent / 100 / math.sqrt(3)
        e = abs(r["value"] - nominal) / math.hypot(2 * r["u"], 2 * u)
        check(position + ": E_n", abs(r["en"] - e) <= 1e-5 * e + 1e-9 and r["agree"] == good and
              good == (e <= 1), (r.get("en"), e, r))
    return ended()


if __name__ == "__main__":
    sys.exit(main())
