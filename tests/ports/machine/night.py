#!/usr/bin/env python3
"""A night with nothing on the line, in skipped time: the machine sleeps from timer to timer, asks
ever more seldom, writes little, never restarts, and its clock is right in the morning.

    night.py BIN IMAGE [--hours 8]

The clock is compared with a second one that knows nothing of it: a timer of the part, in the mode
that counts seconds by itself, started by the emulator's debugging port.
"""
import argparse
import pathlib
import socket

from machine import Machine, need_emulator, programs, running, wait_until, workspace
from nbd_card import NbdCard
from sectors import header
from watch import clock_ms, rows_of_card, stack_used

import allow_list  # of tests/conformity

# Timer 1 of the LM3S6965: mode (1: seconds), control (bit 0: on), where it begins anew, value.
TIMER_MODE, TIMER_ON, TIMER_MATCH, TIMER_VALUE = 0x40031000, 0x4003100C, 0x40031030, 0x40031048
# After the first hour (tests/conformity/parked.py): of requests, and of adapters opened to ask.
MOST_REQUESTS_LATE = 20


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


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("bin")
    parser.add_argument("image", type=pathlib.Path)
    parser.add_argument("--hours", type=float, default=8)
    options = parser.parse_args()
    need_emulator()
    found = programs.Bin(options.bin)
    with workspace() as folder:
        programs.run(found.packmile, "card", "prepare", folder / "van.img", "--van", "Linden",
                     "--size-mb", "8", "--yes")
        card = NbdCard(folder / "van.img")
        port = ["-qtest", f"unix:{folder}/qtest,server=on,wait=off", "-qtest-log", "/dev/null"]
        with running(Machine(options.image, folder, card=card, sent=folder / "sent", skip_time=True,
                             extra=port)) as machine:
            wait_until("the machine runs", lambda: clock_ms(machine) > 0)
            registers = Registers(folder / "qtest")
            machine.monitor("stop")
            registers.write(TIMER_MODE, 1)
            registers.write(TIMER_MATCH, 0xFFFFFFFF)
            registers.write(TIMER_ON, 1)
            began_ms, began_s = clock_ms(machine), registers.read(TIMER_VALUE)
            machine.monitor("cont")
            end_ms = options.hours * 3_600_000
            wait_until("a night of skipped time", lambda: clock_ms(machine) >= end_ms, limit_s=300)
            machine.monitor("stop")
            passed_ms, passed_s = clock_ms(machine) - began_ms, registers.read(TIMER_VALUE) - began_s
            print("stack: %d of %d bytes used" % stack_used(machine))
            machine.monitor("cont")
            machine.close()
        judge(found, folder, card, passed_ms, passed_s)
        card.close()


def judge(found, folder, card, passed_ms, passed_s):
    print(f"clock: {passed_ms / 1000:.3f} s by the machine, {passed_s} s by the part's own timer")
    # The machine looks at its clock at least each 335 ms, the timer counts whole seconds; beyond
    # that 20 parts in a million, as of a good crystal.
    assert abs(passed_ms / 1000 - passed_s) < 1.5 + 20e-6 * passed_s, "the clock is wrong"
    headers = [header(write.new) for write in card.writes]
    assert all(headers) and len({h.boot_id for h in headers}) == 1, "it restarted"
    assert [h.sequence for h in headers] == list(range(len(headers)))
    sent = (folder / "sent").read_bytes().split(b"\r")
    with open(folder / "lines", "w") as out:
        out.writelines(f"0.0 {line.decode('latin-1')}\n" for line in sent[:-1])
    assert allow_list.check(folder / "lines"), "a line that a reader must not send"
    row = rows_of_card(found, "check", folder / "van.img")[0]
    frames = sum(line[:1] in (b"t", b"T") for line in sent)
    print(f"{len(card.writes)} sectors written, {frames} frames and {len(sent)} lines sent, "
          f"supply {row['supply_min_v']} V")
    assert row["boots"] == 1 and row["sectors_damaged"] == row["sectors_missing"] == 0
    assert 0 < frames <= 6 * MOST_REQUESTS_LATE and len(card.writes) < 60


if __name__ == "__main__":
    main()
