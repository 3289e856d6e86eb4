#!/usr/bin/env python3
"""All figures of the bare-metal port in one place.

    figures.py BIN CORTEX_BUILD      as: build/release/bin build/cortex-m

Flash and RAM by room and the computed stack come from size_by_room.py and stack_bound.py, the
stack that was really used, instructions and latency from the emulator (machine/). Energy is worked
out from currents that are from memory, with a low and a high: measure your own board.
"""
import pathlib
import re
import subprocess
import sys

HERE = pathlib.Path(__file__).parent
sys.path.insert(0, str(HERE / "machine"))
from machine import INSTRUCTIONS_PER_S  # noqa: E402

# (low, high), all from memory of parts of this kind at 3.3 V: processor running at 48 MHz, waiting
# for an interrupt with its clocks on; a card at rest, and writing a sector.
RUNNING_MA, WAITING_MA = (12, 50), (4, 25)
CARD_RESTS_MA, CARD_WRITES_MA, CARD_WRITE_S = (0.1, 0.5), (30, 100), (0.002, 0.1)
ADAPTER_MA_AT_5V = (20, 40)  # hardware-notes/power.md has 40 mA
CONVERTER = (0.9, 0.8)       # efficiency, the other way round: the low figure has the better one
BATTERY_V = 12
# Of itself, among what the checks say.
CTEST_SAYS = re.compile(r"Test command|Working Directory|Test timeout")


def run(*command, echo=True):
    done = subprocess.run([str(c) for c in command], capture_output=True, text=True)
    if echo:
        print(done.stdout.strip())
    if done.returncode != 0:
        sys.exit(f"{command[1]}: exit {done.returncode}\n{done.stderr}")
    return done.stdout


def energy_wh(hours, busy_share, sectors_per_s, adapter):
    """(low, high) at the battery."""
    out = []
    for k in (0, 1):
        ma = RUNNING_MA[k] * busy_share + WAITING_MA[k] * (1 - busy_share) + CARD_RESTS_MA[k]
        ma += CARD_WRITES_MA[k] * CARD_WRITE_S[k] * sectors_per_s
        watts = 3.3 * ma / 1000 + (5 * ADAPTER_MA_AT_5V[k] / 1000 if adapter else 0)
        out.append(watts / CONVERTER[k] * hours)
    return out


def main():
    bin_folder, build = pathlib.Path(sys.argv[1]).resolve(), pathlib.Path(sys.argv[2]).resolve()
    # The checks of the images, with the limits that they are built with, print what they found.
    said = run("ctest", "--test-dir", build, "-V", "-R", "^cortex-m: ", echo=False)
    for line in said.splitlines():
        if (found := re.match(r"\d+: (.*)", line)) and not CTEST_SAYS.match(found[1]):
            print(found[1])
        elif found := re.match(r" +Start +\d+: cortex-m: (.*)", line):
            print("== " + found[1])
    image = build / "bin" / "packmile-logger-lm3s6965.elf"
    print("== in the emulator (lm3s6965)")
    said = run("/usr/bin/python3", HERE / "machine" / "latency.py", bin_folder, image)
    each = int(re.search(r"(\d+) instructions each", said)[1])
    # 5 requests a second of pack and speed, one of the odometer, two in five seconds of others; a
    # sector in 10 s: firmware/core/poll_plan.hpp, settings.hpp.
    busy = 6.4 * each / INSTRUCTIONS_PER_S
    print("== energy at the 12 V battery, a day, currents from memory")
    for what, hours, share, sectors, adapter in (("asleep, 24 h, without the adapter", 24, 0.0001, 0, False),
                                                 ("asleep, 24 h, with it", 24, 0.0001, 0, True),
                                                 ("driving, 8 h, with it", 8, busy, 0.1, True)):
        low, high = energy_wh(hours, share, sectors, adapter)
        print(f"{what:34} {low:5.1f} to {high:5.1f} Wh, {low / BATTERY_V:4.2f} to {high / BATTERY_V:4.2f} Ah")
    print(f"processor busy while driving: {100 * busy:.2f} % of its time")


if __name__ == "__main__":
    main()
