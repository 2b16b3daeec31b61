#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""make check-package: the Debian package, from lintian to its end.

    tests/package/check.py DEBS [lintian|life|boot ...]

DEBS is where tests/package/build.sh put it.  Three parts, all of them where none is named:

    lintian  no error and no warning
    life     in a fresh root by debootstrap: installed, the daemon run as its user, upgraded with
             a configuration of its own, removed, installed again, purged; the log stays, byte
             for byte, through all of it
    boot     the installed package under a real systemd and udev, in a virtual machine (boot.py)

It wants root, debootstrap and a package mirror; the boot QEMU as well.  What cannot run is said.
"""

import glob
import hashlib
import os
import re
import shutil
import subprocess
import sys

HERE = os.path.dirname(os.path.abspath(__file__))
passed = failed = 0


def check(legend, good, measured=""):
    global passed, failed
    passed, failed = passed + bool(good), failed + (not good)
    print("%s  %s%s" % ("ok    " if good else "FAILED", legend, ": %s" % measured if measured else ""),
          flush=True)
    return good


def deps(*packages):
    return subprocess.call(["sh", "tests/deps.sh"] + list(packages)) == 0


# ---- lintian ----

def lintian(debs):
    if not deps("lintian"):
        print("lintian cannot run: it is not here")
        return
    changes = glob.glob(os.path.join(debs, "*.changes"))
    r = subprocess.run(["lintian", "--allow-root", "--fail-on", "error,warning"] + changes,
                       stdout=subprocess.PIPE, stderr=subprocess.STDOUT, universal_newlines=True)
    check("lintian: no error, no warning", r.returncode == 0, r.stdout.strip())


# ---- a fresh root ----

class Root:
    """A Debian of its own in a folder."""

    def __init__(self, folder):
        self.folder = folder

    def path(self, name):
        return os.path.join(self.folder, name.lstrip("/"))

    def run(self, line):
        # A mount of its own: nothing is left mounted, whatever happens.
        script = ("mount -t proc proc '{0}/proc'; mount --bind /dev '{0}/dev'; "
                  "exec chroot '{0}' sh -c \"$1\"").format(self.folder)
        r = subprocess.run(["unshare", "-m", "-p", "-f", "sh", "-c", script, "sh", line],
                           stdout=subprocess.PIPE, stderr=subprocess.STDOUT, universal_newlines=True,
                           env=dict(os.environ, DEBIAN_FRONTEND="noninteractive", LC_ALL="C.UTF-8"))
        return r.returncode, r.stdout

    def must(self, line):
        status, text = self.run(line)
        if status != 0:
            check(line, False, text[-600:])
        return text


def fresh(out):
    """Made once, then copied."""
    base, folder = os.path.join(out, "base"), os.path.join(out, "root")
    if not os.path.isdir(base):
        made = base + ".part"
        shutil.rmtree(made, ignore_errors=True)
        r = subprocess.run(["debootstrap", "--variant=minbase", "bookworm", made],
                           stdout=subprocess.PIPE, stderr=subprocess.STDOUT, universal_newlines=True)
        if r.returncode != 0:
            print("a fresh root cannot be made: %s" % r.stdout[-400:])
            return None
        os.rename(made, base)
    shutil.rmtree(folder, ignore_errors=True)
    subprocess.check_call(["cp", "-a", base, folder])
    # It reaches the mirror as this machine does.
    for name in ["/etc/resolv.conf", "/etc/hosts"] + glob.glob("/etc/apt/apt.conf.d/*"):
        if "docker" not in name and os.path.isfile(name):
            shutil.copy(name, folder + name)
    return Root(folder)


def repacked(deb, out, version):
    """The same package as a later version."""
    tree = os.path.join(out, "repack")
    shutil.rmtree(tree, ignore_errors=True)
    subprocess.check_call(["dpkg-deb", "-R", deb, tree])
    control = os.path.join(tree, "DEBIAN/control")
    with open(control) as f:
        text = f.read()
    with open(control, "w") as f:
        f.write(re.sub(r"(?m)^Version: .*$", "Version: " + version, text))
    # And with another configuration, as an upgrade may bring.
    with open(os.path.join(tree, "etc/tally.ini"), "a") as f:
        f.write("\n# of a later version\n")
    new = os.path.join(out, "later.deb")
    subprocess.check_call(["dpkg-deb", "-b", "--root-owner-group", tree, new], stdout=subprocess.DEVNULL)
    shutil.rmtree(tree)
    return new


def sums(root):
    """Of everything below /var/lib/tally."""
    found = {}
    for folder, _, names in os.walk(root.path("/var/lib/tally")):
        for name in names:
            path = os.path.join(folder, name)
            with open(path, "rb") as f:
                found[os.path.relpath(path, root.folder)] = hashlib.sha256(f.read()).hexdigest()
    return found


RUN = """
setpriv --reuid tally --regid tally --init-groups tallyd & pid=$!
for i in 1 2 3 4 5 6 7 8 9 10; do tally status >/tmp/status && break; sleep 0.3; done
tally job start bench >/tmp/job; tally note R1 "in a fresh root" >>/tmp/job
kill $pid; wait $pid; echo "ended with $?"; cat /tmp/status /tmp/job
"""


def life(debs, out):
    deb = sorted(glob.glob(os.path.join(debs, "splittally_*.deb")))[-1]
    if os.getuid() != 0 or not deps("debootstrap"):
        print("the life of the package cannot be looked at: it takes root and debootstrap")
        return None
    root = fresh(out)
    if not root:
        return None
    shutil.copy(deb, root.path("/tmp/now.deb"))
    shutil.copy(repacked(deb, out, "99.0"), root.path("/tmp/later.deb"))
    root.must("apt-get -qq update")
    status, text = root.run("apt-get -qq -y --no-install-recommends install /tmp/now.deb")
    if not check("it installs into a fresh root", status == 0, "" if status == 0 else text[-600:]):
        return None
    text = root.must("id tally; stat -c '%a %U:%G %n' /var/lib/tally /run/tally /etc/tally.ini")
    check("user, group of the lines, folders", "dialout" in text and
          "750 tally:tally /var/lib/tally" in text and "755 tally:tally /run/tally" in text and
          "644 root:root /etc/tally.ini" in text)
    check("the configuration is good", "0 meters" in root.must("tallyd --check-config 2>&1"))
    check("what it needs is there", root.run("ldd /usr/bin/tallyd /usr/bin/tally | grep -q 'not found'")[0])
    wants = "/etc/systemd/system/multi-user.target.wants/tallyd.service"
    check("it starts at boot", os.path.islink(root.path(wants)))
    text = root.must(RUN)
    check("the daemon runs as its user, and logs", "ended with 0" in text and
          "no meter is configured" in text and "record" in text, "" if "ended with 0" in text else text)

    # A configuration of somebody's own, and an upgrade that brings another.
    with open(root.path("/etc/tally.ini"), "a") as f:
        f.write("\n# mine\n")
    before = sums(root)
    check("there is a log with its key", len(before) >= 2 and any(n.endswith(".key") for n in before),
          ", ".join(sorted(os.path.basename(n) for n in before)))
    status, text = root.run("apt-get -qq -y -o Dpkg::Options::=--force-confold install /tmp/later.deb")
    with open(root.path("/etc/tally.ini")) as f:
        mine = "# mine" in f.read()
    check("it upgrades; the configuration stays the bench's", status == 0 and mine,
          "" if status == 0 else text[-400:])
    check("the log is as it was after the upgrade", sums(root) == before)
    status, text = root.run("apt-get -qq -y remove splittally")
    check("it is removed; the log stays, and where is said",
          status == 0 and sums(root) == before and "stay in /var/lib/tally" in text)
    check("nothing of it can be run", not os.path.exists(root.path("/usr/bin/tallyd")))
    status, text = root.run("apt-get -qq -y --allow-downgrades -o Dpkg::Options::=--force-confold "
                            "install /tmp/now.deb")
    text = root.must(RUN) if status == 0 else text
    good = check("installed again, it goes on with its log", "ended with 0" in text,
                 "" if "ended with 0" in text else text[-600:])
    status, text = root.run("tally verify /var/lib/tally/*.db")
    check("which is whole", good and status == 0, text.split("\n")[0] if status else "")
    before = sums(root)
    status, text = root.run("dpkg --purge splittally")
    left = root.must("dpkg -l splittally 2>/dev/null | grep -c ^ii; find /etc -name '*tally*' | sort; true")
    check("it is purged: configuration and links are gone", status == 0 and
          left.strip().splitlines()[1:] in ([], ["/etc/tally"]), left.strip().replace("\n", " "))
    check("the log is as it was, and where is said", sums(root) == before and
          "stay in /var/lib/tally" in text)
    check("and anybody can still read it", root.run("test -s /var/lib/tally/*.db")[0] == 0)
    return root


# ---- a machine ----

def boot(debs, out):
    if os.getuid() != 0 or not deps("qemu-system-x86", "kmod", "cpio", "debootstrap"):
        print("no machine is booted: it takes root and QEMU")
        return
    root = fresh(out)
    if not root:
        return
    deb = sorted(glob.glob(os.path.join(debs, "splittally_*.deb")))[-1]
    shutil.copy(deb, root.path("/tmp/now.deb"))
    root.must("apt-get -qq update")
    status, text = root.run("apt-get -qq -y --no-install-recommends install /tmp/now.deb systemd-sysv udev kmod")
    if not check("it installs with systemd and udev", status == 0, "" if status == 0 else text[-600:]):
        return
    if subprocess.call(["sh", os.path.join(HERE, "guest.sh"), root.folder, out]) != 0:
        return
    sys.path.insert(0, HERE)
    import boot as scenario
    scenario.boot(os.path.abspath(out), check)


def main():
    debs = sys.argv[1]
    parts = sys.argv[2:] or ["lintian", "life", "boot"]
    out = os.path.join(os.path.dirname(os.path.abspath(debs)), "package")
    os.makedirs(out, exist_ok=True)
    if "lintian" in parts:
        lintian(debs)
    if "life" in parts:
        life(debs, out)
    if "boot" in parts:
        boot(debs, out)
    print("%d passed, %d failed" % (passed, failed))
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
