#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""A verifier of logs that shares no code with the program: written from
protocol/SEAL.md alone, with python3's hashlib, json and sqlite3.

    verify_seal.py [--odd] LOG-or-EXPORT [SEQ:HASH] [FINGERPRINT]
    verify_seal.py --selftest

Prints the answer of SEAL.md section 4.  Exit status 0: the answer is a good one;
1: it is not; 2: wrong use, or no log that can be read.  --odd also looks at section
7, prints what is odd, and counts it as not good.
"""

import hashlib
import json
import os
import pathlib
import re
import sqlite3
import sys
import tempfile
from decimal import Decimal, InvalidOperation

import verify_ed25519

APPLICATION_ID = 0x54616C79
PREFIX = b"tally-record-1\n"
DEPTH_MAX = 32

HEAD = re.compile(
    rb'\{"seq":([1-9][0-9]*),"t":"'
    rb"([0-9]{4})-([0-9]{2})-([0-9]{2})T([0-9]{2}):([0-9]{2}):([0-9]{2})\.[0-9]{6}Z"
    rb'","kind":"([a-z][a-z-]{0,14})"'
)
ANCHOR = re.compile(r"([1-9][0-9]*):([0-9A-Fa-f]{64})")
IDENTITY = re.compile(r"[0-9A-Fa-f]{32}")


# The hash of a record of an export that no seal line follows.
UNSEALED = object()


class NotALog(Exception):
    """There is no answer, only an error."""


class Broken(Exception):
    """A rule does not hold."""


# ---- section 2: the rules ----


def next_hash(before, text):
    return hashlib.sha256(PREFIX + before + text).digest()


def is_date(year, month, day, hour, minute, second):
    leap = year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)
    days = [31, 29 if leap else 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]
    return (
        year >= 1
        and 1 <= month <= 12
        and 1 <= day <= days[month - 1]
        and hour <= 23
        and minute <= 59
        and second <= 59
    )


def read_object(pairs):
    keys = [k for k, _ in pairs]
    if len(set(keys)) != len(keys):
        raise Broken("rule 5: a key stands twice in an object")
    return dict(pairs)


def no_constant(word):
    raise Broken("rule 5: %s is no JSON" % word)


def depth_of(text):
    """How deep objects and arrays nest; text is valid JSON."""
    depth = deepest = 0
    in_string = escaped = False
    for c in text:
        if in_string:
            if escaped:
                escaped = False
            elif c == "\\":
                escaped = True
            elif c == '"':
                in_string = False
        elif c == '"':
            in_string = True
        elif c in "{[":
            depth += 1
            deepest = max(deepest, depth)
        elif c in "}]":
            depth -= 1
    return deepest


def whole_text(value):
    """Every string of a value as UTF-8: half a surrogate pair has none."""
    if isinstance(value, str):
        value.encode("utf-8")
    elif isinstance(value, dict):
        for k, v in value.items():
            k.encode("utf-8")
            whole_text(v)
    elif isinstance(value, list):
        for v in value:
            whole_text(v)


def read_text(text):
    """Rules 5 and 6; returns the object.  Numbers stay as they are written."""
    if any(b < 0x20 for b in text):
        raise Broken("rule 6: a control character")
    if not (text.startswith(b"{") and text.endswith(b"}")):
        raise Broken("rule 5: not an object from the first byte to the last")
    try:
        string = text.decode("utf-8")
        value = json.loads(
            string,
            object_pairs_hook=read_object,
            parse_constant=no_constant,
            parse_int=Number,
            parse_float=Number,
        )
        if depth_of(string) > DEPTH_MAX:
            raise Broken("rule 5: nested too deep")
        whole_text(value)
    except (ValueError, RecursionError) as e:
        raise Broken("rule 5: not JSON (%s)" % e)
    return value


class Number:
    """A JSON number as its digits stand."""

    def __init__(self, text):
        self.text = text

    def decimal(self):
        return Decimal(self.text)


def check_record(n, row, before):
    """Rules 1 to 7 for one row; returns its object and hash."""
    seq, text_type, text, hash_type, sealed = row
    if seq != n:
        raise Broken("rule 1: number %d stands where %d is due" % (seq, n))
    if text_type != b"text" or hash_type != b"blob" or (sealed is not UNSEALED and len(sealed) != 32):
        raise Broken("rule 2: text or hash is of another type or size")
    head = HEAD.match(text)
    if not head or int(head[1]) != n or not is_date(*(int(head[i]) for i in range(2, 8))):
        raise Broken("rule 3: the text does not begin as record %d must" % n)
    if (head[8] == b"log") != (n == 1):
        raise Broken("rule 4: record 1, and no other, is of kind log")
    value = read_text(text)
    identity = value.get("identity")
    if n == 1 and not (isinstance(identity, str) and IDENTITY.fullmatch(identity)):
        raise Broken("rule 4: record 1 has no identity")
    computed = next_hash(before, text)
    if sealed is not UNSEALED and computed != sealed:
        raise Broken("rule 7: the text does not fit its hash")
    return value, computed


# ---- section 1: the file ----


def connect(path):
    if not os.path.isfile(path):
        raise NotALog("there is no file %s" % path)
    uri = pathlib.Path(path).resolve().as_uri()
    wal = path + "-wal"
    ways = ["?mode=ro", "?immutable=1"]
    if not os.path.exists(wal):
        # Nobody has it open; so no -wal and -shm are left beside it.
        ways = ["?immutable=1"]
    elif os.path.getsize(wal):
        # The newest records are in there.
        ways = ["?mode=ro"]
    for way in ways:
        try:
            con = sqlite3.connect(uri + way, uri=True)
            con.execute("SELECT 1 FROM sqlite_schema").fetchall()
            return con
        except sqlite3.OperationalError:
            if way == ways[-1]:
                raise


def open_log(path):
    if os.path.isfile(path) and is_export(path):
        return Export(path)
    con = connect(path)
    (application,) = con.execute("PRAGMA application_id").fetchone()
    (version,) = con.execute("PRAGMA user_version").fetchone()
    (encoding,) = con.execute("PRAGMA encoding").fetchone()
    if application != APPLICATION_ID:
        raise NotALog("%s is an SQLite file, but no log" % path)
    if version != 1 or encoding != "UTF-8":
        raise NotALog("%s is a log of another format (%d, %s)" % (path, version, encoding))
    con.text_factory = bytes
    return con


# ---- section 9: exports ----


class Export:
    """The lines of one; rows() gives them as the rows of a log."""

    def __init__(self, path, data=None):
        if data is None:
            with open(path, "rb") as f:
                data = f.read()
        self.lines = data.split(b"\n")
        self.half = self.lines[-1] != b""  # the last one has no LF
        if not self.half:
            self.lines.pop()
        self.bare = self.lines[0].startswith(b'{"seq":')
        self.cut = not self.bare
        if not self.bare and not self.seal(self.lines[0]):
            raise NotALog("%s: its first line is none of an export" % path)

    def close(self):
        pass

    @staticmethod
    def seal(line):
        """A seal line as its object, None for anything else."""
        if not line.startswith(b'{"seal":'):
            return None
        try:
            value = read_text(line)
        except Broken:
            return None
        if value.get("seal") != "tally-export-1":
            return None
        if "after" in value:
            good = (whole(value["after"]) is not None and whole(value["after"]) >= 0
                    and unhex(value.get("identity"), 16) and unhex(value.get("hash"), 32)
                    and (value.get("key") is None or unhex(value["key"], 32)))
        else:
            hashes = value.get("hashes")
            good = (isinstance(hashes, list) and len(hashes) <= 100 and all(unhex(x, 32) for x in hashes)
                    and ("end" not in value or (whole(value["end"]) or 0) >= 1))
        return value if good else None

    @staticmethod
    def number(line):
        """What a record says its number is: rule 1."""
        m = re.match(rb'\{"seq":([1-9][0-9]*)[,}]', line)
        return int(m[1]) if m else 0

    def begin(self, a, value, first, anchor):
        after, sealed = whole(value["after"]), unhex(value["hash"], 32)
        if not first:
            if (after, sealed) != (a.records, a.head) or not self.same_log(a, value):
                raise Broken("section 9: the next part does not go on from here")
            return
        self.first = value
        if anchor and anchor[0] < after:
            raise NotALog("the anchor lies before this part")
        if after == 0 and sealed != bytes(32):
            raise Broken("section 9: the first record follows zeros")
        a.after = a.records = after
        a.before = a.head = sealed
        if after:
            a.identity = value["identity"].lower()
            key = value.get("key")
            a.keys.begin_part(after, a.identity, unhex(key, 32) if key else None, sealed)

    @staticmethod
    def same_log(a, value):
        key = unhex(value["key"], 32) if value.get("key") else None
        return (value["identity"].lower(), key) == (a.identity, a.keys.key)

    def seen_first(self, a):
        """Record 1 was looked at."""
        if not self.bare and not self.same_log(a, self.first):
            a.records, a.head = 0, a.before
            raise Broken("section 9: another log or key than the first line says")

    def rows(self, a, anchor):
        if self.bare:
            if not anchor:
                raise NotALog("texts without hashes need an anchor")
            for line in self.lines:
                yield (self.number(line), b"text", line, b"blob", UNSEALED)
            return
        pending = []
        for i, line in enumerate(self.lines):
            self.cut = True
            value = self.seal(line)
            if value is None:
                pending.append(line)
                continue
            if "after" in value:
                yield from self.unsealed(pending)
                if pending:
                    raise Broken("section 9: records without hashes")
                self.begin(a, value, i == 0, anchor)
                continue
            hashes = [unhex(x, 32) for x in value["hashes"]]
            for text, sealed in zip(pending, hashes):
                yield (self.number(text), b"text", text, b"blob", sealed)
            if len(pending) != len(hashes) or ("end" in value and whole(value["end"]) != a.records):
                raise Broken("section 9: more or fewer records than hashes")
            pending = []
            self.cut = "end" not in value
        # The last line has no LF, where the file was cut: whole it is a record, half it is nothing.
        last = pending.pop() if pending and self.half else None
        yield from self.unsealed(pending)
        if last is not None and self.is_next(a, last):
            yield from self.unsealed(pending[:100] + [last], len(pending))

    def is_next(self, a, line):
        """Is this line the whole text of the record that is due?"""
        try:
            check_record(a.records + 1, (self.number(line), b"text", line, b"blob", UNSEALED), a.head)
        except Broken:
            return False
        return True

    def unsealed(self, pending, begin=0):
        for text in pending[begin:100]:
            yield (self.number(text), b"text", text, b"blob", UNSEALED)
        if len(pending) > 100:
            raise Broken("section 9: no hash for it")


def is_export(path):
    with open(path, "rb") as f:
        return f.read(7) in (b'{"seal"', b'{"seq":')


# ---- section 8: who vouches for it ----


def fingerprint(key):
    return hashlib.sha256(key).digest()[:16]


def unhex(value, size):
    """The bytes of a member, None where it is not that many in hexadecimal."""
    good = isinstance(value, str) and re.fullmatch("[0-9A-Fa-f]{%d}" % (2 * size), value)
    return bytes.fromhex(value) if good else None


class Keys:
    """Goes along the chain: the key that holds, what it vouches for, the first misfit."""

    def __init__(self):
        self.key = None
        self.seen = []  # fingerprints
        self.hashes = {}
        self.identity = ""
        self.signed = self.checkpoints = 0
        self.misfit = None  # (seq, answer, what)
        self.after = 0

    def begin_part(self, after, identity, key, sealed):
        """Section 9: what the first line of a part says."""
        self.after, self.identity, self.hashes[after] = after, identity, sealed
        self.keyless = key is None
        if key:
            self.take(key)

    def no(self, n, answer, what):
        if self.misfit is None:
            self.misfit = (n, answer, what)

    def take(self, key):
        self.key = key
        self.seen.append(fingerprint(key))

    def message(self, what, n, sealed):
        return b"%s\n%s\n%d\n" % (what, self.identity.encode(), n) + sealed

    def look(self, n, value, sealed):
        """Record n, which keeps all rules, and its hash."""
        kind = value["kind"]
        self.hashes[n] = sealed
        if n == 1:
            self.identity = value["identity"].lower()
            first = unhex(value.get("key"), 32)
            self.keyless = first is None
            if first:
                self.take(first)
        elif kind == "checkpoint":
            self.checkpoint(n, value)
        elif kind == "key":
            self.new_key(n, value)

    def checkpoint(self, n, r):
        of, sealed = whole(r.get("of")), unhex(r.get("hash"), 32)
        signature = unhex(r.get("signature"), 64)
        nobody = not self.seen and self.keyless and "signature" in r and r["signature"] is None
        if nobody and of is not None and 1 <= of < n and sealed and (
                of < self.after or sealed == self.hashes[of]):
            return
        if of is None or not 1 <= of < n or not sealed or not signature:
            self.no(n, "wrong key", "no checkpoint")
        elif not self.key or not verify_ed25519.verify(
                self.key, self.message(b"tally-checkpoint-1", of, sealed), signature):
            self.no(n, "wrong key", "not signed by the key")
        elif of < self.after:
            pass  # of a part: what it vouches for is not there
        elif sealed != self.hashes[of]:
            self.no(n, "rewritten", "vouches for another record %d" % of)
        else:
            self.checkpoints += 1
            self.signed = max(self.signed, of)

    def new_key(self, n, r):
        key, signature = unhex(r.get("key"), 32), unhex(r.get("signature"), 64)
        proof = unhex(r.get("proof"), 64)
        if not key or not signature or not proof:
            self.no(n, "wrong key", "no key record")
            return
        message = self.message(b"tally-key-1", n, self.hashes[n - 1]) + key
        if not self.key or not verify_ed25519.verify(self.key, message, signature):
            self.no(n, "wrong key", "not signed by the key before it")
        elif not verify_ed25519.verify(key, message, proof):
            self.no(n, "wrong key", "not signed by itself")
        else:
            self.take(key)


# ---- section 4: the answers ----


class Answer:
    def __init__(self):
        self.verdict = None
        self.what = ""
        self.records = 0
        self.head = bytes(32)
        self.identity = ""
        self.odd = []
        self.after, self.before = 0, bytes(32)  # of a part: what stood before it

    def good(self):
        return self.verdict in (
            "intact, no anchor",
            "intact to the anchor",
            "newer than the anchor",
        )


def rows_of(con):
    if isinstance(con, list):  # rows that somebody has read already
        return con
    found = con.execute(
        "SELECT count(*) FROM sqlite_schema WHERE name = 'record' AND type = 'table'"
    ).fetchone()
    if found[0] != 1:
        raise Broken("section 1: there is no table of records")
    return con.execute("SELECT seq, typeof(text), text, typeof(hash), hash FROM record ORDER BY seq")


def verify(con, anchor=None, oddities=None, pin=None):
    a = Answer()
    a.keys = Keys()
    at_anchor = None
    try:
        for row in con.rows(a, anchor) if isinstance(con, Export) else rows_of(con):
            value, a.head = check_record(a.records + 1, row, a.head)
            a.records += 1
            if a.records == 1:
                a.identity = value["identity"].lower()
            if anchor and a.records == anchor[0]:
                at_anchor = a.head
            a.keys.look(a.records, value, a.head)
            if a.records == 1 and isinstance(con, Export):
                con.seen_first(a)
            if oddities:
                a.odd += ["record %d: %s" % (a.records, o) for o in oddities.look(value)]
        if anchor and anchor[0] == a.after:
            at_anchor = a.before
    except Broken as e:
        a.verdict, a.what = "altered", "record %d: %s" % (a.records + 1, e)
        return a
    except sqlite3.DatabaseError as e:
        a.verdict, a.what = "altered", "record %d cannot be read: %s" % (a.records + 1, e)
        return a
    if anchor is None:
        a.verdict = "intact, no anchor" if a.records > a.after else "empty"
    elif a.records < anchor[0]:
        a.verdict, a.what = "truncated", "the log ends at record %d" % a.records
    elif at_anchor != anchor[1]:
        a.verdict, a.what = "rewritten", "record %d is not the anchor's" % anchor[0]
    else:
        a.verdict = "intact to the anchor" if a.records == anchor[0] else "newer than the anchor"
    # The key: graver than a log that ends too early, not graver than another history.
    if a.verdict not in ("rewritten", "empty"):
        if a.keys.misfit:
            a.verdict, a.what = a.keys.misfit[1], "record %d: %s" % (a.keys.misfit[0], a.keys.misfit[2])
        elif pin and pin not in a.keys.seen and a.verdict != "truncated":
            a.verdict, a.what = "wrong key", "not the key that was asked for"
    if isinstance(con, Export) and con.cut and a.good():
        a.verdict, a.what = "truncated", "the export has no end"
    return a


# ---- section 7: what is odd ----


def whole(value):
    """An integer that is written as one, else None."""
    return int(value.text) if isinstance(value, Number) and re.fullmatch("-?[0-9]+", value.text) else None


class Oddities:
    """Looks at the records in turn and remembers what later ones may name."""

    def __init__(self):
        self.trails = {}
        self.seconds = {}
        self.entries = set()
        self.backings = {}

    def look(self, r):
        try:
            seq = int(r["seq"].text)
            if r["kind"] == "trail":
                return self.trail(seq, r)
            if r["kind"] == "entry":
                return self.entry(seq, r)
            if r["kind"] in ("offset", "check"):
                return self.backing(seq, r)
            if r["kind"] == "strike" and whole(r["of"]) in self.backings:
                return []
            if r["kind"] in ("strike", "move", "rejudge"):
                return [] if whole(r["of"]) in self.entries else ["`of` names no entry above it"]
        except (KeyError, TypeError, ValueError, AttributeError, InvalidOperation) as e:
            return ["a member is missing or of another type (%r)" % e]
        return []

    def trail(self, seq, r):
        odd = []
        at = [whole(x) for x in r["at"]]
        v = [None if x is None else whole(x) for x in r["v"]]
        n = whole(r["n"])
        self.trails[seq] = (r["meter"], n)
        if not 1 <= n <= 1000 or len(at) != n or len(v) != n:
            odd.append("at, v and n do not agree")
        if at[0] != 0 or any(a > b for a, b in zip(at, at[1:])):
            odd.append("at does not begin with 0, or falls")
        there = [x for x in v if x is not None]
        want = [min(there), max(there), there[0], there[-1]] if there else [None] * 4
        have = [None if r[k] is None else whole(r[k]) for k in ("low", "high", "first", "last")]
        if have != want:
            odd.append("low, high, first or last are not those of v")
        if any(not 0 <= whole(i) < n or not isinstance(word, str) for i, word in r["state"]):
            odd.append("a state of no reading")
        stated = {whole(i) for i, _ in r["state"]}
        if "second" in r:
            digit = r["second"]["digit"].decimal()
            beside = [None if x is None else whole(x) * digit for x in r["second"]["v"]]
            if len(beside) != n:
                odd.append("second.v and n do not agree")
            self.seconds[seq] = (r["second"]["is"], beside)
        if any(x is None and i not in stated for i, x in enumerate(v)):
            odd.append("a value is missing and no state says why")
        return odd

    def backing(self, seq, r):
        """A lead offset or a meter check, which entries name."""
        odd = self.named(r)
        self.backings[seq] = (r["kind"], r["meter"], r["function"], r["value"].decimal())
        if r["kind"] == "check" and r["agree"] is not (r["en"].decimal() <= 1):
            odd.append("agree and en do not agree")
        return odd

    def named(self, r):
        """What an entry, or a check, names of those; and that `raw` is the value before."""
        odd = []
        for kind in ("offset", "check"):
            if kind not in r:
                continue
            named = self.backings.get(whole(r[kind]))
            if not named or named[:3] != (kind, r["meter"], r["function"]):
                odd.append("`%s` names no such record above it" % kind)
            elif kind == "offset" and "raw" in r:
                raw = r["raw"].decimal()
                if raw - r["value"].decimal() != named[3] or raw % r["raw-digit"].decimal() != 0:
                    odd.append("`raw` is not the value with its offset")
        return odd

    def entry(self, seq, r):
        odd = self.named(r)
        self.entries.add(seq)
        for of, first, last in r["trail"]:
            meter, n = self.trails.get(whole(of), (None, 0))
            if meter != r["meter"] or not 0 <= whole(first) <= whole(last) < n:
                odd.append("its trail names readings that are not there")
        # Old records have no `u` there, and no second values in their trail.
        if "u" in r.get("second", {}):
            beside = []
            for of, first, last in r["trail"]:
                kind, values = self.seconds.get(whole(of), (None, []))
                beside += values[whole(first):whole(last) + 1] if kind == r["second"]["is"] else []
            if r["second"]["value"].decimal() not in beside:
                odd.append("its second value is none of its trail")
        if r["value"] is None:
            if not r.get("state"):
                odd.append("no value, and no state that says why")
        else:
            digit = r["digit"].decimal()
            if digit.normalize().as_tuple().digits != (1,) or r["value"].decimal() % digit != 0:
                odd.append("the value is not a multiple of its digit")
        for k in "job position quantity condition reach meter function u n settled source".split():
            if k not in r:
                odd.append("no %s" % k)
        for k in "verdict side reason deviation limits shown frames service".split():
            if k not in r:
                odd.append("no %s" % k)
        return odd


# ---- self-test: a log built by the rules, then damaged ----


class Build:
    """A log in a folder of its own, written by SEAL.md."""

    def __init__(self, folder, name, texts):
        self.path = os.path.join(folder, name)
        self.con = sqlite3.connect(self.path, isolation_level=None)
        self.con.execute("PRAGMA application_id = %d" % APPLICATION_ID)
        self.con.execute("PRAGMA user_version = 1")
        self.con.execute(
            "CREATE TABLE record (seq INTEGER PRIMARY KEY, text TEXT NOT NULL, hash BLOB NOT NULL)"
        )
        self.hashes = [bytes(32)]
        for text in texts:
            self.add(text)

    def add(self, text, seq=None):
        raw = text if isinstance(text, bytes) else text.encode("utf-8")
        self.hashes.append(next_hash(self.hashes[-1], raw))
        self.con.execute(
            "INSERT INTO record VALUES (?, CAST(? AS TEXT), ?)",
            (seq or len(self.hashes) - 1, raw, self.hashes[-1]),
        )

    def run(self, sql, *args):
        self.con.execute(sql, args)


def head(n, kind):
    return '{"seq":%d,"t":"2026-11-25T10:00:%02d.000000Z","kind":"%s"' % (n, n % 60, kind)


FIRST = (
    head(1, "log").replace(":01.", ":00.") + ',"format":"tally-record-1","identity":'
    '"000102030405060708090a0b0c0d0e0f","bench":"north","version":"0.1","key":null}'
)
SECOND = head(2, "note").replace(":02.", ":01.") + ',"position":"C7","text":"0.47 \u00b5F, leaky"}'
EXAMPLE = [  # the hashes of SEAL.md section 2
    "a11789ff21884923b559f749bd2bd29942c320c30306941b3beada417a87ebaa",
    "cffc19ab2ad3a8e577eb9c0945adb16b55b208caee1176fc828e5734e4ffb22d",
]


def note(n, text="x"):
    return head(n, "note") + ',"text":"%s"}' % text


def sample(n=8):
    return [FIRST, SECOND] + [note(i) for i in range(3, n + 1)]


def swap_text(b):
    # Same length, one letter: what a hex editor does.
    b.run("UPDATE record SET text = replace(text, '\"x\"', '\"y\"') WHERE seq = 5")


def swap_records(b):
    b.run("UPDATE record SET seq = seq + 100 WHERE seq IN (4, 5)")
    b.run("UPDATE record SET seq = CASE seq WHEN 104 THEN 5 ELSE 4 END WHERE seq > 100")


def as_view(b):
    b.run("ALTER TABLE record RENAME TO other")
    b.run("CREATE VIEW record AS SELECT * FROM other")


def table_of_damage():
    """Legend, what is done to a log of eight records, the anchor given (a number:
    of that record before the damage), the answer due, the record named."""
    def nothing(b):
        pass

    def cut(b, above):
        b.run("DELETE FROM record WHERE seq > ?", above)

    def anew(b, texts):
        # All hashes made anew: what anyone can do who can write the file.
        b.run("DELETE FROM record")
        b.hashes = [bytes(32)]
        for t in texts:
            b.add(t)

    def with_last(text):
        return lambda b: anew(b, sample(7) + [text])

    changed = sample()
    changed[4] = note(5, "y")
    tail = sample()
    tail[6] = note(7, "y")
    deep = "[" * 31 + "]" * 31
    rows = [
        ("untouched", nothing, None, "intact, no anchor", 0),
        ("untouched, anchor at the end", nothing, 8, "intact to the anchor", 0),
        ("untouched, anchor before it", nothing, 3, "newer than the anchor", 0),
        ("untouched, anchor at the first", nothing, 1, "newer than the anchor", 0),
        ("one letter", swap_text, None, "altered", 5),
        ("one letter, anchor behind", swap_text, 8, "altered", 5),
        ("one letter, anchor before", swap_text, 3, "altered", 5),
        ("one bit of a hash", lambda b: b.run(
            "UPDATE record SET hash = ? WHERE seq = 6",
            bytes([b.hashes[6][0] ^ 1]) + b.hashes[6][1:]), None, "altered", 6),
        ("one taken out", lambda b: b.run("DELETE FROM record WHERE seq = 4"), None, "altered", 4),
        ("the first taken out", lambda b: b.run("DELETE FROM record WHERE seq = 1"), None, "altered", 1),
        ("one put in before the first", lambda b: b.add(note(0), -3), None, "altered", 1),
        ("two swapped", swap_records, None, "altered", 4),
        ("one twice", lambda b: b.run("INSERT INTO record SELECT 9, text, hash FROM record WHERE "
                                      "seq = 8"), None, "altered", 9),
        ("hash of 31 bytes", lambda b: b.run(
            "UPDATE record SET hash = substr(hash, 1, 31) WHERE seq = 8"), None, "altered", 8),
        ("hash as hexadecimal text", lambda b: b.run(
            "UPDATE record SET hash = hex(hash) WHERE seq = 8"), None, "altered", 8),
        ("text as a blob", lambda b: b.run(
            "UPDATE record SET text = CAST(text AS BLOB) WHERE seq = 8"), None, "altered", 8),
        ("a view instead", as_view, None, "altered", 1),
        ("last one cut", lambda b: cut(b, 7), None, "intact, no anchor", 0),
        ("last one cut, anchor there", lambda b: cut(b, 7), 8, "truncated", 0),
        ("last one cut, anchor before", lambda b: cut(b, 7), 7, "intact to the anchor", 0),
        ("all cut", lambda b: cut(b, 0), None, "empty", 0),
        ("all cut, anchor", lambda b: cut(b, 0), 8, "truncated", 0),
        ("all made anew", lambda b: anew(b, changed), None, "intact, no anchor", 0),
        ("all made anew, anchor behind", lambda b: anew(b, changed), 8, "rewritten", 0),
        ("all made anew, anchor at it", lambda b: anew(b, changed), 5, "rewritten", 0),
        ("tail made anew behind the anchor", lambda b: anew(b, tail), 6, "newer than the anchor", 0),
        ("made anew with a number off", with_last(note(9)), None, "altered", 8),
        ("a space in the head", with_last('{"seq":8, ' + note(8)[9:]), None, "altered", 8),
        ("no such day", with_last(note(8).replace("11-25", "11-31")), None, "altered", 8),
        ("five decimals", with_last(note(8).replace("000000Z", "00000Z")), None, "altered", 8),
        ("kind in capitals", with_last(head(8, "Note") + "}"), None, "altered", 8),
        ("kind of sixteen letters", with_last(head(8, "a" * 16) + "}"), None, "altered", 8),
        ("kind of fifteen letters", with_last(head(8, "a" * 15) + "}"), None, "intact, no anchor", 0),
        ("a second log record", with_last(head(8, "log") + ',"identity":"%s"}' % ("0" * 32)),
         None, "altered", 8),
        ("no identity", lambda b: anew(b, [FIRST.replace("identity", "identitx")]), None, "altered", 1),
        ("short identity", lambda b: anew(b, [FIRST.replace("0e0f", "0e0")]), None, "altered", 1),
        ("no log record", lambda b: anew(b, [note(1)]), None, "altered", 1),
        ("a key twice", with_last(head(8, "note") + ',"seq":8}'), None, "altered", 8),
        ("a key twice by escape", with_last(head(8, "note") + ',"a":1,"\\u0061":2}'), None, "altered", 8),
        ("a key twice further in", with_last(head(8, "note") + ',"a":[{"b":1,"b":1}]}'), None,
         "altered", 8),
        ("NaN", with_last(head(8, "note") + ',"u":NaN}'), None, "altered", 8),
        ("Infinity", with_last(head(8, "note") + ',"u":-Infinity}'), None, "altered", 8),
        ("not JSON", with_last(head(8, "note") + ',"u":01}'), None, "altered", 8),
        ("half a pair", with_last(head(8, "note") + ',"u":"\\ud83d"}'), None, "altered", 8),
        ("a whole pair", with_last(head(8, "note") + ',"u":"\\ud83d\\udd27"}'), None,
         "intact, no anchor", 0),
        ("32 deep", with_last(head(8, "note") + ',"a":%s}' % deep), None, "intact, no anchor", 0),
        ("33 deep", with_last(head(8, "note") + ',"a":[%s]}' % deep), None, "altered", 8),
        ("brackets in a string", with_last(head(8, "note") + ',"a":"%s\\"["}' % ("[" * 40)), None,
         "intact, no anchor", 0),
        ("a line break between tokens", with_last(head(8, "note") + ',\n"a":1}'), None, "altered", 8),
        ("a line break behind", with_last(note(8) + "\n"), None, "altered", 8),
        ("a space behind", with_last(note(8) + " "), None, "altered", 8),
        ("two objects", with_last(note(8) + "{}"), None, "altered", 8),
        ("not UTF-8", with_last(note(8).encode() .replace(b'"x"', b'"\xff"')), None, "altered", 8),
        ("an unknown kind", with_last(head(8, "later-kind") + ',"a":null}'), None,
         "intact, no anchor", 0),
    ]
    return rows


# Two keys; a secret is any 32 bytes.
KEEPER, STRANGER = bytes(range(32)), bytes(range(32, 64))


def first_with_key(secret):
    return FIRST.replace('"key":null', '"key":"%s"' % verify_ed25519.public(secret).hex())


def checkpoint(b, secret, n, of, sealed=None, identity="000102030405060708090a0b0c0d0e0f"):
    sealed = sealed or b.hashes[of]
    message = b"tally-checkpoint-1\n%s\n%d\n" % (identity.encode(), of) + sealed
    return head(n, "checkpoint") + ',"of":%d,"hash":"%s","signature":"%s"}' % (
        of, sealed.hex(), verify_ed25519.sign(secret, message).hex())


def key_record(b, old, new, n, at=None):
    key = verify_ed25519.public(new)
    message = b"tally-key-1\n000102030405060708090a0b0c0d0e0f\n%d\n" % (at or n) + b.hashes[n - 1] + key
    return head(n, "key") + ',"key":"%s","signature":"%s","proof":"%s"}' % (
        key.hex(), verify_ed25519.sign(old, message).hex(), verify_ed25519.sign(new, message).hex())


def table_of_keys():
    """Legend, what follows the first three records, whose fingerprint is asked for, the
    answer due, the record that does not fit, up to where it is signed."""
    K, S = KEEPER, STRANGER

    def then(*makers):
        def add(b):
            for make in makers:
                b.add(make(b, len(b.hashes)))
        return add

    def good(b, n):
        return checkpoint(b, K, n, n - 1)

    def renewed(b, n):
        return key_record(b, K, S, n)

    def stranger(b, n):
        return checkpoint(b, S, n, n - 1)

    return [
        ("no checkpoint", then(), None, "intact, no anchor", 0, 0),
        ("one", then(good), K, "intact, no anchor", 0, 3),
        ("one, of an earlier record", then(lambda b, n: checkpoint(b, K, n, 1)), K, "intact, no anchor", 0, 1),
        ("two", then(good, lambda b, n: note(n), good), K, "intact, no anchor", 0, 5),
        ("of itself", then(lambda b, n: checkpoint(b, K, n, n, bytes(32))), None, "wrong key", 4, 0),
        ("of record 0", then(lambda b, n: checkpoint(b, K, n, 0)), None, "wrong key", 4, 0),
        ("of another hash", then(lambda b, n: checkpoint(b, K, n, 3, bytes(32))), None, "rewritten", 4, 0),
        ("of another log", then(lambda b, n: checkpoint(b, K, n, 3, None, "0" * 32)), None, "wrong key", 4, 0),
        ("by a stranger", then(stranger), None, "wrong key", 4, 0),
        ("good after a bad one", then(stranger, good), None, "wrong key", 4, 4),
        ("the stranger's fingerprint", then(good), S, "wrong key", 0, 3),
        ("a new key", then(renewed, stranger), S, "intact, no anchor", 0, 4),
        ("a new key, asked for the old", then(renewed, stranger), K, "intact, no anchor", 0, 4),
        ("a new key, signed with the old", then(renewed, good), None, "wrong key", 5, 0),
        ("a new key by itself", then(lambda b, n: key_record(b, S, S, n)), None, "wrong key", 4, 0),
        ("a new key for another place", then(lambda b, n: key_record(b, K, S, n, n + 1)), None, "wrong key", 4, 0),
    ]


def build_keyed(folder, name, follow):
    b = Build(folder, name, [first_with_key(KEEPER), SECOND, note(3)])
    follow(b)
    return b


def trail(n, **change):
    r = {
        "meter": "red", "function": "ohm", "position": "R1", "digit": 0.1, "at": [0, 2500, 2500],
        "v": [4812, None, 4809], "state": [[1, "overload"]], "low": 4809, "high": 4812,
        "first": 4812, "last": 4809, "n": 3,
    }
    r.update(change)
    return head(n, "trail") + "," + json.dumps(r)[1:]


def entry(n, **change):
    r = {
        "job": "Lyric", "position": "R1", "quantity": "value", "condition": "found",
        "reach": "lifted", "meter": "red", "function": "ohm", "value": 481.2, "digit": 0.1,
        "u": 0.3, "n": 2, "settled": True, "source": "meter", "verdict": "none", "side": None,
        "reason": None, "deviation": None, "limits": [None, None], "service": None,
        "shown": "481.2 ohm", "frames": [], "trail": [[2, 0, 2]],
    }
    r.update(change)
    return head(n, "entry") + "," + json.dumps(r)[1:]


def table_of_oddities():
    """Legend, records 2 and 3, how many oddities."""
    strike = head(3, "strike")
    return [
        ("a sound run and its entry", trail(2), entry(3), 0),
        ("no value in a run", trail(2, v=[None] * 3, state=[[0, "hold"], [1, "hold"], [2, "hold"]],
                                    low=None, high=None, first=None, last=None), note(3), 0),
        ("a time missing", trail(2, at=[0, 2500]), note(3), 1),
        ("times fall", trail(2, at=[0, 2500, 2499]), note(3), 1),
        ("times begin late", trail(2, at=[1, 2500, 2500]), note(3), 1),
        ("low is not", trail(2, low=4808), note(3), 1),
        ("last is not", trail(2, last=4812), note(3), 1),
        ("state of no reading", trail(2, state=[[1, "overload"], [3, "hold"]]), note(3), 1),
        ("no state for no value", trail(2, state=[]), note(3), 1),
        ("a member missing", note(2).replace('"note"', '"trail"'), note(3), 1),
        ("readings past the run", trail(2), entry(3, trail=[[2, 0, 3]]), 1),
        ("readings backwards", trail(2), entry(3, trail=[[2, 2, 1]]), 1),
        ("readings of another meter", trail(2, meter="blue"), entry(3), 1),
        ("readings of no trail", note(2), entry(3), 1),
        ("half a digit", trail(2), entry(3, value=481.25), 1),
        ("digit of two", trail(2), entry(3, digit=0.2), 1),
        ("overload", trail(2), entry(3, value=None, digit=None, state="overload"), 0),
        ("no value, no state", trail(2), entry(3, value=None, digit=None), 1),
        ("strikes nothing", note(2), strike + ',"of":2}', 1),
        ("strikes a later one", note(2), strike + ',"of":4}', 1),
        ("strikes an entry", entry(2, trail=[]), strike + ',"of":2}', 0),
    ]


def selftest():
    failed = passed = 0

    def check(legend, got, want):
        nonlocal failed, passed
        if got == want:
            passed += 1
        else:
            failed += 1
            print("%s: %r, expected %r" % (legend, got, want))

    with tempfile.TemporaryDirectory() as folder:
        b = Build(folder, "example", [FIRST, SECOND])
        check("hashes of SEAL.md", [h.hex() for h in b.hashes[1:]], EXAMPLE)
        for i, (legend, damage, pin, verdict, bad) in enumerate(table_of_damage()):
            b = Build(folder, "log %d?#%%.db" % i, sample())
            anchor = (pin, b.hashes[pin]) if pin else None
            damage(b)
            b.con.close()
            a = verify(open_log(b.path), anchor)
            check(legend, (a.verdict, a.records + 1 if a.verdict == "altered" else 0), (verdict, bad))
        for i, (legend, follow, asked, verdict, misfit, signed) in enumerate(table_of_keys()):
            b = build_keyed(folder, "key%d" % i, follow)
            b.con.close()
            pin = fingerprint(verify_ed25519.public(asked)) if asked else None
            a = verify(open_log(b.path), None, None, pin)
            got = (a.verdict, a.keys.misfit[0] if a.keys.misfit else 0, a.keys.signed)
            check(legend, got, (verdict, misfit, signed))
        for row in open(os.path.join(os.path.dirname(__file__), "reference/ed25519.tsv")):
            if not row.startswith("#"):  # RFC 8032, 7.1
                name, secret, key, message, signature = row.split("\t")[:5]
                raw = [bytes.fromhex(x.replace("-", "")) for x in (secret, key, message, signature)]
                check(name + " key", verify_ed25519.public(raw[0]), raw[1])
                check(name + " signs", verify_ed25519.sign(raw[0], raw[2]), raw[3])
                check(name + " verifies", verify_ed25519.verify(*raw[1:]), True)
                check(name + " other", verify_ed25519.verify(raw[1], raw[2] + b"x", raw[3]), False)
        for i, (legend, two, three, odd) in enumerate(table_of_oddities()):
            b = Build(folder, "odd%d" % i, [FIRST, two, three])
            b.con.close()
            a = verify(open_log(b.path), None, Oddities())
            check(legend, (a.verdict, len(a.odd)), ("intact, no anchor", odd))
        for legend, arguments, status in table_of_uses(folder):
            check(legend, main(arguments, quiet=True), status)
    print("[  PASSED  ] %d test(s)." % passed)
    if failed:
        print("[  FAILED  ] %d test(s), listed below:" % failed)
    return 1 if failed else 0


def table_of_uses(folder):
    """The exit status of each use."""
    good = Build(folder, "good", sample())
    good.con.close()
    bad = Build(folder, "bad", sample())
    swap_text(bad)
    bad.con.close()
    foreign = os.path.join(folder, "foreign")
    con = sqlite3.connect(foreign)
    con.execute("CREATE TABLE record (seq, text, hash)")
    con.commit()
    con.close()
    newer = Build(folder, "newer", sample())
    newer.run("PRAGMA user_version = 2")
    newer.con.close()
    text = os.path.join(folder, "text")
    with open(text, "w") as f:
        f.write("This is not a database. " * 100)
    damaged = Build(folder, "damaged", sample(400))
    damaged.con.close()
    with open(damaged.path, "r+b") as f:
        f.seek(3 * 4096)
        f.write(b"\xff" * 4096)
    pin = "8:" + good.hashes[8].hex()
    return [
        ("a good log", [good.path], 0),
        ("with its anchor", [good.path, pin], 0),
        ("with its anchor in capitals", [good.path, pin.upper()], 0),
        ("with another anchor", [good.path, "8:" + "0" * 64], 1),
        ("with an anchor past its end", [good.path, "9:" + "0" * 64], 1),
        ("with no anchor at all", [good.path, "8"], 2),
        ("with record 0", [good.path, "0:" + "0" * 64], 2),
        ("a bad log", [bad.path], 1),
        ("a damaged file", [damaged.path], 1),
        ("a file of another program", [foreign], 2),
        ("a newer format", [newer.path], 2),
        ("no database", [text], 2),
        ("no file", [os.path.join(folder, "none")], 2),
        ("a folder", [folder], 2),
        ("no argument", [], 2),
        ("too many", [good.path, pin, "0" * 32, pin], 2),
        ("with a key, where it has none", [good.path, "0" * 32], 1),
        ("an unknown option", ["--help-me", good.path], 2),
    ]


# ---- use ----


def main(arguments, quiet=False):
    def say(line, where=sys.stdout):
        if not quiet:
            print(line, file=where)

    odd = "--odd" in arguments
    rest = [x for x in arguments if x != "--odd"]
    if arguments == ["--selftest"]:
        return selftest()
    if not 1 <= len(rest) <= 3 or rest[0].startswith("-"):
        say(__doc__.strip(), sys.stderr)
        return 2
    anchor = pin = None
    for word in rest[1:]:
        m, key = ANCHOR.fullmatch(word), unhex(re.sub("[- :]", "", word), 16)
        if m:
            anchor = (int(m[1]), bytes.fromhex(m[2]))
        elif key:
            pin = key
        else:
            say("an anchor is SEQ:HASH, a number from 1 and 64 hexadecimal digits; a fingerprint "
                "is 32 hexadecimal digits", sys.stderr)
            return 2
    try:
        a = verify(open_log(rest[0]), anchor, Oddities() if odd else None, pin)
    except (NotALog, sqlite3.Error, OSError) as e:
        say("%s: %s" % (rest[0], e), sys.stderr)
        return 2
    say("%s%s" % (a.verdict, " (%s)" % a.what if a.what else ""))
    say("records  %d" % (a.records - a.after))
    if a.after:
        say("part     from record %d on" % (a.after + 1))
    if a.records:
        say("head     %d:%s" % (a.records, a.head.hex()))
        say("identity %s" % a.identity)
        if a.keys.key:
            say("key      %s" % fingerprint(a.keys.key).hex("-", 2))
            say("signed   %d" % a.keys.signed)
    for o in a.odd:
        say("odd: " + o)
    return 0 if a.good() and not a.odd else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
