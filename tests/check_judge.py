#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""`tally judge` against a verdict worked out here, in exact fractions, from the rule alone
(JCGM 106:2012 8.3, guard band U = 2 u; ILAC-G8:09/2019 4.2.3; at a bound the better side), and
its probability against statistics.NormalDist: thousands of drawn nominals, tolerances of every
form, values near and far of the limits, accuracies.  Laws beside that: the same with any SI
prefix; a stricter limit never turns outside into within.

TALLY_DRAWS says how many are drawn.
"""

import json
import os
import random
import subprocess
import sys

from concurrent.futures import ThreadPoolExecutor
from decimal import Context, Decimal, ROUND_HALF_EVEN
from fractions import Fraction
from statistics import NormalDist

import counted
from counted import check, ended

BUILD = os.environ.get("TALLY_BUILD", "build")
DRAWS = int(os.environ.get("TALLY_DRAWS", "400"))
PREFIX = {"p": -12, "n": -9, "u": -6, "m": -3, "": 0, "k": 3, "M": 6}
LETTERS = {"F": 1, "G": 2, "J": 5, "K": 10, "M": 20}
counted.shown_most = 20


def judged(words):
    r = subprocess.run([BUILD + "/tally", "--json", "judge", "--"] + words[:3]
                       if len(words) == 3 else
                       [BUILD + "/tally", "--json", "judge"] + words[3:] + ["--"] + words[:3],
                       capture_output=True, text=True, timeout=30)
    return r.returncode, (json.loads(r.stdout) if r.stdout.startswith("{") else {}), r.stderr


class Case:
    """What is asked, in text and in exact numbers."""

    def __init__(self, rng):
        self.unit = rng.choice(["ohm", "F", "V", "A"])
        self.prefix = rng.choice({"ohm": ["", "k", "M"], "F": ["p", "n", "u"], "V": ["", "m"],
                                  "A": ["u", "m"]}[self.unit])
        self.scale = Fraction(10) ** PREFIX[self.prefix]
        figures = rng.choice([1, 2, 3])
        self.nominal = Fraction(rng.randint(10 ** (figures - 1), 10 ** figures - 1),
                                rng.choice([1, 10]))
        # Of picofarads below ten letters mean something else: see tolerance_small_letter.
        if self.unit == "F" and self.prefix == "p":
            self.nominal += 10
        if self.unit in "VA" and rng.random() < 0.4:
            self.nominal = -self.nominal
        if self.unit in "VA" and rng.random() < 0.1:
            self.nominal = Fraction(0)
        self.bounds(rng)
        self.draw_value(rng)
        self.percent = rng.choice([Fraction(0), Fraction(1, 10), Fraction(1, 2), Fraction(2)])
        self.counts = rng.choice([0, 1, 2, 5, 10])
        if not self.percent and not self.counts:
            self.counts = 3

    def text(self, x):
        """Exact, with the unit."""
        d = Context(prec=40).divide(Decimal(x.numerator), Decimal(x.denominator))
        return "%s %s%s" % (format(d.normalize(), "f"), self.prefix, self.unit)

    def bounds(self, rng):
        """Tolerance in text, limits in units of the prefix; None is open."""
        n, form = self.nominal, rng.choice(["%", "+-%", "-/+", "letter", "abs", "abs2", ">=", "<="])
        if n == 0 and form in ("%", "+-%", "-/+", "letter"):
            form = rng.choice(["abs", "abs2", ">=", "<="])
        a, b = (Fraction(rng.choice([1, 5, 10, 20, 25, 50])) for _ in "ab")
        step = max(abs(n), Fraction(1)) / 20
        if form in ("%", "+-%", "letter"):
            letter = rng.choice(sorted(LETTERS))
            a = Fraction(LETTERS[letter]) if form == "letter" else a
            self.tolerance = letter if form == "letter" else "%s%d%%" % (form[:-1], a)
            ends = n * (1 - a / 100), n * (1 + a / 100)
        elif form == "-/+":
            self.tolerance = "-%d/+%d%%" % (a, b)
            ends = n * (1 - a / 100), n * (1 + b / 100)
        elif form == "abs":
            self.tolerance = "+-" + self.text(step)
            ends = n - step, n + step
        elif form == "abs2":
            self.tolerance = "-%s/+%s" % (self.text(step), self.text(2 * step))
            ends = n - step, n + 2 * step
        else:
            bound = n + step * rng.choice([-1, 0, 1])
            self.tolerance = form + self.text(bound)
            ends = (bound, None) if form == ">=" else (None, bound)
        self.low, self.high = ends if None in ends else (min(ends), max(ends))

    def draw_value(self, rng):
        near = rng.choice([x for x in (self.low, self.high, self.nominal) if x is not None])
        spread = max(abs(self.nominal), abs(near), Fraction(1)) * Fraction(rng.choice([1, 3, 10]), 100)
        places = rng.choice([1, 2, 3])
        x = near + spread * Fraction(rng.randint(-1000, 1000), 1000)
        if rng.random() < 0.1:
            x = near  # exactly at a bound
        self.digit = Fraction(1, 10 ** places)
        self.value = Fraction(round(x / self.digit)) * self.digit
        if self.unit in ("ohm", "F"):
            self.value = abs(self.value)

    def words(self):
        return [self.text(self.nominal), self.tolerance, self.text(self.value), "--accuracy",
                "%s%% + %d" % (float(self.percent), self.counts), "--digit", self.text(self.digit)]

    def u(self):
        """As records have it: six figures."""
        half = float((self.percent / 100 * abs(self.value) + self.counts * self.digit) * self.scale)
        step = float(self.digit * self.scale)
        return (half * half / 3 + step * step / 12) ** 0.5

    def rule(self):
        """Verdict and side."""
        u = self.u()
        U = 2 * Fraction(Context(prec=6, rounding=ROUND_HALF_EVEN).create_decimal_from_float(u))
        x = self.value * self.scale
        low = None if self.low is None else self.low * self.scale
        high = None if self.high is None else self.high * self.scale
        inside = (low is None or x - U >= low) and (high is None or x + U <= high)
        below, above = low is not None and x + U < low, high is not None and x - U > high
        return "within" if inside else "outside" if below or above else "unsure", below, above

    def probability(self):
        u, x = self.u(), float(self.value * self.scale)
        n = NormalDist(x, u)
        low = n.cdf(float(self.low * self.scale)) if self.low is not None else 0.0
        high = n.cdf(float(self.high * self.scale)) if self.high is not None else 1.0
        return high - low


def at_the_edge(case):
    """Where the last figure of u decides (drawn so once in ten thousand)."""
    u = Fraction(case.u()) * 2
    x = case.value * case.scale
    return any(b is not None and abs(abs(x - b * case.scale) - u) < u / 200000
               for b in (case.low, case.high))


def compare(case, answer):
    status, got, error = answer
    legend = " ".join(repr(w) for w in case.words())
    if not check(legend, bool(got), error.strip()):
        return
    word, below, above = case.rule()
    x, n = case.value * case.scale, case.nominal * case.scale
    if not at_the_edge(case):
        check(legend + ": verdict", got["verdict"] == word, (got, word))
        check(legend + ": status", status == (word == "outside"), (status, word))
    if below or above:
        check(legend + ": side", got["side"] == ("low" if below else "high"), got)
    check(legend + ": u", abs(got["u"] - case.u()) <= 1e-5 * case.u(), (got["u"], case.u()))
    check(legend + ": deviation", got["deviation"] is None if n == 0 else
          got["deviation"] is not None and
          abs(got["deviation"] - float((x - n) / n)) <= 1e-5 * abs(float((x - n) / n)) + 1e-15,
          (got["deviation"], n and float((x - n) / n)))
    for have, want in zip(got["limits"], (case.low, case.high)):
        check(legend + ": limits", have is None if want is None else have is not None and
              abs(Fraction(repr(have)) - want * case.scale) <= abs(want * case.scale) / 10 ** 14,
              (got["limits"], want))
    p = case.probability()
    check(legend + ": probability", abs(got["probability"] - p) <= 2e-6, (got["probability"], p))


def main():
    rng = random.Random(20261126)
    cases = [Case(rng) for _ in range(DRAWS)]
    with ThreadPoolExecutor(2) as pool:
        for case, answer in zip(cases, pool.map(lambda c: judged(c.words()), cases)):
            compare(case, answer)
    # Three forms of each verdict were among them.
    seen = {}
    for case in cases:
        seen[case.rule()[0]] = seen.get(case.rule()[0], 0) + 1
    check("every verdict was drawn", all(seen.get(w, 0) > DRAWS / 20 for w in
                                         ("within", "outside", "unsure")), seen)
    # Laws.
    for case in cases[:DRAWS // 8]:
        words = case.words()
        plain = judged(words)
        # In base units, with as many zeros as it takes.
        base = Case.__new__(Case)
        base.__dict__.update(case.__dict__)
        base.prefix, bare = "", lambda x: Case.text(base, x * case.scale)
        tolerance = case.tolerance
        if "%" not in tolerance and tolerance not in LETTERS:
            s = case.scale
            sign = tolerance[:2] if tolerance[:2] in (">=", "<=") else ""
            n = case.nominal
            tolerance = sign + bare(case.low if sign == ">=" else case.high) if sign else \
                "-%s/+%s" % (bare(n - case.low), bare(case.high - n))
        other = judged([bare(case.nominal), tolerance, bare(case.value)] + words[3:6] +
                       [bare(case.digit)])
        same = ("verdict", "side", "reason", "deviation", "probability", "limits", "u")
        check(" ".join(words) + ": free of prefix", all(plain[1].get(k) == other[1].get(k)
                                                        for k in same), (plain, other))
        # A stricter limit never turns outside into within.
        if "%" in case.tolerance and "/" not in case.tolerance:
            percent = int(case.tolerance.strip("+-%"))
            strict = judged([words[0], "%s%%" % (percent / 2), *words[2:]])
            order = ["outside", "unsure", "within"]
            check(" ".join(words) + ": a stricter limit",
                  order.index(strict[1]["verdict"]) <= order.index(plain[1]["verdict"]),
                  (plain[1], strict[1]))
    return ended()


if __name__ == "__main__":
    sys.exit(main())
