"""A script of bytes and times, and the ports that it is played to: the test's own in a
process, the Linux port on a pseudo-terminal, the Cortex-M port in the emulator.
Scripts: head of recorder.hpp. Steps: head of steps.hpp."""
import contextlib
import os
import pathlib
import select
import socket
import subprocess
import time
import tty

# For a port that hangs; machines are shared.
PATIENCE_S = 60


class Differs(Exception):
    """A port did something else than the script has."""


class Turn:
    def __init__(self, line):
        words = line.split()
        self.kind = words[0]
        if self.kind == "cut":
            return
        if self.kind == "boot":
            self.tick, self.entropy, self.unix_ms = map(int, words[1:4])
            self.event, self.received = "-", b""
        else:
            self.tick, self.event = int(words[1]), words[2]
            self.received = bytes_of(words[3])
        self.sent = bytes_of(words[-2])
        self.due = None if words[-1] == "-" else int(words[-1])


def bytes_of(word):
    return b"" if word == "-" else bytes.fromhex(word)


def read_script(path):
    return [Turn(line) for line in open(path)]


class Port:
    """Steps go to `to`, answers come from `answers`, the adapter is `line`."""
    name = ""
    line = -1
    process = None
    answer_words = 2

    def boot(self, turn):
        self.start()
        self.tell(f"boot {turn.tick} {turn.entropy} {turn.unix_ms}\n")
        return self.answer()

    def wake(self, tick):
        """It is `tick`, and nothing has come."""
        self.tell(f"step {tick} 0 -\n")
        return self.answer()

    def step(self, turns, at):
        """Turn number `at` of a boot."""
        turn = turns[at]
        if turn.event == "lost":
            self.lose_line()
        # Bytes are there, or on their way, before the port is told of them. That its line
        # is back a port finds out by its own clock.
        if turn.received:
            os.write(self.line, turn.received)
        event = "-" if turn.event == "up" else turn.event
        self.tell(f"step {turn.tick} {len(turn.received)} {event}\n")
        return self.answer()

    def tell_ahead(self, turns, at):
        """Steps from turn `at` on may be told now."""

    def tell(self, text):
        self.to.write(text.encode())
        self.to.flush()

    def answer(self):
        ready = select.select([self.answers], [], [], PATIENCE_S)[0]
        line = self.answers.readline().decode() if ready else ""
        words = line.split()
        if len(words) != self.answer_words or words[0] != "D":
            raise Differs(f"no answer to a step, but {line!r}")
        self.sent_bytes = int(words[-1]) if len(words) == 3 else None
        return None if words[1] == "-" else int(words[1])

    def sent(self, count):
        """So many bytes of the adapter's line; fewer when they do not come."""
        got = b""
        end = time.monotonic() + PATIENCE_S
        while len(got) < count and select.select([self.line], [], [], max(0, end - time.monotonic()))[0]:
            more = self.read(count - len(got))
            if not more:
                break
            got += more
        return got

    def more_sent(self):
        return self.read(4096) if select.select([self.line], [], [], 0)[0] else b""

    def read(self, most):
        try:
            return os.read(self.line, most)
        except OSError:  # of a terminal that the port has closed
            return b""

    def lose_line(self):
        raise AssertionError(f"{self.name}: its line cannot be lost")

    def end(self):
        """The power is gone."""
        if self.process:
            self.process.kill()
            self.process.wait()
            for pipe in (self.process.stdin, self.process.stdout):
                if pipe:
                    with contextlib.suppress(BrokenPipeError):
                        pipe.close()
        self.process = None
        self.close_line()

    def close_line(self):
        if self.line >= 0:
            os.close(self.line)
        self.line = -1


class ProcessPort(Port):
    def run(self, command, **more):
        self.process = subprocess.Popen([str(c) for c in command], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                                        bufsize=0, **more)
        self.to = self.process.stdin
        self.answers = os.fdopen(os.dup(self.process.stdout.fileno()), "rb", buffering=0)


class Virtual(ProcessPort):
    def __init__(self, programs, card, breach="none"):
        self.name = "virtual" if breach == "none" else f"virtual, {breach}"
        self.card = card
        self.command = [programs / "packmile_port_script", "play", card]
        self.breach = breach

    def start(self):
        near, far = socket.socketpair()
        self.run([*self.command, far.fileno(), self.breach], pass_fds=[far.fileno()])
        far.close()
        self.line = near.detach()


class Linux(ProcessPort):
    name = "Linux"

    def __init__(self, programs, card, link):
        self.card = card
        self.command = [programs / "packmile_port_linux", card, link]
        self.link = pathlib.Path(link)

    def start(self):
        self.plug_in()
        self.run(self.command)

    def plug_in(self):
        self.line, far = os.openpty()
        tty.setraw(far)
        self.link.unlink(missing_ok=True)
        self.link.symlink_to(os.ttyname(far))
        self.far = far

    def boot(self, turn):
        due = super().boot(turn)
        os.close(self.far)  # the port holds it open by now
        self.far = -1
        return due

    def step(self, turns, at):
        due = super().step(turns, at)
        if turns[at].event == "lost":
            self.plug_in()  # another terminal, by the same path
        if turns[at].event == "up":
            os.close(self.far)
            self.far = -1
        return due

    def lose_line(self):
        self.close_line()


class Emulated(Port):
    """A board in qemu: its card an SD card on SPI, its adapter UART1, the script UART2."""
    name = "Cortex-M"
    answer_words = 3

    def __init__(self, image, card, folder):
        self.image, self.card, self.folder = image, card, pathlib.Path(folder)
        self.errors = self.folder / "guest_errors"

    def start(self):
        self.errors.unlink(missing_ok=True)
        with contextlib.ExitStack() as stack:
            waiting = []
            for name in ("adapter", "steps"):
                path = self.folder / name
                path.unlink(missing_ok=True)
                waiting.append(stack.enter_context(socket.socket(socket.AF_UNIX)))
                waiting[-1].bind(str(path))
                waiting[-1].listen()
                waiting[-1].settimeout(PATIENCE_S)
            self.process = subprocess.Popen([
                "qemu-system-arm", "-M", "lm3s6965evb", "-nographic", "-monitor", "none", "-kernel", self.image,
                "-serial", "null", "-serial", f"unix:{self.folder}/adapter", "-serial", f"unix:{self.folder}/steps",
                "-drive", f"if=sd,format=raw,file={self.card}", "-d", "guest_errors", "-D", self.errors],
                stdin=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
            self.line = waiting[0].accept()[0].detach()
            steps = waiting[1].accept()[0].detach()
        self.to = os.fdopen(steps, "wb", buffering=0)
        self.answers = os.fdopen(os.dup(steps), "rb", buffering=0)

    # Each step takes the emulator many turns of its threads: they are told ahead, and no
    # more bytes than the port's ring holds.
    STEPS_AHEAD = 24
    BYTES_AHEAD = 300

    def boot(self, turn):
        self.told = 0
        self.bytes_ahead = 0
        return super().boot(turn)

    def tell_ahead(self, turns, at):
        while self.told < len(turns) and self.told < at + self.STEPS_AHEAD:
            turn = turns[self.told]
            if self.told > at and self.bytes_ahead + len(turn.received) > self.BYTES_AHEAD:
                break
            self.bytes_ahead += len(turn.received)
            if turn.received:
                os.write(self.line, turn.received)
            self.tell(f"step {turn.tick} {len(turn.received)} {turn.event}\n")
            self.told += 1

    def wake(self, tick):
        due = self.answer()
        if self.sent_bytes:
            raise Differs(f"tick {tick}: sent {self.sent(0)!r} at a turn of its own")
        return due

    def step(self, turns, at):
        due = self.answer()
        self.bytes_ahead -= len(turns[at].received)
        return due

    def sent(self, count):
        return super().sent(self.sent_bytes)

    def more_sent(self):
        return b""  # counted already

    def end(self):
        if self.process:
            super().end()
            self.to.close()
            self.answers.close()
            errors = self.errors.read_text() if self.errors.exists() else ""
            if errors:
                raise Differs(f"the emulator minds: {errors[:300]}")


def boots_of(script):
    """Of each boot its power-up and its turns."""
    boots = []
    for turn in script:
        if turn.kind == "boot":
            boots.append((turn, []))
        elif turn.kind == "turn":
            boots[-1][1].append(turn)
    return boots


def play(script, port):
    """Lock-step: the port is woken when the script has an input and whenever it asks to
    be. Raises Differs; returns how often it was woken for nothing that the script has."""
    own_wakes = 0
    try:
        for power_up, turns in boots_of(script):
            due = port.boot(power_up)
            compare(power_up, port, due)
            for at, turn in enumerate(turns):
                port.tell_ahead(turns, at)
                while due is not None and due < turn.tick:
                    before, due = due, port.wake(due)
                    own_wakes += 1
                    if due is not None and due <= before:
                        raise Differs(f"tick {before}: its clock stands still")
                # Nothing wakes a port at a deadline but itself.
                if not turn.received and turn.event in ("-", "up") and due != turn.tick:
                    raise Differs(f"tick {turn.tick}: sleeps until {due}")
                due = port.step(turns, at)
                compare(turn, port, due)
            port.end()
    finally:
        port.end()
    return own_wakes


def compare(turn, port, due):
    sent = port.sent(len(turn.sent)) + port.more_sent()
    if sent != turn.sent:
        raise Differs(f"tick {turn.tick}: sent {sent!r}, not {turn.sent!r}")
    if turn.due is not None and (due is None or due > turn.due):
        raise Differs(f"tick {turn.tick}: would sleep until {due}, beyond {turn.due}")


def differing_sectors(one, other):
    """Numbers of the sectors that are not the same in two images."""
    a, b = pathlib.Path(one).read_bytes(), pathlib.Path(other).read_bytes()
    if a == b:
        return []
    if len(a) != len(b):
        return [min(len(a), len(b)) // 512]
    return [i // 512 for i in range(0, len(a), 512) if a[i:i + 512] != b[i:i + 512]]
