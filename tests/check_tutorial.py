#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""The demo part of doc/tutorial.md, as it stands in the file: its commands are run in one
shell, from the top of the sources, and what it says that they print must be printed.

    tests/check_tutorial.py
"""

import os
import re
import shutil
import signal
import subprocess
import sys

from counted import check, ended
from derive import die_with_us

BUILD = os.environ.get("TALLY_BUILD", "build")
FILE = "doc/tutorial.md"


def blocks():
    """(kind, text) of the fenced blocks before the part that needs a real meter."""
    text = open(FILE).read()
    demo = text.split("\n## A meter of your own", 1)
    assert len(demo) == 2, "the tutorial has lost its second half"
    return re.findall(r"^```(sh|text)\n(.*?)^```$", demo[0], re.S | re.M)


def main():
    shutil.rmtree(BUILD + "/tutorial", ignore_errors=True)
    script = ["set -u"]
    found = blocks()
    for i, (kind, text) in enumerate(found):
        if kind != "sh":
            continue
        if text.strip() == "make":
            # Whoever runs the tests has built it.
            continue
        if BUILD != "build":
            text = re.sub(r"(?<![\w/])build/", BUILD.rstrip("/") + "/", text).replace("$PWD/build", "$PWD/" + BUILD)
        script.append("echo '@block %d'\n%s" % (i, text))
    env = dict(os.environ, TERM="dumb", LC_ALL="C", TALLY_BUILD=BUILD)
    env.pop("TALLY_SOCKET", None)
    run = subprocess.Popen(["bash", "-e"], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                           stderr=subprocess.STDOUT, text=True, env=env, preexec_fn=lambda: (
                               os.setsid(), die_with_us()))
    try:
        out, _ = run.communicate("\n".join(script) + "\necho '@end'\n", timeout=150)
    except subprocess.TimeoutExpired:
        os.killpg(run.pid, signal.SIGKILL)
        out, _ = run.communicate()
        out += "\n(it did not end)"
    check("every command succeeds", "\n@end\n" in out and run.returncode == 0,
          "status %s; the end of what was said:\n%s" % (run.returncode, out[-3000:]))
    said = re.split(r"^@block (\d+)\n", out, flags=re.M)
    of = {int(said[k]): said[k + 1] for k in range(1, len(said) - 1, 2)}
    last = None
    texts = 0
    for i, (kind, text) in enumerate(found):
        if kind == "sh":
            last = of.get(i, "")
            continue
        texts += 1
        for line in text.splitlines():
            check("%s says that it prints: %s" % (FILE, line), line in (last or ""), last)
    check("there is something to compare", texts >= 3, texts)
    entries = subprocess.run([BUILD + "/tally", "--json", "--file", BUILD + "/tutorial/copy.db", "entries"],
                             capture_output=True, text=True).stdout
    # What the page says of the parts.
    for position, verdict in ("R1", "within"), ("R2", "outside"), ("C1", "outside"), ("C101", "within"):
        check("%s is %s" % (position, verdict),
              re.search('"position":"%s","quantity":"value".*"verdict":"%s"' % (position, verdict), entries),
              entries[:400])
    for name in "report.html", "entries.csv", "report.json":
        check("report/" + name, os.path.exists("%s/tutorial/report/%s" % (BUILD, name)))
    return ended()


sys.exit(main())
