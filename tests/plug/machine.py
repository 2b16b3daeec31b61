# SPDX-License-Identifier: MIT
"""The virtual machine of `make check-plug`, and the meters on its USB sockets.

A Machine runs QEMU without hardware help (TCG), so it works in a container too, and on a
clock that counts its instructions, so times in it do not depend on the host.  Its
adapters are QEMU's `usb-serial`, which the guest's own ftdi_sio drives; what a meter
sends goes in through a socket each.  QEMU writes to these sockets and waits: a meter
that does not read stops the whole machine, so one thread reads always.

    machine.plug("red", 1, serial="AB01")    the adapter goes into USB socket 1
    machine.unplug("red")                    returns when QEMU has let it go
    machine.run("tally meters")              a shell line in the guest: (status, text)
    machine.see("line open", since)          wait for something that the witness says
    machine.meters["red"].says = [...]       the frames that it sends, in turn
"""

import json
import os
import re
import select
import socket
import subprocess
import threading
import time

COMMAND = (
    "qemu-system-x86_64 -machine q35,usb=off -accel tcg -cpu max -icount shift=3 "
    "-m 512 -smp 1 -nodefaults -no-user-config -display none -no-reboot "
    "-kernel ../vmlinuz -device qemu-xhci,id=xhci,p2=8,p3=8 "
    "-qmp unix:qmp.sock,server=on,wait=off "
    "-serial file:console.txt").split()
KERNEL = "console=ttyS0 quiet loglevel=4 panic=-1 mitigations=off no_timer_check"


class Failure(Exception):
    """Something that cannot be gone on from: the text says what."""


class Meter:
    """What one meter sends.  Only while its adapter is plugged in, as a real one does."""

    def __init__(self, name):
        self.name = name
        self.says = []      # frames, sent in turn; none: it is silent
        self.period = 0.25  # seconds
        self.plugged = False
        self.sent = 0       # frames
        self.got = b""      # what ever came over its line to it
        self.turn = 0
        self.next = 0.0
        self.socket = None

    def write(self, data):
        """Bytes now.  What the socket does not take is lost, as on a line nobody reads."""
        try:
            return self.socket.send(data) == len(data)
        except BlockingIOError:
            return False


class Machine:
    patience = 120     # seconds until it is up

    def __init__(self, folder, names, guest="guest", devices=()):
        """`guest`: the file system that it boots from; `devices`: more words for QEMU."""
        self.guest, self.devices = guest, list(devices)
        self.folder = folder
        self.meters = {name: Meter(name) for name in names}
        self.lock = threading.Condition()
        self.seen = []     # (time in the guest, kind, text) of the witness
        self.records = []  # the sealed texts, parsed
        self.answers = b""
        self.over = False
        self.qemu = None
        os.makedirs(folder, exist_ok=True)
        for name in os.listdir(folder):
            os.unlink(os.path.join(folder, name))
        # Socket paths are short: everything happens in the folder.
        os.chdir(folder)

    def start(self):
        """Returns when the guest takes commands."""
        command = COMMAND[:] + ["-append", KERNEL, "-initrd", "../%s.cpio.gz" % self.guest]
        command += self.devices
        for name in ("control", "witness", "records"):
            command += self.chardev(name) + ["-serial", "chardev:" + name]
        for name in self.meters:
            command += self.chardev(name)
        self.qemu = subprocess.Popen(command, stdin=subprocess.DEVNULL,
                                     stdout=open("qemu.txt", "w"), stderr=subprocess.STDOUT)
        self.qmp = self.connect("qmp").makefile("rw")
        self.qmp.readline()
        self.ask("qmp_capabilities")
        self.control, self.witness, self.log = (
            self.connect(name) for name in ("control", "witness", "records"))
        for meter in self.meters.values():
            meter.socket = self.connect(meter.name)
            meter.socket.setblocking(False)
        threading.Thread(target=self.pump, daemon=True).start()
        self.answer(self.patience)

    def chardev(self, name):
        return ["-chardev", "socket,id=%s,path=%s.sock,server=on,wait=off" % (name, name)]

    def connect(self, name):
        for _ in range(200):
            sock = socket.socket(socket.AF_UNIX)
            try:
                sock.connect(name + ".sock")
                return sock
            except OSError:
                sock.close()
                if self.qemu.poll() is not None:
                    raise Failure("QEMU ended: " + open("qemu.txt").read())
                time.sleep(0.05)
        raise Failure("QEMU does not open its socket " + name)

    # ---- the thread that reads everything and lets the meters speak ----

    def pump(self):
        lines = {self.witness: b"", self.log: b""}
        take = {self.witness: self.take_seen, self.log: self.take_record}
        by_socket = {m.socket: m for m in self.meters.values()}
        readers = [self.control, self.witness, self.log] + list(by_socket)
        while not self.over:
            ready, _, _ = select.select(readers, [], [], self.until_next())
            for sock in ready:
                data = sock.recv(65536)
                if not data:
                    readers.remove(sock)
                    continue
                with self.lock:
                    if sock in by_socket:
                        by_socket[sock].got += data
                    elif sock is self.control:
                        self.answers += data
                    else:
                        *whole, lines[sock] = (lines[sock] + data).split(b"\n")
                        for line in whole:
                            take[sock](line.decode("utf-8", "replace").strip("\r"))
                    self.lock.notify_all()
            self.speak()

    def until_next(self):
        now = time.monotonic()
        return max(0, min([0.05] + [m.next - now for m in self.meters.values()
                                    if m.plugged and m.says]))

    def speak(self):
        now = time.monotonic()
        with self.lock:
            for m in self.meters.values():
                if m.plugged and m.says and now >= m.next:
                    m.next = max(m.next + m.period, now)
                    m.write(m.says[m.turn % len(m.says)].encode() + b"\r\n")
                    m.turn += 1
                    m.sent += 1

    def take_seen(self, line):
        match = re.match(r"(\d+\.\d{6}) (\w+) (.*)", line)
        if match:
            self.seen.append((float(match[1]), match[2], match[3]))

    def take_record(self, line):
        try:
            self.records.append(json.loads(line))
        except ValueError:
            self.records.append({"kind": "not JSON", "text": line})

    # ---- for the checks ----

    def wait(self, what, seconds, legend):
        """Until what() gives something that is true."""
        end = time.monotonic() + seconds
        with self.lock:
            while True:
                got = what()
                if got:
                    return got
                if self.qemu.poll() is not None:
                    raise Failure("the virtual machine ended while it was waited for " + legend)
                if time.monotonic() > end:
                    raise Failure("%g s were not enough for %s" % (seconds, legend))
                self.lock.wait(0.1)

    def mark(self):
        """Where the witness stands now: for `since`."""
        with self.lock:
            return len(self.seen)

    def first(self, kind, pattern, since=0):
        for t, k, text in self.seen[since:]:
            match = k == kind and re.search(pattern, text)
            if match:
                return t, match

    def see(self, kind, pattern, since=0, seconds=20):
        """Wait for it: (time in the guest, the match)."""
        return self.wait(lambda: self.first(kind, pattern, since), seconds,
                         "%s /%s/" % (kind, pattern))

    def answer(self, seconds):
        def whole():
            match = re.search(rb"@(\d+) (\d+)\r?\n", self.answers)
            if match and len(self.answers) >= match.end() + int(match[2]):
                end = match.end() + int(match[2])
                text, self.answers = self.answers[match.end():end], self.answers[end:]
                return int(match[1]), text.decode("utf-8", "replace")
        return self.wait(whole, seconds, "an answer of the virtual machine")

    def run(self, line, seconds=30):
        self.control.sendall(line.encode() + b"\n")
        return self.answer(seconds)

    def must(self, line, seconds=30):
        status, text = self.run(line, seconds)
        if status != 0:
            raise Failure("%s: status %d: %s" % (line, status, text))
        return text

    def ask(self, command, event=None, **arguments):
        """One QMP command; with `event`, until that comes for this device as well."""
        self.qmp.write(json.dumps({"execute": command, "arguments": arguments}) + "\n")
        self.qmp.flush()
        answered = False
        while not answered or event:
            line = self.qmp.readline()
            if not line:
                raise Failure("QEMU ended")
            message = json.loads(line)
            if "error" in message:
                raise Failure("%s: %s" % (command, message["error"]["desc"]))
            answered = answered or "return" in message
            if event and message.get("event") == event and \
                    message["data"].get("device") == arguments["id"]:
                event = None

    def plug(self, name, port, serial):
        self.ask("device_add", driver="usb-serial", id="usb-" + name, chardev=name, serial=serial,
                 bus="xhci.0", port=str(port), **{"always-plugged": True})
        with self.lock:
            self.meters[name].plugged = True
            self.meters[name].next = time.monotonic()

    def unplug(self, name):
        with self.lock:
            self.meters[name].plugged = False
        self.ask("device_del", event="DEVICE_DELETED", id="usb-" + name)

    def add(self, driver, name, port=None, **more):
        """Any other device; with `port` in that USB socket."""
        if port:
            more.update(bus="xhci.0", port=str(port))
        self.ask("device_add", driver=driver, id=name, **more)

    def remove(self, name):
        self.ask("device_del", event="DEVICE_DELETED", id=name)

    def key(self, console, key, down):
        """A key goes down, or up: of the keyboard that belongs to this console, or (None) of
        the machine's own."""
        where = {"device": console, "head": 0} if console else {}
        self.ask("input-send-event", events=[
            {"type": "key", "data": {"down": down, "key": {"type": "qcode", "data": key}}}], **where)

    def end(self):
        self.over = True
        if self.qemu and self.qemu.poll() is None:
            self.qemu.kill()
            self.qemu.wait()
