#!/usr/bin/env python3
"""Days of a van with faults at random moments: the account of every sample that
was answered must balance, and every line to the adapter must be allowed.

    soak.py BIN [--days N] [--seed N]

Thirty days take under two minutes of one core. A seed that failed is printed with
the account, and brings the same run back.
"""
import argparse
import pathlib
import subprocess
import sys

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "conformity"))
import allow_list  # noqa: E402
from programs import workspace  # noqa: E402


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("bin", type=pathlib.Path)
    parser.add_argument("--days", type=int, default=30)
    parser.add_argument("--seed", type=int)
    given = parser.parse_args()
    with workspace() as folder:
        command = [given.bin / "packmile_soak", "--card", f"{folder}/soak.log", "--lines", f"{folder}/soak.lines",
                   "--days", str(given.days)]
        if given.seed is not None:
            command += ["--seed", str(given.seed)]
        balanced = subprocess.run(command).returncode == 0
        allowed = allow_list.check(f"{folder}/soak.lines")
    sys.exit(0 if balanced and allowed else 1)


main()
