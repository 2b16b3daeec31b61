#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""The demo with other seeds: is every part of the scene one entry, with its value?

    tests/demo_seeds.py SEEDS     (seeds 1 to SEEDS; each takes about a minute)

What is due is read from the scene itself: `up R1` and `touch bench 1.062M` ask for one
entry of that meter there, whose value lies within four of its digits of the part's
(noise of the display, by its square root over the readings, and the settled stretch);
`error blue 5` for one that is so much off; `touch bench open` for an overload.  Prints a
line a seed, and at the end the counts.
"""

import json
import os
import re
import subprocess
import sys

BUILD = os.environ.get("TALLY_BUILD", "build")
SCENE = "demo/scenes/monitor.scene"
PREFIX = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "m": 1e-3, "k": 1e3, "M": 1e6}


def number(text):
    m = re.fullmatch(r"([0-9.]+)([pnumkM]?)", text)
    return float(m[1]) * PREFIX.get(m[2], 1)


def due():
    """(position, condition, meter, value or None), in order."""
    rows, position, condition, error = [], None, "found", {}
    for line in open(SCENE):
        words = line.split("#")[0].split()
        if words[:1] == ["up"]:
            position = words[1]
        elif words[:1] == ["error"]:
            error[words[1]] = float(words[2]) / 100
        elif words[:2] == ["tally", "condition"]:
            condition = words[2]
        elif words[:1] == ["touch"]:
            value = None if words[2] == "open" else number(words[2]) * (1 + error.get(words[1], 0))
            rows.append((position, condition, words[1], value))
    return rows


def faults(entries):
    found = []
    left = [e for e in entries if not e.get("struck") and e["source"] == "meter"]
    for position, condition, meter, value in due():
        fits = [e for e in left if (e["position"], e["condition"], e["meter"]) == (position, condition, meter)]
        if len(fits) != 1:
            found.append("%s on %s: %d entries" % (position, meter, len(fits)))
        for e in fits:
            left.remove(e)
        if len(fits) != 1:
            continue
        got = fits[0]["value"]
        if value is None:
            if got is not None or fits[0].get("state") != "overload":
                found.append("%s on %s: %s where it is open" % (position, meter, got))
        elif got is None or abs(got - value) > 4 * fits[0]["digit"]:
            found.append("%s on %s: %s, the part is %g" % (position, meter, got, value))
    return found + ["%s on %s: one too many" % (e["position"], e["meter"]) for e in left]


def main(seeds):
    passed = failed = 0
    for seed in range(1, seeds + 1):
        r = subprocess.run(["demo/run"], capture_output=True, text=True,
                           env=dict(os.environ, TALLY_DEMO_SEED=str(seed)))
        out = subprocess.run([BUILD + "/tally", "--file", BUILD + "/demo/demo.db", "entries", "--json"],
                             capture_output=True, text=True).stdout
        entries = [json.loads(line) for line in out.splitlines()]
        found = faults(entries) + ([] if r.returncode == 0 else ["the demo ended with %d" % r.returncode])
        passed, failed = passed + (not found), failed + bool(found)
        print("seed %2d: %d touches, %d entries, %s" % (seed, len(due()), len(entries),
                                                        "; ".join(found) or "all right"), flush=True)
    print("%d passed, %d failed" % (passed, failed))
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 10))
