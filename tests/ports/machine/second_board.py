#!/usr/bin/env python3
"""The second board in the emulator: its own clocks, line, converter and vector table, the same
logger. It finds the van, asks it by its plan, and sends nothing that a reader must not send.

    second_board.py BIN IMAGE

Emulated is machine netduinoplus2, which has no card on this bus: the logger works without one.
Its clock is 168 MHz whatever the port sets, so the machine's time runs 3 to 10 times fast; the
van's answers come in real time, and are awaited all the same.
"""
import pathlib
import sys

from machine import Bench, Machine, need_emulator, programs, running, wait_until, workspace

import allow_list  # of tests/conformity

POLLS = 20


def main():
    need_emulator(sys.argv[1])
    found, image = programs.Bin(sys.argv[1]), pathlib.Path(sys.argv[2])
    with workspace() as folder:
        with running(Bench(found.benchvan, folder, "--round", "7")) as bench, \
                running(Machine(image, folder, bench=bench, board="netduinoplus2")) as machine:
            # Pack voltage and current: only in the plan, never in the search.
            wait_until("the van is asked", lambda: bench.lines.read_text().count("9A") >= POLLS)
            machine.close()
            print(bench.stop().strip())
        assert allow_list.check(bench.lines), "a line that a reader must not send"


if __name__ == "__main__":
    main()
