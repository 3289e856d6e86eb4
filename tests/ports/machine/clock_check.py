#!/usr/bin/env python3
"""Is the machine's clock right? Against a second one that knows nothing of it.

    clock_check.py BIN IMAGE [--seconds 30]

That is a timer of the emulated part in the mode that counts seconds by itself, set going through
the emulator's debugging port (qtest). Both are read while the machine stands still, at steps of
the timer. In time counted by instructions: without, a busy host lets timers of the emulator run
late, and the machine loses what no processor of iron would.
"""
import socket
import time

from machine import Machine, arguments, running, wait_until, workspace
from nbd_card import prepared_card
from watch import clock_ms

# Timer 1 of the LM3S6965: mode (1: seconds), control (bit 0: on), where it begins anew, value.
TIMER_MODE, TIMER_ON, TIMER_MATCH, TIMER_VALUE = 0x40031000, 0x4003100C, 0x40031030, 0x40031048
# How far apart two looks for a step of the timer are, and the machine's own looks at its clock.
STEP_S, LOOKS_S = 0.02, 0.34


class Registers:
    """Registers of the emulated part, through the emulator's qtest socket."""

    def __init__(self, path):
        self.socket = socket.socket(socket.AF_UNIX)
        self.socket.settimeout(60)
        self.socket.connect(str(path))
        self.file = self.socket.makefile("rw")

    def ask(self, command):
        self.file.write(command + "\n")
        self.file.flush()
        while not (answer := self.file.readline()).startswith("OK"):
            assert answer.startswith("IRQ"), answer
        return answer.split()[1:]

    def write(self, address, word):
        self.ask(f"writel {address:#x} {word:#x}")

    def read(self, address):
        return int(self.ask(f"readl {address:#x}")[0], 16)


def at_a_step(machine, registers):
    """(milliseconds of the machine, seconds of the timer) just after the timer has stepped."""
    def look():
        machine.monitor("stop")
        now = clock_ms(machine), registers.read(TIMER_VALUE)
        machine.monitor("cont")
        return now
    first = last = look()
    while last[1] == first[1]:
        time.sleep(STEP_S)
        last = look()
    return last


def main():
    found, image, seconds = arguments(seconds=30)
    with workspace() as folder:
        # Without one the machine would look for a card, busily.
        card = prepared_card(found, folder)
        port = ["-qtest", f"unix:{folder}/qtest,server=on,wait=off", "-qtest-log", "/dev/null"]
        with running(Machine(image, folder, card=card, icount=True, extra=port)) as machine:
            wait_until("the machine runs", lambda: clock_ms(machine) > 2_000)
            registers = Registers(folder / "qtest")
            registers.write(TIMER_MODE, 1)
            registers.write(TIMER_MATCH, 0xFFFFFFFF)
            registers.write(TIMER_ON, 1)
            began_ms, began_s = at_a_step(machine, registers)
            wait_until("the time", lambda: registers.read(TIMER_VALUE) >= began_s + seconds, 600)
            end_ms, end_s = at_a_step(machine, registers)
            machine.close()
        card.close()
    machine_s, timer_s = (end_ms - began_ms) / 1000, end_s - began_s
    print(f"{machine_s:.3f} s by the machine, {timer_s} s by the part's own timer")
    assert abs(machine_s - timer_s) < LOOKS_S + STEP_S, "the clock is wrong"


if __name__ == "__main__":
    main()
