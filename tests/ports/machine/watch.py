"""Looks into a running machine: its stack, its counters."""
import json
import subprocess

from machine import symbols

STACK_PAINT = 0x5AFE57AC  # firmware/cortex_m/start_up.hpp


def stack_used(machine):
    """(bytes ever used, bytes there are): the paint that is left at the bottom was never reached."""
    names = symbols(machine.elf)
    bottom, top = names["__stack_bottom"], names["__stack_top"]
    words = machine.words(bottom, (top - bottom) // 4)
    left = next(i for i, word in enumerate(words) if word != STACK_PAINT)
    assert left > 0, "the whole stack was used"
    return top - bottom - 4 * left, top - bottom


def clock_ms(machine):
    """Milliseconds since power-up as the machine counts them: the first member of its clock."""
    names = symbols(machine.elf)
    address = names["packmile::cortex_m::system_clock"]
    low, high = machine.words(address, 2)
    return high << 32 | low


def rows_of_card(found, command, path):
    """Rows of `packmile COMMAND PATH`, also of a card that needs attention (exit code 3)."""
    done = subprocess.run([found.packmile, command, path, "--format", "json"], capture_output=True)
    assert done.returncode in (0, 3), done.stderr.decode(errors="replace")
    return json.loads(done.stdout)["rows"]
