# SPDX-License-Identifier: MIT
"""Checks of a script, counted as tests/run.sh reads them.

    from counted import check, ended
    check("what must hold", holds, "what was seen")     # says so where it does not
    sys.exit(ended())
"""

passed = failed = 0
shown_most = None  # so many failures are said, None: all


def check(legend, good, said=""):
    global passed, failed
    if good:
        passed += 1
    else:
        failed += 1
        if shown_most is None or failed <= shown_most:
            print("%s: %s" % (legend, said))
    return good


def ended():
    """Prints the counts; the exit status."""
    print("[  PASSED  ] %d test(s)." % passed)
    if failed:
        print("[  FAILED  ] %d test(s), listed above" % failed)
    return 1 if failed else 0
