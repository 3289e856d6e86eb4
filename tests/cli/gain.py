#!/usr/bin/env python3
"""A gain from meter notes, from the month of a van to its figures.

    gain.py BIN

A made-up van whose sensors are off and whose charger loses what chargers usually do.
What its meter counted, and what a post's receipt says, is written down as people
write it; truth.json alone says what was real."""
import json
import pathlib
import shutil
import sys

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "conformity"))
from programs import Bin, run, workspace, write_charge_notes  # noqa: E402

DAYS = 12


def gain_of(rows):
    (row,) = [row for row in rows if row["question"] == "gain"]
    return row


def whole_intervals(what, rows):
    """Every figure lies in its interval; what is refused has neither, and says why."""
    figures = 0
    for row in rows:
        for key in [k[:-len("_low")] for k in row if k.endswith("_low") and k[:-len("_low")] in row]:
            value, low, high, scatter = (row.get(key + end) for end in ("", "_low", "_high", "_scatter"))
            if isinstance(value, str):  # the word of a verdict, or a time
                assert low is None or low <= value <= high, (what, key, row)
                continue
            if value is None:
                assert low is None and high is None and scatter is None and row[key + "_why"], (what, key, row)
            else:
                assert low <= value <= high and (scatter or 0) >= 0 and key + "_why" not in row, (what, key, row)
                figures += 1
    return figures


def main():
    programs = Bin(sys.argv[1])
    with workspace() as name:
        folder = pathlib.Path(name)
        for seed in (7, 8):
            month = folder / f"month-{seed}"
            run(programs.benchvan, "month", "--direct", "--out", month, "--days", DAYS, "--seed", seed,
                "--mechanism", "gain", "--mechanism", "charger", "--mechanism", "dc-charges")
            truth = json.loads((month / "truth.json").read_text())["vans"][0]
            depot = folder / f"depot-{seed}"
            run(programs.packmile, "new", depot, "--zone", "Europe/London", "--currency", "GBP")
            shutil.copy(month / "fleet.toml", depot / "fleet.toml")
            run(programs.packmile, "import", month / (truth["van"] + ".log"), "--depot", depot)
            said = {what: programs.rows(what, "--depot", depot)
                    for what in ("verdicts", "trips", "sessions", "capacity", "throughput")}
            assert gain_of(said["verdicts"])["verdict"] == "too_little"

            write_charge_notes(folder / f"notes-{seed}.csv", truth)
            run(programs.packmile, "note", "--depot", depot, "--from", folder / f"notes-{seed}.csv")
            run(programs.packmile, "rebuild", "--depot", depot)
            now = {what: programs.rows(what, "--depot", depot) for what in said}

            for rows in (said, now):
                for what in rows:
                    assert whole_intervals(what, rows[what]) > 0, what

            row = gain_of(now["verdicts"])
            print(f"seed {seed}: {row['evidence']}")
            assert row["verdict"] == "agreed", row
            pack = truth["pack"]
            real = 1 / ((1 + pack["gain"]) * (1 + pack["voltage_gain"]))
            assert row["value_low"] <= real <= row["value_high"], (row, real)

            # Every energy moves by the same factor, towards what the charges say and by
            # no more; its interval becomes narrower by the gain's part.
            factors = set()
            for what, keys in (("trips", ("net_kwh", "discharge_kwh", "regen_kwh", "kwh_per_mile")),
                               ("sessions", ("pack_kwh",))):
                assert len(now[what]) == len(said[what]) > 0
                for a, b in zip(said[what], now[what]):
                    for key in keys:
                        if not a[key] or abs(a[key]) < 1:
                            continue
                        factors.add(round(b[key] / a[key], 4))
                        wide = [(r[key + "_high"] - r[key + "_low"]) / abs(r[key]) for r in (a, b)]
                        assert wide[1] < wide[0], (what, key, a, b)
            (factor,) = factors
            assert min(1, row["value"]) <= factor <= max(1, row["value"]), (factor, row)
            assert abs(factor - 1) > 5e-4, "a seed whose gain shows is wanted"
            held = [b["pack_kwh_low"] <= a["pack_kwh"] <= b["pack_kwh_high"]
                    for a, b in zip(truth["sessions"], now["sessions"])]
            print(f"seed {seed}: words * {factor}; of {len(held)} charges {sum(held)} held")
            assert sum(held) >= 0.8 * len(held)
            # Capacity takes it too, and no longer says that it is against itself alone.
            assert any(r["relative_only"] == "yes" for r in said["capacity"])
            assert all(r["relative_only"] == "no" for r in now["capacity"] if r["ah"] is not None)

            # Made anew from nothing the ledger says the same.
            (depot / "depot.db").unlink()
            run(programs.packmile, "rebuild", "--depot", depot)
            for what in now:
                assert programs.rows(what, "--depot", depot) == now[what], what


main()
