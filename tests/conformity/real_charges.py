#!/usr/bin/env python3
"""Measured charges through the whole line, against an integration by numpy.

    real_charges.py BIN DATA [--poll-hz N]

Sources: DATA/README.md (one real DC charge seen from van and charger; 25
laboratory charges of single cells, NASA Ames, scaled to a pack). pack_kwh and
pack_ah of `sessions` against the charging lobes of DATA/truth.csv.
"""
import argparse
import concurrent.futures
import csv
import pathlib
import sys

from programs import Bin, need, workspace

# What DATA/README.md says of single files; anything else found in them is news.
EXPECTED_FINDINGS = {
    "charge-dc-b-pack": {"held_values"},  # a row each 0.1 s, a new value each 0.8 s
    # After its first part it is sampled every 10.3 s, which the bench plays as
    # silence: what was seen is measured, the rest cannot be known from the card.
    "charge-lab-B0005-c012": {"gap", "filled_gap"},
}


def one(programs, path, truth, hz):
    with workspace() as folder:
        folder = pathlib.Path(folder)
        programs.drive(folder / "card.log", "--replay", path, "--poll-hz", str(hz))
        depot = programs.depot(folder / "depot", folder / "card.log")
        return path.stem, truth, programs.rows("sessions", "--depot", depot)


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("bin")
    parser.add_argument("data")
    parser.add_argument("--poll-hz", type=int, default=5)
    options = parser.parse_args()
    data = need(options.data, "the folder of measured charges")
    programs = Bin(options.bin)
    truths = {r["file"]: r for r in csv.DictReader(open(data / "truth.csv")) if r["kind"] == "charge"}
    with concurrent.futures.ThreadPoolExecutor(2) as pool:
        results = list(pool.map(lambda n: one(programs, data / n, truths[n], options.poll_hz),
                                sorted(truths)))
    problems, sums = [], [0.0, 0.0, 0.0, 0.0]
    print(f"{'charge':32} {'rows':>4} {'kWh':>8} {'error %':>8} {'Ah':>8} {'error %':>8} "
          f"{'cover':>6} {'filled':>7}  findings")
    for name, truth, rows in results:
        if not rows or any(r["pack_kwh"] is None for r in rows):
            problems.append(f"{name}: {len(rows)} sessions, {[r.get('pack_kwh_why') for r in rows]}")
            continue
        kwh, ah = (sum(r[k] for r in rows) for k in ("pack_kwh", "pack_ah"))
        filled = sum(r["filled_kwh"] or 0 for r in rows)
        e_kwh = 100 * (kwh / float(truth["charge_kwh"]) - 1)
        e_ah = 100 * (ah / float(truth["charge_ah"]) - 1)
        findings = {f for r in rows for f in r["findings"]}
        print(f"{name:32} {len(rows):4} {kwh:8.4f} {e_kwh:+8.4f} {ah:8.4f} {e_ah:+8.4f} "
              f"{min(r['coverage'] for r in rows):6.3f} {filled:7.3f}  {' '.join(sorted(findings))}")
        if len(rows) != 1:
            problems.append(f"{name}: {len(rows)} sessions for one charge")
        if findings != EXPECTED_FINDINGS.get(name, set()):
            problems.append(f"{name}: findings {sorted(findings)}")
        for i, value in enumerate((kwh, float(truth["charge_kwh"]), ah, float(truth["charge_ah"]))):
            sums[i] += value
        if abs(e_kwh) > 0.3 or abs(e_ah) > 0.3:
            problems.append(f"{name}: {e_kwh:+.3f} % of kWh, {e_ah:+.3f} % of Ah")
    over_set = [100 * (sums[0] / sums[1] - 1), 100 * (sums[2] / sums[3] - 1)]
    print(f"\nover the set: kWh {over_set[0]:+.4f} %, Ah {over_set[1]:+.4f} %")
    if max(map(abs, over_set)) > 0.1:
        problems.append("the set is off by more than 0.1 %")
    print("\n".join(problems))
    sys.exit(1 if problems else 0)


main()
