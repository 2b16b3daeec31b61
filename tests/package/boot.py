# SPDX-License-Identifier: MIT
"""The installed package under a real systemd and udev, in a virtual machine.

The machine (tests/package/guest.sh) boots with no adapter and with its drivers not loaded:
the hardened unit starts, and only then a meter is plugged in.  That one must be read.
"""

import json
import os
import re
import sys
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "plug"))
import machine  # noqa: E402

CONFIG = """[bench]
name = guest

[meter red]
port = usb:0403:6001:AB01
dialect = ascii-unit
accuracy ohm = 0.5% + 2
"""
BLUE = """
[meter blue]
port = usb:0403:6001:AB02
dialect = ascii-unit
"""


def write(vm, text):
    lines = "\\n".join(text.split("\n"))
    vm.must("printf '%s' '" + lines.replace("%", "%%").replace("'%%s'", "'%s'") + "' >/dev/null; "
            "printf '" + lines.replace("%", "%%") + "' >/etc/tally.ini")


def until(vm, line, seconds=40):
    """Run it until it succeeds."""
    end = time.monotonic() + seconds
    while True:
        status, text = vm.run(line, 60)
        if status == 0 or time.monotonic() > end:
            return status == 0, text


def meter(vm, name):
    for line in vm.must("tally --json meters").splitlines():
        one = json.loads(line)
        if one["name"] == name:
            return one
    return None


def scenes(vm, check):
    state = vm.must("systemctl is-system-running --wait || systemctl --failed --no-legend")
    print("      the machine is %s" % " ".join(state.split()))
    ok, text = until(vm, "systemctl is-active tallyd.service tallyd.socket")
    check("service and socket are active after the boot", ok, " ".join(text.split()))
    status, text = vm.run("tally status")
    check("tally status with no meter: nothing is wrong, and it says what to do",
          status == 0 and "no meter is configured" in text and "tally doctor" in text,
          "status %d" % status)
    _, text = vm.run("systemd-analyze security tallyd.service --threshold=15 --no-pager | tail -n 1")
    found = re.search(r"tallyd.service: (\d\.\d)", text)
    check("exposure of the loaded unit at most 1.5", found and float(found[1]) <= 1.5,
          found and found[1])
    pid = vm.must("systemctl show -P MainPID tallyd").strip()
    text = vm.must("grep -E '^(Uid|CapEff|NoNewPrivs|Seccomp):' /proc/%s/status" % pid)
    check("it runs as a user of its own, with no capability, under a filter",
          "CapEff:\t0000000000000000" in text and "NoNewPrivs:\t1" in text and
          "Seccomp:\t2" in text and "Uid:\t0" not in text)

    # The trap: drivers that come after the unit.
    text = vm.must("cat /proc/devices")
    check("the unit had the drivers' numbers made before it started", "ttyUSB" in text and "ttyACM" in text)
    write(vm, CONFIG)
    status, text = vm.run("systemctl reload tallyd")
    check("systemctl reload takes the configuration", status == 0, text.strip())
    check("it waits for the meter", meter(vm, "red") and meter(vm, "red")["state"] == "absent")
    vm.meters["red"].says = ["+100.2 kOhm", "+100.3 kOhm"]
    vm.meters["red"].period = 0.1
    vm.plug("red", 1, "AB01")
    ok, _ = until(vm, "tally --json meters | grep -q 'listened to'")
    one = meter(vm, "red")
    check("a cold-plugged adapter is read by the hardened unit", ok and one["counters"]["readings"] > 0,
          "%s, %d readings" % (one["state"], one["counters"]["readings"]))
    text = vm.must("ls -l /dev/ttyUSB0; lsmod")
    check("by the real driver, through its group alone", "dialout" in text and "ftdi_sio" in text)
    _, text = vm.run("journalctl -u tallyd METER=red TALLY_EVENT=line-open -o json --no-pager")
    entry = json.loads(text.splitlines()[-1]) if text.strip().startswith("{") else {}
    check("the journal has its fields", entry.get("PORT") == "/dev/ttyUSB0" and
          entry.get("PRIORITY") == "6", entry.get("MESSAGE"))
    status, text = vm.run("tally status")
    check("tally status: a service with its watchdog, nothing is wrong",
          status == 0 and "a service, restarted after 30 s" in text, "status %d" % status)

    # Reload: a fault is answered with its place, and the meter loses nothing.
    before = meter(vm, "red")["counters"]
    write(vm, CONFIG + BLUE.replace("ascii-unit", "ascii-unix"))
    status, text = vm.run("systemctl reload tallyd")
    said = vm.must("journalctl -u tallyd -n 20 --no-pager")
    check("a faulty configuration fails the reload, with its line and column",
          status != 0 and "/etc/tally.ini:11:11" in said, "status %d" % status)
    write(vm, CONFIG + BLUE)
    status, _ = vm.run("systemctl reload tallyd")
    after = meter(vm, "red")["counters"]
    check("a good one is taken; the other meter went on", status == 0 and meter(vm, "blue") and
          after["reconnects"] == before["reconnects"] and after["bad"] == before["bad"] and
          after["readings"] > before["readings"])
    vm.meters["blue"].says = ["+47.05 kOhm"]
    vm.plug("blue", 2, "AB02")
    ok, _ = until(vm, "tally --json meters | grep blue | grep -q 'listened to'")
    check("and a meter that is plugged in then is read, too", ok)

    # Restarts: whoever connects meanwhile waits.
    text = vm.must("bad=0; for i in 1 2 3 4 5 6 7 8 9 10; do systemctl restart --no-block tallyd; "
                   "tally status >/tmp/s 2>&1; [ $? -lt 2 ] || { bad=$((bad + 1)); cat /tmp/s; }; done; "
                   "echo refused $bad", 240)
    check("ten restarts, each with a client at once", "refused 0" in text, text.strip())
    ok, _ = until(vm, "tally --json meters | grep -c 'listened to' | grep -q 2")
    check("both meters are read after them", ok)

    # The watchdog.
    vm.must("mkdir -p /run/systemd/system/tallyd.service.d; printf '[Service]\\nWatchdogSec=3\\n' "
            ">/run/systemd/system/tallyd.service.d/w.conf; systemctl daemon-reload; "
            "systemctl restart tallyd; systemctl reset-failed tallyd")
    until(vm, "tally status")
    pid = vm.must("systemctl show -P MainPID tallyd").strip()
    vm.must("sleep 8")
    check("it is left alone while it works", vm.must("systemctl show -P MainPID tallyd").strip() == pid)
    vm.must("kill -STOP %s" % pid)
    ok, text = until(vm, "test $(systemctl show -P MainPID tallyd) != %s && tally status | grep -q daemon" % pid)
    check("a daemon that is stuck is restarted", ok, text.strip())
    vm.must("rm -r /run/systemd/system/tallyd.service.d; systemctl daemon-reload")

    # Doors.
    # A socket unit does not begin below a service that runs.
    vm.must("systemctl stop tallyd && systemctl enable --now tallyd-viewers.socket 2>/dev/null && "
            "systemctl start tallyd", 60)
    status, text = vm.run("setpriv --reuid 65534 --regid 65534 --clear-groups tally --socket "
                          "/run/tally/view.sock meters")
    check("anybody may look through the viewers' socket", status == 0 and "red" in text)
    status, text = vm.run("setpriv --reuid 65534 --regid 65534 --clear-groups tally meters")
    check("and not work through the bench's", status == 3, text.strip())
    vm.unplug("red")
    ok, _ = until(vm, "tally status | grep -q 'meter red is absent'")
    check("an unplugged meter is wrong, with its cure", ok)

    # The end, as an administrator does it.
    vm.must("systemctl stop tallyd.service tallyd.socket", 60)
    status, text = vm.run("tally verify /var/lib/tally/guest.db")
    check("the log is whole", status == 0, " ".join(text.split())[:80])
    status, text = vm.run("dpkg --purge splittally", 120)
    kept = vm.run("ls /var/lib/tally/guest.db /var/lib/tally/guest.db.key")[0] == 0
    check("the package is purged while systemd runs; the log stays, and that is said",
          status == 0 and kept and "stay in /var/lib/tally" in text, "status %d" % status)


def boot(out, check):
    """In OUT are guest.cpio.gz and vmlinuz."""
    here = os.getcwd()
    machine.COMMAND = [w for w in machine.COMMAND]
    at = machine.COMMAND.index("-icount")
    del machine.COMMAND[at:at + 2]
    machine.COMMAND[machine.COMMAND.index("-m") + 1] = "2048"
    machine.COMMAND[machine.COMMAND.index("-smp") + 1] = "2"
    machine.KERNEL = "console=ttyS0 quiet loglevel=4 panic=-1 mitigations=off no_timer_check systemd.show_status=0"
    vm = machine.Machine(os.path.join(out, "run"), ["red", "blue"])
    vm.patience = 600  # a whole system, on a machine that may be busy
    began = time.monotonic()
    try:
        vm.start()
        print("      the machine is up after %.0f s" % (time.monotonic() - began))
        scenes(vm, check)
    except machine.Failure as why:
        check("the virtual machine", False, str(why))
    finally:
        vm.end()
        os.chdir(here)
    print("      %.0f s in all" % (time.monotonic() - began))
