#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""
What somebody writes in an afternoon: lines of meters with pyserial, rows with sqlite3.

    bench_pyserial.py DATABASE PTY=KIND...

The plain side of a ratio (bench_many.c), so it is written as well as such a script can be
without leaving its libraries: one epoll for all lines, everything that waits is read at
once, rows go in by executemany, one durable commit a second.  KIND is a dialect of the
bench.  Of each frame the value becomes a number, and the frame is kept as it came.  A
meter that is asked is asked again at each answer.

On standard input: a letter is answered with the frames of each line, the end ends it.
"""
import os
import selectors
import sqlite3
import sys
import time

import serial

QUERY = {"scpi": b"READ?\n", "ask-comma": b"D"}
PREFIX = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "m": 1e-3, "k": 1e3, "M": 1e6, "G": 1e9}


def value_unit(frame):
    number, unit = frame.split(None, 1)
    if number == b"OL":
        return None
    return float(number) * PREFIX.get(unit[:1].decode(), 1)


def value_number(frame):
    return None if frame == b"OL" else float(frame)


def value_scpi(frame):
    x = float(frame)
    return None if x > 9e37 else x


def value_comma(frame):
    number, unit, _ = frame.split(b",")
    if number == b"OL":
        return None
    return float(number) * PREFIX.get(unit[:1].decode(), 1)


def value_columns(frame):
    return None if frame[1:2] == b"?" else float(frame[0:5])


VALUE = {"ascii-unit": value_unit, "ascii-number": value_number, "scpi": value_scpi,
         "ask-comma": value_comma, "columns-14": value_columns}


class Meter:
    def __init__(self, pty, kind):
        self.port = serial.Serial(pty, 9600, timeout=0)
        self.name = pty
        self.kind, self.value, self.query = kind, VALUE[kind], QUERY.get(kind)
        self.rest, self.frames = b"", 0

    def read(self, rows):
        data = self.rest + self.port.read(self.port.in_waiting or 1)
        now = time.time()
        if self.kind == "columns-14":
            whole = len(data) // 14 * 14
            frames = [data[i:i + 14] for i in range(0, whole, 14)]
            self.rest = data[whole:]
        else:
            *frames, self.rest = data.split(b"\n")
        for frame in frames:
            frame = frame.rstrip(b"\r") if self.kind != "columns-14" else frame
            rows.append((now, self.name, self.value(frame), "ohm", frame))
        self.frames += len(frames)
        if self.query and frames:
            self.port.write(self.query * len(frames))


def main():
    db = sqlite3.connect(sys.argv[1], isolation_level=None)
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    db.execute("CREATE TABLE reading (t REAL, meter TEXT, value REAL, unit TEXT, frame BLOB)")
    lines = selectors.EpollSelector()
    meters = [Meter(*word.rsplit("=", 1)) for word in sys.argv[2:]]
    for m in meters:
        lines.register(m.port, selectors.EVENT_READ, m)
    lines.register(0, selectors.EVENT_READ, None)
    print("ready", flush=True)
    for m in meters:
        if m.query:
            m.port.write(m.query)
    rows, commit_at = [], time.monotonic() + 1
    while True:
        for key, _ in lines.select(max(0, commit_at - time.monotonic())):
            if key.data:
                key.data.read(rows)
            elif os.read(0, 1):
                print(*(m.frames for m in meters), flush=True)
            else:
                return
        if time.monotonic() >= commit_at:
            commit_at = time.monotonic() + 1
            db.execute("BEGIN")
            db.executemany("INSERT INTO reading VALUES (?, ?, ?, ?, ?)", rows)
            db.execute("COMMIT")
            rows.clear()


main()
