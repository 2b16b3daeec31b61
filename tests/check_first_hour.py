#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""Every error that a new user meets in the first hour names what is wrong, where, and the
cure.  A row: what is done, the exit status, and words that must be in what is said."""

import os
import subprocess
import sys
import tempfile
import time

from counted import check, ended
from derive import die_with_us

BUILD = os.path.abspath(os.environ.get("TALLY_BUILD", "build"))


def write(folder, name, text):
    path = os.path.join(folder, name)
    with open(path, "w") as f:
        f.write(text)
    return path


def meter(rest):
    return "[meter red]\nport = usb:1209:0001\ndialect = ascii-unit\n" + rest


# legend, program, words, files that they name, status, what must be said
ROWS = [
    ("no daemon", "tally", ["--socket", "{d}/none", "meters"], {}, 3,
     ["no daemon at", "Start tallyd", "systemctl start tallyd", "--socket PATH", "TALLY_SOCKET"]),
    ("a configuration that is not there", "tallyd", ["--config", "{d}/none.ini"], {}, 2,
     ["none.ini", "cannot be read", "--config FILE"]),
    ("an unknown dialect", "tallyd", ["--check-config", "--config", "{d}/a.ini"],
     {"a.ini": "[meter red]\nport = usb:1209:0001\ndialect = asci-unit\n"}, 2,
     ["a.ini:3:11", "is no dialect", "ascii-unit", "columns-14", "scpi"]),
    ("an unknown key", "tallyd", ["--check-config", "--config", "{d}/a.ini"],
     {"a.ini": meter("acuracy ohm = 1%\n")}, 2, ["a.ini:4:1", "unknown key", "accuracy"]),
    ("an unknown section", "tallyd", ["--check-config", "--config", "{d}/a.ini"],
     {"a.ini": "[metre red]\n"}, 2, ["a.ini:1:2", "expected [bench] or [meter NAME]"]),
    ("a bad accuracy", "tallyd", ["--check-config", "--config", "{d}/a.ini"],
     {"a.ini": meter("accuracy ohm = good\n")}, 2, ["a.ini:4:16"]),
    ("a bad port", "tallyd", ["--check-config", "--config", "{d}/a.ini"],
     {"a.ini": "[meter red]\nport = usb:12\ndialect = ascii-unit\n"}, 2, ["a.ini:2:", "port"]),
    ("no port", "tallyd", ["--check-config", "--config", "{d}/a.ini"],
     {"a.ini": "[meter red]\ndialect = ascii-unit\n"}, 2, ["a.ini:1:2", "expected `port = ...`"]),
    ("no folder for the log", "tallyd", ["--config", "/dev/null", "--log", "{d}/no/log.db", "--socket", "{d}/s2"],
     {}, 2, ["no", "make it, or name another"]),
    ("no folder for the socket", "tallyd", ["--config", "/dev/null", "--log", ":memory:", "--socket", "{d}/no/s"],
     {}, 2, ["directory", "of the socket"]),
    ("a second daemon on the log", "tallyd", ["--config", "/dev/null", "--log", "{d}/log.db", "--socket", "{d}/s2"],
     {}, 2, ["holds the log", "stop it first"]),
    ("a second daemon on the socket", "tallyd", ["--config", "/dev/null", "--log", "{d}/l2.db", "--socket", "{d}/sock"],
     {}, 2, ["is held by process", "--socket"]),
    ("a verb with a slip", "tally", ["metres"], {}, 2, ["perhaps meters", "tally --help"]),
    ("half a verb", "tally", ["job"], {}, 2, ["job start", "job list"]),
    ("an option of another verb", "tally", ["meters", "--because", "x"], {}, 2,
     ["does not go with this verb", "use: tally meters"]),
    ("an instrument is missing", "tally", ["enter", "R1", "4k7"], {}, 2, ["--from NAME is missing", "use: tally enter"]),
    ("a sheet without positions", "tally", ["sheet", "load", "{d}/a.csv"],
     {"a.csv": "Positon,nominal\nR1,4k7\n"}, 2, ["a.csv:1:1", "one must be named position", "--map"]),
    ("a column with a slip", "tally", ["sheet", "load", "{d}/a.csv"],
     {"a.csv": "position,nominl\nR1,4k7\n"}, 0, ["kept under their names: nominl", "nominal is meant"]),
    ("a nominal with a slip", "tally", ["sheet", "load", "{d}/a.csv"],
     {"a.csv": "position,nominal\nR1,4x7\n"}, 2, ["a.csv:2:", "a unit was expected"]),
    ("too few cells", "tally", ["sheet", "load", "{d}/a.csv"],
     {"a.csv": "position,nominal,note\nR1,4k7\n"}, 2, ["a.csv:2:", "cell"]),
    ("a sheet that is not there", "tally", ["sheet", "load", "{d}/none.csv"], {}, 2, ["none.csv", "No such file"]),
    ("a line with a slip", "tally", ["sheet", "add", "R1 10,000"], {}, 2, ["1:6", "decimal comma", "10k"]),
    ("a meter that is not there", "tally", ["meters", "raw", "red"], {}, 2, ["no meter", "tally meters"]),
    ("a dialect to try that is none", "tally", ["meters", "try", "asci", "{d}/x.rec"], {"x.rec": "\n"}, 2,
     ["no shipped dialect", "ascii-unit", "./asci.ini"]),
    ("nothing to take", "tally", ["take"], {}, 1, ["nothing to take"]),
    ("no meter for the offset", "tally", ["offset", "short"], {}, 1, ["no meter reads ohm", "--meter NAME"]),
    ("a report that is not complete", "tally", ["report", "--out", "{d}/report"], {}, 1,
     ["NOT COMPLETE", "--incomplete TEXT"]),
    ("a copy over a file", "tally", ["backup", "{d}/log.db"], {}, 2, ["nothing is written over"]),
    ("a copy into a folder that is not there", "tally", ["backup", "{d}/no/copy.db"], {}, 2,
     ["its folder must be there", "allowed to write"]),
    ("an option with a slip", "tally", ["--sokcet", "x", "meters"], {}, 2, ["no option --sokcet", "perhaps --socket is meant"]),
    ("a tolerance without its sign", "tally", ["sheet", "add", "R1 4k7 5"], {}, 2, ["1:8", "5% is a tolerance", "400 V a rating"]),
    ("a run at a position that is not there", "tally", ["leak", "C9"], {}, 2, ["C9 is not in the sheet", "tally sheet add"]),
    ("a report where nobody may write", "tally", ["report", "--out", "/proc/x", "--incomplete", "x"], {}, 2,
     ["/proc/x", "name a folder where you may write"]),
    ("a log that is none", "tally", ["verify", "{d}/x.db"], {"x.db": "no log at all\n"}, 2, ["x.db"]),
]


def run(folder, program, words, as_nobody=False):
    def drop():
        die_with_us()
        if as_nobody:
            os.setgid(65534)
            os.setgroups([])
            os.setuid(65534)
    env = dict(os.environ, TALLY_SOCKET=os.path.join(folder, "sock"), TERM="dumb")
    return subprocess.run([BUILD + "/" + program] + [w.replace("{d}", folder) for w in words], env=env,
                          capture_output=True, text=True, timeout=60, preexec_fn=drop)


def main():
    with tempfile.TemporaryDirectory() as folder:
        daemon = subprocess.Popen([BUILD + "/tallyd", "--config", "/dev/null", "--log", folder + "/log.db", "--socket",
                                   folder + "/sock"], stderr=subprocess.DEVNULL, preexec_fn=die_with_us)
        for _ in range(500):
            if run(folder, "tally", ["status"]).returncode == 0:
                break
            time.sleep(0.02)
        run(folder, "tally", ["job", "start", "one"])
        for legend, program, words, files, status, said in ROWS:
            for name, text in files.items():
                write(folder, name, text)
            r = run(folder, program, words)
            all_said = r.stderr + r.stdout
            check(legend + ": status", r.returncode == status, (r.returncode, all_said))
            for word in said:
                check("%s: says %r" % (legend, word), word in all_said, all_said)
        r = run(folder, "tally", ["meters"])
        for word in "What to do next", "[meter red]", "port ", "dialect ", "--check-config", "tally doctor":
            check("an empty bench says " + word, word in r.stdout, r.stdout)
        # Another user: whose is the socket, and how does one belong to them?
        if os.getuid() == 0:
            os.chmod(folder, 0o755)
            copy = folder + "/tally"
            with open(BUILD + "/tally", "rb") as a, open(copy, "wb") as b:
                b.write(a.read())
            os.chmod(copy, 0o755)
            for group, words in (60, ["is for the group", "sudo usermod -aG", "log in again"]), (0, ["for its owner"]):
                os.chown(folder + "/sock", 0, group)
                env = dict(os.environ, TALLY_SOCKET=folder + "/sock")

                def drop():
                    os.setgroups([])
                    os.setgid(65534)
                    os.setuid(65534)
                r = subprocess.run([copy, "meters"], env=env, capture_output=True, text=True, preexec_fn=drop)
                check("no right: status", r.returncode == 3, r)
                for word in words:
                    check("no right: says " + word, word in r.stderr, r.stderr)
        daemon.terminate()
        daemon.wait()
    return ended()


sys.exit(main())
