#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""The program's logs against the independent verifier: verify_seal.py, which was
written from protocol/SEAL.md alone.

First its self-test.  Then every recording is replayed into a log, which must keep
every rule and have nothing odd; and the log, whole and damaged, must get the same
answer from `tally verify` as from the verifier.
"""

import glob
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time

import verify_seal

import counted
from counted import check, ended

BUILD = os.environ.get("TALLY_BUILD", "build")
FOLDER = "tests/recordings"


def run(*command):
    return subprocess.run(command, capture_output=True, text=True, timeout=60)


def answers(path, anchor=None, key=None):
    """What the two say: (answer, good, head) of each."""
    pin = verify_seal.ANCHOR.fullmatch(anchor) if anchor else None
    pinned = (int(pin[1]), bytes.fromhex(pin[2])) if pin else None
    con = verify_seal.open_log(path)
    a = verify_seal.verify(con, pinned, None, key)
    con.close()
    ours = run(BUILD + "/tally", "--json", "verify", path, *(["--anchor", anchor] if anchor else []),
               *(["--key", key.hex("-", 2)] if key else []))
    said = verify_seal.json.loads(ours.stdout) if ours.stdout else {}
    return (a.verdict, 0 if a.good() else 1), (said.get("verdict"), ours.returncode), a


# ---- damage: the triggers do not stop whoever holds the file ----


def free(path):
    con = sqlite3.connect(path, isolation_level=None)
    # Indices and views would need every text to be JSON.
    for kind, name in con.execute("SELECT type, name FROM sqlite_schema WHERE type IN ('trigger', "
                                  "'view') OR (type = 'index' AND sql IS NOT NULL)").fetchall():
        con.execute('DROP %s "%s"' % (kind, name))
    return con


def one_letter(con):
    con.execute("UPDATE record SET text = replace(text, '\"kind\":\"e', '\"kind\":\"f') "
                "WHERE seq = (SELECT max(seq) FROM record WHERE text LIKE '%\"kind\":\"entry\"%')")


def one_out(con):
    con.execute("DELETE FROM record WHERE seq = 3")


def cut(con):
    con.execute("DELETE FROM record WHERE seq > 5")


def all_out(con):
    con.execute("DELETE FROM record")


def rehash(con, change):
    """Every hash anew, after `change` of each text (bytes)."""
    before = bytes(32)
    rows = con.execute("SELECT seq, CAST(text AS BLOB) FROM record ORDER BY seq").fetchall()
    for seq, text in rows:
        text = change(seq, text)
        before = verify_seal.next_hash(before, text)
        con.execute("UPDATE record SET text = CAST(? AS TEXT), hash = ? WHERE seq = ?",
                    (text, before, seq))


def anew(con):
    rehash(con, lambda seq, text: text.replace(b'"found"', b'"done"'))


def anew_key_twice(con):
    rehash(con, lambda seq, text: text[:-1] + b',"kind":"x"}' if seq == 4 else text)


def anew_not_json(con):
    # The generated columns would need every text to be JSON.
    con.execute("ALTER TABLE record RENAME TO derived")
    con.execute("CREATE TABLE record (seq INTEGER PRIMARY KEY, text TEXT NOT NULL, "
                "hash BLOB NOT NULL) STRICT")
    con.execute("INSERT INTO record SELECT seq, text, hash FROM derived")
    con.execute("DROP TABLE derived")
    rehash(con, lambda seq, text: text[:-1] + b',"u":NaN}' if seq == 4 else text)


DAMAGE = [
    ("untouched", lambda con: None, "intact, no anchor", "newer than the anchor"),
    ("one letter", one_letter, "altered", "altered"),
    ("one taken out", one_out, "altered", "altered"),
    ("cut", cut, "intact, no anchor", "truncated"),
    ("all taken out", all_out, "empty", "truncated"),
    ("made anew", anew, "intact, no anchor", "rewritten"),
    ("made anew, a key twice", anew_key_twice, "altered", "altered"),
    ("made anew, no JSON", anew_not_json, "altered", "altered"),
]


def check_damage(log, folder):
    whole = verify_seal.verify(verify_seal.open_log(log))
    con = verify_seal.open_log(log)
    at = whole.records - 1
    (pinned,) = con.execute("SELECT hash FROM record WHERE seq = ?", (at,)).fetchone()
    con.close()
    anchor = "%d:%s" % (at, pinned.hex())
    for i, (legend, damage, plain, anchored) in enumerate(DAMAGE):
        path = os.path.join(folder, "damaged%d.db" % i)
        shutil.copyfile(log, path)
        con = free(path)
        damage(con)
        con.execute("PRAGMA journal_mode = DELETE")
        con.close()
        for pin, want in ((None, plain), (anchor, anchored)):
            theirs, ours, a = answers(path, pin)
            name = "%s, %s" % (legend, "anchor" if pin else "no anchor")
            check(name + ", verifier", theirs[0] == want, "%s %s" % (theirs, a.what))
            check(name + ", tally verify", ours == theirs, "%s, the verifier %s" % (ours, theirs))


def check_recordings(folder):
    last = None
    for rec in sorted(glob.glob(FOLDER + "/*.rec")):
        name = os.path.basename(rec)[:-4]
        log = os.path.join(folder, name + ".db")
        r = run(BUILD + "/tallyd", "--replay", rec, "--sheet", FOLDER + "/sheet.csv",
                "--config", FOLDER + "/bench.conf", "--log", log)
        check(name + ", replay", r.returncode == 0, r.stderr)
        if r.returncode != 0:
            continue
        con = verify_seal.open_log(log)
        a = verify_seal.verify(con, None, verify_seal.Oddities())
        texts = [row[0] for row in con.execute("SELECT text FROM record ORDER BY seq")]
        con.close()
        check(name + ", intact", a.verdict == "intact, no anchor", a.what)
        check(name + ", nothing odd", not a.odd, "; ".join(a.odd))
        # What was printed is what was sealed, byte for byte.
        check(name + ", printed", b"".join(t + b"\n" for t in texts).decode() == r.stdout,
              "the records printed are not those of the log")
        if "entry" in r.stdout:
            last = log
    return last


# ---- each of them, one after the other ----
#
# Ours is asked about every STEP-th (all of them with TALLY_LONG=1), the verifier about all.

LONG = bool(os.environ.get("TALLY_LONG"))
counts = {}


def tell(sort, legend, answer, want, path=None, data=None, n=[0]):
    """One damaged copy: the verifier's answer, and now and then ours."""
    counts[sort] = counts.get(sort, 0) + 1
    a = answer
    good = (a.verdict in want) if isinstance(want, tuple) else a.verdict == want
    if not good:
        check("%s, %s" % (sort, legend), False, "%s %s, expected %s" % (a.verdict, a.what, want))
    n[0] += 1
    if path and data is not None and (LONG or n[0] % 60 == 0):
        with open(path, "wb") as f:
            f.write(data)
        ours = run(BUILD + "/tally", "--json", "verify", path)
        said = verify_seal.json.loads(ours.stdout) if ours.stdout else {}
        counts["asked of tally"] = counts.get("asked of tally", 0) + 1
        bad = said.get("bad")
        theirs = (a.verdict, a.records + 1 if a.verdict == "altered" else None)
        if (said.get("verdict"), bad) != theirs:
            check("%s, %s, tally" % (sort, legend), False, "%s %s, the verifier %s" % (
                said.get("verdict"), bad, theirs))


def rows_of(texts):
    """Rows as a log has them, hashes made by the rule."""
    rows, before = [], bytes(32)
    for i, text in enumerate(texts):
        before = verify_seal.next_hash(before, text)
        rows.append((i + 1, b"text", text, b"blob", before))
    return rows


def lines_of(rows, step=100):
    """An export of these rows, written by section 9."""
    first = verify_seal.json.loads(rows[0][2])
    out = [b'{"seal":"tally-export-1","identity":"%s","after":0,"hash":"%s","key":%s}' % (
        first["identity"].encode(), b"0" * 64, verify_seal.json.dumps(first["key"]).encode())]
    for at in range(0, len(rows), step):
        part = rows[at:at + step]
        out += [row[2] for row in part]
        end = b',"end":%d' % part[-1][0] if at + step >= len(rows) else b""
        out.append(b'{"seal":"tally-export-1","hashes":[%s]%s}' % (
            b",".join(b'"%s"' % row[4].hex().encode() for row in part), end))
    return out


def joined(lines):
    return b"".join(line + b"\n" for line in lines)


def other(byte):
    """Another digit."""
    return bytes([48 + (byte - 48 + 1) % 10])


def digits(text):
    return [i for i, c in enumerate(text) if 48 <= c <= 57]


def readings(text):
    """A trail record with each reading changed, and each taken out (its time, too)."""
    r = verify_seal.json.loads(text)
    for i in range(len(r["v"])):
        changed, less = dict(r), dict(r)
        changed["v"] = r["v"][:i] + [(r["v"][i] or 0) + 1] + r["v"][i + 1:]
        less["v"], less["at"] = r["v"][:i] + r["v"][i + 1:], r["at"][:i] + r["at"][i + 1:]
        less["n"] = r["n"] - 1
        for what, value in (("changed", changed), ("taken out", less)):
            yield "%s %d" % (what, i), verify_seal.json.dumps(value, separators=(",", ":")).encode()


def each_of_a_log(rows):
    texts, verify = [row[2] for row in rows], verify_seal.verify
    last = (len(rows), rows[-1][4])

    def with_text(i, text):
        return rows[:i] + [rows[i][:2] + (text,) + rows[i][3:]] + rows[i + 1:]

    for i, text in enumerate(texts):
        n = "record %d" % (i + 1)
        for at in digits(text):
            damaged = with_text(i, text[:at] + other(text[at]) + text[at + 1:])
            tell("log: each digit", "%s at %d" % (n, at), verify(damaged), "altered")
        gone = rows[:i] + rows[i + 1:]
        at_end = i == len(rows) - 1
        tell("log: each record deleted", n, verify(gone, last), "truncated" if at_end else "altered")
        if i:
            two = [(rows[i][0],) + rows[i - 1][1:], (rows[i - 1][0],) + rows[i][1:]]
            tell("log: neighbours swapped", n, verify(rows[:i - 1] + two[::-1] + rows[i + 1:]), "altered")
        anew = rows_of(texts[:i] + [text[:-1] + b',"x":1}'] + texts[i + 1:])
        # Where a checkpoint stood above it, it tells by itself; else only the anchor does.
        tell("log: changed and all made anew", n, verify(anew, last), "rewritten")
        if b'"kind":"trail"' in text[:80]:
            for what, changed in readings(text):
                tell("log: each reading", "%s, %s" % (n, what), verify(with_text(i, changed)), "altered")
                anew = rows_of(texts[:i] + [changed] + texts[i + 1:])
                tell("log: each reading, made anew", "%s, %s" % (n, what), verify(anew, last), "rewritten")


def each_of_an_export(rows, folder, step):
    lines, path = lines_of(rows, step), os.path.join(folder, "damaged.jsonl")
    not_good = ("altered", "truncated", "empty", "no export")

    def answer(data, anchor=None):
        try:
            return verify_seal.verify(verify_seal.Export(path, data), anchor)
        except verify_seal.NotALog:
            a = verify_seal.Answer()
            a.verdict = "no export"
            return a

    def tell_lines(sort, legend, damaged, want, ask=True):
        data = joined(damaged)
        a = answer(data)
        tell(sort, legend, a, want, path if ask and a.verdict != "no export" else None, data)

    whole = joined(lines)
    check("an export of the rows", answer(whole).verdict == "intact, no anchor", answer(whole).what)
    for i, line in enumerate(lines):
        n = "line %d" % (i + 1)
        record = line.startswith(b'{"seq"')
        for at in digits(line):
            damaged = lines[:i] + [line[:at] + other(line[at]) + line[at + 1:]] + lines[i + 1:]
            tell_lines("export: each digit", "%s at %d" % (n, at), damaged, "altered" if record else not_good)
        tell_lines("export: each line deleted", n, lines[:i] + lines[i + 1:], not_good)
        tell_lines("export: each line twice", n, lines[:i] + [line] + lines[i:], not_good)
        if i:
            tell_lines("export: neighbours swapped", n, lines[:i - 1] + [line, lines[i - 1]] + lines[i + 1:],
                       not_good)
        if b'"kind":"trail"' in line[:80]:
            for what, changed in readings(line):
                tell_lines("export: each reading", "%s, %s" % (n, what), lines[:i] + [changed] + lines[i + 1:],
                           "altered")
    for at in range(1, len(whole) - 1, 1 if LONG else 7):
        a = answer(whole[:at])
        tell("export: cut", "at %d" % at, a, not_good, path if a.verdict != "no export" else None, whole[:at])
    last = (len(rows), rows[-1][4])
    for i in range(len(rows)):
        texts = [row[2] for row in rows]
        texts[i] = texts[i][:-1] + b',"x":1}'
        a = answer(joined(lines_of(rows_of(texts), step)), last)
        tell("export: changed and all made anew", "record %d" % (i + 1), a, "rewritten")


def check_each(log, folder):
    con = verify_seal.open_log(log)
    rows = con.execute("SELECT seq, typeof(text), text, typeof(hash), hash FROM record ORDER BY seq").fetchall()
    con.close()
    before = counted.failed
    each_of_a_log(rows)
    each_of_an_export(rows, folder, 7)
    check("each of them", counted.failed == before, "see above")
    for sort in sorted(counts):
        print("  %-34s %6d" % (sort, counts[sort]))


# ---- exports: ours, and back ----


def bytes_of(path):
    with open(path, "rb") as f:
        return f.read()


def export(log, path, *words):
    with open(path, "wb") as f:
        return subprocess.run([BUILD + "/tally", "--file", log, "export", *words], stdout=f,
                              stderr=subprocess.PIPE, text=True, timeout=60)


def check_exports(log, folder):
    path, again = os.path.join(folder, "whole.jsonl"), os.path.join(folder, "again.jsonl")
    con = verify_seal.open_log(log)
    rows = con.execute("SELECT seq, typeof(text), text, typeof(hash), hash FROM record ORDER BY seq").fetchall()
    con.close()
    r = export(log, path)
    check("export", r.returncode == 0, r.stderr)
    texts = [x for x in bytes_of(path).split(b"\n") if x.startswith(b'{"seq":')]
    check("export, byte for byte", texts == [row[2] for row in rows], "the texts differ")
    check("export, as section 9 says", bytes_of(path) == joined(lines_of(rows)), "the lines differ")
    made = os.path.join(folder, "made.db")
    r = run(BUILD + "/tally", "import", path, "--log", made)
    check("import", r.returncode == 0, r.stderr)
    con = verify_seal.open_log(made)
    check("import, same hashes", con.execute("SELECT seq, typeof(text), text, typeof(hash), hash FROM record "
                                             "ORDER BY seq").fetchall() == rows, "they differ")
    con.close()
    check("import, and out again", export(made, again).returncode == 0 and bytes_of(again) == bytes_of(path),
          "the second export differs")
    n = len(rows)
    anchors = {k: "%d:%s" % (k, rows[k - 1][4].hex()) for k in (1, n // 2, n)}
    for first in sorted({1, 2, n // 2, n}):
        for last in sorted({first, n // 2, n}):
            if last < first:
                continue
            part = os.path.join(folder, "part.jsonl")
            name = "part %d to %d" % (first, last)
            r = export(log, part, "--from", str(first), "--to", str(last))
            check(name, r.returncode == 0, r.stderr)
            for anchor in (None, *anchors.values()):
                try:
                    theirs, ours, a = answers(part, anchor)
                except verify_seal.NotALog:
                    r = run(BUILD + "/tally", "verify", part, "--anchor", anchor)
                    check(name + ", anchor before it", r.returncode == 2, r.stdout)
                    continue
                check(name + ", tally verify", ours == theirs, "%s, the verifier %s" % (ours, theirs))
                if anchor is None or int(anchor.split(":")[0]) <= last:
                    check(name + ", good", a.good() and a.records - a.after == last - first + 1, a.verdict)
            r = run(BUILD + "/tally", "import", part, "--log", os.path.join(folder, "to%d-%d.db" % (first, last)))
            check(name + ", imported where whole", (r.returncode == 0) == (first == 1), r.stderr)
    # Parts that follow each other, joined.
    parts = [export(log, os.path.join(folder, "p%d" % i), *words) and bytes_of(os.path.join(folder, "p%d" % i))
             for i, words in enumerate((("--to", "3"), ("--from", "4", "--to", "9"), ("--from", "10")))]
    both = os.path.join(folder, "joined.jsonl")
    for legend, order, want in (("in order", (0, 1, 2), "intact, no anchor"), ("one missing", (0, 2), "altered"),
                                ("two swapped", (1, 0, 2), "altered"), ("one twice", (0, 1, 1, 2), "altered")):
        with open(both, "wb") as f:
            f.write(b"".join(parts[i] for i in order))
        theirs, ours, a = answers(both)
        check("joined " + legend, theirs[0] == want and ours == theirs, "%s %s %s" % (theirs, ours, a.what))
    # Cut off around the end of each line: what has no LF counts where it is whole.
    whole, anchor = joined(lines_of(rows, 3)), "2:%s" % rows[1][4].hex()
    ends = [i for i, c in enumerate(whole) if c == 10]
    misfit = []
    for end in ends[:8]:
        for at in (end - 1, end, end + 1):
            for pin in (None, anchor, "2:" + "0" * 64):
                with open(both, "wb") as f:
                    f.write(whole[:at])
                if at < ends[0]:
                    continue
                theirs, ours, a = answers(both, pin)
                if theirs != ours:
                    misfit.append("at %d, %s: %s, the verifier %s" % (at, pin, ours, theirs))
                if pin is None and at == ends[1]:
                    check("record 1 without its LF is there", theirs[0] == "truncated", theirs[0])
                if pin is None and at == ends[1] - 1:
                    check("half of record 1 is none", theirs[0] == "empty", theirs[0])
    check("cut around line ends", not misfit, "; ".join(misfit[:3]))
    # A hundred records without their seal line, and one more: whole or half.
    many = rows_of([rows[0][2]] + [b'{"seq":%d,"t":"2026-11-25T10:00:00.000000Z","kind":"note","text":"x"}' % n
                                   for n in range(2, 102)])
    lines = lines_of(many)
    lines = joined(lines[:101]) + lines[102]
    for legend, data, want in (("whole", lines, "altered"), ("half", lines[:-1], "truncated"),
                               ("none", joined(lines_of(many)[:101]), "truncated")):
        with open(both, "wb") as f:
            f.write(data)
        theirs, ours, a = answers(both)
        check("a hundred without hashes, and one %s" % legend, theirs[0] == want and ours == theirs,
              "%s, the verifier %s %s" % (ours, theirs, a.what))
    # Texts alone.
    with open(both, "wb") as f:
        f.write(b"".join(text + b"\n" for text in texts))
    check("texts alone", run(BUILD + "/tally", "verify", both).returncode == 2)
    theirs, ours, a = answers(both, anchors[n])
    check("texts alone, anchor", theirs[0] == "intact to the anchor" and ours == theirs, "%s %s" % (theirs, ours))
    # A log that was altered is exported as it stands, and said.
    bad = os.path.join(folder, "bad.db")
    shutil.copyfile(log, bad)
    con = free(bad)
    one_letter(con)
    con.execute("PRAGMA journal_mode = DELETE")
    con.close()
    r = export(bad, path)
    check("export of an altered log", r.returncode == 1 and "does not fit its hash" in r.stderr, r.stderr)
    theirs, ours, a = answers(path)
    check("and its export", theirs[0] == "altered" and ours == theirs, "%s %s" % (theirs, ours))
    r = run(BUILD + "/tally", "import", path, "--log", os.path.join(folder, "never.db"))
    check("is not imported", r.returncode == 1 and not os.path.exists(os.path.join(folder, "never.db")), r.stderr)


# ---- signatures: what one signs, the other must take ----


def check_keys(folder):
    print_of = lambda secret: verify_seal.fingerprint(verify_seal.verify_ed25519.public(secret))
    for i, (legend, follow, asked, want, misfit, signed) in enumerate(verify_seal.table_of_keys()):
        b = verify_seal.build_keyed(folder, "signed%d.db" % i, follow)
        b.con.close()
        theirs, ours, a = answers(b.path, None, print_of(asked) if asked else None)
        check(legend + ", verifier", theirs[0] == want, "%s %s" % (theirs, a.what))
        check(legend + ", tally verify", ours == theirs, "%s, the verifier %s" % (ours, theirs))


def check_daemon(folder):
    """A log that a running daemon signed, and a new key for it."""
    log, sock = os.path.join(folder, "of the daemon.db"), os.path.join(folder, "sock")
    for round_ in range(2):
        daemon = subprocess.Popen([BUILD + "/tallyd", "--log", log, "--socket", sock, "--config",
                                   "/dev/null"], stderr=subprocess.PIPE, text=True)
        for _ in range(200):
            if run(BUILD + "/tally", "--socket", sock, "status").returncode <= 1:
                break
            time.sleep(0.02)
        for words in (["job", "start", "j%d" % round_], ["note", "R1", "x"], ["job", "close"]):
            r = run(BUILD + "/tally", "--socket", sock, *words)
            check("live, " + words[0], r.returncode == 0, r.stderr)
        out, copy = os.path.join(folder, "live.jsonl"), os.path.join(folder, "copy%d.db" % round_)
        with open(out, "wb") as f:
            r = subprocess.run([BUILD + "/tally", "--socket", sock, "export"], stdout=f, timeout=60)
        theirs, ours, a = answers(out)
        check("live, export", r.returncode == 0 and theirs[0] == "intact, no anchor" and ours == theirs, a.what)
        check("live, export is signed", a.keys.checkpoints == round_ + 1, "%d" % a.keys.checkpoints)
        # Over a log that a daemon has open, or that is there, nothing is put.
        for words in (["restore", out], ["restore", out, "--over"], ["import", out, "--over"]):
            r = run(BUILD + "/tally", *words, "--log", log)
            check("live, " + " ".join(words[::2]), r.returncode == 2 and os.path.exists(log), r.stderr)
        r = run(BUILD + "/tally", "--socket", sock, "backup", copy)
        check("live, backup", r.returncode == 0, r.stderr)
        daemon.terminate()
        check("live, ends", daemon.wait(20) == 0, daemon.stderr.read())
        theirs, ours, a = answers(log)
        check("live, verifier", theirs[0] == "intact, no anchor", "%s %s" % (theirs, a.what))
        check("live, tally verify", ours == theirs, "%s" % (ours,))
        check("live, signed", a.keys.checkpoints == round_ + 1 and len(a.keys.seen) == round_ + 1,
              "%d checkpoints, %d keys" % (a.keys.checkpoints, len(a.keys.seen)))
        if round_ == 0:
            r = run(BUILD + "/tallyd", "--new-key", "--log", log, "--config", "/dev/null")
            check("a new key", r.returncode == 0, r.stderr)
            a = verify_seal.verify(verify_seal.open_log(log))
            check("a new key, printed", verify_seal.fingerprint(a.keys.key).hex("-", 2) in r.stderr,
                  r.stderr)


def main():
    check("self-test", verify_seal.selftest() == 0, "see above")
    with tempfile.TemporaryDirectory() as folder:
        log = check_recordings(folder)
        check("a log with an entry", log is not None)
        if log:
            check_damage(log, folder)
            check_each(log, folder)
            check_exports(log, folder)
        check_keys(folder)
        check_daemon(folder)
    return ended()


if __name__ == "__main__":
    sys.exit(main())
