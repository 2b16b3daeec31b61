#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""A chart read back: well-formed XML, real text, no request, and the numbers of its paths.

The kept picture of test_chart has a trail of known values; here its SVG is read as XML by
Python's parser, the axis is taken from its own numbers, and the path of the trail is turned
into values again, which must be those that went in.  PNG and PDF are made where tally-draw
was built.
"""
import math
import os
import re
import subprocess
import sys
import tempfile
import xml.etree.ElementTree as xml

build = sys.argv[1] if len(sys.argv) > 1 else os.environ.get("TALLY_BUILD", "build")
path = "tests/charts/touch.svg"
text = open(path, encoding="utf-8").read()
passed = failed = 0


def check(what, good):
    global passed, failed
    if good:
        passed += 1
    else:
        failed += 1
        print("FAILED:", what)


root = xml.fromstring(text)
svg = "{http://www.w3.org/2000/svg}"
words = [t.text for t in root.iter(svg + "text")]
check("the title, with its special characters", root.find(svg + "title").text == "C7 & <twin>, last touch")
check("the description says it in sentences", "118.29 nF" in root.find(svg + "desc").text)
check("nothing is asked of a network", not re.search(r'(href|src|url\(http|@import)', text))
check("no script", "<script" not in text)
check("times on the axis", "10:00:05" in words and "2026-11-25" in words)
check("both limits", "C7 high limit 110.0 nF" in words and "C7 low limit 90.0 nF" in words)

# The first panel's axis: two of its numbers and where they stand.
axis = [(float(t.text), float(t.get("y")) - 4) for t in root.iter(svg + "text")
        if t.get("class") == "end" and re.fullmatch(r"-?[0-9.]+", t.text)][:3]
(a, ya), (b, yb) = axis[0], axis[-1]
seen = []
for p in root.iter(svg + "path"):
    if p.get("class") == "trail":
        points = re.findall(r"[ML]([0-9.]+) ([0-9.]+)", p.get("d"))
        half = len(points) // 2
        seen += [(float(x), a + (float(y) - ya) * (b - a) / (yb - ya)) for x, y in points[:half]]
want = [0.02 if i < 20 or i > 60 else 118.3 * (1 - math.exp(-(i - 20) / 4)) for i in range(80) if i != 69]
pixel = abs((b - a) / (yb - ya))
check("as many columns as have values", len([s for s in seen if s[1] > -30]) >= len(want))
worst = max(abs(v - w) for (x, v), w in zip(seen, want))
check("the path gives the values again (off by %.2f of %.2f nF a unit)" % (worst, pixel), worst < pixel * 0.2)
marks = [g for g in root.iter(svg + "g") if g.find(svg + "title") is not None]
check("the entry can be pointed at", marks and "entry 45" in marks[0].find(svg + "title").text)

draw = os.path.join(build, "tally-draw")
if os.access(draw, os.X_OK):
    with tempfile.TemporaryDirectory() as folder:
        for name, begins in (("p.png", b"\x89PNG\r\n"), ("p.pdf", b"%PDF-")):
            file = os.path.join(folder, name)
            status = subprocess.run([draw, file], input=text.encode()).returncode
            check(name, status == 0 and open(file, "rb").read(len(begins)) == begins)
        bad = subprocess.run([draw, os.path.join(folder, "x.png")], input=b"<svg", capture_output=True)
        check("half an SVG is refused", bad.returncode == 2 and os.listdir(folder) == sorted(["p.pdf", "p.png"])
              or bad.returncode == 2 and not os.path.exists(os.path.join(folder, "x.png")))
        bad = subprocess.run([draw, os.path.join(folder, "no", "x.png")], input=text.encode(), capture_output=True)
        check("a folder that is not there is named", bad.returncode == 2 and b"No such file" in bad.stderr)
else:
    print("tally-draw is not built here: PNG and PDF were not tried")

print("%d passed, %d failed" % (passed, failed))
sys.exit(failed != 0)
