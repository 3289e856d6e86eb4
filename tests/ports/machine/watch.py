"""Looks into a running machine: its stack, its counters."""
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
