#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""The bill of materials of a build, as SPDX 2.3 JSON on standard output.

    tests/sbom.py BUILD VERSION DATE

Which libraries the programs are linked to is asked of the programs themselves (readelf), which
package a library comes from and in which version of dpkg (elsewhere the library alone is
named).  The same build gives the same text: no clock, no random name.
"""

import hashlib
import json
import os
import re
import subprocess
import sys


def run(*words):
    try:
        r = subprocess.run(words, capture_output=True, text=True, env=dict(os.environ, LC_ALL="C"))
    except OSError:
        return ""
    return r.stdout if r.returncode == 0 else ""


def needed(program):
    """The names of the shared libraries that it is linked to itself."""
    return re.findall(r"\(NEEDED\).*\[(.*)\]", run("readelf", "-d", program))


def found(program):
    """Where the loader finds them."""
    return dict(re.findall(r"^\s*(\S+) => (/\S+)", run("ldd", program), re.M))


def ways(path):
    """A library as the loader names it, and as its package may: /lib is a link to /usr/lib."""
    real = os.path.realpath(path)
    return [path, real, re.sub("^/lib/", "/usr/lib/", path), re.sub("^/usr/lib/", "/lib/", path),
            re.sub("^/usr/lib/", "/lib/", real)]


def packages_of(paths):
    """{path: (name, version, source, homepage, architecture)} of the Debian packages; dpkg is slow
    to start, so it is asked twice and not twice a library."""
    asked = sorted({w for p in paths for w in ways(p)})
    try:
        said = subprocess.run(["dpkg-query", "-S"] + asked, capture_output=True, text=True,
                              env=dict(os.environ, LC_ALL="C")).stdout
    except OSError:
        return {}
    owner = {line.split(": ", 1)[1]: line.split(": ")[0].split(",")[0] for line in said.splitlines() if ": /" in line}
    names = sorted(set(owner.values()))
    if not names:
        return {}
    form = "${binary:Package}\t${Package}\t${Version}\t${source:Package}\t${Homepage}\t${Architecture}\n"
    fields = {}
    for line in run("dpkg-query", "-W", "-f", form, *names).splitlines():
        known = line.split("\t")
        fields[known[0]] = fields[known[0].split(":")[0] + ":" + known[5]] = known[1:]
    found_at = {}
    for p in paths:
        name = next((owner[w] for w in ways(p) if w in owner), None)
        if name in fields:
            found_at[p] = fields[name]
    return found_at


def digest(path, method):
    with open(path, "rb") as f:
        return hashlib.new(method, f.read()).hexdigest()


def verification_code(files):
    """SPDX 2.3, 7.9: SHA-1 over the sorted SHA-1 of the files of a package."""
    sums = sorted(c["checksumValue"] for f in files for c in f["checksums"] if c["algorithm"] == "SHA1")
    return hashlib.sha1("".join(sums).encode()).hexdigest()


def spdx_id(text):
    return "SPDXRef-" + re.sub(r"[^A-Za-z0-9.-]", "-", text)


def main():
    build, version, date = sys.argv[1:4]
    ours = spdx_id("Splittally")
    programs = [p for p in ("tallyd", "tally", "tally-draw") if os.path.exists(os.path.join(build, p))]
    packages = {}
    relations = [{"spdxElementId": "SPDXRef-DOCUMENT", "relationshipType": "DESCRIBES", "relatedSpdxElement": ours}]
    files = []
    where_of = {p: found(os.path.join(build, p)) for p in programs}
    packaged = packages_of({path for w in where_of.values() for path in w.values()})
    for program in programs:
        path = os.path.join(build, program)
        file_id = spdx_id("File-" + program)
        files.append({"SPDXID": file_id, "fileName": "./" + program,
                      # Version 2.3 wants SHA-1 of every file; what counts is the other one.
                      "checksums": [{"algorithm": "SHA256", "checksumValue": digest(path, "sha256")},
                                    {"algorithm": "SHA1", "checksumValue": digest(path, "sha1")}],
                      "fileTypes": ["BINARY"], "licenseConcluded": "MIT",
                      "licenseInfoInFiles": ["NOASSERTION"], "copyrightText": "NOASSERTION"})
        relations.append({"spdxElementId": ours, "relationshipType": "CONTAINS", "relatedSpdxElement": file_id})
        where = where_of[program]
        for library in sorted(needed(path)):
            package = packaged.get(where.get(library))
            name = package[0] if package else library
            one = {"SPDXID": spdx_id("Package-" + name), "name": name,
                   "versionInfo": package[1] if package else "NOASSERTION",
                   "downloadLocation": "NOASSERTION", "filesAnalyzed": False,
                   "licenseConcluded": "NOASSERTION", "licenseDeclared": "NOASSERTION",
                   "copyrightText": "NOASSERTION", "comment": "linked as " + library}
            if package:
                one["externalRefs"] = [{
                    "referenceCategory": "PACKAGE-MANAGER", "referenceType": "purl",
                    "referenceLocator": "pkg:deb/debian/%s@%s?arch=%s" % (
                        package[0], package[1].replace("+", "%2B").replace(":", "%3A"), package[4])}]
                if package[3]:
                    one["homepage"] = package[3]
            packages.setdefault(one["SPDXID"], one)
            relation = {"spdxElementId": file_id, "relationshipType": "DYNAMIC_LINK",
                        "relatedSpdxElement": one["SPDXID"]}
            if relation not in relations:
                relations.append(relation)
    inside = "".join(f["checksums"][0]["checksumValue"] for f in files)
    document = {
        "spdxVersion": "SPDX-2.3", "dataLicense": "CC0-1.0", "SPDXID": "SPDXRef-DOCUMENT",
        "name": "splittally-" + version,
        "documentNamespace": "urn:sha256:" + hashlib.sha256(inside.encode()).hexdigest(),
        "creationInfo": {"created": date + "T00:00:00Z", "creators": ["Tool: splittally-sbom-" + version]},
        "packages": [{"SPDXID": ours, "name": "splittally", "versionInfo": version,
                      "downloadLocation": "NOASSERTION", "filesAnalyzed": True,
                      "packageVerificationCode": {"packageVerificationCodeValue": verification_code(files)},
                      "licenseInfoFromFiles": ["NOASSERTION"],
                      "licenseConcluded": "MIT", "licenseDeclared": "MIT",
                      "copyrightText": "NOASSERTION"}] + [packages[k] for k in sorted(packages)],
        "files": files, "relationships": relations}
    json.dump(document, sys.stdout, indent=1, sort_keys=True)
    print()
    return 0


sys.exit(main())
