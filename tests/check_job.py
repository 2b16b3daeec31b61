#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""A whole job with the whole program: taken in (which unit, a photo), the sheet typed and
mirrored, swept in circuit (also with the leads swapped), lifted, typed values, a bridge that
sends two, replacements measured against their fit, what stands before the power and what was
put right, volts, handed back, closed, verified.

The meters are pseudo-terminals of this script, which writes their bytes itself.  The daemon
runs as people run it.  After every stage
  - it is ended and started again, and every query must have the same answer as before;
  - sheet and entries are derived from the texts of the records alone (derive.py), and must be
    what the program says they are.
At the end its records are compared with tests/job/lantern.txt, where what differs from run to
run (times, numbers of records, how many readings a touch had) is left out.

    check_job.py --rebuild      writes that file anew: read what changed
"""

import json
import os
import pty
import select
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
import tty

import counted
from counted import check, ended
import derive

counted.shown_most = 12  # the first ones explain the rest
BUILD = os.environ.get("TALLY_BUILD", "build")
KEPT = "tests/job/lantern.txt"
PACE = 0.08  # seconds between two lines of a meter

CONFIG = """[bench]
name = lantern
dialects = FOLDER
arm seconds = 0.2

[meter red]
port = usb:f0f0:0002:R1
dialect = ascii-unit
accuracy ohm = 0.5% + 2
accuracy volt-dc = 0.5% + 2
isolated = yes
input volt-dc = 10M

[meter lcr]
port = usb:f0f0:0004:L1
dialect = pair
second = dissipation
test farad = 1 kHz, series
accuracy farad = 0.5% + 3
accuracy number = 5% + 2
isolated = yes

[meter blue]
port = usb:f0f0:0003:B1
dialect = ascii-unit
accuracy ohm = 0.3% + 3
accuracy farad = 1% + 3
isolated = yes
"""

# A bridge's lines, as its owner describes them.
PAIR = r"""[dialect]
name  = pair
reads = pattern
[pattern]
match    = (?<value>[0-9]+\.[0-9]+) (?<prefix>[pnu])(?<unit>F)( D=(?<second>[0-9]+\.[0-9]+))?
[samples]
frame 1 = 0.1011 uF D=0.0312
means 1 = farad 0.0000001011
frame 2 = 0.1011 uF D=much
means 2 = nothing
"""

# A photo, as far as anybody looks into it.
PHOTO = b"\xff\xd8\xff\xe0\x00\x10JFIF\x00" + bytes(range(256)) * 20 + b"\xff\xd9"

SHEET = """R1 100k cc 10% anode load
R2 1k5 5% cathode
R3 470k 10% grid leak
C1 0.1u paper 20% 400V coupling with=R3
"""
SUPPLY = "C9 8u el -20/+50% 450V reservoir esr=<=3\nRAIL1 rail 285V 10% source=1k\n"


# ---- the meters: bytes of our own ----


class Meter:
    """A handheld that says its display again and again."""

    def __init__(self, open_):
        self.master, self.slave = pty.openpty()
        tty.setraw(self.slave)
        self.path = os.ttyname(self.slave)
        self.line = open_
        self.runs = True
        self.thread = threading.Thread(target=self.talk, daemon=True)
        self.thread.start()

    def talk(self):
        while self.runs:
            # What nobody reads is dropped, as on a real line.
            if self.line and select.select([], [self.master], [], 0)[1]:
                os.write(self.master, (self.line + "\r\n").encode())
            time.sleep(PACE)

    def end(self):
        self.runs = False
        self.thread.join()
        os.close(self.master)
        os.close(self.slave)


# ---- the daemon, and what may be asked of it ----


class Daemon:
    def __init__(self, folder, meters):
        self.log = os.path.join(folder, "lantern.db")
        self.socket = os.path.join(folder, "sock")
        self.config = os.path.join(folder, "bench.conf")
        with open(self.config, "w") as f:
            f.write(CONFIG.replace("FOLDER", folder))
        with open(os.path.join(folder, "pair.ini"), "w") as f:
            f.write(PAIR)
        self.photo = os.path.join(folder, "c9.jpg")
        with open(self.photo, "wb") as f:
            f.write(PHOTO)
        self.adapters = ["ttyJOB%d=%s,%s" % (i, m.path, ids)
                         for i, (m, ids) in enumerate(zip(meters, ("f0f0:0002:R1", "f0f0:0003:B1",
                                                               "f0f0:0004:L1")))]
        self.starts = 0
        self.start()

    def start(self):
        self.said = open(self.log + ".said%d" % self.starts, "w+")
        self.starts += 1
        self.process = subprocess.Popen(
            ["demo/adapters", *self.adapters, "--", BUILD + "/tallyd", "--config", self.config,
             "--log", self.log, "--socket", self.socket],
            stderr=self.said, env=dict(os.environ, TALLY_BUILD=BUILD), preexec_fn=derive.die_with_us)
        until = time.time() + 10
        while time.time() < until and self.tally("status").returncode > 1:
            time.sleep(0.02)
        self.rpc = socket.socket(socket.AF_UNIX)
        self.rpc.connect(self.socket)
        self.rest = b""
        self.id = 0
        self.call("hello", protocol=1, client="check_job")

    def stop(self):
        self.rpc.close()
        self.process.send_signal(signal.SIGTERM)
        status = self.process.wait(20)
        self.said.seek(0)
        check("the daemon ends", status == 0, self.said.read())
        self.said.close()

    def tally(self, *words, given=None):
        return subprocess.run([BUILD + "/tally", "--socket", self.socket, *words], input=given,
                              capture_output=True, text=True, timeout=30)

    def do(self, *words, given=None):
        r = self.tally(*words, given=given)
        check("tally " + " ".join(words), r.returncode == 0, r.stdout + r.stderr)
        return r.stdout

    def call(self, method, **params):
        self.id += 1
        self.rpc.sendall(json.dumps({"jsonrpc": "2.0", "id": self.id, "method": method,
                                     "params": params}).encode() + b"\n")
        while True:
            while b"\n" not in self.rest:
                self.rest += self.rpc.recv(1 << 16)
            line, self.rest = self.rest.split(b"\n", 1)
            said = json.loads(line)
            if said.get("id") == self.id:
                return said.get("result", said)

    def wait(self, legend, holds, most=12):
        until = time.time() + most
        while time.time() < until:
            got = holds()
            if got:
                return got
            time.sleep(0.02)
        check(legend, False, "waited %d s; %s" % (most, self.tally("status").stdout))
        return None


# ---- hands ----


class Hands:
    """They choose a position, touch when its name is up, hold, and lift."""

    OPEN = {"ohm": "OL MOhm", "farad": "0.012 nF", "volt-dc": "0.000 V DC"}

    def __init__(self, daemon, meters):
        self.daemon = daemon
        self.meters = meters

    def dial(self, meter, function):
        self.meters[meter].line = self.OPEN[function]

    def newest(self, position):
        said = self.daemon.call("entries", position=position)["entries"]
        return max((json.loads(e["record"])["seq"] if isinstance(e["record"], str)
                    else e["record"]["seq"] for e in said), default=0)

    def armed(self, position):
        chosen = self.daemon.call("status")["chosen"]
        return chosen and chosen["position"] == position and chosen["armed"] in ("yes", True)

    def again_swapped(self, position, meter, line):
        """What is up once more, with the leads changed over."""
        self.daemon.do("again", "swapped")
        return self.touch(position, meter, line, choose=False)

    def touch(self, position, meter, line, choose=True):
        m = self.meters[meter]
        before, apart = self.newest(position), m.line
        if choose:
            self.daemon.do("at", position)
        self.daemon.wait("%s is armed" % position, lambda: self.armed(position))
        m.line = line
        seq = self.daemon.wait("%s is logged" % position,
                               lambda: self.newest(position) > before and self.newest(position))
        m.line = apart
        time.sleep(0.75)  # two open readings or more, half a second
        return seq


# ---- every answer, before and after ----

QUERIES = [("job.list", {}), ("job.show", {}), ("sheet.show", {}), ("entries", {}), ("compare", {}),
           ("plan", {}), ("places", {}), ("sheet.missing", {}), ("trail.lines", {}), ("notes", {}),
           ("photos", {}), ("job.ready", {})]
POSITIONS = ["R1", "R3", "C1", "C9", "RAIL1", "V3", "V4", "C101"]


def answers(daemon):
    out = {}
    for method, params in QUERIES:
        out[method] = daemon.call(method, **params)
    for position in POSITIONS:
        for method in ("entries", "compare"):
            out[method + " " + position] = daemon.call(method, position=position)
    return out


def quiet(said):
    """What a run that is still open adds to the trail is no part of the comparison."""
    return json.dumps(said, sort_keys=True)


def same_after_restart(daemon, stage):
    daemon.stop()
    # Between the two, from the file alone: nothing but its records is there.
    served = subprocess.run([BUILD + "/tally", "--file", daemon.log, "--json", "entries"],
                            capture_output=True, text=True, timeout=30)
    check(stage + ": the file alone", served.returncode == 0, served.stderr)
    daemon.start()
    return served.stdout


def compare_answers(stage, before, after):
    for method in before:
        # Its last runs were sealed as the daemon ended.
        if method == "trail.lines":
            continue
        check("%s: %s after a restart" % (stage, method), quiet(before[method]) == quiet(after[method]),
              "\n  before %s\n  after  %s" % (quiet(before[method]), quiet(after[method])))


def compare_derived(daemon, stage):
    """The program's sheet and entries against those of the texts alone."""
    known = derive.Job(derive.texts(daemon.log))
    rows = daemon.call("sheet.show")["rows"]
    check(stage + ": rows of the sheet", [r["position"] for r in rows] ==
          [r["position"] for r in known.sheet()], [r["position"] for r in rows])
    for ours, theirs in zip(known.sheet(), rows):
        check("%s: row %s" % (stage, ours["position"]), ours == theirs,
              "\n  derived %s\n  said    %s" % (json.dumps(ours, sort_keys=True),
                                               json.dumps(theirs, sort_keys=True)))
    shown = [json.loads(line) for line in daemon.do("--json", "sheet", "show").splitlines()]
    check(stage + ": tally sheet show", shown == rows, shown)
    said = []
    for e in daemon.call("entries")["entries"]:
        number = lambda r: r["seq"] if isinstance(r, dict) else r
        said.append({"seq": e["record"]["seq"], "position": e["position"],
                     "struck": e["struck"] and {k: e["struck"][k] for k in ("seq", "because")},
                     "moved": number(e["moved"]), "rejudged": number(e["rejudged"]),
                     "renamed": number(e["renamed"])})
    check(stage + ": entries", said == known.listed(),
          "\n  derived %s\n  said    %s" % (known.listed(), said))


# ---- the records, without what differs from run to run ----

KINDS = ("job", "position", "sheet", "entry", "rejudge", "strike", "move", "note", "fit", "rename",
         "alarm", "identity", "fitted")
DIFFERS = ("seq", "t", "uid", "u", "n", "basis", "frames", "trail", "probability", "stamp_u")


def normal(texts):
    ordinal, out = {}, []
    for text in texts:
        r = json.loads(text)
        if r["kind"] not in KINDS:
            continue
        if r["kind"] == "entry":
            ordinal[r["seq"]] = "entry %d" % (len(ordinal) + 1)
        if "of" in r:
            r["of"] = ordinal.get(r["of"], "?")
        for part in (r, r.get("service") or {}, r.get("second") or {}):
            for key in DIFFERS:
                if not (key == "n" and part is r.get("service")):
                    part.pop(key, None)
        out.append(json.dumps(r, ensure_ascii=False))
    return out


def compare_kept(lines, rebuild):
    if rebuild:
        os.makedirs(os.path.dirname(KEPT), exist_ok=True)
        with open(KEPT, "w") as f:
            f.write("\n".join(lines) + "\n")
        print("%s: %d records" % (KEPT, len(lines)))
        return
    with open(KEPT) as f:
        kept = f.read().splitlines()
    check("as many records as were kept", len(kept) == len(lines), "%d, kept %d" % (len(lines),
                                                                                 len(kept)))
    for i, (a, b) in enumerate(zip(kept, lines)):
        if not check("record %d" % (i + 1), a == b, "\n  kept %s\n  now  %s" % (a, b)):
            break


# ---- the stages ----


def take_in(daemon, hands):
    daemon.do("job", "start", "lantern-1")
    daemon.do("job", "set", "type=lantern", "serial=12", "complaint=hum on the left")
    said = daemon.call("job.show")["identity"]
    check("which unit it is", said["serial"] == "12" and said["complaint"] == "hum on the left", said)


def make_sheet(daemon, hands):
    daemon.do("sheet", "add", given=SHEET)
    daemon.do("sheet", "mirror", "all", "+100")
    daemon.do("sheet", "add", given=SUPPLY)
    daemon.do("note", "C9", "bulged at its vent, replaced before", "--photo", daemon.photo)
    photos = daemon.call("photos", position="C9")["photos"]
    check("the photo is kept", [p["state"] for p in photos] == ["good"] and
          photos[0]["record"]["photo"]["size"] == len(PHOTO) and
          photos[0]["record"]["photo"]["name"] == "c9.jpg", photos)
    # Valves by their own number, typed with the line; one valve is in one socket.
    daemon.do("sheet", "add", "V3 output valve=A17", "V4 output")
    daemon.do("sheet", "add", "V5 driver valve=B2")
    twice = daemon.tally("sheet", "add", "R77 1k valve=A17")
    check("no valve in a resistor", twice.returncode == 2 and "socket" in twice.stderr, twice.stderr)


def sweep(daemon, hands):
    for position, line in (("R1", "131.2 kOhm"), ("R2", "1.502 kOhm"), ("R3", "468.0 kOhm"),
                           ("R101", "100.9 kOhm"), ("R102", "1.503 kOhm"), ("R103", "181.2 kOhm")):
        hands.touch(position, "red", line)
    # High in circuit is conclusive once it agrees with the leads swapped.
    high = lambda: entry(daemon, hands.newest("R1"))
    daemon.do("at", "R1")
    hands.touch("R1", "red", "131.3 kOhm", choose=False)
    check("high, and not swapped yet", "leads" not in high(), high())
    hands.again_swapped("R1", "red", "131.2 kOhm")
    check("swapped, and it agrees", high().get("leads") == "swapped" and high().get("leads-agree") is True
          and high()["verdict"] == "outside" and high()["side"] == "high", high())


def entry(daemon, seq):
    return next(e["record"] for e in daemon.call("entries")["entries"] if e["record"]["seq"] == seq)


def lift(daemon, hands):
    """The walk says what is to be lifted; whoever reads the right function measures it."""
    values = {"C1": "0.1630 uF", "C101": "0.1012 uF", "C9": "7.910 uF", "R103": "488.0 kOhm",
              "R3": "469.0 kOhm", "R101": "101.0 kOhm"}
    hands.dial("blue", "farad")
    time.sleep(2)  # a dial that has rested leads nowhere any more
    daemon.do("walk", "lift")
    visited = []
    while len(visited) < 8:
        chosen = daemon.call("status")["chosen"]
        position = chosen and chosen["position"]
        if not position or position in visited or position not in values:
            break
        visited.append(position)
        hands.touch(position, "red" if position[0] == "R" else "blue", values[position], choose=False)
        daemon.wait("the walk goes on", lambda: (daemon.call("status")["chosen"] or {}).get("position")
                    != position or daemon.call("status")["next"] is None, most=4)
    daemon.do("walk", "off")
    check("what was lifted", sorted(visited) == ["C1", "C101", "C9", "R101", "R103", "R3"], visited)
    # The other meter on one of them: a cross-check.
    hands.dial("blue", "ohm")
    daemon.do("reach", "lifted")
    hands.touch("R103", "red", "488.2 kOhm")
    hands.touch("R103", "blue", "487.5 kOhm")
    cross = daemon.call("compare", position="R103")
    check("two meters are compared", len(cross["crosschecks"]) == 1 and
          cross["crosschecks"][0]["agree"], cross)


def by_hand(daemon, hands):
    """Instruments without a line, slips that are mended, a nominal that was read wrongly."""
    daemon.do("enter", "C1", "6.1 uA", "--from", "leakbox", "--quantity", "leakage")
    daemon.do("enter", "C101", "0.4 uA", "--from", "leakbox", "--quantity", "leakage")
    missing = lambda: {p["position"]: p["missing"] for p in daemon.call("sheet.missing")["positions"]}
    check("what is missing", missing()["C9"] == ["esr or dissipation", "leakage"], missing())
    daemon.do("enter", "C9", "2.1 ohm", "--from", "esrbox", "--quantity", "esr")
    daemon.do("enter", "C9", "40 uA", "--from", "leakbox", "--quantity", "leakage")
    check("nothing is missing", "C9" not in missing() and "C1" not in missing(), missing())
    daemon.do("enter", "R2", "999k", "--from", "old", "--because", "to be struck")
    daemon.do("undo")
    wrong = hands.newest("R102")
    daemon.do("move", str(wrong), "R2")
    daemon.do("undo")
    daemon.do("sheet", "set", "R1", "tolerance=5%")
    daemon.do("sheet", "rename", "R102", "R112")


def beside(daemon, hands):
    """A bridge sends capacitance and dissipation; a limit that comes later judges both anew."""
    hands.meters["lcr"].line = "0.021 nF"
    daemon.do("reach", "lifted")
    seq = hands.touch("C101", "lcr", "0.1011 uF D=0.0312")
    hands.meters["lcr"].line = None
    e = entry(daemon, seq)
    second = e.get("second") or {}
    check("both in one entry", e["value"] == 1.011e-07 and second.get("value") == 0.0312 and
          second.get("is") == "dissipation" and e.get("frequency") == 1000 and e.get("mode") == "series"
          and second.get("verdict") == "none" and "accuracy" not in second, e)
    # (5 % of it and two counts) / sqrt(3) and half a count: by the meter's own statement.
    check("its own uncertainty", 0.0009 < second.get("u", 0) < 0.0012, second)
    trail = {r["seq"]: r for r in map(json.loads, derive.texts(daemon.log)) if r["kind"] == "trail"}
    values = [v for of, a, b in e["trail"] for v in trail[of]["second"]["v"][a:b + 1]]
    check("and its readings in the trail", values and set(values) == {312}, e["trail"])
    daemon.do("sheet", "set", "C101", "dissipation=<=0.02")
    anew = daemon.call("entries", position="C101")["entries"][-1]["rejudged"]
    check("judged anew", anew and anew["second"]["verdict"] == "outside" and
          anew["second"]["side"] == "high", anew)
    budget = json.loads(daemon.do("--json", "entries", "C101", "--budget").splitlines()[-1])
    check("its budget", budget["second"]["agrees"] and
          "5% of reading" in budget["second"]["components"][0]["statement"], budget)


def replace(daemon, hands):
    daemon.do("plan")
    daemon.do("sheet", "fit", "C1", "kind=film", "nominal=0.1u", "tolerance=5%", "rated=630V")
    daemon.do("sheet", "fit", "R1", "kind=metal-film", "tolerance=1%", "max=2W")
    daemon.do("condition", "new")
    daemon.do("reach", "loose")
    hands.dial("blue", "farad")
    hands.touch("C1", "blue", "0.0993 uF")
    hands.dial("blue", "ohm")
    hands.touch("R1", "red", "100.2 kOhm")
    # Legs that are up, parts that are not in: nothing has its power back before that is said.
    r = daemon.tally("job", "ready")
    check("not ready", r.returncode == 1 and r.stdout.startswith("CAUTION: valve equipment kills"),
          r.stdout)
    ready = daemon.call("job.ready")
    check("what stands before the power", not ready["ready"] and
          {p["position"] for p in ready["new"]} == {"C1", "R1"} and
          {"R103", "C101", "C9", "R3", "R101"} <= {p["position"] for p in ready["lifted"]}, ready)
    daemon.do("job", "fitted", "C1", "R1")
    check("the others are still up", daemon.call("job.ready")["new"] == [] and
          not daemon.call("job.ready")["ready"])
    daemon.do("job", "fitted", "R1-R3,R101-R103", "C1,C9,C101")
    r = daemon.tally("job", "ready")
    check("ready", r.returncode == 0 and daemon.call("job.ready")["ready"], r.stdout)


def power_up(daemon, hands):
    daemon.do("condition", "done")
    daemon.do("reach", "in-circuit")
    daemon.do("job", "live")
    hands.dial("red", "volt-dc")
    hands.touch("RAIL1", "red", "281.3 V DC")
    # A valve keeps its history in any socket.
    daemon.do("enter", "V3", "38 V", "--from", "scope")
    daemon.do("sheet", "set", "V4", "valve=A17")
    daemon.do("enter", "V4", "39 V", "--from", "scope")
    daemon.do("enter", "V3", "1 V", "--from", "scope")
    history = [(e["position"], e["record"]["shown"]) for e in daemon.call("entries", valve="A17")["entries"]]
    check("where valve A17 was", history == [("V3", "38 V"), ("V4", "39 V")], history)
    before = hands.newest("R1")
    daemon.do("at", "R1")
    hands.meters["blue"].line = "100.2 kOhm"
    time.sleep(2)
    hands.dial("blue", "ohm")
    check("no ohms on a live unit", hands.newest("R1") == before)
    daemon.do("job", "cold", "--because", "bled through 10k, measured at C9")
    hands.dial("red", "ohm")


def hand_back(daemon, hands):
    daemon.do("reach", "lifted")
    for position, line in (("R1", "100.1 kOhm"), ("R101", "100.8 kOhm")):
        hands.touch(position, "red", line)
    daemon.do("plan")
    daemon.do("job", "close")


STAGES = [take_in, make_sheet, sweep, lift, by_hand, beside, replace, power_up, hand_back]


def run(folder, rebuild):
    meters = {"red": Meter("OL MOhm"), "blue": Meter("OL MOhm"), "lcr": Meter(None)}
    daemon = Daemon(folder, [meters["red"], meters["blue"], meters["lcr"]])
    hands = Hands(daemon, meters)
    for stage in STAGES:
        name = stage.__name__
        began = time.time()
        stage(daemon, hands)
        compare_derived(daemon, name)
        before = answers(daemon)
        same_after_restart(daemon, name)
        compare_answers(name, before, answers(daemon))
        compare_derived(daemon, name + ", again")
        if "-v" in sys.argv:
            print("  %-10s %.1f s" % (name, time.time() - began))
    daemon.stop()
    r = subprocess.run([BUILD + "/tally", "--json", "verify", daemon.log], capture_output=True,
                       text=True, timeout=30)
    said = json.loads(r.stdout or "{}")
    check("the seal", r.returncode == 0 and said.get("verdict") == "intact, no anchor" and
          said.get("checkpoints", 0) >= 1, r.stdout + r.stderr)
    for m in meters.values():
        m.end()
    compare_kept(normal(derive.texts(daemon.log)), rebuild)


def main():
    with tempfile.TemporaryDirectory() as folder:
        run(folder, "--rebuild" in sys.argv)
    return ended()


if __name__ == "__main__":
    sys.exit(main())
