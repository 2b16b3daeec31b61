#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""Sheet and entries of a job from the texts of its records alone.

Written from protocol/SEAL.md (what each kind means) and protocol/WIRE.md (what the answers
have), without looking at how the program does it: check_job.py holds one against the other.

    derive.py LOG [JOB]      prints both as JSON, one text a line
"""

import json
import sqlite3
import sys


# What a part must show before it is called good: its value (of a place its volts), and
# (common practice, no source) of these kinds more.
MORE = {"electrolytic": ["esr or dissipation", "leakage"], "paper": ["leakage"],
        "winding": ["insulation"]}


def must_show(kind, function):
    first = "volts" if kind in ("rail", "valve") and function.startswith("volt") else "value"
    return [first] + MORE.get(kind, [])


def die_with_us():
    """For subprocess: the child ends when the script does, however that ends."""
    import ctypes
    import signal
    ctypes.CDLL(None).prctl(1, signal.SIGTERM)  # PR_SET_PDEATHSIG


def texts(path):
    con = sqlite3.connect("file:%s?mode=ro" % path, uri=True)
    rows = [row[0] for row in con.execute("SELECT text FROM record ORDER BY seq")]
    con.close()
    return rows


class Job:
    """What is known of one job after the last record."""

    def __init__(self, records, job=None):
        self.records = [json.loads(text) for text in records]
        started = [r["job"] for r in self.records if r["kind"] == "job" and r["state"] == "started"]
        self.job = job or (started[-1] if started else None)
        self.places = []  # of the sheet, as they first came
        self.entries = {}  # seq: what is known of it
        for r in self.records:
            take = getattr(self, "take_" + r["kind"].replace("-", "_"), None)
            if take and r.get("job") == self.job:
                take(r)

    def place(self, name, make=False):
        for place in self.places:
            if place["name"] == name:
                return place
        if not make:
            return None
        self.places.append({"name": name, "row": None, "fit": None, "renamed": None})
        return self.places[-1]

    def take_position(self, r):
        place = self.place(r["position"], make=True)
        place["row"] = dict(r["sheet"], position=r["position"], seq=r["seq"])

    def take_fit(self, r):
        place = self.place(r["position"], make=True)
        place["fit"] = r["fit"] and dict(r["fit"], seq=r["seq"], replaces=r.get("replaces"))

    def take_rename(self, r):
        """From here on: what stands above belongs to the new name."""
        place = self.place(r["from"], make=True)
        place["name"] = r["position"]
        place["renamed"] = r["seq"]

    def take_entry(self, r):
        self.entries[r["seq"]] = {"record": r, "place": self.place(r["position"], make=True),
                                  "struck": False, "moved": None, "rejudged": None}

    def take_strike(self, r):
        if r["of"] in self.entries:
            self.entries[r["of"]]["struck"] = {"seq": r["seq"], "because": r["because"]}

    def take_move(self, r):
        e = self.entries[r["of"]]
        e["moved"] = r["seq"]
        e["place"] = self.place(r["position"], make=True)

    def take_rejudge(self, r):
        self.entries[r["of"]]["rejudged"] = r["seq"]

    # ---- as the answers have it ----

    def sheet(self):
        out = []
        for place in self.places:
            if place["row"] is None:
                continue
            count = sum(e["place"] is place and not e["struck"] for e in self.entries.values())
            out.append(dict(place["row"], entries=count, fit=place["fit"],
                            missing=self.missing(place)))
        return out

    def missing(self, place):
        """Of another part than was found only what was measured since counts."""
        part, seen = place["row"], set()
        if place["fit"]:
            part = dict(part, **{k: place["fit"][k] for k in ("kind", "function")})
        for e in self.entries.values():
            r = e["record"]
            if e["place"] is place and not e["struck"] and (not place["fit"] or
                                                            r["condition"] != "found"):
                seen |= {r["quantity"], (r.get("second") or {}).get("quantity")}
        return [q for q in must_show(part["kind"], part["function"])
                if not seen.intersection(q.split(" or "))]

    def listed(self):
        return [{"seq": seq, "position": e["place"]["name"], "struck": e["struck"],
                 "moved": e["moved"], "rejudged": e["rejudged"],
                 "renamed": e["place"]["renamed"]} for seq, e in sorted(self.entries.items())]


def main(path, job=None):
    known = Job(texts(path), job)
    for row in known.sheet() + known.listed():
        print(json.dumps(row, sort_keys=True))


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
