#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""The sheet as a person makes it, with the program as people run it: typed at a terminal
key by key, pasted, piped, loaded from other programs' lists.

The keys are counted: a two-channel amplifier of 120 positions, from nothing, with values,
tolerances, ratings, roles and twins, in at most 900 of them.
"""

import json
import os
import pty
import select
import subprocess
import sys
import tempfile
import time

from counted import check, ended
from derive import die_with_us

BUILD = os.environ.get("TALLY_BUILD", "build")


class Bench:
    """A daemon of our own in a fresh folder."""

    def __init__(self, folder):
        self.socket = os.path.join(folder, "sock")
        self.daemon = subprocess.Popen(
            [BUILD + "/tallyd", "--log", os.path.join(folder, "log.db"), "--socket", self.socket,
             "--config", "/dev/null"], stderr=subprocess.PIPE, text=True, preexec_fn=die_with_us)
        for _ in range(200):
            if self.tally("status").returncode <= 1:
                break
            time.sleep(0.02)

    def tally(self, *words, given=None):
        return subprocess.run([BUILD + "/tally", "--socket", self.socket, *words], input=given,
                              capture_output=True, timeout=30)

    def job(self, name):
        r = self.tally("job", "start", name)
        check("job " + name, r.returncode == 0, r.stderr.decode())

    def sheet(self):
        r = self.tally("--json", "sheet", "show")
        return {row["position"]: row for row in map(json.loads, r.stdout.splitlines())}

    def end(self):
        self.daemon.terminate()
        check("the daemon ends", self.daemon.wait(20) == 0, self.daemon.stderr.read())


class Terminal:
    """`tally sheet add` on a pseudo-terminal."""

    def __init__(self, bench, *words, term="xterm"):
        self.keys = 0
        self.said = b""
        self.pid, self.fd = pty.fork()
        if self.pid == 0:
            os.environ["TERM"] = term
            os.environ["LC_ALL"] = "C"
            os.execv(BUILD + "/tally", ["tally", "--socket", bench.socket, *words])
        self.wait(b"sheet> ")

    def wait(self, want, since=0, most=10):
        until = time.time() + most
        while want not in self.said[since:] and time.time() < until:
            if not select.select([self.fd], [], [], 0.1)[0]:
                continue
            try:
                bytes_ = os.read(self.fd, 65536)
            except OSError:
                break
            if not bytes_:
                break
            self.said += bytes_
        return want in self.said[since:]

    def type(self, keys, want=None):
        """Type, and wait for what is then said (else for the next prompt)."""
        if isinstance(keys, str):
            keys = keys.encode()
        self.keys += len(keys)
        since = len(self.said)
        for at in range(0, len(keys), 512):
            os.write(self.fd, keys[at:at + 512])
        good = self.wait(want.encode() if isinstance(want, str) else want or b"\n\rsheet> ", since)
        return good, self.said[since:].decode(errors="replace")

    def end(self, keys=b"\r"):
        os.write(self.fd, keys)
        self.keys += len(keys)
        self.wait(b"added")
        while self.wait(b"never", most=0.5):
            pass
        os.close(self.fd)
        return os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])


# ---- the keys of a whole amplifier ----

# What stands on the schematic of one channel, and the supply that both share.  \t is Tab.
CHANNEL = [
    "r1 1M 10% grid le\t",
    "r2,r7 220k cc 10% anode\t",
    "r3,r8 1k5 cc 10% cathode\t",
    "r4-r6,r9 470k cc 20% grid le\t",
    "r10-r13 10k cc",
    "r14,r15 100k cc 5% spl\t",
    "r16,r17 4k7 stop\t",
    "r18,r19 150 5W ww",
    "r20-r23,r25-r29 47k",
    "r24 27k 5% feedb\t",
    "c1 25u el 25V byp\t",
    "c2,c5-c7 0.1u paper 400V coup\t",
    "c3,c8 50u el 25V byp\t",
    "c4 47p mica",
    "c9 0.47u paper 250V tone",
    "c10 22n film",
    "v1-v4",
    "p1a,p1b 2x500k",
    "t1",
    "w1 winding",
    "rail1 rail 285V",
    "rail2 rail 260V",
    "rail3 rail 1.8V +-.3V",
    "rail4 rail 210V",
]
SUPPLY = [
    "c31a,c31b 32+32u el 450V reser\t",
    "c32a,c32b 16+16u el 450V smoo\t",
    "c33,c34 8u el 450V deco\t",
    "r31,r32 10k 5W ww dro\t",
    "r33,r34 220k 1W ble\t",
    "d1-d4",
    "f1 1A",
    "f2 250mA",
    "t9",
    "s1",
    "h1 6.3V AC",
]


def count_keys(bench):
    bench.job("from nothing")
    before = len('tally job start "lantern"\ntally sheet add\n')
    t = Terminal(bench, "sheet", "add")
    for line in CHANNEL + ["mirror all +100"] + SUPPLY:
        good, said = t.type(line + "\r")
        check("typed: " + line, good and "^" not in said, said)
    status = t.end()
    keys = before + t.keys
    sheet = bench.sheet()
    check("status of typing", status == 0, status)
    check("120 positions", len(sheet) >= 120, len(sheet))
    check("at most 900 keys", keys <= 900, keys)
    print("  %d positions in two channels, %d keystrokes" % (len(sheet), keys))
    # And they are what was meant.
    want = {
        "R2": ("carbon-composition", 220000, "10%", "anode"),
        "R102": ("carbon-composition", 220000, "10%", "anode"),
        "R1": ("resistor", 1000000, "10%", "grid leak"),
        "R24": ("resistor", 27000, "5%", "feedback"),
        "C2": ("paper", 1e-7, None, "coupling"),
        "C107": ("paper", 1e-7, None, "coupling"),
        "C3": ("electrolytic", 5e-5, None, "bypass"),
        "C31a": ("electrolytic", 3.2e-5, None, "reservoir"),
        "rail3": ("rail", 1.8, "+-.3V", None),
        "H1": ("heater", 6.3, None, None),
    }
    for name, (kind, nominal, tolerance, role) in want.items():
        row = sheet.get(name, {})
        got = (row.get("kind"), row.get("nominal"), row.get("written", {}).get("tolerance"),
               row.get("role"))
        check("meaning of " + name, got[0] == kind and abs(got[1] - nominal) <= 1e-9 * nominal and
              got[2] == tolerance and got[3] == role, got)
    for name, row in sheet.items():
        twin = row.get("twin")
        check("twin of " + name, not twin or sheet[twin].get("twin") == name, twin)
    twins = sum("twin" in row for row in sheet.values())
    check("every part of a channel has its twin", twins == 2 * 51, twins)
    check("a can has its sections", sheet["C31a"].get("part") == sheet["C31b"].get("part") == "C31",
          sheet["C31a"])
    check("a ganged pot of the other channel is another", sheet["P101a"].get("part") == "P101",
          sheet.get("P101a"))


# ---- what is said, and where ----


def typed_faults(bench):
    bench.job("faults")
    t = Terminal(bench, "sheet", "add")
    good, said = t.type("R1 1kk\r")
    mark = [line for line in said.splitlines() if "^" in line]
    check("a mark below the byte", good and mark and mark[-1].index("^") == len("sheet> R1 1k"), said)
    good, said = t.type("R2 10,000\r")
    check("the cure is said", "write 10 or 10k" in said, said)
    # The refused line comes back with the arrow up, its fault under the cursor.
    good, said = t.type("\x1b[A\x0b\x7f5\r", "R2: resistor")
    check("mended where it was wrong", good, said)
    good, said = t.type("R2 1k\r")
    check("twice", "R2 is in the sheet already" in said, said)
    # Pasted: each line for itself, a tab is no key, what has no end stays on the line.
    good, said = t.type("\x1b[200~R20\t1k\tanode\r\nR21\t4,7k\nR22 1kk\nR\x1b[201~", "a unit was expected")
    check("pasted, a wrong line", good and "R20" in said, said)
    good, said = t.type("23 2k\r")
    check("pasted, the rest of it", "R23: resistor" in said, said)
    good, said = t.type("\x1b[200~Ref\tValue\tQty\nR30,R31\t4,7k\t2\n\x1b[201~")
    check("pasted as a table", good and "R30,R31: 2 x resistor" in said, said)
    good, said = t.type("mirror r20 - r23 +100\r")
    check("mirrored", "3 more" in said, said)
    good, said = t.type("mirror R99 +1\r")
    check("nothing to mirror", "nothing of R99" in said, said)
    good, said = t.type("?\r", "an empty line or Ctrl-D ends")
    check("help", good, said)
    check("ended by Ctrl-D", t.end(b"\x04") == 0)
    check("bracketed paste is given back", b"\x1b[?2004l" in t.said)
    have = sorted(bench.sheet())
    check("what was right is there", have == sorted(["R2", "R20", "R21", "R23", "R30", "R31", "R120",
                                                     "R121", "R123"]), have)
    # A terminal that can do nothing.
    t = Terminal(bench, "sheet", "add", term="dumb")
    good, said = t.type("R40 1k\n", "R40: resistor")
    check("a dumb terminal", good and b"\x1b" not in t.said, t.said)
    check("a dumb terminal ends", t.end(b"\n") == 0)


def piped(bench):
    bench.job("piped")
    lines = b"R1,R2 1k\nR3 2kk\n\tC1 1u with=R99\nR2 5k\n  \xe2\x80\x9cx 1k\n"
    r = bench.tally("sheet", "add", given=lines)
    said = r.stderr.decode()
    places = [line.split(":")[1:3] for line in said.splitlines() if line.startswith("(typed)")]
    check("each fault with its place", places == [["2", "6"], ["3", "2"], ["4", "1"], ["5", "3"]] and
          r.returncode == 2, said)
    rows = said.splitlines()
    for i, row in enumerate(rows):
        if row.startswith("(typed):2:6"):
            check("the line and its mark", rows[i + 1] == "    R3 2kk" and rows[i + 2] == "         ^",
                  rows[i:i + 3])
    check("nothing was added", bench.sheet() == {} and "nothing was added" in said, said)
    r = bench.tally("sheet", "add", "--dry", given=b"R1,R2 1k\nC9A,C9B 8+8u\n")
    check("dry", r.returncode == 0 and b"R1,R2: 2 x resistor, 1 kohm" in r.stdout and
          b"4 positions would be added" in r.stdout and bench.sheet() == {}, r.stdout)
    r = bench.tally("sheet", "add", "--dry", given=b"R1,R1 1k\n")
    check("dry, with a fault", r.returncode == 2 and b"given already" in r.stderr, r.stderr)
    r = bench.tally("--json", "sheet", "add", "--dry", given=b"R1,R1 1k\nR2 1k\n")
    said = json.loads(r.stdout)
    check("dry, as JSON", said["positions"] == 1 and said["faults"][0]["line"] == 1 and
          said["faults"][0]["column"] == 4, said)
    r = bench.tally("sheet", "add", given=b"R1\t1k\r\nR2\t4,7k\t5%\r\n")
    check("piped", r.returncode == 0 and len(bench.sheet()) == 2, r.stderr)
    r = bench.tally("sheet", "add", given=b"R5 1\xb5\n")
    check("another encoding", r.returncode == 2 and b"(typed):1:5" in r.stderr and
          b"0xB5" in r.stderr, r.stderr)
    r = bench.tally("sheet", "add", "R7", "470k", "anode", "load", "note=two words")
    check("words", r.returncode == 0 and bench.sheet()["R7"]["role"] == "anode load", r.stderr)


def lists(bench, folder):
    bench.job("lists")
    name = os.path.join(folder, "list.csv")

    def put(text):
        with open(name, "wb") as f:
            f.write(text)

    put("\ufeffTeil;Wert;Anzahl;Preis\r\nR1, R3\u2013R5;4,7k;4;1\r\nC1;47\u00b5/450V;1;2\r\n".encode())
    r = bench.tally("sheet", "load", name)
    check("no column for the positions", r.returncode == 2 and b"list.csv:1:1" in r.stderr and
          b"--map" in r.stderr, r.stderr)
    r = bench.tally("sheet", "load", name, "--map", "Teil=position,Wert=nominal,Anzahl=count,*=-", "--dry")
    check("dry", r.returncode == 0 and b"5 positions would be loaded" in r.stdout and
          not bench.sheet(), r.stdout)
    r = bench.tally("sheet", "load", name, "--map", "Teil=position,Wert=nominal,Anzahl=count,*=-")
    sheet = bench.sheet()
    check("a map", r.returncode == 0 and b"Teil is position, Wert is nominal, Anzahl was counted; "
          b"left out: Preis" in r.stdout, r.stdout + r.stderr)
    check("what it means", sheet["R4"]["nominal"] == 4700 and sheet["C1"]["rated"] == 450 and
          "extra" not in sheet["R4"], sheet)
    put(b"Reference,Value,Qty,Footprint\n\"R11,R12\",1k,3,axial\n")
    r = bench.tally("sheet", "load", name)
    check("a count that disagrees", r.returncode == 2 and b"list.csv:2:14: 3 stand here" in r.stderr,
          r.stderr)
    put(b"Reference,Value,Qty,Footprint\n\"R11,R12\",1k,2,axial\n")
    r = bench.tally("--json", "sheet", "load", name)
    said = json.loads(r.stdout)
    check("known headings", said["columns"] == [
        {"heading": "Reference", "as": "position"}, {"heading": "Value", "as": "nominal"},
        {"heading": "Qty", "as": "count"}, {"heading": "Footprint", "as": "kept"}], said)
    check("kept", bench.sheet()["R11"]["extra"] == {"Footprint": "axial"})
    for map_, place in (("Ref", "character 1"), ("Reference=x", "character 1"),
                        ("Nothing=note", "list.csv:1:1")):
        r = bench.tally("sheet", "load", name, "--map", map_)
        check("map " + map_, r.returncode == 2 and place.encode() in r.stderr, r.stderr)
    # Every fault with its place, not the first alone; nothing is loaded.
    there = len(bench.sheet())
    put(b"position,nominal,tolerance\nR21,4x7,5x\nR22,1k,\nR23,1y,\n")
    for dry in ([], ["--dry"]):
        r = bench.tally("sheet", "load", name, *dry)
        places = [line.split(b" ")[0].rsplit(b"/", 1)[1] for line in r.stderr.splitlines()
                  if line.startswith(name.encode())]
        check("all faults", r.returncode == 2 and places == [
            b"list.csv:2:6:", b"list.csv:2:10:", b"list.csv:4:6:"] and
            b"3 faults in" in r.stderr and b"    R23,1y," in r.stderr, r.stderr)
    put(b"position,nominal\n" + b"".join(b"R%d,1x\n" % n for n in range(100, 150)))
    r = bench.tally("sheet", "load", name)
    check("twenty faults and a number", r.stderr.count(b"list.csv:") == 20 + 1 and
          b"... and 30 more" in r.stderr, r.stderr)
    check("nothing loaded", len(bench.sheet()) == there, bench.sheet())
    # A job like it has the kept columns, too.
    r = bench.tally("job", "start", "again", "--like", "lists")
    check("like", r.returncode == 0 and bench.sheet()["R11"]["extra"] == {"Footprint": "axial"},
          r.stderr)


def main():
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(folder)
        count_keys(bench)
        typed_faults(bench)
        piped(bench)
        lists(bench, folder)
        bench.end()
    return ended()


if __name__ == "__main__":
    sys.exit(main())
