#!/usr/bin/env python3
"""Two ways to tell what was given from what came back, on measured drives asked less often.

    lobes.py DATA

DATA      folder of measured drives at 10 Hz (columns time_s, pack_v, pack_a)
line      split where the straight line between two samples crosses zero
samples   sums of the samples above zero and of those below
Truth     the straight lines of the 10 Hz source, split at their zeros, of the same time
Output    error of either way in % of truth for 5, 2 and 1 Hz, over all drives and all moments at
          which the asking may begin
"""
import pathlib
import sys

import numpy as np
import pandas as pd

KEPT = {5: 2, 2: 5, 1: 10}  # samples a second: every so many-th row of the source
FROZEN = "drive-i3-B34"      # most of it repeats one row


def given_by_line(power, step_s):
    a, b = power[:-1], power[1:]
    crosses = a * b < 0
    above = np.maximum(a, b)
    span = np.where(crosses, np.abs(a - b), 1)
    return np.where(crosses, above * above / span, np.maximum(a + b, 0)) / 2 * step_s


def given_by_samples(power, step_s):
    above = np.maximum(power, 0)
    return (above[:-1] + above[1:]) / 2 * step_s


def main():
    files = sorted(pathlib.Path(sys.argv[1]).glob("drive-*.csv"))
    if not files:
        sys.exit(f"{sys.argv[1]}: no drive-*.csv; name the folder of measured drives")
    drives = []
    for path in files:
        if path.stem == FROZEN:
            continue
        rows = pd.read_csv(path).dropna(subset=["pack_v", "pack_a"])
        drives.append((rows.pack_v * rows.pack_a).to_numpy())
    print(f"{len(drives)} drives; error in % of truth")
    print(f"{'asked':>6} {'way':>8} {'given':>8} {'back':>8}")
    for hz, keep in KEPT.items():
        for name, way in (("line", given_by_line), ("samples", given_by_samples)):
            given = given_truth = back = back_truth = 0.0
            for power in drives:
                for first in range(keep):
                    few = power[first::keep]
                    same = power[first:first + (len(few) - 1) * keep + 1]
                    for sign in (1, -1):
                        found = way(sign * few, keep / 10).sum()
                        truth = given_by_line(sign * same, 0.1).sum()
                        if sign > 0:
                            given, given_truth = given + found, given_truth + truth
                        else:
                            back, back_truth = back + found, back_truth + truth
            print(f"{hz:4} Hz {name:>8} {100 * (given / given_truth - 1):+8.3f} "
                  f"{100 * (back / back_truth - 1):+8.3f}")


if __name__ == "__main__":
    main()
