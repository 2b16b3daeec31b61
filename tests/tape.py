# SPDX-License-Identifier: MIT
"""A recording written touch by touch, and the log that a replay makes of it.

    tape = Tape("OL MOhm")
    tape.touch("R1", "red", ["+4.700 kOhm"] * 8)
    log = tape.replay(folder, sheet, config)
"""

import json
import os
import subprocess

BUILD = os.environ.get("TALLY_BUILD", "build")
OPEN = {"Ohm": "OL MOhm", "F": "0.002 nF", "DC": "OL V DC", "AC": "OL V AC", "A": "OL A DC"}


class Tape:
    def __init__(self, period=0.25):
        self.t = 0.0
        self.period = period
        self.lines = ["# tally recording 1"]

    def act(self, words):
        self.lines.append("%.6f @%s" % (self.t, words))

    def say(self, meter, text, times=1):
        for _ in range(times):
            self.lines.append('%.6f %s "%s\\r\\n"' % (self.t, meter, text))
            self.t += self.period

    def wait(self, seconds):
        self.t += seconds

    def touch(self, position, meter, readings, quantity=None, leads="OL MOhm", take=False):
        """Leads open, the position chosen, a touch, leads open; `take`: by key."""
        self.say(meter, leads, 8)
        self.act("at %s%s" % (position, " " + quantity if quantity else ""))
        self.say(meter, leads, 8)
        for one in readings:
            self.say(meter, one)
        if take:
            self.act("take")
        self.say(meter, leads, 8)

    def replay(self, folder, sheet, config):
        """The log's path."""
        log = os.path.join(folder, "log.db")
        for name, text in (("tape.rec", "\n".join(self.lines) + "\n"), ("sheet.csv", sheet),
                           ("bench.conf", config)):
            with open(os.path.join(folder, name), "w") as f:
                f.write(text)
        r = subprocess.run([BUILD + "/tallyd", "--replay", folder + "/tape.rec", "--sheet",
                            folder + "/sheet.csv", "--config", folder + "/bench.conf", "--log", log],
                           capture_output=True, text=True, timeout=60)
        if r.returncode:
            raise SystemExit("the replay: " + r.stderr)
        return log


def tally(log, *words):
    """Its line ends as they are, those of CSV."""
    r = subprocess.run([BUILD + "/tally", "--file", log, *words], capture_output=True, timeout=60)
    r.stdout, r.stderr = r.stdout.decode(), r.stderr.decode()
    return r


def objects(log, *words):
    """What a verb prints with --json, one object a line."""
    r = tally(log, "--json", *words)
    return [json.loads(line) for line in r.stdout.splitlines()]
