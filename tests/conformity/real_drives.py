#!/usr/bin/env python3
"""Measured drives through the whole line, against an integration by numpy.

    real_drives.py BIN DATA [--poll-hz N] [--jobs N]

Each drive of DATA is replayed by the bench van through the logger core onto a
card, imported, and the trips are compared with DATA/truth.csv, an integration of
the same file by numpy at the rate of its source (10 Hz); net energy is also
integrated here by pandas. Prints one line a drive and the figures over the set.

Source of the drives and of truth.csv: DATA/README.md (Technical University of
Munich, doi 10.21227/6jr9-5235). The limits are those that the project set
itself; resampling alone costs less than half of them, says the same page.
"""
import argparse
import concurrent.futures
import csv
import pathlib
import statistics
import sys

import pandas as pd

from programs import Bin, need, workspace

# What DATA/README.md says of single files; anything else found in them is news.
EXPECTED_FINDINGS = {
    "drive-i3-B02": {"soc_against_current"},  # 80 Ah per 100 % SoC against 62 elsewhere
    "drive-i3-B34": {"frozen_signals"},  # all signals frozen from 293 s on
}
LIMITS = {  # poll rate: net p95 %, net of the set %, discharge p95 %, regen p95 %, median half-width %
    5: (0.1, 0.03, 0.3, 1.0, 0.1),
    2: (0.4, 0.05, 0.3, 1.0, 0.4),
}


def one(programs, path, truth, hz):
    with workspace() as folder:
        folder = pathlib.Path(folder)
        card = folder / "card.log"
        programs.drive(card, "--replay", path, "--poll-hz", str(hz))
        depot = programs.depot(folder / "depot", card)
        rows = programs.rows("trips", "--depot", depot)
    trips = [r for r in rows if r["net_kwh"] is not None]
    return path.stem, truth, rows, trips


def by_pandas(path):
    """Net kWh of a file, integrated here by pandas at the rate of its source."""
    rows = pd.read_csv(path).dropna(subset=["pack_v", "pack_a"])
    power, step = rows.pack_v * rows.pack_a, rows.time_s.diff()
    area = (power + power.shift()) / 2 * step
    return area[(step > 0) & (step <= 10)].sum() / 3.6e6


def total(rows, key):
    return sum(r[key] for r in rows)


def percent(value, truth):
    return 100 * (value - truth) / truth


def p95(values):
    values = sorted(abs(v) for v in values)
    return values[min(len(values) - 1, int(0.95 * len(values)))]


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("bin")
    parser.add_argument("data")
    parser.add_argument("--poll-hz", type=int, default=5)
    parser.add_argument("--jobs", type=int, default=2)
    options = parser.parse_args()
    data = need(options.data, "the folder of measured drives")
    programs = Bin(options.bin)
    truths = {r["file"]: r for r in csv.DictReader(open(data / "truth.csv")) if r["kind"] == "drive"}
    files = [data / name for name in sorted(truths)]
    with concurrent.futures.ThreadPoolExecutor(options.jobs) as pool:
        results = list(pool.map(lambda p: one(programs, p, truths[p.name], options.poll_hz), files))

    problems, net, discharge, regen, widths, covered = [], [], [], [], [], 0
    net_sum = truth_sum = 0
    print(f"{'drive':14} {'rows':>4} {'net kWh':>9} {'error %':>8} {'+- %':>6} {'in':>3} "
          f"{'disch %':>8} {'regen %':>8} {'km error':>9}  findings")
    for name, truth, rows, trips in results:
        findings = {f for r in rows for f in r["findings"]}
        long_enough = float(truth["duration_s"]) >= 600
        if not trips or len(trips) != len(rows):
            problems.append(f"{name}: {len(rows)} trips, {len(trips)} with energy")
            continue
        value, expected = total(trips, "net_kwh"), float(truth["net_kwh"])
        assert abs(by_pandas(data / truth["file"]) - expected) < 1e-6, "truth.csv is not of these files"
        half = sum(r["net_kwh_scatter"] ** 2 for r in trips) ** 0.5
        inside = abs(value - expected) <= half
        km_low, km_high = total(trips, "distance_km_low"), total(trips, "distance_km_high")
        km = float(truth["distance_km"])
        if not km_low <= km <= km_high:
            problems.append(f"{name}: {km:.3f} km is outside {km_low:.3f} .. {km_high:.3f}")
        errors = [percent(value, expected),
                  percent(total(trips, "discharge_kwh"), float(truth["discharge_kwh"])),
                  percent(total(trips, "regen_kwh"), float(truth["regen_kwh"]))]
        print(f"{name:14} {len(rows):4} {value:9.4f} {errors[0]:+8.4f} {100 * half / expected:6.3f} "
              f"{'yes' if inside else 'NO':>3} {errors[1]:+8.4f} {errors[2]:+8.3f} "
              f"{total(trips, 'distance_km') - km:+9.4f}  {' '.join(sorted(findings))}")
        if findings != EXPECTED_FINDINGS.get(name, set()):
            problems.append(f"{name}: findings {sorted(findings)}")
        if not long_enough:
            continue
        net.append(errors[0])
        discharge.append(errors[1])
        regen.append(errors[2])
        widths.append(100 * half / expected)
        covered += inside
        net_sum += value
        truth_sum += expected
    share = 100 * covered / len(net)
    of_set = percent(net_sum, truth_sum)
    print(f"\n{len(net)} drives of 10 minutes or more at {options.poll_hz} Hz: net error p95 "
          f"{p95(net):.4f} %, whole set {of_set:+.4f} %, discharge p95 {p95(discharge):.4f} %, "
          f"regen p95 {p95(regen):.3f} %\ntruth inside net_kwh +- net_kwh_scatter: {covered} of "
          f"{len(net)} ({share:.1f} %), median half-width {statistics.median(widths):.4f} %")
    limits = LIMITS[options.poll_hz]
    for what, found, limit in (("net p95", p95(net), limits[0]), ("net of the set", abs(of_set), limits[1]),
                               ("discharge p95", p95(discharge), limits[2]),
                               ("regen p95", p95(regen), limits[3]),
                               ("median half-width", statistics.median(widths), limits[4])):
        if found > limit:
            problems.append(f"{what} {found:.4f} % is over {limit} %")
    if share < 93:
        problems.append(f"only {share:.1f} % of the truths are inside their scatter")
    print("\n".join(problems))
    sys.exit(1 if problems else 0)


main()
