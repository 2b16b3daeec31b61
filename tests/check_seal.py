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

BUILD = os.environ.get("TALLY_BUILD", "build")
FOLDER = "tests/recordings"
passed = failed = 0


def check(legend, good, said=""):
    global passed, failed
    if good:
        passed += 1
    else:
        failed += 1
        print("%s: %s" % (legend, said))


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
            if run(BUILD + "/tally", "--socket", sock, "status").returncode == 0:
                break
            time.sleep(0.02)
        for words in (["job", "start", "j%d" % round_], ["note", "R1", "x"], ["job", "close"]):
            r = run(BUILD + "/tally", "--socket", sock, *words)
            check("live, " + words[0], r.returncode == 0, r.stderr)
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
        check_keys(folder)
        check_daemon(folder)
    print("[  PASSED  ] %d test(s)." % passed)
    if failed:
        print("[  FAILED  ] %d test(s), listed below:" % failed)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
