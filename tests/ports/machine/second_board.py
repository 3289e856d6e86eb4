#!/usr/bin/env python3
"""The second board in the emulator: its own clocks, line, converter and vector table, the same
logger. It finds the van, asks it by its plan, and sends nothing that a reader must not send.

    second_board.py BIN IMAGE

Emulated is machine netduinoplus2, which has no card on this bus: the logger works without one.
It has no clock control either, so that the port stays on the oscillator it starts with, and its
clock is 168 MHz whatever that is. The copy of the image that runs here holds 168 MHz as the rate
of that oscillator: with the rate of the part, the machine's time would run ten times as fast as
the van's, and on a busy computer every answer would come too late.
"""
import struct

from machine import Bench, Machine, arguments, programs, running, symbols, wait_until, workspace

import allow_list  # of tests/conformity

POLLS = 20
PART_HZ, EMULATED_HZ = 16_000_000, 168_000_000
RATE = "packmile::cortex_m::(anonymous namespace)::clock_hz"  # boards/stm32f405/board.cpp


def with_emulated_rate(image, folder):
    """A copy of the image, its first clock rate that of the emulated machine."""
    data, copy = folder / "data", folder / "image.elf"
    programs.run("arm-none-eabi-objcopy", "--dump-section", f".data={data}", image, copy)
    content = bytearray(data.read_bytes())
    names = symbols(image)
    at = names[RATE] - names["__data_begin"]
    assert struct.unpack_from("<I", content, at)[0] == PART_HZ, "the image begins with another clock"
    struct.pack_into("<I", content, at, EMULATED_HZ)
    data.write_bytes(content)
    programs.run("arm-none-eabi-objcopy", "--update-section", f".data={data}", image, copy)
    return copy


def main():
    found, image = arguments()
    with workspace() as folder:
        image = with_emulated_rate(image, folder)
        with running(Bench(found.benchvan, folder, "--round", "7")) as bench, \
                running(Machine(image, folder, bench=bench, board="netduinoplus2")) as machine:
            # Pack voltage and current: only in the plan, never in the search.
            wait_until("the van is asked", lambda: bench.lines.read_text().count("9A") >= POLLS)
            machine.close()
            print(bench.stop().strip())
        assert allow_list.check(bench.lines), "a line that a reader must not send"


if __name__ == "__main__":
    main()
