#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""What the uncertainty of an entry is made of, end to end: a tape of meters whose leads have an
offset and whose settled readings scatter; each line of `tally entries --budget` worked out again
from the exported records alone, the scatter from the readings that the entry names.

JCGM 100:2008: 4.2 (s / sqrt(n), n - 1), 4.3.7 (a / sqrt(3)), F.2.2.1 (half a digit), 5.1.2 (root
of the sum of squares), G.4.1 (effective degrees of freedom).
"""

import json
import math
import random
import re
import sys
import tempfile

from counted import check, ended
from tape import Tape, objects, tally

CONFIG = """[bench]
name = tests
[meter red]
port = /dev/ttyUSB0
dialect = ascii-unit
accuracy ohm = 0.5% + 2
accuracy ohm below 100 = 0.8% + 5
accuracy farad = 1.0% + 3
accuracy farad below 10n = 2.0% + 10
accuracy volt-dc = 0.25%
[meter blue]
port = /dev/ttyUSB1
dialect = ascii-unit
class = handheld-6000
[meter grey]
port = /dev/ttyUSB2
dialect = ascii-unit
accuracy ohm = 4
"""
SHEET = """position,kind,nominal,tolerance
R1,resistor,10,5%
R2,resistor,4k7,5%
R3,resistor,1M,10%
R4,resistor,680k,10%
R5,resistor,47,5%
C1,film,100n,10%
C2,mica,1n,5%
C3,ceramic,82p,20%
B1,rail,285 V,10%
"""
# position, meter, unit and figures behind the point, where it rests, noise of one reading (the
# first also of a display that does not move), percent and counts that count
TOUCHES = [
    ("R1", "red", "Ohm", 2, 10.42, 0.03, 0.8, 5),
    ("R2", "red", "kOhm", 4, 4.7001, 0.0004, 0.5, 2),
    ("R3", "red", "MOhm", 4, 1.0213, 0.0, 0.5, 2),
    ("R1", "grey", "Ohm", 3, 10.211, 0.006, 0, 4),
    ("R5", "grey", "Ohm", 3, 46.83, 0.004, 0, 4),
    ("C2", "red", "nF", 3, 1.013, 0.002, 2, 10),
    ("C3", "red", "pF", 1, 94.6, 0.2, 2, 10),
    ("C1", "red", "nF", 1, 101.3, 0.1, 1, 3),
    ("R2", "blue", "kOhm", 3, 4.701, 0.0, None, None),
    ("R4", "blue", "kOhm", 1, 683.4, 0.5, None, None),
]


def make(folder):
    random.seed(20261126)
    tape = Tape()
    tape.act("reach lifted")
    for meter, unit, places, rest in (("red", "Ohm", 2, 0.22), ("grey", "Ohm", 3, 0.061)):
        tape.act("offset short " + meter)
        tape.say(meter, "OL MOhm", 4)
        for _ in range(16):
            tape.say(meter, "+%.*f %s" % (places, rest + random.gauss(0, 1.3 * 10.0 ** -places), unit))
        tape.say(meter, "OL MOhm", 8)
    taken = False
    for position, meter, unit, places, rest, noise, _, _ in TOUCHES:
        leads = "0.012 nF" if unit.endswith("F") else "OL MOhm"
        if unit.endswith("F") and not taken:
            taken = True
            tape.act("offset open red")
            for _ in range(12):
                tape.say("red", "0.0%d nF" % random.choice((11, 12, 13)))
        tape.touch(position, meter,
                   ["+%.*f %s" % (places, rest + random.gauss(0, noise), unit) for _ in range(24)],
                   leads=leads)
    tape.touch("B1", "red", ["+%.1f V DC" % (284.7 + random.gauss(0, 0.12)) for _ in range(16)],
               leads="OL V DC")
    return tape.replay(folder, SHEET, CONFIG)


def t_factor(p, nu):
    """Student's t that holds p between -t and t: bisection over a Simpson sum."""
    if nu > 1e6:
        nu = 1e6
    c = math.exp(math.lgamma((nu + 1) / 2) - math.lgamma(nu / 2)) / math.sqrt(nu * math.pi)

    def inside(t, n=2000):
        h = t / n
        f = [c * (1 + (i * h) ** 2 / nu) ** (-(nu + 1) / 2) for i in range(n + 1)]
        return 2 * h / 3 * (f[0] + f[n] + 4 * sum(f[1:n:2]) + 2 * sum(f[2:n:2]))
    low, high = 1.0, 40.0
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if inside(middle) < p else (low, middle)
    return low


def near(a, b, relative=1e-5):
    return abs(a - b) <= relative * max(abs(a), abs(b))


def readings(records, entry):
    """The values that it was made of, from the runs that it names."""
    out = []
    for seq, first, last in entry["trail"]:
        run = records[seq]
        out += [v * run["digit"] for v in run["v"][first:last + 1] if v is not None]
    return out


def scatter(x):
    mean = math.fsum(x) / len(x)
    return math.sqrt(math.fsum((v - mean) ** 2 for v in x) / (len(x) - 1)) if len(x) > 1 else 0.0


def again(records, entry):
    """(name, spread, divisor, u, nu) of each part of it, from the record and its readings."""
    raw, digit = entry.get("raw", entry["value"]), entry.get("raw-digit", entry["digit"])
    basis, x = entry["basis"], readings(records, entry)
    half = basis["percent"] / 100 * abs(raw) + basis["counts"] * digit
    parts = [("accuracy", half, math.sqrt(3), half / math.sqrt(3), math.inf)]
    s, n = scatter(x), len(x)
    if s / math.sqrt(n) > digit / math.sqrt(12):
        parts.append(("repeatability", s, math.sqrt(n), s / math.sqrt(n), n - 1))
    else:
        parts.append(("digit", digit / 2, math.sqrt(3), digit / math.sqrt(12), math.inf))
    if entry.get("offset"):
        u = records[entry["offset"]]["u"]
        parts.append(("lead offset", u, 1.0, u, math.inf))
    return parts


# A cell with a unit: "0.0722 ohm", as the table and its prefixes have it.
SCALE = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "m": 1e-3, "k": 1e3, "M": 1e6, "G": 1e9}
UNITS = ("ohm", "F", "V", "A")


def cells(line):
    """The numbers of a line of the table, in SI units; percent as such."""
    out = []
    for number, word in re.findall(r"(?<![\w.])(-?\d+(?:\.\d+)?)(?:\s+([A-Za-z%]+))?", line):
        unit = next((u for u in UNITS if word.endswith(u) and len(word) - len(u) <= 1), None)
        out.append(float(number) * (SCALE[word[0]] if unit and word != unit else 1))
    return out


def printed(text, seq):
    """The lines of one entry in what is printed."""
    out, mine = [], False
    for line in text.splitlines():
        if line.startswith("entry "):
            mine = line.startswith("entry %d," % seq)
        if mine:
            out.append(line)
    return out


def to_figures(shown, x, most=0.006):
    return near(shown, x, most) or abs(x) < 1e-30


def table(lines, parts, u, legend):
    """What a person reads, to the figures that are shown."""
    for name, spread, divisor, each, _ in parts:
        line = next((one for one in lines if one.startswith(name + " ")), "")
        got = cells(line.split("normal")[-1].split("rectangular")[-1])
        good = (len(got) == 5 and to_figures(got[0], spread) and to_figures(got[1], divisor)
                and to_figures(got[2], each) and abs(got[3]) == 1
                and abs(got[4] - 100 * each ** 2 / u ** 2) <= 0.051)
        check("%s: the line of %s" % (legend, name), good, "%s | %s" % (line, (spread, divisor, each)))
    last = next((one for one in lines if one.startswith("combined u")), "")
    got = cells(last.split(",")[0]) + cells(last.split("2 u =")[-1])
    check(legend + ": the line of u and U",
          len(got) >= 2 and to_figures(got[0], u) and to_figures(got[1], 2 * u, 0.06), last)


def budget(records, one, text):
    entry = records[one["seq"]]
    legend = "%s by %s" % (entry["position"], entry["meter"])
    parts = again(records, entry)
    u = math.sqrt(math.fsum(p[3] ** 2 for p in parts))
    nu = u ** 4 / sum(p[3] ** 4 / p[4] for p in parts if p[4] < math.inf) \
        if any(p[4] < math.inf for p in parts) else math.inf
    check(legend + ": sealed u", near(entry["u"], u), "%r, recomputed %r" % (entry["u"], u))
    check(legend + ": scatter", abs(entry["basis"]["s"] - scatter(readings(records, entry))) <=
          1e-5 * entry["basis"]["s"] + 1e-18, entry["basis"]["s"])
    check(legend + ": readings", entry["n"] == len(readings(records, entry)), entry["n"])
    check(legend + ": its parts", [c["name"] for c in one["components"]] == [p[0] for p in parts],
          one["components"])
    for c, p in zip(one["components"], parts):
        good = near(c["spread"], p[1]) and near(c["divisor"], p[2]) and near(c["u"], p[3]) and \
            near(c["share"], p[3] ** 2 / u ** 2, 2e-5)
        check("%s: %s" % (legend, p[0]), good, "%s, recomputed %s" % (c, p))
    check(legend + ": combined", near(one["u"], u) and near(one["U"], 2 * u) and one["agrees"], one)
    check(legend + ": degrees of freedom",
          one["nu"] is None if nu == math.inf else near(one["nu"], nu, 1e-4), (one["nu"], nu))
    check(legend + ": k for 95.45 %", near(one["k95"], t_factor(0.9544997361, nu), 1e-4),
          (one["k95"], t_factor(0.9544997361, nu)))
    table(printed(text, one["seq"]), parts, u, legend)
    if entry.get("offset"):
        off = records[entry["offset"]]["value"]
        check(legend + ": the leads are taken off, where the display can show that much",
              near(entry["value"], entry["raw"] - off, 1e-12) if "raw" in entry
              else abs(off) < entry["digit"] / 2, entry)


def main():
    with tempfile.TemporaryDirectory(prefix="tally-budget-") as folder:
        log = make(folder)
        export = tally(log, "export").stdout
        records = {r["seq"]: r for r in map(json.loads, export.splitlines()) if "kind" in r}
        budgets = objects(log, "entries", "--budget")
        text = tally(log, "entries", "--budget").stdout
    check("every touch is in it", len(budgets) == len(TOUCHES) + 1, len(budgets))
    for one, row in zip(budgets, TOUCHES):
        basis = records[one["seq"]]["basis"]
        check("%s by %s: the statement that holds there" % (one["position"], one["meter"]),
              one["position"] == row[0] and one["meter"] == row[1] and
              (basis["class"] == "handheld-6000" if row[6] is None else
               (basis["percent"], basis["counts"]) == row[6:8]), (one["position"], basis))
    names = [c["name"] for one in budgets for c in one["components"]]
    check("all kinds of parts were there", {"accuracy", "repeatability", "digit", "lead offset"} ==
          set(names), names)
    for one in budgets:
        budget(records, one, text)
    # The offset's own u, that of a reading like any other.
    for seq, record in records.items():
        if record["kind"] != "offset":
            continue
        parts = again(records, dict(record, position="leads"))
        u = math.sqrt(math.fsum(p[3] ** 2 for p in parts))
        check("offset %d" % seq, near(record["u"], u), (record["u"], u))
        median = sorted(readings(records, record))
        m = len(median)
        check("offset %d: the middle of its readings" % seq,
              near(record["value"], median[m // 2]) or near(record["value"], median[(m - 1) // 2]) or
              near(record["value"], (median[m // 2] + median[(m - 1) // 2]) / 2),
              (record["value"], median))
    return ended()


if __name__ == "__main__":
    sys.exit(main())
