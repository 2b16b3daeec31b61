#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""The manual pages against what the programs say of themselves.

Every verb, word, option and sentence of `tally help` stands in tally(1); every option of
`tallyd --help` in tallyd(8); every key that the parser of the configuration says it expects
in tally.ini(5), every column and kind in tally-sheet(5), every method of the wire in
tally-protocol(7).  All pages have their usual sections, carry the version, and are clean for
man and (where it is there) mandoc.
"""

import os
import re
import shutil
import subprocess
import sys
import tempfile

from counted import check, ended

BUILD = os.environ.get("TALLY_BUILD", "build")
MAN = os.path.join(BUILD, "man")
PAGES = ["tally.1", "tallyd.8", "tally.ini.5", "tally-dialect.5", "tally-sheet.5", "tally-log.5",
         "tally-protocol.7"]


def run(*words, **more):
    env = dict(os.environ, TERM="dumb", **more)
    return subprocess.run(words, capture_output=True, text=True, env=env, timeout=60)


def flat(text):
    """Without what folding and hyphenation do to a text."""
    text = re.sub(r"[-\u2010\u2011\u2212]", "", text)
    text = text.replace("\u2018", "'").replace("\u2019", "'")
    return re.sub(r"\s+", "", text)


def rendered(page):
    # groff's own, so that it is the same without mandoc; no hyphenation.
    out = subprocess.run(["groff", "-mandoc", "-Tutf8", "-P-c", "-P-b", "-P-u", "-rHY=0", "-rcR=1", "-rLL=200n",
                          os.path.join(MAN, page)], capture_output=True, text=True)
    return re.sub(r"\x1b\[[0-9;]*m", "", out.stdout)


def sentences(text):
    return [s for s in re.split(r"(?<=[.:;?])\s+", " ".join(text.split())) if len(s) > 8]


def verbs_of(overview):
    verbs = []
    for line in overview.splitlines():
        if line == "with every verb":
            break
        m = re.match(r"  ([a-z][a-z ]*[a-z])(?= [\[A-Za-z|]|\s{2}|$)", line)
        if m and "use:" not in line:
            verbs.append(line[2:35].strip())
    return verbs


def the_client(page):
    overview = run(BUILD + "/tally", "--help").stdout
    words = [re.match(r"[a-z]+( [a-z]+)?(?= |$)", v).group(0) for v in verbs_of(overview)]
    check("there are verbs", len(words) > 50, words)
    for word in words:
        parts = word.split()
        text = run(BUILD + "/tally", "help", *parts).stdout
        if not text:
            parts = parts[:1]
            text = run(BUILD + "/tally", "help", *parts).stdout
        check("help " + word, "use: tally " in text, text)
        use = text.split("use: ", 1)[1].split("\n\n", 1)[0]
        check("tally.1 has the use of " + word, flat(use) in page, use)
        body = text.split("\n\n", 2)[2]
        paragraphs, options = re.split(r"\n\n(?=  --)", body, maxsplit=1) if "\n\n  --" in body else (body, "")
        missing = [s for s in sentences(paragraphs) if flat(s) not in page]
        check("tally.1 says of " + word, not missing, missing[:2])
        for name in re.findall(r"^  (--[a-z-]+)", options, re.M):
            check("tally.1 has " + name, flat(name) in page)


def the_daemon(page):
    usage = run(BUILD + "/tallyd", "--help").stdout
    for name in sorted(set(re.findall(r"--[a-z-]+", usage))):
        check("tallyd.8 has " + name, flat(name) in page)


def the_configuration(source, folder):
    items = set(re.findall(r"^\.It Ic ([a-z-]+(?: [a-z-]+)*)", source, re.M))
    path = os.path.join(folder, "bench.ini")
    expected = 0
    for section in "[bench]", "[meter red]":
        with open(path, "w") as f:
            f.write(section + "\nno-such-key = 1\n")
        said = run(BUILD + "/tallyd", "--check-config", "--config", path).stderr
        m = re.search(r"expected (.*?)(?:, or one of the| or test|$)", said, re.S)
        check("the parser says what it expects in " + section, m, said)
        for key in re.findall(r"[a-z]+", m.group(1)) if m else []:
            if key != "or":
                expected += 1
                check("tally.ini.5 has the key " + key, key in items, sorted(items))
    check("keys were found", expected > 20, expected)
    check("tally.ini.5 has the key test", "test" in items)
    header = open("daemon/settle.h").read()
    names = re.findall(r'X\([a-z_]+, "([a-z -]+)"', header)
    check("thresholds were found", len(names) > 20, names)
    for name in names:
        check("tally.ini.5 has " + name, name in items)


def the_rest():
    sheet = open("protocol/record/sheet.h").read()
    columns = re.search(r"position,kind[a-z,\s*]*note", sheet).group(0)
    source = open(os.path.join(MAN, "tally-sheet.5")).read()
    items = set(re.findall(r"^\.It Ic ([a-z]+)", source, re.M))
    for column in re.findall("[a-z]+", columns):
        check("tally-sheet.5 has the column " + column, column in items, sorted(items))
    wire = open("protocol/WIRE.md").read()
    methods = wire.split("\n## Methods", 1)[1].split("\n## ", 1)[0]
    names = re.findall(r"^\| `([a-z.]+)`", methods, re.M)
    check("methods were found", len(names) > 40, names)
    source = open(os.path.join(MAN, "tally-protocol.7")).read()
    for name in names:
        check("tally-protocol.7 has " + name, re.search(r"^\.It \"?%s\b" % re.escape(name), source, re.M))
    seal = flat(rendered("tally-log.5"))
    for word in "tally-record-1", "tally-checkpoint-1", "CREATE TABLE record":
        check("tally-log.5 has " + word, flat(word) in seal)
    dialect = flat(rendered("tally-dialect.5"))
    for name in os.listdir("protocol/meter/dialects"):
        check("tally-dialect.5 has " + name, flat(name[:-4]) in dialect)


def the_form(folder):
    version = open("VERSION").read().strip()
    for program in "tally", "tallyd":
        said = run("%s/%s" % (BUILD, program), "--version").stdout
        check(program + " --version", said == "%s %s\n" % (program, version), said)
    newest = re.search(r"^## (\S+) - \d{4}-\d\d-\d\d$", open("CHANGELOG.md").read(), re.M)
    check("CHANGELOG.md has the version first", newest and newest.group(1) == version)
    tree = os.path.join(folder, "share", "man")
    for page in PAGES:
        os.makedirs(os.path.join(tree, "man" + page[-1]), exist_ok=True)
        shutil.copy(os.path.join(MAN, page), os.path.join(tree, "man" + page[-1]))
    check("all pages are known", sorted(os.listdir(MAN)) == sorted(PAGES), os.listdir(MAN))
    for page in PAGES:
        path = os.path.join(MAN, page)
        text = open(path).read()
        check(page + " has the version", "Splittally " + version in text)
        check(page + " has no @", not re.search(r"^@|@[A-Z]+@", text, re.M))
        for section in "NAME", "DESCRIPTION", "EXAMPLES", "SEE ALSO":
            check("%s has %s" % (page, section), re.search(r"^\.Sh %s$" % section, text, re.M))
        if page in ("tally.1", "tallyd.8"):
            for section in "CAUTION", "FILES", "EXIT STATUS":
                check("%s has %s" % (page, section), re.search(r"^\.Sh %s$" % section, text, re.M))
        said = run("man", "--warnings", "-E", "UTF-8", "-l", "-Tutf8", "-Z", path).stderr
        check("man --warnings " + page, not said, said)
        if shutil.which("mandoc"):
            said = run("mandoc", "-Tlint", path).stdout
            # It knows no system of that name, and the pages are not installed here.
            ours = "|".join(p[:-2].replace(".", r"\.") for p in PAGES)
            bad = [line for line in said.splitlines()
                   if "operating system explicitly specified" not in line
                   and not re.search("referenced manual not found: Xr (%s) " % ours, line)]
            check("mandoc -Tlint " + page, not bad, "\n".join(bad))
        for name, section in re.findall(r"^\.Xr (\S+) (\d)", text, re.M):
            check("%s refers to %s(%s)" % (page, name, section), "%s.%s" % (name, section) in PAGES)
    if not shutil.which("mandoc"):
        print("mandoc is not here: its check was left out")


def main():
    if not (shutil.which("man") and shutil.which("groff")):
        print("man and groff are not here: left out")
        return 0
    folder = tempfile.mkdtemp()
    try:
        the_client(flat(rendered("tally.1")))
        the_daemon(flat(rendered("tallyd.8")))
        the_configuration(open(os.path.join(MAN, "tally.ini.5")).read(), folder)
        the_rest()
        the_form(folder)
    finally:
        shutil.rmtree(folder)
    return ended()


sys.exit(main())
