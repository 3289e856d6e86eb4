#!/usr/bin/env python3
"""A made-up day by both ways, through the whole logger and with --direct: the same
samples, at times that differ by the line's rounding to whole milliseconds, and
the same figures.

    direct_month.py BIN
"""
import collections
import csv
import io
import pathlib
import sys

from programs import Bin, run, workspace

# One tick of rounding at each end of an exchange.
MOST_APART_MS = 2
# What a straight line between steps of 0.1 s does in that time to a word that moves.
MOVING = {"pack_v", "pack_a", "speed_kmh"}


def samples_of(programs, card):
    text = run(programs.packmile, "samples", card, "--format", "csv").stdout.decode()
    samples = collections.defaultdict(list)
    for row in csv.DictReader(io.StringIO(text)):
        samples[row["ecu"], row["signal"]].append((int(row["tick_ms"]), row["raw"]))
    return samples


def figures_of(programs, folder, name):
    depot = programs.depot(folder / name, folder / (name + "-month") / "willow.log")
    return [programs.rows(command, "--depot", depot) for command in ("trips", "sessions", "throughput")]


def main():
    programs = Bin(sys.argv[1])
    with workspace() as name:
        folder = pathlib.Path(name)
        for way, options in (("core", []), ("direct", ["--direct"])):
            run(programs.benchvan, "month", "--out", folder / (way + "-month"), "--days", "1", *options)
        core, direct = (samples_of(programs, folder / f"{way}-month" / "willow.log") for way in ("core", "direct"))
        assert core.keys() == direct.keys(), (core.keys(), direct.keys())
        assert len(core["7E8", "pack_a"]) > 50_000, "not a day's samples"
        for key in core:
            ours, theirs = core[key], direct[key]
            assert len(ours) == len(theirs), (key, len(ours), len(theirs))
            apart = max(abs(a[0] - b[0]) for a, b in zip(ours, theirs))
            assert apart <= MOST_APART_MS, (key, apart)
            other = sum(a[1] != b[1] for a, b in zip(ours, theirs))
            assert other <= (0.03 * len(ours) if key[1] in MOVING else 0), (key, other, len(ours))
            print(f"{key[1]}: {len(ours)} samples, at most {apart} ms apart, {other} other words")
        compared = 0
        for ours, theirs in zip(figures_of(programs, folder, "core"), figures_of(programs, folder, "direct")):
            assert len(ours) == len(theirs) > 0
            for a, b in zip(ours, theirs):
                for column in a:
                    if column + "_scatter" not in a or a[column] is None:
                        continue
                    # Far below the random part alone of any of them: 0.1 %.
                    assert abs(a[column] - b[column]) <= 1e-3 * max(1.0, abs(a[column])), (column, a[column], b[column])
                    compared += 1
        print(f"{compared} figures agree")
        refused = run(programs.benchvan, "month", "--out", folder / "no", "--direct", "--fault", "bus-off", status=1)
        assert b"--direct" in refused.stderr
        assert not (folder / "no").exists()


main()
