#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""The hand-back report, read back by a script that shares no code with it.

A made-up job is played through the real daemon (a recording, then typed values), the report is
made of the running log and of its file, and then
  - the log is read through sqlite3, and what the report must say is worked out again from the
    sealed records: which entry counts, value, uncertainty, deviation, verdict, counts;
  - report.html is opened in headless Chromium at 360, 800 and 1600 pixels: nothing on the
    console, no request, nothing wider than the window, no text over another, every position;
  - both CSV files are read by Python's csv, report.json by json, report.pdf by pdftotext.
What is not installed (Chromium, pdftotext) is skipped, and said.
"""
import atexit
import base64
import csv
import hashlib
import html.parser
import io
import json
import math
import os
import re
import shutil
import signal
import sqlite3
import struct
import subprocess
import sys
import tempfile
import time
import zlib
from decimal import Decimal

build = os.path.abspath(sys.argv[1] if len(sys.argv) > 1 else os.environ.get("TALLY_BUILD", "build"))
TALLY, TALLYD = os.path.join(build, "tally"), os.path.join(build, "tallyd")
passed = failed = 0

CONFIG = """[bench]
name = tests
[meter red]
port = /dev/ttyNONE0
dialect = ascii-unit
accuracy ohm = 0.5% + 2
accuracy farad = 1.0% + 3
[meter blue]
port = /dev/ttyNONE1
dialect = ascii-unit
accuracy ohm = 0.1% + 2
"""
SHEET = """position,kind,nominal,tolerance,rated,role,with,channel,twin,note
R1,carbon-composition,100k,10%,,anode load,,left,R101,
R101,carbon-composition,100k,10%,,anode load,,right,R1,
R2,carbon-film,47k,5%,,anode load,,left,R102,
R102,carbon-film,47k,5%,,anode load,,right,R2,
R3,carbon-composition,1M,10%,,grid leak,,left,,
T3/1,wirewound,270,5%,,cathode,,left,,
C2,paper,0.1 uF,20%,400 V,coupling,R3,left,,
C9,electrolytic,8 uF,-20/+50%,350 V,reservoir,,,,
L1,wirewound,8 ohm,5%,,load,,left,L2,
L2,wirewound,8 ohm,5%,,load,,right,L1,
H1,other,,<=5 mV,,hum,L1,left,,
B1,rail,-35 V,+-2 V,,bias,,left,,
PE,other,,<=0.2 ohm,,earth bond,,,,
INS,other,,>=2M,,mains insulation,,,,
TC,other,,<=0.5 mA,,touch current,,,,
"""
EVIL = "=cmd|' /C calc'!A0 <script>alert(1)</script> & \"quotes\""


def check(what, good):
    global passed, failed
    if good:
        passed += 1
    else:
        failed += 1
        print("FAILED:", what)
    return good


# ---- a job ----

def recording():
    """Each touch: 1 s of open leads, 3 s of a value."""
    out, t = ["# tally recording 1"], 0.0

    def say(line):
        out.append("%.6f %s" % (t, line))

    def touch(meter, position, text, open_text="OL MOhm"):
        nonlocal t
        say("@at " + position)
        for frame in [open_text] * 6 + [text] * 13 + [open_text] * 4:
            out.append('%.6f %s "%s\\r\\n"' % (t, meter, frame))
            t += 0.25

    say("@reach lifted")
    for position, text in (("R1", "+131.2 kOhm"), ("R101", "+104.1 kOhm"), ("R2", "+47.31 kOhm"),
                           ("R102", "+22.06 kOhm"), ("R3", "+1.062 MOhm"), ("T3/1", "+268.9 Ohm")):
        touch("red", position, text)
    touch("blue", "R101", "+104.20 kOhm")
    touch("red", "C2", "+163.1 nF", "+0.002 nF")
    say("@reach in-circuit")  # newer, but other paths count: the lifted one stays
    touch("red", "R1", "+99.4 kOhm")
    say("@fit R1 nominal=100k kind=metal-film tolerance=1% rated=500V")
    say("@condition new")
    say("@reach loose")
    touch("red", "R1", "+100.2 kOhm")
    say("@condition done")
    say("@reach lifted")
    touch("red", "R1", "+100.1 kOhm")
    touch("red", "R101", "+104.3 kOhm")
    say("@condition found")
    return "\n".join(out) + "\n"


# Volts at L1 (of L2 a tenth more) by frequency, as found and as done: a response each.
RESPONSE = {"found": {20: "2.31", 100: "5.92", 1000: "6.32", 5000: "6.02", 10000: "4.1", 20000: "1.9"},
            "done": {20: "8.2", 31.5: "8.7", 100: "8.94", 1000: "8.944", 10000: "8.81", 20000: "7.2"}}
HUM = {"found": "12.40 mV AC", "done": "0.894 mV AC"}


def response(job, condition):
    job.do("condition", condition)
    for hertz, volts in RESPONSE[condition].items():
        for load, factor in (("L1", Decimal(1)), ("L2", Decimal("1.1"))):
            job.do("enter", load, "%s V" % (Decimal(volts) * factor).quantize(Decimal("0.0001")), "--from", "mill",
                   "--quantity", "volts", "--frequency", "%s Hz" % hertz if hertz < 1000 else "%g kHz" % (hertz / 1000))
    job.do("enter", "H1", HUM[condition], "--from", "mill", "--quantity", "volts", "--frequency", "100 Hz")
    # Measured again: the newest of a frequency counts; what was struck does not.
    job.do("enter", "L1", "3.33 V", "--from", "mill", "--quantity", "volts", "--frequency", "5 kHz")
    job.do("strike", str(json.loads(job.live("entries", "L1", "--json").stdout.splitlines()[-1])["seq"]),
           "--because", "the generator was still warming")


class Job:
    def __init__(self, folder):
        self.folder, self.daemon = folder, None
        self.log = os.path.join(folder, "job.db")
        self.socket = os.path.join(folder, "s")
        for name, text in (("bench.conf", CONFIG), ("sheet.csv", SHEET), ("job.rec", recording())):
            with open(os.path.join(folder, name), "w") as f:
                f.write(text)

    def path(self, name):
        return os.path.join(self.folder, name)

    def replay(self):
        r = subprocess.run([TALLYD, "--replay", self.path("job.rec"), "--sheet", self.path("sheet.csv"),
                            "--config", self.path("bench.conf"), "--log", self.log],
                           capture_output=True, text=True, timeout=60)
        check("the recording plays: " + r.stderr[-300:], r.returncode == 0)

    def start(self):
        self.daemon = subprocess.Popen([TALLYD, "--config", self.path("bench.conf"), "--log", self.log,
                                        "--socket", self.socket], stderr=subprocess.DEVNULL)
        for _ in range(100):
            if self.live("status").returncode <= 1:  # 1: a meter is not there
                return
            time.sleep(0.1)
        check("the daemon came up", False)

    def stop(self):
        self.daemon.send_signal(signal.SIGTERM)
        self.daemon.wait(20)

    def end(self):
        if self.daemon and self.daemon.poll() is None:
            self.daemon.kill()

    def live(self, *words):
        return subprocess.run([TALLY, "--socket", self.socket, *words], capture_output=True, text=True,
                              timeout=60)

    def file(self, *words, log=None):
        return subprocess.run([TALLY, "--file", log or self.log, *words], capture_output=True, text=True,
                              timeout=60)

    def do(self, *words):
        r = self.live(*words)
        check(" ".join(words) + ": " + r.stderr.strip(), r.returncode == 0)


def work(job):
    job.replay()
    job.start()
    job.do("enter", "B1", "-36.20 V", "--from", "hand", "--quantity", "volts", "--u", "0.01 V")
    response(job, "found")
    job.do("enter", "C9", "0.4 mA", "--from", "leaky", "--quantity", "leakage", "--because", EVIL)
    job.do("enter", "R3", "5M", "--from", "hand")
    rows = job.live("entries", "R3", "--json").stdout.splitlines()
    job.do("strike", str(json.loads(rows[-1])["seq"]), "--because", "-wrong part")
    job.do("note", "C2", EVIL)
    job.do("enter", "R101", "269.4", "--from", "hand")  # it was T3/1
    job.do("move", "last", "T3/1", "--because", "@the other")
    job.do("note", "R3", "noted under its old name")
    job.do("sheet", "rename", "R3", "R33")


# ---- the log, independently ----

class Log:
    def __init__(self, file):
        db = sqlite3.connect("file:%s?mode=ro" % file, uri=True)
        rows = db.execute("SELECT seq, text, hash FROM record ORDER BY seq").fetchall()
        db.close()
        self.records = [json.loads(t, parse_float=Decimal, parse_int=Decimal) for _, t, _ in rows]
        self.head = "%d:%s" % (rows[-1][0], rows[-1][2].hex())
        self.entries = {int(r["seq"]): dict(r, judged=r, struck=False) for r in self.records if r["kind"] == "entry"}
        self.sheet = {}
        for r in self.records:
            if r["kind"] == "position":
                self.sheet[r["position"]] = r["sheet"]
            elif r["kind"] == "strike" and int(r["of"]) in self.entries:
                self.entries[int(r["of"])]["struck"] = True
            elif r["kind"] == "rejudge":
                self.entries[int(r["of"])]["judged"] = r
            elif r["kind"] == "move":
                self.entries[int(r["of"])]["position"] = r["position"]
            elif r["kind"] == "rename":
                del self.sheet[r["from"]]
                for e in self.entries.values():
                    if e["position"] == r["from"]:
                        e["position"] = r["position"]

    def counts(self, position, quantity, condition):
        """Which entry stands in the table: lifted or loose before in circuit, then the newest."""
        best = None
        for e in self.entries.values():
            if e["struck"] or (e["position"], e["quantity"], e["condition"]) != (position, quantity, condition):
                continue
            # A point of a response is not what the place is told by.
            point = "frequency" in e and not Decimal(1000) / Decimal("1.26") <= e["frequency"] <= Decimal(1260) \
                and "hum" not in self.sheet[position].get("role", "")
            key = (not point, e["function"].startswith("volt") or e["reach"] != "in-circuit", e["seq"])
            if best is None or key >= best[0]:
                best = (key, e)
        return best and best[1]


PREFIX = {"": 0, "p": -12, "n": -9, "µ": -6, "m": -3, "k": 3, "M": 6, "G": 9}


def number(text, german=False):
    """An SI number of "131,2 kΩ"."""
    m = re.match(r"([−-]?[0-9.,]+)(?:\xa0| )?([pnµmkMG]?)(Ω|F|V|A|H|Hz|%|)", text)
    digits = m.group(1).replace("−", "-")
    digits = digits.replace(",", ".") if german else digits
    return Decimal(digits).scaleb(PREFIX[m.group(2)])


class Page(html.parser.HTMLParser):
    """Rows by id: the texts of their cells, lines parted by LF."""

    def __init__(self, text):
        super().__init__()
        self.rows, self.row, self.cell, self.svg = {}, None, None, 0
        self.text, self.lang, self.ths, self.scoped, self.headings, self.svgs = "", None, 0, 0, [], []
        self.scripts, self.tag = 0, ""
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        a = dict(attributes)
        if tag == "html":
            self.lang = a.get("lang")
        elif tag == "tr":
            self.row = []
            if a.get("id"):
                self.rows[a["id"]] = self.row
        elif tag in ("td", "th"):
            self.ths += tag == "th"
            self.scoped += tag == "th" and "scope" in a
            self.row.append("")
        elif tag == "br" and self.row:
            self.row[-1] += "\n"
        elif tag == "svg":
            self.svg += 1
            self.svgs.append([a, set()])
        elif self.svg and tag in ("title", "desc"):
            self.svgs[-1][1].add(tag)
        elif re.fullmatch("h[1-6]", tag):
            self.headings.append(int(tag[1]))
        elif tag == "script":
            self.scripts += 1
        self.tag = tag

    def handle_endtag(self, tag):
        if tag == "svg":
            self.svg -= 1

    def handle_data(self, data):
        if self.tag not in ("style", "script"):
            self.text += data
        if self.row and not self.svg:
            self.row[-1] += data


MARK = {"within": "✓", "unsure": "?", "outside": "✗", "none": "–"}


def spread_good(said, U):
    """To two figures, or rounded up to the places of the value: never smaller, and by a quarter at most."""
    return abs(said - U) <= U * Decimal("0.06") or U <= said <= U * Decimal("1.31")


def check_rows(log, page, german):
    """Every position's cells against the sealed records."""
    wrong = 0
    for position in log.sheet:
        for quantity in ("value", "leakage", "volts"):
            row = page.rows.get("pos-" + position + ("" if quantity == "value" else "-" + quantity))
            for column, condition in ((2, "found"), (3, "new"), (4, "done")):
                e = log.counts(position, quantity, condition)
                cell = row[column] if row else ""
                if e is None:
                    good = cell.strip() in ("", "not measured", "nicht gemessen")
                else:
                    lines = cell.split("\n")
                    j = e["judged"]
                    value = number(lines[0], german)
                    # The uncertainty carries the unit, or has the same.
                    m = re.search(r"± ([0-9.,]+\xa0?[pnµmkMG]?[ΩFVA]*)", lines[0])
                    spread = m.group(1)
                    unit = re.search(r"\xa0([pnµmkMG]?)[ΩFVA]", lines[0]).group(1)
                    if "\xa0" not in spread:
                        spread += "\xa0" + unit + "V"
                    if "\xa0" not in lines[0].split(" ±")[0]:
                        value = value.scaleb(PREFIX[unit])
                    U = 2 * e["u"]
                    good = value == e["value"] and spread_good(number(spread, german), U)
                    good = good and MARK[j["verdict"]] in lines[1]
                    if j["deviation"] is not None and abs(j["deviation"]) < Decimal("0.99"):
                        d = number(lines[1].replace("+", ""), german) / 100
                        good = good and abs(d - j["deviation"]) <= Decimal("0.00051")
                    good = good and (("⌨" in cell) == (e["source"] == "typed"))
                if not good:
                    wrong += 1
                    print("  %s %s %s: %r" % (position, quantity, condition, cell), e and str(e["value"]))
    check("every cell says what is sealed (%d do not)" % wrong, wrong == 0)


def check_html(log, text, german, whole=True):
    page = Page(text)
    check("a row for every position", all(
        "pos-" + p in page.rows or any(k.startswith("pos-" + p + "-") for k in page.rows) for p in log.sheet))
    check_rows(log, page, german)
    check("lang", page.lang == ("de" if german else "en"))
    check("every head of a table says of what", page.ths > 20 and page.ths == page.scoped)
    check("every picture has a title and a description", page.svgs and all(
        s[1] == {"title", "desc"} and s[0].get("role") == "img" for s in page.svgs))
    check("headings go down one at a time", page.headings[0] == 1 and page.headings.count(1) == 1 and all(
        b - a <= 1 for a, b in zip(page.headings, page.headings[1:])))
    check("nothing from outside", not re.search(r"(?:src|href)=\"(?!data:)", text) and "@import" not in text and
          "url(http" not in text)
    check("one script, and what was noted is none", page.scripts == 1 and "<script>alert" not in text)
    check("a note goes by the name of now", "R33" in page.text.split("noted under")[0][-60:])
    check("the anchor is that of the log", log.head in text)
    found = [[log.counts(p, q, "found") for q in ("value", "volts", "leakage")] for p in log.sheet]
    words = [[e for e in f if e][0]["judged"]["verdict"] for f in found if any(f)]
    want = ("%d von %d Teilen und Stellen wurden gemessen" if german else "%d of %d parts and places were measured") % (
        len(words), len(log.sheet))
    check("how many were measured: " + want, want in page.text)
    want = ("%d liegen im Rahmen" if german else "%d lie within") % words.count("within")
    check("how many are within: " + want, want in page.text)
    if words.count("none"):
        want = ("%d haben keine Grenzen" if german else "%d have no limits") % words.count("none")
        check("how many have no limits: " + want, want in page.text)
    return page


# ---- the browser ----

class Browser:
    """Chromium through its debugging pipe: JSON texts parted by NUL."""

    def __init__(self, profile):
        to_read, self.to = os.pipe()
        self.from_, from_write = os.pipe()

        def pipes():
            a, b = os.dup(to_read), os.dup(from_write)
            os.dup2(a, 3)
            os.dup2(b, 4)

        self.process = subprocess.Popen(
            ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--remote-debugging-pipe",
             "--no-first-run", "--user-data-dir=" + profile, "about:blank"],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, preexec_fn=pipes, close_fds=False)
        os.close(to_read)
        os.close(from_write)
        self.buffer, self.last, self.events, self.session = b"", 0, [], None
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        self.session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.call(domain + ".enable")

    def message(self):
        while b"\0" not in self.buffer:
            more = os.read(self.from_, 1 << 16)
            if not more:
                raise EOFError("the browser ended")
            self.buffer += more
        text, self.buffer = self.buffer.split(b"\0", 1)
        return json.loads(text)

    def call(self, method, **params):
        self.last += 1
        call = {"id": self.last, "method": method, "params": params}
        if self.session:
            call["sessionId"] = self.session
        os.write(self.to, json.dumps(call).encode() + b"\0")
        while True:
            m = self.message()
            if m.get("id") == self.last:
                if "error" in m:
                    raise RuntimeError(m["error"])
                return m["result"]
            self.events.append(m)

    def open(self, url):
        self.events = []
        self.call("Page.navigate", url=url)
        while not any(e.get("method") == "Page.loadEventFired" for e in self.events):
            self.events.append(self.message())

    def value(self, script):
        r = self.call("Runtime.evaluate", expression=script, returnByValue=True)
        return r["result"].get("value")

    def close(self):
        self.process.terminate()
        self.process.wait(10)


OVERLAP = """(() => {
  // Boxes of text in one table row or list may not lie over each other.
  let bad = 0;
  for (const tr of document.querySelectorAll('tr')) {
    const boxes = [...tr.children].map(c => { const r = document.createRange();
      r.selectNodeContents(c); return r.getBoundingClientRect(); }).filter(b => b.width && b.height);
    for (let i = 0; i < boxes.length; i++) for (let j = 0; j < i; j++) {
      const a = boxes[i], b = boxes[j];
      if (Math.min(a.right, b.right) - Math.max(a.left, b.left) > 1 &&
          Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 1) bad++;
    }
  }
  return bad; })()"""


SAYS = "document.getElementById('tip').hidden ? '' : document.getElementById('tip').textContent"


def press(browser, key):
    for kind in ("rawKeyDown", "keyUp"):
        browser.call("Input.dispatchKeyEvent", type=kind, key=key, code=key,
                     windowsVirtualKeyCode={"Tab": 9, "Escape": 27, "End": 35, "Home": 36, "ArrowLeft": 37,
                                            "ArrowRight": 39}[key])


def check_keys(browser):
    """Without a mouse: one stop a table or picture, arrows from mark to mark."""
    groups = browser.value("new Set([...document.querySelectorAll('[data-tip]')].map(g => g.closest('table') || "
                           "g.closest('figure'))).size")
    stops = browser.value("document.querySelectorAll('[data-tip][tabindex=\"0\"]').length")
    check("one stop for each table and picture (%s of %s)" % (stops, groups), groups and stops == groups)
    browser.value("document.activeElement.blur(); document.querySelector('main').setAttribute('tabindex', -1);"
                  "document.querySelector('main').focus()")
    seen = []
    for key in ("Tab", "ArrowRight", "ArrowLeft", "End", "ArrowRight", "Home"):
        press(browser, key)
        seen.append(browser.value(SAYS) or "")
    check("keys go from mark to mark: %s" % seen, all(seen) and seen[0] == seen[2] == seen[5] and seen[1] != seen[0]
          and seen[3] == seen[4] != seen[0])
    check("what has the focus says its name", browser.value(
        "document.activeElement.getAttribute('aria-label')") == seen[5])
    press(browser, "Escape")
    check("Escape takes the words off", not browser.value(SAYS))
    for _ in range(groups - 1):
        press(browser, "Tab")
    check("each picture is reached: %r" % browser.value(SAYS), "dB" in (browser.value(SAYS) or ""))


def check_browser(folder, file, positions, keys=True):
    browser = Browser(os.path.join(folder, "profile"))
    try:
        for width in (360, 800, 1600):
            browser.call("Emulation.setDeviceMetricsOverride", width=width, height=900, deviceScaleFactor=1,
                         mobile=width == 360)
            browser.open("file://" + file)
            inside = browser.value("document.documentElement.scrollWidth")
            check("%d pixels: nothing is wider (%s)" % (width, inside), inside is not None and inside <= width)
            check("%d pixels: no text over another" % width, browser.value(OVERLAP) == 0)
            missing = [p for p in positions if not browser.value(
                "(e => !!e && e.getBoundingClientRect().height > 5)(document.querySelector("
                "'tr[id=\"pos-%s\"], tr[id^=\"pos-%s-\"]'))" % (p, p))]
            check("%d pixels: every position is there, not %s" % (width, missing), not missing)
            said = [e for e in browser.events if e.get("method") in
                    ("Runtime.consoleAPICalled", "Runtime.exceptionThrown", "Log.entryAdded")]
            check("%d pixels: nothing on the console: %s" % (width, json.dumps(said)[:300]), not said)
            asked = [e["params"]["request"]["url"] for e in browser.events
                     if e.get("method") == "Network.requestWillBeSent"]
            asked = [u for u in asked if not u.startswith("data:")]
            check("%d pixels: no request but itself: %s" % (width, asked), asked == ["file://" + file])
        at = browser.value("(e => {const b = e.getBoundingClientRect(); e.scrollIntoView();"
                           "const c = e.getBoundingClientRect();"
                           "return [c.left + c.width / 2, c.top + c.height / 2]})"
                           "(document.querySelector('[data-tip] circle'))")
        browser.call("Input.dispatchMouseEvent", type="mouseMoved", x=at[0], y=at[1])
        check("what is pointed at says its value", "kΩ" in (browser.value(
            "document.getElementById('tip').hidden ? '' : document.getElementById('tip').textContent") or ""))
        if keys:
            check_keys(browser)
    finally:
        browser.close()


# ---- CSV, JSON, PDF ----

NUMBERS = {"value_si": "value", "digit_si": "digit", "standard_uncertainty_si": "u", "record": "seq"}
RUNS = ("=", "+", "-", "@", "\t", "\r")


def check_csv(log, file, separator, point, mark):
    raw = open(file, "rb").read()
    check("%s: mark of UTF-8" % file[-14:], raw.startswith(b"\xef\xbb\xbf") == mark)
    text = raw.decode("utf-8-sig")
    check("%s: lines end with CRLF" % file[-14:], text.count("\n") == text.count("\r\n"))
    rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True))
    head, rows = rows[0], rows[1:]
    check("%s: as many cells as columns" % file[-14:], all(len(r) == len(head) for r in rows))
    wrong, runs, negative = 0, [], 0
    for r in rows:
        cell = dict(zip(head, r))
        e = log.entries[int(cell["record"])]
        for column, member in NUMBERS.items():
            want = e[member]
            got = cell[column].replace(point, ".")
            wrong += (got != "") if want is None else Decimal(got) != want
        wrong += cell["position"] != e["position"] or cell["verdict"] != e["judged"]["verdict"]
        wrong += (cell["counts"] == "no") != e["struck"]
        for c in r:
            plain = re.fullmatch(r"-?[0-9]+(?:[.,][0-9]+)?(?:[eE]-?[0-9]+)?", c)
            negative += bool(plain) and c.startswith("-")
            if c.startswith(RUNS) and not plain:
                runs.append(c)
    check("%s: every entry, and its numbers (%d wrong)" % (file[-14:], wrong),
          wrong == 0 and len(rows) == len(log.entries))
    check("%s: nothing that runs: %s" % (file[-14:], runs), not runs)
    check("%s: negative numbers are untouched (%d)" % (file[-14:], negative), negative >= 3)
    check("%s: what would run is there, harmless" % file[-14:], any(
        dict(zip(head, r))["because"] == "'" + EVIL for r in rows))


def check_json(log, file):
    report = json.load(open(file, encoding="utf-8"), parse_float=Decimal, parse_int=Decimal)
    check("JSON: format and anchor", report["format"] == "tally-report-1" and report["seal"]["head"] == log.head)
    check("JSON: every entry as it was sealed", [int(e["record"]["seq"]) for e in report["entries"]] == sorted(log.entries)
          and all(e["record"]["value"] == log.entries[int(e["record"]["seq"])]["value"] for e in report["entries"]))
    wrong = [l for l in report["lines"] for c in ("found", "new", "done")
             if (l[c] is None) != (log.counts(l["position"], l["quantity"], c) is None)
             or (l[c] is not None and l[c] != log.counts(l["position"], l["quantity"], c)["seq"])]
    check("JSON: which entries count: %s" % wrong, not wrong)
    lacks = {l["position"]: l["quantities"] for l in report["never_measured"]}
    check("JSON: what was never measured", lacks.get("C2") == ["leakage"] and "R1" not in lacks and
          lacks.get("C9") == ["value", "esr or dissipation"])
    return report


def check_response(log, report, page, german):
    """Each point in dB of what was sealed, and where it is 3 dB down."""
    got = {(x["position"], x["condition"]): x for x in report["responses"]}
    check("responses: " + str(sorted(got)), sorted(got) == [(p, c) for p in ("L1", "L2") for c in ("done", "found")])
    for (position, condition), x in got.items():
        points = {}
        for e in log.entries.values():
            if (e["position"], e["condition"]) == (position, condition) and "frequency" in e and not e["struck"]:
                points[float(e["frequency"])] = e
        want = {f: 20 * math.log10(float(e["value"] / points[1000.0]["value"])) for f, e in points.items()}
        check("%s %s: its points" % (position, condition), [float(p["hertz"]) for p in x["points"]] == sorted(want) and
              all(abs(float(p["db"]) - want[float(p["hertz"])]) < 1e-3 and
                  p["seq"] == points[float(p["hertz"])]["seq"] for p in x["points"]))
        f = sorted(want)

        def fall(steps):
            for a, b in steps:
                if want[b] <= -3:
                    part = (want[a] + 3) / (want[a] - want[b])
                    return math.exp(math.log(a) + part * math.log(b / a)), True
            return steps[-1][1], False
        at = f.index(1000.0)
        ends = [fall(list(zip(f[at::-1], f[at - 1::-1] if at else []))), fall(list(zip(f[at:], f[at + 1:])))]
        texts = [(("%.2g" % h) if h < 1000 else "%.2g" % (h / 1000)) for h, _ in ends]
        texts = [t.replace(".", ",") if german else t for t in texts]
        said = re.search(position + (", fertig: " if condition == "done" and german else ", done: " if condition == "done"
                         else ", vorgefunden: " if german else ", found: ") + "[^<]*?(?=L[12],|L[12] |$)", page.text)
        said = said.group(0).split("kHz", 1)[1] if said else ""
        numbers = re.findall(r"([0-9.,]+)\xa0k?Hz", said)
        check("%s %s: %s in %r" % (position, condition, texts, said), numbers[:2] == texts)
    # Power and hum by what was measured at 1 kHz.
    for condition, watts, db in (("found", "4.99", 20 * math.log10(6.32 / 0.0124)),
                                 ("done", "9.999", 20 * math.log10(8.944 / 0.000894))):
        row = [x for x in report["places"]["places"] if (x["position"], x["what"], x["condition"]) == ("L1", "power", condition)]
        check("power, %s" % condition, len(row) == 1 and row[0]["shown"].startswith(watts))
        row = [x for x in report["places"]["places"] if (x["position"], x["what"], x["condition"]) == ("H1", "hum", condition)]
        check("hum, %s" % condition, len(row) == 1 and abs(float(row[0]["value"]) - db) < 0.01)


def check_pdf(log, file, german):
    if not os.path.exists(os.path.join(build, "tally-draw")):
        print("tally-draw is not built here: no PDF")
        return False
    check("PDF", open(file, "rb").read(5) == b"%PDF-")
    if not shutil.which("pdftotext"):
        print("pdftotext is not installed: the PDF was not read")
        return True
    text = subprocess.run(["pdftotext", "-layout", file, "-"], capture_output=True, text=True).stdout
    pages = text.split("\f")[:-1]
    check("PDF: the pages are counted", ("Seite 1 von %d" if german else "Page 1 of %d") % len(pages) in pages[0])
    flat = re.sub(r"\s+", "", pages[0])
    check("PDF: the first page is the owner's, with the anchor", log.head in flat and
          ("SicherheitsPrüfungen" if german else "Safetytests").lower() in flat.lower())
    check("PDF: every position", all(p in text for p in log.sheet))
    check("PDF: values", ("131,2 ±" if german else "131.2 ±") in text)
    check("PDF: an end", ("Ende des Berichts" if german else "End of the report") in pages[-1])
    return True


def section(text, name):
    """The HTML of one section, from its heading to the next."""
    return re.split(r"<h2|</main>", text.split('<h2 id="%s">' % name)[1])[0]


def cells_of(part):
    """Rows of the tables in a piece of HTML: texts of their cells."""
    rows = []
    for row in re.findall(r"<tr role=\"row\"[^>]*>(.*?)</tr>", part, re.S):
        cells = re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row, re.S)
        rows.append([re.sub(r"<[^>]*>", "", c.replace("<br>", "\n")) for c in cells])
    return rows


def check_owner(log, text, german):
    """The owner's page, each of its numbers worked out from the sealed records once more."""
    def plain(part):
        return [re.sub(r"<[^>]*>", "", i) for i in re.findall(r"<li[^>]*>(.*?)</li>", part, re.S)]
    quantities = ("value", "volts", "leakage")
    fitted = {r["position"] for r in log.records if r["kind"] == "fit"}
    new = {e["position"] for e in log.entries.values() if e["condition"] == "new" and not e["struck"]}
    wrong = plain(section(text, "wrong"))
    for word, mark in (("outside", "\u2717"), ("unsure", "?")):
        want = sorted(p for p in log.sheet for q in quantities for e in [log.counts(p, q, "found")]
                      if e and e["judged"]["verdict"] == word)
        got = sorted(re.sub(r"^(keine sichere Aussage|no sure answer): ", "", i[2:]).split(",")[0].split(":")[0]
                     for i in wrong if i.startswith(mark + " "))
        check("the owner is told what was %s: %s, %s" % (word, want, got), got == want)
    e = log.counts("R1", "value", "found")
    percent = "%d\u00a0%% %s" % (round(100 * e["judged"]["deviation"]), "zu hoch" if german else "too high")
    check("and by how much: %s" % percent, any(i.startswith("\u2717 R1, ") and percent in i for i in wrong))
    done = plain(section(text, "work"))
    check("what was replaced: %s" % done, all(re.search(r"\b%s \(" % re.escape(p), done[0]) for p in fitted | new)
          and not re.search(r"\bR2 \(", done[0]))
    # What was not measured again and stayed in: as it was found.
    def first(position, condition):
        return next((e for q in (("volts", "value", "leakage") if log.sheet[position].get("function", "").startswith("volt")
                                 else quantities) for e in [log.counts(position, q, condition)] if e), None)
    again = [p for p in log.sheet if first(p, "done") or first(p, "new")]
    kept = [e for p in log.sheet if p not in again and p not in fitted for e in [first(p, "found")]
            if e and e["function"] in ("ohm", "farad")]
    within = [e for e in kept if e["judged"]["verdict"] == "within"]
    now = plain(section(text, "now"))
    want = ("%d weitere Teile blieben" if german else "%d more parts were left in") % len(kept)
    check("what was left in: %s, %s" % (want, now), any(i.startswith(want) and re.search(r"\b%d (im Rahmen|of them)" % len(
        within), i) for i in now))
    check("and how many of all were measured again", now[0].startswith("%d " % len([p for p in log.sheet if first(p, "done")])))
    # Power: V^2 / R of the load, hum against the output, to the figures that are shown.
    rows = cells_of(section(text, "now"))
    for load in ("L1", "L2"):
        for column, condition in ((2, "found"), (3, "done")):
            volts = float(log.counts(load, "volts", condition)["value"])
            want = ("%.3g" % (volts * volts / 8)).replace(".", "," if german else ".")
            got = [r[column] for r in rows if load in r[1] and r[column].endswith("W")]
            check("power of %s, %s: %s, %s" % (load, condition, want, got), len(got) == 1 and abs(
                float(got[0].split("\u00a0")[0].replace(",", ".")) - volts * volts / 8) < 0.006 * volts * volts / 8)
    # Twins: by what the output is told by, not where its response ends.
    for r in cells_of(section(text, "twins")):
        if r[0] == "L1 / L2" and "kHz" in r[1]:
            condition = "done" if ("fertig" if german else "done") in r[1] else "found"
            a, b = (log.counts(x, "volts", condition)["value"] for x in ("L1", "L2"))
            difference = 100 * (a - b) / ((a + b) / 2)
            said = number(r[4], german)
            check("twins at 1 kHz, %s: %s" % (condition, r), "1\u00a0kHz" in r[1] and abs(said - difference) < Decimal("0.06"))
            break
    else:
        check("twins of the output at 1 kHz", False)
    for position, limit in (("PE", "200\u00a0m\u03a9"), ("INS", "2\u00a0M\u03a9"), ("TC", "500\u00a0\u00b5A")):
        row = [r for r in cells_of(section(text, "safety")) if r[1] == position]
        e = log.counts(position, "value", "done")
        check("the safety test of %s: %s" % (position, row), len(row) == 1 and limit in row[0][3] and abs(
            scaled(row[0][2], german) - e["value"]) <= e["digit"])
    # The bars: widths by count.
    svg = re.search(r"<svg[^>]*aria-labelledby=\"bars-t bars-d\".*?</svg>", text, re.S).group(0)
    desc = [int(n) for n in re.findall(r"[0-9]+", svg.split("<desc")[1].split("</desc>")[0].split(">")[1])]
    marks = {}
    for condition, of in (("found", [first(p, "found") for p in log.sheet]),
                          ("now", [first(p, "done") for p in log.sheet] + kept)):
        words = [e["judged"]["verdict"] for e in of if e]
        marks[condition] = [words.count(w) for w in ("within", "unsure", "outside")]
    check("the bars count %s, %s" % (marks, desc), desc == marks["found"] + marks["now"] + [len(log.sheet)])


def scaled(cell, german):
    """The value of "70 \u00b1 10 m\u03a9": the unit stands once, at the end."""
    m = re.match(r"([\u2212-]?[0-9.,]+) \u00b1 [0-9.,]+\u00a0([pn\u00b5mkMG]?)", cell)
    digits = m.group(1).replace("\u2212", "-").replace(",", "." if german else ",")
    return Decimal(digits).scaleb(PREFIX[m.group(2)])


def check_pdf_access(file, text, german):
    """Language, title, structure, outline, words for pictures: what a screen reader needs."""
    raw = open(file, "rb").read()
    check("PDF: its language", (b"/Lang (de)" if german else b"/Lang (en)") in raw and b"/DisplayDocTitle true" in raw)
    figures, alts = raw.count(b"/S /Figure"), re.findall(rb"/Alt <FEFF([0-9A-F]*)>", raw)
    words = [bytes.fromhex(a.decode()).decode("utf-16-be") for a in alts]
    check("PDF: each picture has words (%d of %d)" % (len(alts), figures // 2), len(alts) * 2 == figures and len(alts) ==
          text.count("<svg") and any("Brumm" in w or "R1 " in w for w in words) and all(len(w) > 20 for w in words))
    heads = text.count("<th scope=\"row\"")
    check("PDF: heads of tables say which way they look", raw.count(b"/Scope /Row") == heads and
          raw.count(b"/Scope /Column") >= text.count("<th scope=\"col\""))
    if shutil.which("pdfinfo"):
        r = subprocess.run(["pdfinfo", "-struct", file], capture_output=True, text=True)
        check("PDF: a whole structure: " + r.stderr[:200], not r.stderr and r.stdout.startswith("Document") and
              len(re.findall(r"^  H1", r.stdout, re.M)) == 1 and
              len(re.findall(r"^  H2", r.stdout, re.M)) == text.count("<h2"))
        r = subprocess.run(["pdfinfo", file], capture_output=True, text=True)
        check("PDF: tagged, with who answers for it", re.search(r"Tagged: *yes", r.stdout) and re.search(
            r"Author: *the bench", r.stdout))
        check("PDF: of its size", re.search(r"Page size: *%s" % ("595[.0-9]* x 841" if german else "612 x 792"), r.stdout))


# ---- guided runs ----

def guide_log(job):
    """A copy of the log with guided runs at its end, sealed as SEAL.md says: steps, what was kept
    meanwhile, a result; one that was given up; one of a kind that nobody knows yet, not ended."""
    copy = job.path("guide.db")
    shutil.copy(job.log, copy)
    db = sqlite3.connect(copy)
    seq, before = db.execute("SELECT seq, hash FROM record ORDER BY seq DESC LIMIT 1").fetchone()
    entry = db.execute("SELECT seq FROM record WHERE kind = 'entry' AND position = 'R1' ORDER BY seq").fetchone()[0]

    def add(second, kind, of, event, step, **more):
        nonlocal seq, before
        seq += 1
        record = {"seq": seq, "t": "2000-01-01T00:00:%02d.000000Z" % second, "kind": "guide", "job": "job",
                  "guide": kind, "of": of, "position": of, "event": event,
                  "meters": {"part": "red", "drop": "blue"}, "said":
                  "resistor=100k" if event == "begun" else "", "step": step, "alarm": False, "values": {}}
        record.update(more)
        text = json.dumps(record, separators=(",", ":"))
        before = hashlib.sha256(b"tally-record-1\n" + before + text.encode()).digest()
        db.execute("INSERT INTO record (seq, text, hash) VALUES (?, ?, ?)", (seq, text, before))

    job_name = db.execute("SELECT text FROM record WHERE kind = 'job' ORDER BY seq LIMIT 1").fetchone()[0]
    name = json.loads(job_name)["job"]
    add(1, "reform", "C9", "begun", "caution", job=name)
    for i, (amps, volts) in enumerate(((0.0009, 88), (0.0004, 175), (0.00021, 262), (0.00012, 350))):
        add(4 + 6 * i, "reform", "C9", "step", ("quarter", "half", "three-quarters", "full")[i], job=name,
            values={"current": {"value": amps}, "at": {"value": volts}})
    add(15, "leak", "C2", "begun", "caution", job=name)  # at the same time
    add(20, "leak", "C2", "stopped", "off", job=name, alarm=True, failed="<C2> is above 5 V: switch off")
    add(40, "reform", "C9", "done", "end", job=name,
        values={"current": {"value": 0.0001}, "drop": {"value": 10.1, "u": 0.1, "seq": entry}},
        result={"calculated": True, "leakage": {"value": 0.000101, "u": 2e-06, "unit": "A"}, "verdict": "within",
                "most": 0.00035, "pairs": [{"a": 1, "b": 2}], "hum": None})
    add(45, "brew", "<b>R3</b>", "begun", "stir", job=name)
    db.commit()
    db.close()
    return copy, entry


def check_guides(job):
    copy, entry = guide_log(job)
    for language in ("en", "de"):
        german = language == "de"
        out = job.path("guide-" + language)
        r = job.file("report", "--out", out, "--language", language, log=copy)
        check("a report with guided runs: " + r.stderr, r.returncode == 0)
        text = open(out + "/report.html", encoding="utf-8").read()
        page = Page(text)
        heads = re.findall("<h3>([0-9]+)[.] ([^<]*)</h3>", text)
        want = ["Nachformieren, C9: beendet", "Leckstrom, C2: abgebrochen", "brew, &lt;b&gt;R3&lt;/b&gt;: nicht beendet"] \
            if german else ["re-forming, C9: done", "leakage, C2: given up", "brew, &lt;b&gt;R3&lt;/b&gt;: not ended"]
        check("each run by its name and end: %s" % heads, [h for _, h in heads] == want)
        section = text.split('id="guides"')[1].split("<h2")[0]
        check("its result, with uncertainty", ("101 \u00b1 4,0\u00a0\u00b5A" if german else
                                               "101 \u00b1 4.0\u00a0\u00b5A") in section)
        check("its verdict", ("\u2713 innerhalb" if german else "\u2713 within") in section)
        check("the entry that it rests on", ("(Eintrag %d)" if german else "(entry %d)") % entry in section)
        check("why it was given up", ("&lt;C2&gt; liegt über 5 V: ausschalten" if german else
                                      "&lt;C2&gt; is above 5 V: switch off") in section and
              ("GEFAHR" if german else "DANGER") in section)
        check("a picture of each trail", len(re.findall("<svg", section)) == 2)
        tips = re.findall('data-tip="([^"]*)"', section.split("</svg>")[0])
        check("the current over time: %s" % tips, sum(t.endswith("A") for t in tips) == 5
              and ("900\u00a0\u00b5A" in tips))
        check("the trail of a meter", any(t.startswith("part: ") and "\u03a9" in t for t in tips))
        at = page.rows.get("pos-C9-leakage") or page.rows.get("pos-C9") or []
        check("its leakage beside its position, with the verdict: %s" % at, any(
            ("Leckstrom 101 ± 4,0\u00a0µA, ✓ innerhalb" if german else
             "leakage 101 ± 4.0\u00a0µA, ✓ within") in cell for cell in at))
        check("steps by their words", ("ein Viertel der Spannung" if german else "a quarter of the volts") in section
              and ">quarter<" not in section)
        check("the owner is told", want[0] in page.text.split("Kanal gegen Kanal" if german else "Channel against channel")[0])
    return job.path("guide-en/report.html")


def png(width, height):
    """A whole PNG, grey."""
    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
    rows = b"".join(b"\0" + bytes((x * y) % 256 for x in range(width)) for y in range(height))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)) + chunk(
        b"IDAT", zlib.compress(rows, 1)) + chunk(b"IEND", b"")


def check_photos(job):
    """A photo stands in the report, byte for byte; one that is gone or altered is said to be."""
    photos = {"good.png": png(1200, 900), "small.png": png(20, 10), "gone.png": png(21, 10), "altered.png": png(22, 10),
              "fake.jpg": b"\xff\xd8\xff\xe0" + b"x" * 500}
    hashes = {}
    for name, data in photos.items():
        with open(job.path(name), "wb") as f:
            f.write(data)
        hashes[name] = hashlib.sha256(data).hexdigest()
        job.do("note", "C9", "a <b>picture</b> of %s" % name, "--photo", job.path(name))
    os.remove("%s.photos/%s.png" % (job.log, hashes["gone.png"]))
    kept = "%s.photos/%s.png" % (job.log, hashes["altered.png"])
    os.chmod(kept, 0o644)
    with open(kept, "ab") as f:
        f.write(b"!")
    r = job.live("report", "--out", job.path("photos"), "--incomplete", "not yet")
    check("a report with photos: " + r.stderr, r.returncode == 0 and os.path.exists(job.path("photos/report.pdf")) ==
          os.path.exists(os.path.join(build, "tally-draw")))
    text = open(job.path("photos/report.html"), encoding="utf-8").read()
    shown = [base64.b64decode(d) for d in re.findall(r'href="data:image/png;base64,([A-Za-z0-9+/=]*)"', text)]
    check("photos byte for byte (%d)" % len(shown), shown == [photos["good.png"], photos["small.png"]])
    history = section(text, "history")
    for name, said in (("good.png", "\u2713 as it was sealed"), ("gone.png", "\u2717 MISSING"), ("altered.png", "\u2717 ALTERED"),
                       ("fake.jpg", "\u2713 as it was sealed")):
        check("%s: %s" % (name, said), re.search(r"photo %s, [^<]*%s\u2026: %s" % (re.escape(name), hashes[name][:16], said), history))
    check("what is not shown is counted", "3 of 5 photos are not shown" in history)
    check("a picture keeps its shape", 'viewBox="0 0 340 275"' in history and 'viewBox="0 0 240 30"' in history)
    return job.path("photos/report.html")


def luminance(colour):
    """Relative luminance (WCAG 2.1, definition of relative luminance)."""
    digits = colour[1:] if len(colour) == 7 else "".join(2 * c for c in colour[1:])
    parts = [int(digits[i:i + 2], 16) / 255 for i in (0, 2, 4)]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a, b):
    """WCAG 2.1, contrast ratio; black on white is 21."""
    light, dark = sorted((luminance(a), luminance(b)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def check_contrast(text):
    """4.5:1 for every text (WCAG AA, 1.4.3) on the backgrounds that it may stand on, and no colour
    that says anything: in greyscale the page is the same."""
    check("the measure itself", abs(contrast("#000", "#fff") - 21) < 0.01 and
          abs(contrast("#777777", "#ffffff") - 4.48) < 0.01)
    colours = set(re.findall(r"#(?:[0-9a-f]{6}|[0-9a-f]{3})(?![0-9a-zA-Z_-])", text))
    check("all of it is grey: %s" % colours, all(len({c[1:][i * (len(c) // 3):(i + 1) * (len(c) // 3)]
                                                      for i in range(3)}) == 1 for c in colours))
    style = text.split("<style>")[1].split("</style>")[0]
    rules = re.findall(r"([^{}]+)[{]([^{}]*)[}]", style)
    fore = {"#111"} | set(re.findall(r"<text[^>]*fill=\"(#[0-9a-f]+)\"", text)) - {"#fff"}
    back = {"#fff"}
    for name, body in rules:
        own = re.search(r"(?:^|;)color:(#[0-9a-f]+)", body)
        ground = re.search(r"background:(#[0-9a-f]+)", body)
        if own and ground:
            ratio = contrast(own.group(1), ground.group(1))
            check("contrast of %s: %.1f" % (name.strip(), ratio), ratio >= 4.5)
        elif own:
            fore.add(own.group(1))
        elif ground:
            back.add(ground.group(1))
    back.add("#dcdcdc")  # of the bars of what is within, with text on them
    check("there are texts and grounds to compare", len(fore) >= 3 and len(back) >= 3)
    for a in fore:
        for b in back:
            check("contrast of %s on %s: %.1f" % (a, b, contrast(a, b)), contrast(a, b) >= 4.5)


def each_test(job):
    """Each of the three alone stands against "complete": struck, it is none; as found, it is none."""
    values = {"PE": ("0.08 ohm", "0.005 ohm", "earth bond"), "INS": ("120 Mohm", "1 Mohm", "insulation"),
              "TC": ("0.12 mA", "0.02 mA", "touch current")}

    def lacks():
        r = job.live("--json", "report", "--out", job.path("each"))
        answer = json.loads(r.stdout)
        check("complete and the status say the same", (r.returncode == 0) == answer["complete"] == (not answer["lacks"]))
        said = "NOT COMPLETE" in open(job.path("each/report.html"), encoding="utf-8").read()
        check("and the page, too", said != answer["complete"])
        return answer["lacks"]

    check("with all three nothing is lacking", lacks() == [])
    for position, (value, u, name) in values.items():
        seqs = [json.loads(e) for e in job.live("entries", position, "--json").stdout.splitlines()]
        for e in seqs:
            if "struck" not in e:
                job.do("strike", str(e["seq"]), "--because", "measured at the wrong place")
        check("without %s" % name, lacks() == [name])
        if position == "PE":
            job.do("condition", "found")
            job.do("enter", position, value, "--from", "tester", "--u", u)
            job.do("condition", "done")
            check("%s as it was found is none" % name, lacks() == [name])
            r = job.live("report", "--out", job.path("each"), "--incomplete", "the owner brings it back for that")
            check("a stated reason will do, and it is still not complete", r.returncode == 0 and "NOT COMPLETE" in
                  open(job.path("each/report.html"), encoding="utf-8").read())
        job.do("enter", position, value, "--from", "tester", "--u", u)
    check("with all three again", lacks() == [])


def check_touch(job):
    """tally trail walks: before, during, after a touch, and which is next."""
    entries = [json.loads(e) for e in job.live("entries", "--json").stdout.splitlines()]
    touched = [e for e in entries if e["trail"]]
    second = touched[1]
    r = job.live("--plain", "trail", "--entry", str(second["seq"]))
    before, rest = r.stdout.split("\nbefore\n", 1) if "\nbefore\n" in r.stdout else ("", "")
    before, rest = rest.split("during", 1) if "during" in rest else ("", "")
    during, after = rest.split("\nafter\n", 1) if "\nafter\n" in rest else ("", "")
    check("a touch, before and after", r.returncode == 0 and "overload" in before and "overload" in after)
    used = sum(to - start + 1 for _, start, to in second["trail"])
    counted = sum(int(n or 1) for n in re.findall(r"s: [^\n]*?(?:, ([0-9]+) readings)?$", during.split("logged")[0], re.M))
    check("what the entry was made from (%d of %d)" % (counted, used), counted == used)
    check("what was logged", "logged: 104.1 kohm" in during)
    check("the one before and the next", "back: tally trail --entry %d (R1, red)" % touched[0]["seq"] in after and
          "next: tally trail --entry %d (" % touched[2]["seq"] in after)
    check("the first has none before it", "back: none" in job.live("--plain", "trail", "--entry", "first").stdout)
    r = job.live("trail", "--entry", "last", "--at", "R101")
    check("of a position", "next: none" in r.stdout and "R101" in r.stdout)
    typed = [e["seq"] for e in entries if e["source"] == "typed"][0]
    r = job.live("trail", "--entry", str(typed))
    check("a typed entry has no touch", r.returncode == 2 and "no entry that was made from a trail" in r.stderr)
    rows = job.live("trail", "--entry", str(second["seq"]), "--csv").stdout.splitlines()
    check("its readings as CSV (%d)" % len(rows), len(rows) > used and all(",red," in x for x in rows[1:]))


def altered(job):
    """A log that was changed after it was sealed: no report."""
    copy = job.path("altered.db")
    shutil.copy(job.log, copy)
    db = sqlite3.connect(copy)
    for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type='trigger'").fetchall():
        db.execute("DROP TRIGGER " + name)
    db.execute("UPDATE record SET text = replace(text, '131200', '101200') WHERE kind = 'entry'")
    db.commit()
    db.close()
    for words in (["entries"], ["--json", "entries"], ["job", "list"], ["compare"], ["plan"], ["trail", "--entry", "first"]):
        bad, good = job.file(*words, log=copy), job.file(*words)
        check("%s: an altered log is shown, and it is said that nothing of it is proved: %s" % (words, bad.stderr),
              bad.returncode == 1 and "the seal does not hold (altered" in bad.stderr and bad.stdout)
        check("%s: of a good one nothing is said: %s" % (words, good.stderr), "seal" not in good.stderr)
    r = job.file("report", "--out", job.path("no"), log=copy)
    check("an altered log has no report", r.returncode == 1 and "seal" in r.stderr and not os.path.exists(job.path("no")))


def main():
    began = time.time()
    with tempfile.TemporaryDirectory() as folder:
        job = Job(folder)
        atexit.register(job.end)  # whatever happens, no daemon is left
        work(job)
        r = job.live("report", "--out", job.path("live"), "--language", "en")
        check("without safety tests the answer is no: " + r.stderr[-200:], r.returncode == 1 and "earth bond" in r.stderr)
        text = open(job.path("live/report.html"), encoding="utf-8").read()
        check("and the report says so", "NOT COMPLETE" in text and "✓ Complete" not in text)
        r = job.live("--json", "report", "--out", job.path("why"), "--incomplete", "tested <elsewhere>")
        answer = json.loads(r.stdout)
        check("--json says what is lacking", answer["complete"] is False and
              answer["lacks"] == ["earth bond", "insulation", "touch current"])
        check("a stated reason stands in it", r.returncode == 0 and "tested &lt;elsewhere&gt;" in
              open(job.path("why/report.html"), encoding="utf-8").read())
        response(job, "done")
        job.do("enter", "PE", "0.08 ohm", "--from", "tester", "--u", "0.005 ohm")
        job.do("enter", "INS", "120 Mohm", "--from", "tester")
        job.do("enter", "TC", "0.9 mA", "--from", "tester", "--u", "0.02 mA")
        r = job.live("report", "--out", job.path("fails"))
        check("a test that failed is none", r.returncode == 1 and "touch current" in r.stderr and
              "earth" not in r.stderr)
        job.do("enter", "TC", "0.12 mA", "--from", "tester", "--u", "0.02 mA")
        each_test(job)
        check_touch(job)
        photos = check_photos(job)
        job.stop()
        log = Log(job.log)
        for language in ("en", "de"):
            german = language == "de"
            out = job.path(language)
            r = job.file("report", "--out", out, "--language", language, "--csv-for", "de", "--by", "the bench",
                         "--item", "Monitor <amplifier>", "--paper", "a4" if german else "letter")
            check("the report of a file, %s: %s" % (language, r.stderr), r.returncode == 0)
            text = open(out + "/report.html", encoding="utf-8").read()
            page = check_html(log, text, german)
            check_contrast(text)
            check("complete, once it was tested", ("✓ Vollständig" if german else "✓ Complete") in page.text)
            check("local codes come first", ("örtlichen Vorschriften" if german else "local codes") in page.text)
            check_csv(log, out + "/entries.csv", ",", ".", False)
            check_csv(log, out + "/entries-de.csv", ";", ",", True)
            report = check_json(log, out + "/report.json")
            check("JSON: complete", report["complete"] is True)
            check_response(log, report, page, german)
            check_owner(log, text, german)
            if check_pdf(log, out + "/report.pdf", german):
                check_pdf_access(out + "/report.pdf", text, german)
        check("no guided run, no section", 'id="guides"' not in open(job.path("en/report.html")).read())
        guided = check_guides(job)
        altered(job)
        r = job.file("report", "--out", job.path("x"), "--csv-for", "../x")
        check("a locale is no path", r.returncode == 2 and not os.path.exists(job.path("x")))
        if shutil.which("chromium"):
            check_browser(folder, job.path("en/report.html"), list(log.sheet))
            check_browser(folder, guided, list(log.sheet), keys=False)
            check_browser(folder, photos, list(log.sheet), keys=False)
        else:
            print("Chromium is not installed: the page was not opened")
        if os.environ.get("KEEP"):
            shutil.copytree(folder, os.environ["KEEP"], dirs_exist_ok=True, ignore=shutil.ignore_patterns(
                "profile", "s"))
    print("%d passed, %d failed, %.0f s" % (passed, failed, time.time() - began))
    return failed != 0


if __name__ == "__main__":
    sys.exit(main())
