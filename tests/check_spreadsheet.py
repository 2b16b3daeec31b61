#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""The CSV files of the report, opened by LibreOffice, headless, under en_US and de_DE.

A number must be a number with its value, a negative one untouched; a text that a spreadsheet would
run must be a text, and no cell a formula; a time of the spreadsheets' profile must be a time.  Each
file is read with the separator of its locale, as a person would say in the import dialog.
Where LibreOffice is not installed (Debian: libreoffice-calc-nogui) this is skipped, and said.
"""
import csv
import io
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
import xml.etree.ElementTree as xml
from decimal import Decimal

sys.dont_write_bytecode = True
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import check_report as report  # the job, and the log read independently

TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
OFFICE = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
TEXT = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"
# Locale, its number in a filter's options, the separator, the decimal sign, the file.
CASES = [("en-US", 1033, ",", ".", "entries.csv"), ("en-US", 1033, ",", ".", "entries-en.csv"),
         ("de-DE", 1031, ";", ",", "entries-de.csv")]
NUMBERS = {"value_si": "value", "digit_si": "digit", "standard_uncertainty_si": "u", "record": "seq"}


def settings(folder, locale):
    """A user's profile whose language is that one."""
    os.makedirs(folder + "/user", exist_ok=True)
    with open(folder + "/user/registrymodifications.xcu", "w") as f:
        f.write('<?xml version="1.0" encoding="UTF-8"?><oor:items xmlns:oor="http://openoffice.org/2001/registry">'
                '<item oor:path="/org.openoffice.Setup/L10N"><prop oor:name="ooSetupSystemLocale" oor:op="fuse">'
                '<value>%s</value></prop></item></oor:items>' % locale)


def opened(folder, file, locale, number, separator):
    """Rows of (type, value or text, formula) as LibreOffice has them."""
    profile, out = "%s/%s" % (folder, locale), "%s/out-%s" % (folder, os.path.basename(file))
    settings(profile, locale)
    # Separator, quote, UTF-8, from row 1, no columns said, locale, quoted is no text, numbers are looked for.
    r = subprocess.run(["soffice", "-env:UserInstallation=file://" + profile, "--headless",
                        "--infilter=Text - txt - csv (StarCalc):%d,34,76,1,,%d,false,true" % (ord(separator), number),
                        "--convert-to", "fods", "--outdir", out, file], capture_output=True, text=True, timeout=120)
    made = out + "/" + os.path.basename(file)[:-4] + ".fods"
    if not os.path.exists(made):
        return r.stderr
    rows = []
    for row in xml.parse(made).getroot().iter(TABLE + "table-row"):
        cells = []
        for cell in row:
            if cell.tag != TABLE + "table-cell":
                continue
            kind = cell.get(OFFICE + "value-type")
            value = cell.get(OFFICE + "value") or cell.get(OFFICE + "date-value")
            if kind == "string":
                value = "\n".join("".join(p.itertext()) for p in cell.iter(TEXT + "p"))
            for _ in range(min(int(cell.get(TABLE + "number-columns-repeated") or 1), 64)):
                cells.append((kind, value, cell.get(TABLE + "formula")))
        rows.append(cells)
    return rows


def check_file(log, folder, file, case):
    locale, number, separator, point, name = case
    what = "%s under %s" % (name, locale)
    text = open(file, "rb").read().decode("utf-8-sig")
    plain = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator))
    rows = opened(folder, file, locale, number, separator)
    if not report.check(what + ": it opens", isinstance(rows, list) and len(rows) >= len(plain)):
        print("  ", rows)
        return
    head = [c[1] for c in rows[0]][:len(plain[0])]
    report.check(what + ": one header", head == plain[0])
    report.check(what + ": no cell is a formula", not any(c[2] for r in rows for c in r))
    wrong, negative, harmless, times = [], 0, 0, 0
    for cells, want in zip(rows[1:], plain[1:]):
        cells += [(None, None, None)] * (len(want) - len(cells))
        entry = log.entries[int(Decimal(cells[0][1]))]
        for (kind, value, _), column, written in zip(cells, head, want):
            is_number = re.fullmatch(r"-?[0-9]+(?:[.,][0-9]+)?(?:[eE]-?[0-9]+)?", written)
            if column in NUMBERS and entry[NUMBERS[column]] is not None:
                exact = abs(Decimal(value or "nan") - entry[NUMBERS[column]]) <= abs(entry[NUMBERS[column]]) * Decimal("1e-13") \
                    if kind == "float" else False
                negative += exact and Decimal(value) < 0
                if not exact:
                    wrong.append((column, written, kind, value))
            elif written and is_number and column not in ("position", "meter"):
                if kind != "float" or Decimal(value) != Decimal(written.replace(point, ".")):
                    wrong.append((column, written, kind, value))
            elif column == "time_utc":
                times += kind == "date"
            elif written and (kind != "string" or value.replace("\r", "") != re.sub(" +", " ", written)):
                wrong.append((column, written, kind, value))
            harmless += kind == "string" and written.startswith("'=")
    report.check("%s: what is a number is one, what is a text is one: %s" % (what, wrong[:4]), not wrong)
    report.check("%s: negative numbers (%d)" % (what, negative), negative >= 1)
    report.check("%s: what would run is a text (%d)" % (what, harmless), harmless >= 1)
    if name != "entries.csv":  # RFC 4180's has the times of ISO 8601 with their Z
        report.check("%s: times are times (%d of %d)" % (what, times, len(plain) - 1), times == len(plain) - 1)


def main():
    began = time.time()
    if not shutil.which("soffice"):
        print("LibreOffice is not installed: the CSV files were not opened (skipped)")
        return 0
    with tempfile.TemporaryDirectory() as folder:
        job = report.Job(folder)
        report.atexit.register(job.end)
        report.work(job)
        job.stop()
        log = report.Log(job.log)
        for locale in ("de", "en"):
            r = job.file("report", "--out", job.path("r"), "--csv-for", locale, "--incomplete", "not asked here")
            report.check("the report: " + r.stderr, r.returncode == 0)
        for case in CASES:
            check_file(log, folder, job.path("r/" + case[4]), case)
    print("%d passed, %d failed, %.0f s" % (report.passed, report.failed, time.time() - began))
    return report.failed != 0


if __name__ == "__main__":
    sys.exit(main())
