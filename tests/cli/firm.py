"""The invented firm of the demo from cards, papers and notes to every table.

    firm.py BIN_DIR

What the bench knows of its own vans (truth.json) is held against what is shown.
"""

import datetime
import json
import os
import pathlib
import shutil
import sys

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "conformity"))
from programs import Bin, run, workspace  # noqa: E402

TABLES = ["trips", "sessions", "throughput", "cost", "upkeep", "compare", "verdicts", "capacity", "fade"]


def main():
    programs = Bin(sys.argv[1])
    with workspace() as folder:
        cards, depot = pathlib.Path(folder) / "cards", pathlib.Path(folder) / "depot"
        run(programs.benchvan, "firm", "--out", cards, "--cards-before", "1", "--days", "2", "--seed", "3")
        run(programs.packmile, "new", depot, "--zone", "Europe/London", "--currency", "GBP")
        shutil.copy(cards / "fleet.toml", depot / "fleet.toml")
        logs = sorted(cards.glob("*.log"))
        run(programs.packmile, "import", *logs, "--depot", depot)
        run(programs.packmile, "note", "--from", cards / "notes.csv", "--depot", depot)
        truth = {van["van"]: van["parts"] for van in json.loads((cards / "truth.json").read_text())["vans"]}
        assert set(truth) == {"alder", "aspen", "hazel", "rowan", "willow"}

        rows = {}
        for table in TABLES:
            rows[table] = programs.rows(table, "--depot", depot)  # under TZ=Asia/Tokyo
            assert rows[table] == programs.rows(table, "--depot", depot, env={**os.environ, "TZ": "UTC"}), table
            assert rows[table], table

        def of(table, van):
            return [row for row in rows[table] if row["van"] == van]

        for van, parts in truth.items():
            sessions = [s for part in parts for s in part["sessions"]]
            trips = [t for part in parts for t in part["trips"]]
            if van == "hazel":
                # Its port answers nothing: figures of the pack are null, with a reason.
                (pack,) = of("throughput", van)
                for key in ("discharge_kwh", "charge_kwh", "kwh_per_mile", "full_cycles"):
                    assert pack[key] is None and pack[key + "_why"], key
                (cost,) = of("cost", van)
                metered = sum(s["grid_kwh"] for s in sessions)
                assert cost["grid_kwh_low"] <= metered <= cost["grid_kwh_high"], (metered, cost)
                miles = sum(t["distance_km"] for t in trips) / 1.609344
                assert cost["grid_kwh_per_mile_low"] <= metered / miles <= cost["grid_kwh_per_mile_high"]
                continue
            assert len(of("trips", van)) == len(trips), van
            net = sum(t["net_kwh"] for t in trips)
            low = sum(t["net_kwh_low"] for t in of("trips", van))
            high = sum(t["net_kwh_high"] for t in of("trips", van))
            assert low <= net <= high, (van, low, net, high)
            # What was paid at the post is what it cost, to the penny.
            ours = {r["start"][:16]: r for r in of("sessions", van) if r["place"] == "Market Row"}
            posts = [s for s in sessions if s["place"] == "Market Row"]
            assert len(ours) == len(posts), (van, len(ours), len(posts))
            for session in posts:
                start = datetime.datetime.fromisoformat(session["start"])
                near = [r for r in ours.values()
                        if abs(datetime.datetime.fromisoformat(r["start"]) - start) < datetime.timedelta(minutes=2)]
                assert len(near) == 1, (van, session)
                assert near[0]["cost"] == session["cost"], (van, near[0]["cost"], session["cost"])
                assert near[0]["place_source"] == "noted"
            paid = sum(s["cost"] for s in sessions)
            low, high = (sum(r["cost_" + side] for r in of("sessions", van)) for side in ("low", "high"))
            assert low <= paid <= high, (van, low, paid, high)
        dear = max((row for row in rows["compare"] if row["kwh_per_mile"]), key=lambda row: row["kwh_per_mile"])
        assert dear["van"] == "alder", dear
        keep = {row["van"]: row["keep_or_sell"] for row in rows["compare"]}
        assert keep["rowan"] == "sell", keep
        # The challenger is told year by year.
        assert all("its cheapest" in row["reason"] for row in rows["compare"]), rows["compare"]
        due = [row for row in of("upkeep", "aspen") if row["part"].startswith("warranty: vehicle")]
        assert due and all(row["due"] for row in due), due
        print(f"{len(truth)} vans, {len(logs)} cards, "
              + ", ".join(f"{len(rows[table])} {table}" for table in TABLES))


if __name__ == "__main__":
    main()
