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


def package_of(path):
    """(name, version, source) of the Debian package, or None."""
    for way in (path, os.path.realpath(path), re.sub("^/lib/", "/usr/lib/", path),
                re.sub("^/usr/lib/", "/lib/", path), re.sub("^/usr/lib/", "/lib/", os.path.realpath(path))):
        said = run("dpkg-query", "-S", way)
        if said:
            name = said.split(": ")[0].split(",")[0]
            fields = run("dpkg-query", "-W", "-f", "${Package}\t${Version}\t${source:Package}\t${Homepage}\t${Architecture}", name)
            return fields.split("\t")
    return None


def sha256(path):
    with open(path, "rb") as f:
        return hashlib.sha256(f.read()).hexdigest()


def spdx_id(text):
    return "SPDXRef-" + re.sub(r"[^A-Za-z0-9.-]", "-", text)


def main():
    build, version, date = sys.argv[1:4]
    ours = spdx_id("Splittally")
    programs = [p for p in ("tallyd", "tally", "tally-draw") if os.path.exists(os.path.join(build, p))]
    packages = {}
    relations = [{"spdxElementId": "SPDXRef-DOCUMENT", "relationshipType": "DESCRIBES", "relatedSpdxElement": ours}]
    files = []
    for program in programs:
        path = os.path.join(build, program)
        file_id = spdx_id("File-" + program)
        files.append({"SPDXID": file_id, "fileName": "./" + program,
                      "checksums": [{"algorithm": "SHA256", "checksumValue": sha256(path)}],
                      "licenseConcluded": "MIT", "copyrightText": "NOASSERTION"})
        relations.append({"spdxElementId": ours, "relationshipType": "CONTAINS", "relatedSpdxElement": file_id})
        where = found(path)
        for library in sorted(needed(path)):
            package = package_of(where[library]) if library in where else None
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
                      "downloadLocation": "NOASSERTION", "filesAnalyzed": False,
                      "licenseConcluded": "MIT", "licenseDeclared": "MIT",
                      "copyrightText": "NOASSERTION"}] + [packages[k] for k in sorted(packages)],
        "files": files, "relationships": relations}
    json.dump(document, sys.stdout, indent=1, sort_keys=True)
    print()
    return 0


sys.exit(main())
