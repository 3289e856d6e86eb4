"""One logger as a machine: the image of the Cortex-M port in the emulator, its serial line to a
bench van, its card in the harness's hand.

Emulator  qemu-system-arm, machine lm3s6965evb: UART0 unused, UART1 the adapter, the card
          on SSI0; or netduinoplus2: USART1 the adapter, no card. Its UARTs know no pace, so
          the bench paces the line. Its card is never busy, checks no CRC and tells the
          machine of no write that the host refused.
Time      real unless `skip_time`: then an idle processor jumps to its next timer, which only
          makes sense where nobody answers. No check may rest on how long anything took here.
"""
import argparse
import contextlib
import os
import pathlib
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import termios
import time

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent.parent / "conformity"))
import programs  # noqa: E402
from gdb_remote import GdbRemote  # noqa: E402

EMULATOR = "qemu-system-arm"
# What the emulator says of every start, and means nothing.
HARMLESS = re.compile(r"Timer with period zero, disabling|terminating on signal|"
                      r"sd_blk_write: write error on host side|^\s*$")
# The processor's model: 2^4 ns an instruction, 62.5 million a second; a Cortex-M3 at 50 MHz does
# about as much (from memory: 1.25 Dhrystone MIPS per MHz).
ICOUNT_SHIFT = 4
INSTRUCTIONS_PER_S = 1e9 / 2**ICOUNT_SHIFT


def arguments(**defaults):
    """(our programs, the image, a value for each of `defaults`) from BIN IMAGE [--NAME VALUE]...
    Skips the test where what it needs is not here."""
    parser = argparse.ArgumentParser()
    parser.add_argument("bin", type=programs.Bin)
    parser.add_argument("image", type=pathlib.Path)
    for name, default in defaults.items():
        parser.add_argument(f"--{name}", type=type(default), default=default)
    given = parser.parse_args()
    programs.need(given.bin.benchvan, "the bench van of preset release")
    if shutil.which(EMULATOR) is None:
        programs.skip(f"{EMULATOR} is not installed")
    return given.bin, given.image, *(getattr(given, name) for name in defaults)


@contextlib.contextmanager
def workspace():
    """A folder with a short name: paths of unix sockets end at 107 bytes."""
    with tempfile.TemporaryDirectory(prefix="pm-") as folder:
        yield pathlib.Path(folder)


def start(*command, **more):
    """A child that ends with the harness, however that ends."""
    return subprocess.Popen(["setpriv", "--pdeathsig", "KILL", "--", *map(str, command)], **more)


def wait_until(what, condition, limit_s=120):
    """For what must come at some time; the limit only keeps a broken run from hanging."""
    end = time.monotonic() + limit_s
    while not (got := condition()):
        assert time.monotonic() < end, f"waited {limit_s} s in vain: {what}"
        time.sleep(0.02)
    return got


def symbols(elf):
    """Name, as the C++ compiler means it, to address."""
    text = programs.run("arm-none-eabi-nm", "-C", elf).stdout.decode()
    rows = (line.split(maxsplit=2) for line in text.splitlines())
    return {row[2]: int(row[0], 16) for row in rows if len(row) == 3}


class Bench:
    """The bench van in real time at the far end of the line."""

    def __init__(self, benchvan, folder, *arguments, pace_baud=115200):
        self.folder = pathlib.Path(folder)
        self.link, self.lines, self.candump = (self.folder / name for name in ("tty", "lines", "candump"))
        self.process = start(benchvan, "serve", "--link", self.link, "--pace-baud", pace_baud,
                             "--lines", self.lines, "--candump", self.candump, *arguments,
                             stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
        wait_until("the bench van's line", lambda: self.link.is_symlink() or self.process.poll() is not None)
        assert self.process.poll() is None, self.process.stdout.read()

    def forget_bytes(self):
        """What nobody read on the line: a UART that has no power keeps nothing."""
        line = os.open(self.link, os.O_RDWR | os.O_NOCTTY)
        termios.tcflush(line, termios.TCIOFLUSH)
        os.close(line)

    def stop(self):
        """Ends it; what it said."""
        if self.process.poll() is None:
            self.process.terminate()
        said = self.process.communicate(timeout=60)[0]
        assert self.process.returncode == 0, said
        return said

    def kill(self):
        if self.process.poll() is None:
            self.process.kill()
        if not self.process.stdout.closed:
            self.process.communicate()


class Machine:
    """One power-up of the logger. kill() is the plug being pulled; close() also looks whether the
    emulator complained. Without a bench nothing answers; `sent` is a file for what was sent then."""

    def __init__(self, elf, folder, card=None, bench=None, sent=None, skip_time=False, icount=False,
                 gdb=False, name="machine", board="lm3s6965evb", extra=()):
        self.elf, self.folder = pathlib.Path(elf), pathlib.Path(folder)
        part = lambda suffix: self.folder / f"{name}.{suffix}"
        self.errors, self.log, self.monitor_path, self.gdb_path = map(part, ("errors", "log", "mon", "gdb"))
        for path in (self.errors, self.log, self.monitor_path, self.gdb_path):
            path.unlink(missing_ok=True)
        line = f"file:{sent}" if sent else "null"
        if bench is not None:
            bench.forget_bytes()
            line = os.path.realpath(bench.link)
        serials = [line] if board == "netduinoplus2" else [f"file:{self.log}", line, "null"]
        command = [EMULATOR, "-M", board, "-nographic", "-kernel", self.elf,
                   *(word for serial in serials for word in ("-serial", serial)),
                   "-monitor", f"unix:{self.monitor_path},server=on,wait=off",
                   "-d", "guest_errors", "-D", self.errors]
        if card is not None:
            command += ["-drive", f"if=sd,format=raw,file={card.drive}"]
        if skip_time:
            command += ["-icount", f"shift={ICOUNT_SHIFT},sleep=off"]
        elif icount:
            command += ["-icount", f"shift={ICOUNT_SHIFT},sleep=on"]
        if gdb:
            command += ["-gdb", f"unix:{self.gdb_path},server=on,wait=off"]
        self.process = start(*command, *extra, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                             stderr=subprocess.STDOUT)
        self.said = b""
        self._monitor = None
        wait_until("the emulator's monitor",
                   lambda: self.monitor_path.exists() or self.process.poll() is not None)
        assert self.process.poll() is None, self.process.stdout.read().decode()

    def gdb(self):
        return GdbRemote(self.gdb_path)

    def monitor(self, command):
        """One command of the emulator's human monitor; what it answers."""
        if self._monitor is None:
            self._monitor = socket.socket(socket.AF_UNIX)
            self._monitor.settimeout(60)
            self._monitor.connect(str(self.monitor_path))
            self._until_prompt()
        self._monitor.sendall(command.encode() + b"\n")
        answer = self._until_prompt().decode(errors="replace")
        return "\n".join(answer.replace("\r", "").split("\n")[1:-1])

    def _until_prompt(self):
        data = b""
        while not data.endswith(b"(qemu) "):
            more = self._monitor.recv(65536)
            if not more:
                raise EOFError("the emulator has ended")
            data += more
        return data

    def words(self, address, count):
        """32-bit words of the machine's memory."""
        answer = self.monitor(f"xp /{count}xw 0x{address:x}")
        found = re.findall(r"0x([0-9a-f]{8})\b", re.sub(r"^[0-9a-f]+:", "", answer, flags=re.M))
        assert len(found) == count, answer
        return [int(word, 16) for word in found]

    def kill(self):
        """SIGKILL: the power is gone."""
        if self._monitor is not None:
            self._monitor.close()
            self._monitor = None
        if self.process.poll() is None:
            self.process.kill()
        if not self.process.stdout.closed:
            self.said += self.process.communicate()[0]

    def complaints(self, expected=None):
        lines = self.said.decode(errors="replace").splitlines()
        if self.errors.exists():
            lines += self.errors.read_text(errors="replace").splitlines()
        return [line for line in lines if not HARMLESS.search(line)
                and not (expected and re.search(expected, line))]

    def close(self, expected=None):
        """`expected`: a pattern of what the emulator may say besides."""
        ended = self.process.poll()
        self.kill()
        assert ended is None, f"the emulator ended by itself ({ended}): {self.said.decode(errors='replace')}"
        assert not self.complaints(expected), self.complaints(expected)[:10]


@contextlib.contextmanager
def running(thing):
    """A Machine or a Bench that is gone afterwards, whatever happens inside."""
    try:
        yield thing
    finally:
        thing.kill()
