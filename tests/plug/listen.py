# SPDX-License-Identifier: MIT
"""What a virtual sound card played: notes with their pitch, length, loudness and clicks.

QEMU writes it into a WAV file while it goes on (16 bit, two channels, 48000 a second); the
length in its head is written at the end, so the head is passed over.
"""

import array
import math
import os
import re

RATE = 48000
HEAD = 44
BLOCK = RATE // 1000
QUIET = 24     # of 32767: less is no sound
APART = 20     # ms of silence between two notes


class Note:
    """at: seconds since the card began; ms: between its half-loud edges; click: how much
    rougher than a pure note of its pitch and loudness the roughest place is (1: not at all)."""

    def __init__(self, at, ms, hertz, peak, click):
        self.at, self.ms, self.hertz, self.peak, self.click = at, ms, hertz, peak, click

    def __repr__(self):
        return "%.3f s: %.0f Hz %.0f ms, %d, %.2f" % (self.at, self.hertz, self.ms, self.peak,
                                                      self.click)


class Ear:
    def __init__(self, path):
        self.path = path

    def seconds(self):
        """What has been written until now."""
        return max(0, os.path.getsize(self.path) - HEAD) / 4 / RATE

    def samples(self, start, end):
        """The left channel between two times."""
        with open(self.path, "rb") as f:
            f.seek(HEAD + 4 * int(start * RATE))
            data = f.read(4 * int((end - start) * RATE))
        both = array.array("h", data[:len(data) // 4 * 4])
        return both[0::2]

    def spans(self, start, end):
        """[(first, last) sample of each sound], and the samples."""
        x = self.samples(start, end)
        spans, on, last = [], None, 0
        for i in range(0, len(x), BLOCK):
            part = x[i:i + BLOCK]
            if max(part) > QUIET or min(part) < -QUIET:
                on, last = i if on is None else on, i + BLOCK
            elif on is not None and i - last >= APART * BLOCK:
                spans.append((on, min(last, len(x))))
                on = None
        if on is not None:
            spans.append((on, min(last, len(x))))
        return spans, x

    def sounds(self, start, end):
        """[(begin, end) in seconds of each sound]: for speech."""
        spans, _ = self.spans(start, end)
        return [(start + a / RATE, start + b / RATE) for a, b in spans]

    def notes(self, start, end):
        spans, x = self.spans(start, end)
        return [note_of(x, a, b, start) for a, b in spans]


def pitch(x):
    """From the first to the last rising zero crossing."""
    cross = [i - 1 + x[i - 1] / (x[i - 1] - x[i]) for i in range(1, len(x)) if x[i - 1] < 0 <= x[i]]
    return (len(cross) - 1) * RATE / (cross[-1] - cross[0]) if len(cross) > 2 else 0


def roughness(x):
    """The largest second difference: a click is a large one."""
    return max((abs(x[i + 1] - 2 * x[i] + x[i - 1]) for i in range(1, len(x) - 1)), default=0)


def pure(hertz, peak):
    """A stretch of what tones.h describes: a sine with a quarter of its octave."""
    w = 2 * math.pi * hertz / RATE
    wave = [math.sin(w * i) + 0.25 * math.sin(2 * w * i) for i in range(2000)]
    top = max(wave)
    return [v * peak / top for v in wave]


def note_of(x, a, b, start):
    # With the silence around it, so that an edge that is a step is seen.
    part = x[max(0, a - BLOCK):b + BLOCK]
    peak = max(max(part), -min(part))
    loud = [i for i, v in enumerate(part) if abs(v) >= peak / 2]
    # Not of the quiet edges, where rounding moves the crossings.
    hertz = pitch(part[loud[0]:loud[-1]]) if loud else 0
    # Rounding to whole numbers makes up to two of it.
    click = (roughness(part) - 2) / roughness(pure(hertz, peak)) if hertz and peak > 100 else 0
    return Note(start + a / RATE, (loud[-1] - loud[0]) / RATE * 1000 if loud else 0, hertz, peak,
                click)


def table(root):
    """The patterns of client/tones.c: [(name, gain in percent, [(hertz, ms)...])...]."""
    text = open(os.path.join(root, "client/tones.c"), encoding="utf-8").read()
    head = open(os.path.join(root, "client/tones.h"), encoding="utf-8").read()
    long = {"S": int(re.search(r"TONE_SHORT_MS (\d+)", head)[1]),
            "L": int(re.search(r"TONE_LONG_MS (\d+)", head)[1])}
    rows = re.findall(r'\[HAPPENED_\w+\] = \{"([^"]+)", "[^"]*", TURN_\w+, (\d+),\s*\{(.*?)\}\},',
                      text, re.S)
    return [(name, int(gain), [(int(hz), long[ms]) for hz, ms in
                               re.findall(r"\{(\d+), ([SL])\}", notes + "}")])
            for name, gain, notes in rows]


def matches(notes, pattern, gap_ms=60, ramp_ms=8):
    """"" where these notes are that pattern, else what is wrong."""
    if len(notes) != len(pattern):
        return "%d notes, not %d: %s" % (len(notes), len(pattern), notes)
    for n, (hertz, ms) in zip(notes, pattern):
        if abs(n.hertz / hertz - 1) > 0.005:
            return "%s is not of %d Hz" % (n, hertz)
        # Half loud is half way up the ramp; the crest of the wave next to it may be missed.
        if abs(n.ms + ramp_ms - ms) > 2 + 1000 / hertz:
            return "%s is not %d ms long" % (n, ms)
        if n.click > 1.1:
            return "%s: there is a click in it" % n
    for n, m, (_, ms) in zip(notes, notes[1:], pattern):
        if abs((m.at - n.at) * 1000 - ms - gap_ms) > 4:
            return "%s and %s are not %d ms apart" % (n, m, gap_ms)
    return ""
