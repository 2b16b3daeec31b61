#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""Completion, in the shells that people have: keys are typed at a terminal, Tab is pressed,
and what stands on the line then is looked at.  bash must be there; zsh is left out with a
note where it is not.  A daemon with meters, positions and jobs answers; then none does, and
nothing may be said and nobody may wait.
"""

import os
import pty
import re
import select
import shutil
import subprocess
import sys
import tempfile
import time

from counted import check, ended
from derive import die_with_us

BUILD = os.path.abspath(os.environ.get("TALLY_BUILD", "build"))


class Bench:
    def __init__(self, folder):
        self.socket = os.path.join(folder, "sock")
        config = os.path.join(folder, "bench.ini")
        with open(config, "w") as f:
            f.write("[meter red]\nport = /dev/tally-no-such-1\ndialect = ascii-unit\n"
                    "[meter reference]\nport = /dev/tally-no-such-2\ndialect = ascii-unit\n")
        self.daemon = subprocess.Popen(
            [BUILD + "/tallyd", "--log", os.path.join(folder, "log.db"), "--socket", self.socket,
             "--config", config], stderr=subprocess.DEVNULL, preexec_fn=die_with_us)
        for _ in range(200):
            if self.tally("status").returncode == 0:
                break
            time.sleep(0.02)
        for words in (["job", "start", "monitor amplifier"],
                      ["sheet", "add", "R12 470k", "R14 1M", "C7 0.1u", "T3/4 10kohm"]):
            r = self.tally(*words)
            check(" ".join(words), r.returncode == 0, r.stderr)

    def tally(self, *words):
        return subprocess.run([BUILD + "/tally", "--socket", self.socket, *words],
                              capture_output=True, text=True, timeout=30)

    def end(self):
        self.daemon.terminate()
        self.daemon.wait()


class Shell:
    """A shell at a terminal of its own, with nothing of the user's in it."""

    def __init__(self, words, setup, socket, folder):
        env = {"PATH": BUILD + ":/usr/bin:/bin", "HOME": folder, "TERM": "xterm", "PS1": "$ ",
               "TALLY_SOCKET": socket, "LC_ALL": "C.UTF-8"}
        pid, self.fd = pty.fork()
        if pid == 0:
            die_with_us()
            os.chdir(folder)
            os.execvpe(words[0], words, env)
        self.pid, self.rounds = pid, 0
        for line in setup:
            self.until(line)

    def until(self, keys):
        """Type the keys and a line that says when it was reached.  What is typed ahead waits
        in the terminal, so nothing here goes by the clock."""
        self.rounds += 1
        mark = "reached-%d" % self.rounds
        os.write(self.fd, keys.encode() + ("\necho reach''ed-%d\n" % self.rounds).encode())
        out, end = b"", time.time() + 20
        while mark.encode() not in out and time.time() < end:
            ready, _, _ = select.select([self.fd], [], [], 1)
            if not ready:
                continue
            try:
                out += os.read(self.fd, 65536)
            except OSError:
                break
        if mark.encode() not in out:
            os.write(self.fd, b"\x03")
        return out.decode(errors="replace")

    def line(self, keys):
        """The words that the program is given after the keys: a function prints them."""
        said = self.until(keys)
        m = re.findall(r"<<([^*$].*?)>>", said.replace("\r", ""))
        return m[-1] if m else said

    def choices(self, keys, wanted, seconds=10):
        """What is listed.  Nothing may be typed ahead here: zsh lists nothing then."""
        os.write(self.fd, keys.encode())
        out, end, press = "", time.time() + seconds, 0
        while time.time() < end and not all(w in out for w in wanted):
            if time.time() >= press:
                os.write(self.fd, b"\t")
                press = time.time() + 1
            ready, _, _ = select.select([self.fd], [], [], 0.1)
            if ready:
                out += os.read(self.fd, 65536).decode(errors="replace")
        self.until("\x15")
        return out

    def end(self):
        try:
            os.kill(self.pid, 9)
            os.waitpid(self.pid, 0)
        except OSError:
            pass
        os.close(self.fd)


WORDS = [  # keys with Tab, what the words of the line must be then
    ("tally wal\t on", "walk on"),
    ("tally meters ra\tre\t", "meters raw re"),
    ("tally meters raw red\t", "meters raw red"),
    ("tally at R12\t volt\t", "at R12 volts"),
    ("tally at T\t", "at T3/4"),
    ("tally at C\tval\t", "at C7 value"),
    ("tally walk li\t", "walk lift"),
    ("tally walk on --ord\tkin\t", "walk on --order kind"),
    ("tally take --meter ref\t", "take --meter reference"),
    ("tally offset sh\t--me\tref\t", "offset short --meter reference"),
    ("tally report --lang\td\t", "report --language de"),
    ("tally sheet set R12 toler\t5%", "sheet set R12 tolerance=5%"),
    ("tally sheet set R12 kind=carbon-f\t", "sheet set R12 kind=carbon-film"),
    ("tally job show mon\t", "job show monitor amplifier"),
    ("tally job show \"mon\t", "job show monitor amplifier"),
    ("tally entries --beside mon\t", "entries --beside monitor amplifier"),
    ("tally help she\tren\t", "help sheet rename"),
    ("tally meters try ascii-u\tre\t", "meters try ascii-unit re"),
    ("tally verify a-lo\t", "verify a-log.db"),
]


def in_shell(name, words, setup, socket, folder):
    shell = Shell(words, setup, socket, folder)
    try:
        for keys, want in WORDS:
            got = shell.line(keys)
            check("%s: %r" % (name, keys), got.strip() == want, repr(got))
        shown = shell.choices("tally at R", ["R12", "R14"])
        check(name + ": positions are listed", "R12" in shown and "R14" in shown, repr(shown))
        shown = shell.choices("tally pedal ", ["choose", "forget", "test"])
        check(name + ": verbs are listed", all(v in shown for v in ("choose", "forget", "test")),
              repr(shown))
    finally:
        shell.end()


def unreachable(name, words, setup, folder):
    shell = Shell(words, setup, os.path.join(folder, "nobody"), folder)
    try:
        begin = time.time()
        shown = shell.until("tally at R\t\t\x15")
        took = time.time() - begin
        check(name + ": nothing is said without a daemon",
              not re.search("daemon|socket|tallyd", shown), repr(shown))
        check(name + ": nobody waits", took < 3, took)
        got = shell.line("tally wal\t lif\t")
        check(name + ": verbs without a daemon", got.strip() == "walk lift", repr(got))
    finally:
        shell.end()


def by_itself(bench):
    """The verb that the shells ask."""
    def ask(*words, socket=bench.socket):
        begin = time.time()
        r = subprocess.run([BUILD + "/tally", "complete", "--", *words], capture_output=True,
                           text=True, timeout=20, env=dict(os.environ, TALLY_SOCKET=socket))
        return [line.split("\t")[0] for line in r.stdout.splitlines()], r, time.time() - begin

    overview = subprocess.run([BUILD + "/tally", "--help"], capture_output=True, text=True).stdout
    first = set(re.findall(r"^  ([a-z]+)\b(?=[^\n]{8,})", overview.split("with every verb")[0], re.M))
    verbs, r, _ = ask("")
    check("every verb is offered", set(verbs) == first, set(verbs) ^ first)
    check("each once", len(verbs) == len(set(verbs)), verbs)
    got, r, took = ask("at", "R")
    check("positions", got == ["R12", "R14"], r)
    check("with their nominal", "R12\t470" in r.stdout, r.stdout)
    check("quick", took < 3, took)
    check("in either case", ask("at", "r12")[0] == ["R12"])
    check("another bench", ask("--socket", bench.socket, "at", "C", socket="/nobody")[0] == ["C7"])
    got, r, took = ask("at", "R", socket="/nobody")
    check("silent without a daemon", got == [] and r.returncode == 0 and not r.stderr, r)
    check("quick without a daemon", took < 3, took)
    check("no options after --", ask("note", "--", "-")[0] == [])
    check("a daemon that says nothing", stuck(ask))


def stuck(ask):
    """A socket that takes a connection and never answers."""
    import socket as s
    folder = tempfile.mkdtemp()
    path = os.path.join(folder, "sock")
    with s.socket(s.AF_UNIX) as listener:
        listener.bind(path)
        listener.listen(1)
        got, r, took = ask("at", "R", socket=path)
    shutil.rmtree(folder)
    return got == [] and r.returncode == 0 and not r.stderr and took < 3


def main():
    folder = tempfile.mkdtemp()
    open(os.path.join(folder, "a-log.db"), "w").close()
    bash_file, zsh_folder = BUILD + "/completions/tally.bash", BUILD + "/completions"
    bash = (["bash", "--norc", "--noprofile", "-i"],
            ["bind 'set bell-style none'", ". " + bash_file,
             "tally() { if [ \"$1\" = complete ]; then command tally \"$@\"; else echo \"<<$*>>\"; fi; }"])
    zsh = (["zsh", "-f", "-i"],
           ["PS1='$ '", "unsetopt beep", "fpath=(%s $fpath)" % zsh_folder, "autoload -Uz compinit",
            "compinit -u -D",
            "tally() { if [ \"$1\" = complete ]; then command tally \"$@\"; else echo \"<<$*>>\"; fi; }"])
    shells = [("bash", bash)]
    if shutil.which("zsh"):
        shells.append(("zsh", zsh))
    else:
        print("zsh is not here: left out")
    bench = Bench(folder)
    try:
        by_itself(bench)
        for name, (words, setup) in shells:
            in_shell(name, words, setup, bench.socket, folder)
    finally:
        bench.end()
    for name, (words, setup) in shells:
        unreachable(name, words, setup, folder)
    shutil.rmtree(folder)
    return ended()


sys.exit(main())
