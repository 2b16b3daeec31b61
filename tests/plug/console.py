# SPDX-License-Identifier: MIT
"""The virtual machine's own console, tty1, with a client on it."""

import re
import time

from machine import Failure


class Console:
    """tty1, the machine's own: the keyboard is QEMU's PS/2 one, the screen is read."""

    def __init__(self, bench):
        self.b, self.m = bench, bench.m

    def run(self, line):
        line = "echo $$ >/tmp/person/console.pid; exec " + line
        self.m.must("printf '\\033c' >/dev/tty1; chown person /dev/tty1; stty -F /dev/tty1 sane")
        self.m.must("busybox setsid -c sh -c \"exec %s\" </dev/tty1 >/dev/tty1 2>&1 &" %
                    self.b.person(line).replace("$", "\\$").replace('"', '\\"'))

    def runs(self):
        return self.m.run("[ -d /proc/$(cat /tmp/person/console.pid) ]")[0] == 0

    def screen(self):
        return self.m.must("fold -w 80 </dev/vcs1")

    def until(self, pattern, seconds=60):
        end = time.monotonic() + seconds
        while True:
            text = self.screen()
            got = re.search(pattern, text)
            if got:
                return got
            if time.monotonic() > end:
                raise Failure("%g s were not enough for /%s/ on the screen:\n%s" %
                              (seconds, pattern, re.sub(r"( *\n)+", "\n", text)))

    def press(self, key):
        self.m.key(None, key, True)
        time.sleep(0.05)
        self.m.key(None, key, False)
        time.sleep(0.05)

    def leak(self, on=True):
        """What gets to the console from now on is in /tmp/leak."""
        self.m.must("[ ! -f /tmp/leak.pid ] || kill $(cat /tmp/leak.pid); rm -f /tmp/leak.pid")
        # It forgets how it was set when the last one closes it.
        if on:
            self.m.must("cat /dev/tty1 >/tmp/leak & echo $! >/tmp/leak.pid; "
                        "sleep 0.2; stty -F /dev/tty1 raw -echo")

    def type(self, word):
        for letter in word:
            self.press({"\n": "ret", " ": "spc"}.get(letter, letter))
