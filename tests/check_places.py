#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""What parts do in their place (`tally places`), against formulas written here and against
drawing: inputs are drawn anew from their distributions (JCGM 101:2008 5.9, 6.4: normal of what
was measured, rectangular between its limits of what is nominal), and U must be twice the root
mean square distance of the results from the value that is shown.

Every value comes through the whole road: meters on a tape, settled, sealed, read back.
"""

import math
import random
import sys
import tempfile

from decimal import Decimal

from counted import check, ended
from tape import Tape, objects, tally

CONFIG = """[bench]
name = tests
[meter red]
port = /dev/ttyUSB0
dialect = ascii-unit
accuracy ohm = 0.8% + 2
accuracy farad = 1.5% + 3
accuracy volt-dc = 0.5% + 2
accuracy volt-ac = 1.0% + 3
accuracy amp-dc = 1.2% + 5
input volt-dc = 10M
test farad = 100 Hz
[meter coil]
port = /dev/ttyUSB1
dialect = ascii-unit
accuracy volt-dc = 2%
input volt-dc = 1M
"""
SHEET = """position,kind,nominal,tolerance,rated,role,with,channel,twin,source,max,mu,ra,load,gm,chart,range
C7,film,22n,10%,400 V,coupling,R14,left,,,,,,,,,
R14,resistor,1M,5%,,grid leak,,left,,,,,,,,,
C8,paper,100n,20%,400 V,coupling,R15,left,,47k,,,,,,,
R15,resistor,470k,10%,,grid leak,,left,,,,,,,,,
C9,electrolytic,25u,-20/+80%,25 V,cathode bypass,R9,left,,,,100,62k5,90k9,,,
R9,resistor,1.5k,10%,,cathode,,left,,,,,,,,,
C10,electrolytic,50u,-20/+50%,25 V,cathode bypass,R10,left,,,,,,,0.003,,
R10,resistor,330,5%,,cathode,,left,,,,,,,,,
V2,valve,100 V,20%,,,,left,,1M,,,,,,1 kohm/V,250 V
B3,rail,220 V,20%,,,,left,,220k,,,,,,,
V5,valve,435 V,10%,,output,,left,,,25,,,,,,
R30,resistor,10,1%,,sense,V5,left,R130,,,,,,,,
R130,resistor,10,1%,,sense,,right,,,,,,,,,
R31,resistor,1k,5%,,screen,V5,left,,,,,,,,,
V6,valve,300 V,10%,,output,,left,,,12,,,,,,
R32,resistor,220,5%,,cathode,V6,left,,,,,,,,,
B1,rail,420 V,10%,,,,,,,,,,,,,
B1ac,rail,2 V AC,90%,,ripple,B1,,,,,,,,,,
L1,resistor,8,5%,,load,,left,L2,,,,,,,,
L2,resistor,8,5%,,load,,right,,,,,,,,,
L3,resistor,16,5%,,load,,left,,,,,,,,,
N1,rail,1 mV AC,,,hum,L1,left,,,,,,,,,
C20,electrolytic,47u,,450 V,reservoir,R40,,,,,,,,,,
R40,resistor,220k,5%,,bleeder,,,,,,,,,,,
C21,electrolytic,8u,-20/+80%,450 V,reservoir,R41,,,,,,,,,,
R41,resistor,100k,20%,,bleeder,,,,,,,,,,,
"""
# condition, position, quantity, meter, reading as the meter sends it (taken by key where it is
# volts or amps, which have no open leads)
TOUCHES = [
    ("found", "C7", None, "red", "25.3 nF"), ("found", "R14", None, "red", "1.083 MOhm"),
    ("found", "C7", "leakage", "red", "0.85 uA DC"),
    ("found", "R15", None, "red", "512.0 kOhm"),
    ("found", "C8", "volts", "red", "0.02 V DC"), ("found", "C8", "leakage", "red", "0.61 V DC"),
    ("found", "C8", None, "red", "131.2 nF"),
    ("found", "C9", None, "red", "17.3 uF"), ("found", "R9", None, "red", "1.712 kOhm"),
    ("found", "C10", None, "red", "61.2 uF"), ("found", "R10", None, "red", "341.2 Ohm"),
    ("found", "V2", "volts", "red", "96.2 V DC"), ("found", "B3", "volts", "coil", "171.5 V DC"),
    ("found", "R30", None, "red", "10.03 Ohm"), ("found", "R130", None, "red", "9.97 Ohm"),
    ("found", "R31", None, "red", "1.034 kOhm"), ("found", "R32", None, "red", "231.4 Ohm"),
    ("found", "V5", "volts", "red", "434.1 V DC"), ("found", "R30", "volts", "red", "0.420 V DC"),
    ("found", "R130", "volts", "red", "0.385 V DC"), ("found", "R31", "volts", "red", "4.62 V DC"),
    ("found", "V6", "volts", "red", "305.2 V DC"), ("found", "R32", "volts", "red", "9.81 V DC"),
    ("found", "B1", "volts", "red", "417.3 V DC"), ("found", "B1ac", "volts", "red", "1.812 V AC"),
    ("found", "L1", None, "red", "8.05 Ohm"), ("found", "L3", None, "red", "16.11 Ohm"),
    ("found", "L1", "volts", "red", "8.912 V AC"), ("found", "L2", "volts", "red", "8.443 V AC"),
    ("found", "L3", "volts", "red", "9.884 V AC"), ("found", "N1", "volts", "red", "2.13 mV AC"),
    ("found", "C20", None, "red", "52.3 uF"), ("found", "C20", "leakage", "red", "1.41 mA DC"),
    ("found", "R40", None, "red", "231.0 kOhm"),
    ("soak", "R30", "volts", "red", "0.455 V DC"),
    ("done", "C7", None, "red", "21.8 nF"), ("done", "C9", None, "red", "26.1 uF"),
]
DRAWS = 20000
TWO_PI = 2 * math.pi


def leads_of(reading):
    unit = reading.split(" ", 1)[1]
    return ("0.003 nF" if unit.endswith("F") else "OL V DC" if "V D" in unit else
            "OL V AC" if "V A" in unit else "OL A DC" if "A D" in unit else "OL MOhm")


def make(folder):
    tape = Tape()
    tape.act("reach lifted")
    condition = "found"
    for when, position, quantity, meter, reading in TOUCHES:
        if when == "soak":
            tape.wait(1500)
        elif when != condition:
            condition = when
            tape.act("condition " + when)
        by_key = " DC" in reading or " AC" in reading
        for other in ("red", "coil"):
            tape.say(other, leads_of(reading) if other == meter else "OL V DC", 6)
        tape.act("at %s%s" % (position, " " + quantity if quantity else ""))
        tape.say(meter, leads_of(reading), 8)
        tape.say(meter, reading, 20 if not by_key else 3)
        if by_key:
            tape.say(meter, reading, 9)
            tape.act("take")
        tape.say(meter, leads_of(reading), 8)
    tape.act("condition found")
    tape.act("reach in-circuit")
    tape.touch("C8", "red", ["117.0 nF"] * 16, leads="0.003 nF")
    return tape.replay(folder, SHEET, CONFIG)


class Input:
    """What was measured, or a nominal between its limits, or a number that is taken as it is."""

    def __init__(self, value, u=0.0, low=None, high=None):
        self.value, self.u, self.low, self.high = value, u, low, high

    def draw(self, rng):
        if self.low is not None:
            return rng.uniform(self.low, self.high)
        return rng.gauss(self.value, self.u) if self.u else self.value


def nominal(value, minus, plus=None):
    plus = minus if plus is None else plus
    return Input(value, 0, value * (1 - minus / 100), value * (1 + plus / 100))


def parallel(a, b):
    return a * b / (a + b)


def zero(C, R):
    return 1 / (TWO_PI * R * C)


def gain_lost(R, mu=100.0, ra=62500.0, load=90900.0):
    return 1 + R * (mu + 1) / (load + ra)


def impedance(V1, R1, V2, R2):
    return (V1 - V2) / (V2 / R2 - V1 / R1)


def rows(m):
    """(position, what, condition, formula, inputs, how near U must be, in percent)."""
    safe, rated = 60.0, 450.0
    C7n, R14n = nominal(22e-9, 10), nominal(1e6, 5)
    C8n, R15n = nominal(100e-9, 20), nominal(470e3, 10)
    C9n, R9n = nominal(25e-6, 20, 80), nominal(1500.0, 10)
    C10n, R10n = nominal(50e-6, 20, 50), nominal(330.0, 5)
    slope = lambda C, R: zero(C, 1 / (1 / R + 0.003))
    coupled = lambda C, R: zero(C, R + 47e3)
    pole = lambda C, R: gain_lost(R) * zero(C, R)
    step = lambda C, R: 20 * math.log10(gain_lost(R))
    leak = lambda V, V0, R: (V - V0) / parallel(R, 10e6)
    shift = lambda V, V0, R: leak(V, V0, R) * R
    watts = lambda Va, Vs, Rs, Vg, Rg: (Va - Vs) * (Vs / Rs - Vg / Rg)
    alone = lambda Va, Vs, Rs: (Va - Vs) * Vs / Rs
    pair = lambda V, R, W, S: 100 * (V / R - W / S) / ((V / R + W / S) / 2)
    to_safe = lambda R, C: R * C * math.log(rated / safe)
    out = [
        ("C7", "coupling-corner", "nominal", zero, [C7n, R14n], 3),
        ("C7", "coupling-corner", "found", zero, [m("C7"), m("R14")], 2),
        # The grid leak stayed: what was found of it counts.
        ("C7", "coupling-corner", "done", zero, [m("C7", "done"), m("R14")], 2),
        ("C7", "grid-shift", "found", lambda I, R: I * R, [m("C7", q="leakage"), m("R14")], 2),
        ("C8", "coupling-corner", "nominal", coupled, [C8n, R15n], 4),
        ("C8", "coupling-corner", "found", coupled, [m("C8"), m("R15")], 2),
        ("C8", "leakage", "found", leak, [m("C8", q="leakage"), m("C8", q="volts"), m("R15")], 2),
        ("C8", "grid-shift", "found", shift, [m("C8", q="leakage"), m("C8", q="volts"), m("R15")], 2),
        ("C8", "shunt-dissipation", "found", lambda R, C: 1 / (TWO_PI * 100 * R * C),
         [m("R15"), C8n], 4),
        ("C9", "cathode-zero", "nominal", zero, [C9n, R9n], 10),
        ("C9", "cathode-zero", "found", zero, [m("C9"), m("R9")], 2),
        ("C9", "cathode-zero", "done", zero, [m("C9", "done"), m("R9")], 2),
        ("C9", "cathode-pole", "nominal", pole, [C9n, R9n], 10),
        ("C9", "cathode-pole", "found", pole, [m("C9"), m("R9")], 2),
        ("C9", "cathode-step", "nominal", step, [C9n, R9n], 3),
        ("C9", "cathode-step", "found", step, [m("C9"), m("R9")], 2),
        ("C10", "cathode-zero", "nominal", zero, [C10n, R10n], 8),
        ("C10", "cathode-pole", "nominal", slope, [C10n, R10n], 8),
        ("C10", "cathode-pole", "found", slope, [m("C10"), m("R10")], 2),
        ("V2", "unloaded", "found", lambda V: V * 1.1, [m("V2", q="volts")], 2),
        ("V2", "as-chart", "found", lambda V: V * 1.1 / (1 + 1e6 / 250e3), [m("V2", q="volts")], 2),
        ("B3", "unloaded", "found", lambda V: V * 1.22, [m("B3", q="volts")], 2),
        ("R30", "cathode-current", "found", lambda V, R: V / R, [m("R30", q="volts"), m("R30")], 2),
        ("R130", "cathode-current", "found", lambda V, R: V / R, [m("R130", q="volts"), m("R130")], 2),
        ("R30", "pair-difference", "found", pair,
         [m("R30", q="volts"), m("R30"), m("R130", q="volts"), m("R130")], 2),
        ("R30", "bias-drift", "found", lambda a, b: 100 * (b - a) / a,
         [m("R30", q="volts", nth=0), m("R30", q="volts")], 2),
        ("V5", "dissipation", "found", watts,
         [m("V5", q="volts"), m("R30", q="volts"), m("R30"), m("R31", q="volts"), m("R31")], 2),
        ("V5", "dissipation-percent", "found", lambda *x: watts(*x) / 25 * 100,
         [m("V5", q="volts"), m("R30", q="volts"), m("R30"), m("R31", q="volts"), m("R31")], 2),
        ("V6", "dissipation", "found", alone,
         [m("V6", q="volts"), m("R32", q="volts"), m("R32")], 2),
        ("B1ac", "ripple", "found", lambda a, d: 100 * a / d,
         [m("B1ac", q="volts"), m("B1", q="volts")], 2),
        ("L1", "power", "found", lambda V, R: V * V / R, [m("L1", q="volts"), m("L1")], 2),
        ("L2", "power", "found", lambda V, R: V * V / R, [m("L2", q="volts"), nominal(8.0, 5)], 3),
        ("L1", "balance", "found", lambda a, b: 20 * math.log10(a / b),
         [m("L1", q="volts"), m("L2", q="volts")], 2),
        ("N1", "hum", "found", lambda a, b: 20 * math.log10(a / b),
         [m("L1", q="volts"), m("N1", q="volts")], 2),
        ("C20", "discharge-5rc", "found", lambda R, C: 5 * R * C, [m("R40"), m("C20")], 2),
        ("C20", "discharge-to-60V", "found", to_safe, [m("R40"), m("C20")], 2),
        # Of a nominal, the capacitance at its largest.
        ("C21", "discharge-5rc", "nominal", lambda R: 5 * R * 8e-6 * 1.8, [nominal(100e3, 20)], 2),
        ("C20", "leakage-limit-period", "found", lambda C: 0.04 * C * 1e6 / 1e3 + 0.3e-3, [m("C20")], 2),
        ("C20", "leakage-limit-modern", "found", lambda C: 0.01 * C * rated, [m("C20")], 2),
        ("C20", "heat", "found", lambda I: rated * I, [m("C20", q="leakage")], 2),
    ]
    loads = [m("L1", q="volts"), m("L1"), m("L3", q="volts"), m("L3")]
    small = [Input(x.value, x.u / 50) for x in loads]
    # Two loads give a small difference of large numbers; at the u of these meters its quotient
    # has no variance at all, so that the slopes are checked at a fiftieth of it.
    out += [("L1", "output-impedance", "found", impedance, small, 50),
            ("L1", "damping", "found", lambda V, R, W, S: R / impedance(V, R, W, S), small, 50)]
    return out


def drawn(formula, inputs, shown, rng):
    total = 0.0
    for _ in range(DRAWS):
        total += (formula(*[x.draw(rng) for x in inputs]) - shown) ** 2
    return math.sqrt(total / DRAWS)


# JAN-C-62 and the like: mA for uF, by bands of rated volts; the last ends at 450 or at 500 V.
# What lies between two bands counts to the next.
PERIOD = [(100, "0.01"), (250, "0.02"), (350, "0.025"), (500, "0.04")]


def period_limit(microfarads, volts):
    k = next((Decimal(k) for most, k in PERIOD if volts <= most), None)
    return None if k is None else (k * microfarads + Decimal("0.3")) / 1000


def modern_limit(microfarads, volts):
    return max(Decimal("0.01") * microfarads * volts, Decimal(3)) / 10 ** 6


def leakage_limits():
    """The published rows, and every bound of the bands with what lies beside it."""
    cases = []
    with open("tests/reference/leakage-limits.tsv") as table:
        for line in table:
            if line.startswith("#"):
                continue
            form, C, V, unit, limit, _ = line.rstrip("\n").split("\t")
            what = {"JAN-C-62": "period", "0.01CV_or_3uA": "modern"}.get(form)
            scale = 1000 if unit == "mA" else 10 ** 6
            if what:
                cases.append((Decimal(C), Decimal(V), {what: Decimal(limit) / scale}))
    published = len(cases)
    for V in ("3", "6", "12.5", "50", "99", "100", "100.5", "101", "160", "249", "250", "250.5",
              "251", "300", "350", "351", "400", "450", "451", "500", "501", "600"):
        for C in ("0.5", "8", "100"):
            cases.append((Decimal(C), Decimal(V), {}))
    tape, sheet = Tape(), ["position,kind,nominal,tolerance,rated"]
    tape.act("reach lifted")
    for i, (C, V, _) in enumerate(cases):
        sheet.append("C%d,electrolytic,%su,-20/+80%%,%s V" % (i, C, V))
        tape.say("red", "OL A DC", 4)
        tape.act("at C%d leakage" % i)
        tape.say("red", "1.000 mA DC", 4)
        tape.act("take")
    with tempfile.TemporaryDirectory(prefix="tally-leakage-") as folder:
        places = objects(tape.replay(folder, "\n".join(sheet) + "\n", CONFIG), "places")
    got = {(p["position"], p["what"]): p["value"] for p in places}
    check("the published rows of the two forms", published == 11, published)
    for i, (C, V, known) in enumerate(cases):
        for what, limit in (("period", period_limit(C, V)), ("modern", modern_limit(C, V))):
            legend = "%s uF, %s V, %s" % (C, V, what)
            have = got.get(("C%d" % i, "leakage-limit-" + what))
            check(legend + ", published", known.get(what, limit) == limit, known)
            check(legend, have is None if limit is None else
                  have is not None and abs(Decimal(have) / limit - 1) < Decimal("1e-5"), (have, limit))


def main():
    leakage_limits()
    with tempfile.TemporaryDirectory(prefix="tally-places-") as folder:
        log = make(folder)
        entries = objects(log, "entries")
        places = objects(log, "places")
    had = {}
    for e in entries:
        if e["reach"] == "lifted" or e["quantity"] != "value":
            had.setdefault((e["position"], e["condition"], e["quantity"]), []).append(e)

    def measured(position, condition="found", q="value", nth=-1):
        e = had[position, condition, q][nth]
        return Input(e["value"], e["u"])

    got = {(p["position"], p["what"], p["condition"]): p for p in places}
    check("every touch is an entry", len(entries) == len(TOUCHES) + 1,
          "%d of %d" % (len(entries), len(TOUCHES) + 1))
    rng = random.Random(20261126)
    for position, what, condition, formula, inputs, percent in rows(measured):
        legend = "%s %s %s" % (position, what, condition)
        p = got.get((position, what, condition))
        if not check(legend, p is not None, "is not there"):
            continue
        value = formula(*[x.value for x in inputs])
        check(legend + ": value", abs(p["value"] - value) <= 2e-5 * abs(value), (p["value"], value))
        u = drawn(formula, inputs, value, rng) * (50 if percent == 50 else 1)
        check(legend + ": u", abs(p["u"] / u - 1) <= (0.02 if percent == 50 else percent / 100),
              "%g, drawn %g (%+.1f %%)" % (p["u"], u, 100 * (p["u"] / u - 1)))
        check(legend + ": says what it was made of", p["calculated"] and len(p["from"]) > 0, p)
    return ended()


if __name__ == "__main__":
    sys.exit(main())
