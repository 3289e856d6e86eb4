#!/usr/bin/env python3
"""Large cards: how many reads the end of the log takes, and what `check` takes.

    big_cards.py BIN [DAYS]

  - reads of the logger's end search on a 32 GB ring: empty, part filled, wrapped,
    with 0, 1 and 10 % of the sectors damaged at random;
  - packmile check on a sparse card of 32 GB on which about 50 MB are used (DAYS
    of the bench van's life, default 45), as a log and behind 4 MB of other bytes
    of a whole-card image; goals: 10 s and 64 MiB;
  - packmile check on 100 MB and on 1 GB of random bytes: exit 3, and the same
    memory.
Ends with exit 1 when an end is missed or an exit code is not the expected one;
seconds and memory are printed, not judged.
"""
import pathlib
import random
import subprocess
import sys

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "conformity"))
from programs import Bin, run, workspace  # noqa: E402

MEGABYTE = 1_000_000
SEED = 20261125


def measured(bench, *command, expected):
    """Wall seconds, CPU seconds and peak MiB of a command, and what it printed."""
    done = subprocess.run([str(c) for c in (bench, "measure", *command)], capture_output=True, text=True)
    words = next(line for line in done.stderr.splitlines() if line.startswith("measured ")).split()
    if int(words[4]) != expected:
        sys.exit(f"exit {words[4]}, expected {expected}: {' '.join(map(str, command))}\n{done.stderr}")
    return float(words[1]), float(words[2]), float(words[3]), done


def random_bytes(path, megabytes):
    source = random.Random(SEED)
    with open(path, "wb") as out:
        for _ in range(megabytes):
            out.write(source.randbytes(MEGABYTE))


def main():
    programs, days = Bin(sys.argv[1]), sys.argv[2] if len(sys.argv) > 2 else "45"
    bench = programs.packmile.with_name("packmile_big_cards_bench")
    print(run(bench, "log-end").stdout.decode())

    print(f"{'packmile check':<42} {'seconds':>8} {'CPU s':>8} {'peak MiB':>9} {'exit':>5}")

    def row(name, card, expected):
        wall, cpu, peak, _ = measured(bench, programs.packmile, "check", card, expected=expected)
        print(f"{name:<42} {wall:>8.2f} {cpu:>8.2f} {peak:>9.1f} {expected:>5}", flush=True)

    with workspace() as folder:
        run(programs.benchvan, "month", "--out", folder + "/m", "--vans", "1", "--days", days, "--seed", "3")
        month = next(pathlib.Path(folder, "m").glob("*.log"))
        card = pathlib.Path(folder, "big.log")
        used = int(run(bench, "grow", month, card, "32").stdout)
        row(f"32 GB, {used / MEGABYTE:.0f} MB used", card, 0)
        image = pathlib.Path(folder, "big.img")
        with open(image, "wb") as out:
            out.truncate(4 << 20)
        subprocess.run(["dd", f"if={card}", f"of={image}", "bs=4M", "seek=1", "conv=sparse,notrunc", "status=none",
                        f"count={used // (4 << 20) + 2}"], check=True)
        with open(image, "r+b") as out:
            out.truncate(card.stat().st_size + (4 << 20))
        row("the same inside an image", image, 0)
        card.unlink()
        image.unlink()
        for megabytes in (100, 1000):
            noise = pathlib.Path(folder, f"random-{megabytes}")
            random_bytes(noise, megabytes)
            row(f"{megabytes} MB of random bytes", noise, 3)
            noise.unlink()


main()
