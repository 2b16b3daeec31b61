#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""The bill of materials of the programs just built, against what SPDX 2.3 asks of its JSON, and
against the programs; and VERSION, CHANGELOG.md, debian/changelog and --version, which must agree.

    tests/check_supply.py

The rules are those of the specification (clauses 6, 7, 8 and 11), checked by hand here: no
validator is a dependency.
"""

import hashlib
import json
import os
import re
import subprocess
import sys

from counted import check, ended

BUILD = os.environ.get("TALLY_BUILD", "build")
ID = re.compile(r"SPDXRef-[A-Za-z0-9.-]+")


def document(d, programs):
    """Yields (law, does it hold, what was found)."""
    yield "version and licence of the data", d["spdxVersion"] == "SPDX-2.3" and d["dataLicense"] == "CC0-1.0", d
    yield "its namespace is a URI without #", re.fullmatch(r"[a-z][a-z0-9+.-]*:[^#\s]+", d["documentNamespace"]), d["documentNamespace"]
    made = d["creationInfo"]
    yield "made when and by what", (re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", made["created"]) and
                                    all(re.match("(Tool|Person|Organization): ", c) for c in made["creators"])), made
    ids = [d["SPDXID"]] + [e["SPDXID"] for e in d["packages"] + d["files"]]
    yield "each element has an id of its own", len(set(ids)) == len(ids) and all(ID.fullmatch(i) for i in ids), ids
    ends = [e for r in d["relationships"] for e in (r["spdxElementId"], r["relatedSpdxElement"])]
    yield "relations lead to elements that are there", set(ends) <= set(ids), set(ends) - set(ids)
    yield "it says what it describes", any(r["relationshipType"] == "DESCRIBES" for r in d["relationships"]), d["relationships"]
    for p in d["packages"]:
        yield ("%s is named, with version and licence" % p["SPDXID"],
               all(p.get(k) for k in ("name", "versionInfo", "downloadLocation", "licenseConcluded", "copyrightText")), p)
        inside = [r["relatedSpdxElement"] for r in d["relationships"]
                  if r["spdxElementId"] == p["SPDXID"] and r["relationshipType"] == "CONTAINS"]
        sums = sorted(c["checksumValue"] for f in d["files"] if f["SPDXID"] in inside
                      for c in f["checksums"] if c["algorithm"] == "SHA1")
        code = p.get("packageVerificationCode", {}).get("packageVerificationCodeValue")
        if p["filesAnalyzed"]:
            yield ("%s has the code of its files" % p["SPDXID"],
                   sums and code == hashlib.sha1("".join(sums).encode()).hexdigest(), code)
        else:
            yield "%s, not looked into, has no files" % p["SPDXID"], not inside and not code, inside
    for f in d["files"]:
        with open(os.path.join(BUILD, f["fileName"]), "rb") as h:
            data = h.read()
        want = {"SHA1": hashlib.sha1(data).hexdigest(), "SHA256": hashlib.sha256(data).hexdigest()}
        yield "%s has the sums of the program" % f["fileName"], {c["algorithm"]: c["checksumValue"] for c in f["checksums"]} == want, f
    yield "every program is in it", sorted(f["fileName"] for f in d["files"]) == sorted("./" + p for p in programs), d["files"]
    linked = {r["spdxElementId"] for r in d["relationships"] if r["relationshipType"] == "DYNAMIC_LINK"}
    yield "every program is linked to something", linked == {f["SPDXID"] for f in d["files"]}, linked


def main():
    version = open("VERSION").read().strip()
    newest = re.search(r"(?m)^## (\S+) - (\d{4}-\d\d-\d\d)$", open("CHANGELOG.md").read())
    check("CHANGELOG.md begins with VERSION", newest and newest[1] == version, newest and newest[0])
    packaged = re.match(r"splittally \(([^)]*)\)", open("debian/changelog").read())
    check("debian/changelog is of VERSION", packaged and packaged[1] == version, packaged and packaged[0])
    programs = [p for p in ("tallyd", "tally", "tally-draw") if os.path.exists(os.path.join(BUILD, p))]
    for program in programs[:2]:
        said = subprocess.run([os.path.join(BUILD, program), "--version"], capture_output=True, text=True).stdout
        check("%s --version" % program, said.strip() == "%s %s" % (program, version), said)
    made = [subprocess.run([sys.executable, "tests/sbom.py", BUILD, version, newest[2]], capture_output=True,
                           text=True, env=dict(os.environ, TZ=zone)) for zone in ("UTC", "Pacific/Kiritimati")]
    check("the bill is made", made[0].returncode == 0, made[0].stderr)
    check("the same twice", made[0].stdout == made[1].stdout)
    for law, good, found in document(json.loads(made[0].stdout), programs):
        check(law, good, found)
    # And the laws can fail.
    broken = json.loads(made[0].stdout)
    broken["packages"][0]["filesAnalyzed"] = False
    broken["relationships"][0]["relatedSpdxElement"] = "SPDXRef-nothing"
    check("a broken bill is seen", sum(not good for _, good, _ in document(broken, programs)) >= 2)
    return ended()


sys.exit(main())
