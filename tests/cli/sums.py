#!/usr/bin/env python3
"""What must add up on any van's record, whatever happened to it.

    sums.py BIN_DIR

Energy    over any days: what throughput says went out less what it says went in is the
          trips' net energy, the fills of gaps and the standing energy, less what the
          charges took.
Split     throughput of a period is the sum of that of its pieces, cut anywhere at
          midnight of the depot's zone.
Distance  the odometer's last reading less an earlier one is the sum of the trips
          between, within what their intervals allow.

The vans are made up: sensors, tyres and charger drawn anew for each, one logger that
hears its van badly. No source: these are identities.
"""
import itertools
import math
import pathlib
import random
import shutil
import sys

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "conformity"))
from programs import Bin, run, workspace  # noqa: E402

# Of kWh: what the shortest decimal of a double loses in sums of a few hundred rows.
EXACT_KWH = 1e-6
# An odometer of SAE J1979 PID $A6 counts in tenths, and is read every few seconds: a
# day's edges lie up to 100 m of either side.
EDGE_KM = 0.2


def total(rows, *keys):
    return math.fsum(row[key] or 0.0 for row in rows for key in keys)


def energy(programs, asked):
    """What went out less what went in, twice."""
    (flow,) = programs.rows("throughput", *asked)
    trips = programs.rows("trips", *asked)
    sessions = programs.rows("sessions", *asked)
    assert flow["discharge_kwh"] is not None, asked
    by_rows = (total(trips, "net_kwh", "filled_kwh") + flow["standing_kwh"]
               - total(sessions, "pack_kwh", "filled_kwh"))
    return flow["discharge_kwh"] - flow["charge_kwh"], by_rows, flow, trips, sessions


def check(programs, depot, van, days, chance):
    asked = ["--depot", depot, "--van", van]
    whole, by_rows, flow, trips, sessions = energy(programs, asked)
    assert trips and sessions, van
    assert abs(whole - by_rows) < EXACT_KWH * max(1, len(trips)), (van, whole, by_rows)

    cuts = sorted(chance.sample(range(1, days), 3))
    edges = [None, *(f"2026-03-{20 + cut:02d}" if 20 + cut <= 31 else f"2026-04-{cut - 11:02d}"
                     for cut in cuts), None]
    pieces = []
    for begin, end in itertools.pairwise(edges):
        period = [*asked, *(["--from", begin] if begin else []), *(["--to", end] if end else [])]
        out, rows, *rest = energy(programs, period)
        assert abs(out - rows) < EXACT_KWH * max(1, len(trips)), (van, begin, end, out, rows)
        pieces.append(rest)
    for key in ("discharge_kwh", "charge_kwh", "standing_kwh", "discharge_ah", "charge_ah", "charger_hours"):
        parts = math.fsum(piece[0][key] for piece in pieces)
        # What only the state of charge tells becomes Ah by the mean voltage of its period.
        exact = 1e-4 if key.endswith("_ah") else EXACT_KWH
        assert abs(parts - flow[key]) < exact * max(1, flow[key]), (van, key, parts, flow[key])
    for whole_rows, k in ((trips, 1), (sessions, 2)):
        assert [row for piece in pieces for row in piece[k]] == whole_rows, van

    # From the last reading of one piece to that of another: the trips between.
    checked = 0
    for first, last in itertools.combinations(range(len(pieces)), 2):
        begin, end = (pieces[k][0]["odometer_km"] for k in (first, last))
        between = [trip for piece in pieces[first + 1:last + 1] for trip in piece[1]]
        if begin is None or end is None or any(trip["distance_km"] is None for trip in between):
            continue
        # The tyres make all of a van's kilometres long or short alike: widths add.
        low, high = total(between, "distance_km_low"), total(between, "distance_km_high")
        assert low - EDGE_KM <= end - begin <= high + EDGE_KM, (van, begin, end, low, high)
        # What is told by the odometer itself is off by its two ends alone.
        told = total(between, "distance_km")
        assert abs(told - (end - begin)) <= EDGE_KM * len(between) + 1e-6, (van, begin, end, told)
        checked += bool(between)
    assert checked, van
    return len(trips), len(sessions), whole, checked


def main():
    programs = Bin(sys.argv[1])
    chance = random.Random(20260320)
    days = 16
    with workspace() as folder:
        folder = pathlib.Path(folder)
        for name, more in (("well", ["--direct", "--mechanism", "drawn", "--vans", "2"]),
                           ("badly", ["--fault", "adapter-resets", "--fault", "ecu-stops"])):
            made, depot = folder / name, folder / (name + "-depot")
            # The clocks go forward on 2026-03-29.
            run(programs.benchvan, "month", "--out", made, "--days", days if name == "well" else 4,
                "--seed", 11, "--start", "2026-03-20", *more)
            run(programs.packmile, "new", depot, "--zone", "Europe/London", "--currency", "GBP")
            shutil.copy(made / "fleet.toml", depot / "fleet.toml")
            run(programs.packmile, "import", *sorted(made.glob("*.log")), "--depot", depot)
            for van in sorted(path.stem for path in made.glob("*.log")):
                if name == "badly":
                    filled = total(programs.rows("trips", "--depot", depot, "--van", van), "filled_kwh")
                    assert filled > 0.01, filled  # else the fault has left no gap to fill
                counts = check(programs, depot, van, days if name == "well" else 4, chance)
                print("%s, %s: %d trips, %d charges; out less in %.3f kWh by rows and sums; "
                      "%d distances by the odometer" % (name, van, *counts))


main()
