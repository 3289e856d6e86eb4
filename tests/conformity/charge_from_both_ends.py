#!/usr/bin/env python3
"""One real DC charge, logged at the van and recorded by its charger: the two clocks
laid on each other, and what never reached the pack's sensor.

    charge_from_both_ends.py BIN DATA [--poll-hz N]

Source: DATA/README.md. The van's record goes through the whole line, bench to
`samples` and `sessions`; the charger's is read as it is.
Method: the lag at which the two currents agree best (least squares of their
difference, 0.1 s apart); both powers by trapezoids over the same window. Values
expected are the README's, found by another program: charger + 46.5 s = van, 1.8 % of
the energy lost before the pack's sensor, the charger's own counter 5,443.6 Wh.
"""
import argparse
import csv
import datetime
import pathlib
import sys

import numpy

from programs import Bin, need, run, workspace

LAG_S, COUNTER_KWH, LOST_PCT = 46.5, 5.4436, 1.8
STEP_S, MOST_LAG_S = 0.1, 300.0


def charger_of(path):
    rows = [r for r in csv.DictReader(open(path)) if r["pack_v"] and r["pack_a"]]
    return numpy.array([[float(r[k]) for k in ("time_s", "pack_v", "pack_a")] for r in rows]).T


def van_of(programs, card):
    """time_s since the first answer, V and A. The bench sends the current in two's
    complement, discharge positive."""
    series = {}
    out = run(programs.packmile, "samples", card, "--signal", "pack_v", "--signal", "pack_a").stdout
    for row in csv.DictReader(out.decode().splitlines()):
        at = datetime.datetime.fromisoformat(row["time"]).timestamp()
        raw = int(row["raw"])
        value = raw / 64 if row["signal"] == "pack_v" else (raw - (raw >> 15 << 16)) / 10
        series.setdefault(row["signal"], []).append((at, value))
    volts, amps = numpy.array(series["pack_v"]).T, numpy.array(series["pack_a"]).T
    first = min(volts[0][0], amps[0][0])
    return amps[0] - first, numpy.interp(amps[0], volts[0], volts[1]), amps[1]


def best_lag_s(charger, van):
    """What is added to the charger's time to make it the van's."""
    grid = numpy.arange(charger[0][0], charger[0][-1], STEP_S)
    theirs = numpy.interp(grid, charger[0], charger[2])
    misfit = {}
    for k in range(int(-MOST_LAG_S / STEP_S), int(MOST_LAG_S / STEP_S) + 1):
        moved = grid + k * STEP_S
        inside = (moved >= van[0][0]) & (moved <= van[0][-1])
        # Half of the charge at least lies on the other's record.
        if inside.sum() < len(grid) / 2:
            continue
        ours = numpy.interp(moved[inside], van[0], van[2])
        misfit[k] = numpy.mean((ours - theirs[inside]) ** 2)
    best = min(misfit, key=misfit.get)
    return best * STEP_S, misfit[best] ** 0.5


def kwh(time_s, volts, amps, low, high):
    inside = (time_s >= low) & (time_s <= high)
    t, p = time_s[inside], -(volts * amps)[inside] / 1000
    return float(numpy.sum((p[1:] + p[:-1]) / 2 * numpy.diff(t)) / 3600)


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("bin")
    parser.add_argument("data")
    parser.add_argument("--poll-hz", type=int, default=5)
    options = parser.parse_args()
    data = need(options.data, "the folder of measured charges")
    programs = Bin(options.bin)
    charger = charger_of(data / "charge-dc-b-charger.csv")
    with workspace() as folder:
        folder = pathlib.Path(folder)
        card = folder / "card.log"
        programs.drive(card, "--replay", data / "charge-dc-b-pack.csv", "--poll-hz", str(options.poll_hz))
        van = van_of(programs, card)
        depot = programs.depot(folder / "depot", card)
        sessions = programs.rows("sessions", "--depot", depot)
    lag_s, misfit_a = best_lag_s(charger, van)
    charging = charger[0][charger[2] < -1]
    low, high = charging[0], charging[-1]
    theirs = kwh(*charger, low, high)
    ours = kwh(*van, low + lag_s, high + lag_s)
    lost_pct = 100 * (1 - ours / theirs)
    print(f"clocks: charger + {lag_s:.1f} s = van (README: {LAG_S}); the currents then differ by {misfit_a:.2f} A rms")
    print(f"at the charger {theirs:.3f} kWh (its own counter {COUNTER_KWH}), at the pack's sensor {ours:.3f}: "
          f"{lost_pct:.2f} % lost before the pack's sensor (README: {LOST_PCT})")
    problems = []
    if len(sessions) != 1:
        problems.append(f"{len(sessions)} sessions for one charge")
    else:
        row = sessions[0]
        print(f"sessions: pack_kwh {row['pack_kwh']:.3f} ({row['pack_kwh_low']:.3f} to {row['pack_kwh_high']:.3f})")
        if abs(row["pack_kwh"] / ours - 1) > 0.005:
            problems.append("pack_kwh is not the energy of the same window")
        # A loss of wires and contacts, beyond what a sensor's gain explains at 1 sd.
        if not row["pack_kwh"] + (row["pack_kwh_high"] - row["pack_kwh"]) / 1.96 < COUNTER_KWH:
            problems.append("pack_kwh and the charger's counter are one figure")
    if abs(lag_s - LAG_S) > 1.5:
        problems.append(f"the clocks lie {lag_s:.1f} s apart, expected {LAG_S}")
    if abs(lost_pct - LOST_PCT) > 0.25:
        problems.append(f"{lost_pct:.2f} % lost, expected {LOST_PCT}")
    if abs(theirs / COUNTER_KWH - 1) > 0.002:
        problems.append("the charger's record is not its counter's energy")
    print("\n".join(problems))
    sys.exit(1 if problems else 0)


main()
