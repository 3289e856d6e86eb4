#!/usr/bin/env python3
"""One drive as four vans would answer it, and three that must be refused.

    variants.py BIN DATA

Two's complement or offset binary, discharge positive or negative: the same
physical drive, so the same figures to the last digit. And: state of charge
that never moves against several Ah of current (contradictory, no energy, never
0); state of charge not answered at all (energy all the same: sag and kinetic
agree).
"""
import pathlib
import sys

from programs import Bin, need, workspace

ENERGY = [k + s for k in ("net_kwh", "discharge_kwh", "regen_kwh", "kwh_per_mile", "wh_per_km")
          for s in ("", "_low", "_high", "_scatter")]


def trips(programs, folder, path, *more):
    name = "-".join(m.strip("-") for m in more) or "plain"
    card = pathlib.Path(folder) / (name + ".log")
    programs.drive(card, "--replay", path, *more)
    depot = programs.depot(pathlib.Path(folder) / name, card)
    return programs.rows("trips", "--depot", depot)


def main():
    programs = Bin(sys.argv[1])
    drive = need(pathlib.Path(sys.argv[2]) / "drive-i3-A08.csv", "the measured drive")
    with workspace() as folder:
        seen = {}
        for coding in ("twos", "offset"):
            for sign in ("discharge-positive", "discharge-negative"):
                rows = trips(programs, folder, drive, "--coding", coding, "--sign", sign)
                assert rows and all(r["current_verdict"] == "agreed" for r in rows), (coding, sign, rows)
                seen[coding, sign] = [[r[k] for k in ENERGY] for r in rows]
        for variant, figures in seen.items():
            print(*variant, *(f[0] for f in figures))
        assert len({repr(f) for f in seen.values()}) == 1, "the four variants differ"
        assert all(f[0] is not None for f in seen["twos", "discharge-positive"])

        for row in trips(programs, folder, drive, "--fault", "soc-frozen"):
            print("SoC frozen:", row["current_verdict"], row["net_kwh"], row["net_kwh_why"])
            assert row["current_verdict"] == "contradictory"
            for key in ("net_kwh", "discharge_kwh", "regen_kwh", "kwh_per_mile"):
                assert row[key] is None and row[key + "_why"], key
        rows = trips(programs, folder, drive, "--fault", "no-soc")
        print("SoC not answered:", rows[0]["current_verdict"], rows[0]["net_kwh"])
        assert rows and all(r["current_verdict"] == "agreed" and r["net_kwh"] for r in rows)


main()
