#!/usr/bin/env python3
"""Distance of measured drives, however the van answers it, inside its own interval.

    distances.py BIN DATA

Speed is whole km/h on the wire. Some vans round it, some cut it down (which
costs 1 % on average, says DATA/README.md); some answer an odometer, some do
not. `distance_km_low .. distance_km_high` must hold the trapezoid of the
recorded speed in each of the four cases, for every drive.
"""
import csv
import statistics
import sys

from programs import Bin, need, workspace

CASES = [(), ("speed-cut",), ("no-odometer",), ("no-odometer", "speed-cut")]


def main():
    programs, data = Bin(sys.argv[1]), need(sys.argv[2], "the folder of measured drives")
    truths = [r for r in csv.DictReader(open(data / "truth.csv")) if r["kind"] == "drive"]
    problems = []
    for faults in CASES:
        name = " and ".join(faults) or "rounded speed and odometer"
        with workspace() as folder:
            # All drives one after the other, an hour apart, on one card.
            arguments = [a for t in truths for a in ("--replay", data / t["file"])]
            arguments += [a for fault in faults for a in ("--fault", fault)]
            programs.drive(folder + "/card.log", *arguments)
            rows = programs.rows("trips", "--depot", programs.depot(folder + "/depot", folder + "/card.log"))
        if len(rows) != len(truths):
            problems.append(f"{name}: {len(rows)} trips of {len(truths)} drives")
            continue
        errors, halves, outside = [], [], 0
        for row, truth in zip(rows, truths):
            km = float(truth["distance_km"])
            errors.append(100 * (row["distance_km"] / km - 1))
            halves.append(50 * (row["distance_km_high"] - row["distance_km_low"]) / km)
            if not row["distance_km_low"] <= km <= row["distance_km_high"]:
                outside += 1
                problems.append(f"{name}: {truth['file']}: {km} km is outside {row['distance_km_low']:.3f} .. "
                                f"{row['distance_km_high']:.3f}")
        print(f"{name:28} source {'/'.join(sorted({r['distance_source'] for r in rows})):14} error mean "
              f"{statistics.mean(errors):+.3f} %, worst {max(errors, key=abs):+.3f} %, half-width median "
              f"{statistics.median(halves):.2f} %, outside {outside} of {len(rows)}")
    print("\n".join(problems))
    sys.exit(1 if problems else 0)


main()
