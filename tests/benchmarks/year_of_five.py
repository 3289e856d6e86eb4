#!/usr/bin/env python3
"""Wall time and memory of sixty van-months: five vans, a year, imported, and then
every table command.

    year_of_five.py BIN [--days N] [--vans N] [--seed N]

The bench van makes the year up without serial line (`month --direct`), which is not
counted. Each line: seconds of wall clock, of the processor, and the most memory that
the command held. The import is one command; the tables are those that packmile
itself lists with --format xlsx, each once as JSON, so that every row is formed.
"""
import argparse
import os
import pathlib
import re
import subprocess
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "conformity"))
from programs import Bin, run, workspace  # noqa: E402


def measured(*command):
    """Seconds of wall clock and processor, MiB at most, bytes written to stdout."""
    began = time.monotonic()
    with subprocess.Popen([str(c) for c in command], stdout=subprocess.PIPE,
                          stderr=subprocess.PIPE) as child:
        # stderr of an import is a few lines: it cannot fill its pipe.
        size = sum(len(piece) for piece in iter(lambda: child.stdout.read(1 << 16), b""))
        trouble = child.stderr.read()
        _, status, used = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode != 0:
        sys.exit("%s\nexit %d\n%s" % (" ".join(map(str, command)), child.returncode,
                                      trouble.decode(errors="replace")[-2000:]))
    return time.monotonic() - began, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024, size


def tables(packmile):
    listed = run(packmile, "--help").stdout.decode().split("commands:")[1].split("options:")[0]
    for name in re.findall(r"^  ([a-z]+)  ", listed, re.M):
        options = run(packmile, name, "--help").stdout.decode().split("options:")[1]
        if "csv" in options and "xlsx" in options and "--depot" in options and "--van" in options:
            yield name


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("bin", type=pathlib.Path)
    parser.add_argument("--days", type=int, default=364)
    parser.add_argument("--vans", type=int, default=5)
    parser.add_argument("--seed", type=int, default=5)
    asked = parser.parse_args()
    programs = Bin(asked.bin.resolve())
    print(f"{asked.vans} vans, {asked.days} days, seed {asked.seed}")
    with workspace() as folder:
        folder = pathlib.Path(folder)
        run(programs.benchvan, "month", "--direct", "--out", folder / "m", "--vans", asked.vans,
            "--days", asked.days, "--seed", asked.seed)
        cards = sorted((folder / "m").glob("*.log"))
        depot = folder / "depot"
        run(programs.packmile, "new", depot)
        (depot / "fleet.toml").write_bytes((folder / "m/fleet.toml").read_bytes())
        print(f"{'command':<14}{'wall s':>9}{'CPU s':>9}{'MiB':>8}{'output MB':>11}")
        total = [0.0, 0.0]

        def show(name, *words):
            wall, cpu, memory, size = measured(programs.packmile, *words)
            total[0] += wall
            total[1] += cpu
            print(f"{name:<14}{wall:>9.2f}{cpu:>9.2f}{memory:>8.0f}{size / 1e6:>11.2f}", flush=True)

        show("import", "import", *cards, "--depot", depot)
        for name in tables(programs.packmile):
            show(name, name, *(["--list"] if name == "note" else []), "--depot", depot, "--format", "json")
        print(f"{'together':<14}{total[0]:>9.2f}{total[1]:>9.2f}")
        size = sum(f.stat().st_size for f in depot.rglob("*") if f.is_file())
        print(f"the depot takes {size / 2**20:.0f} MiB")


main()
