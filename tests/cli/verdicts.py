#!/usr/bin/env python3
"""packmile verdicts and the verdicts of packmile check, on cards of the bench van.

    verdicts.py BIN

Expected answers come from how the van was set up (coding, sign, speed cut or
rounded, what it does not answer), not from the program."""
import csv
import io
import math
import pathlib
import sys

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "conformity"))
from made_up_drive import HEADER, write_charge, write_drive  # noqa: E402
from programs import Bin, run, workspace  # noqa: E402

QUESTIONS = ["coding", "sign", "pack_current", "offset_a", "gain", "soc_step_pct",
             "speed_rounding", "distance_scale"]
KEYS = ["van", "vin", "ecu", "calibration_id", "segment", "question", "verdict", "value",
        "value_low", "value_high", "evidence", "decided_on"]
ANSWERS = {"agreed", "contradictory", "too_little", "not_applicable"}


def write_round(path, mean_kmh, seconds=1800, soc=90.0):
    """Speed in waves around a mean, never standing; a pack that follows it."""
    with open(path, "w") as out:
        out.write(HEADER)
        for k in range(seconds * 2):
            t = k / 2
            turn = 2 * math.pi * t / 60
            v = mean_kmh * (1 - 0.35 * math.cos(turn))
            a = mean_kmh * 0.35 / 3.6 * 2 * math.pi / 60 * math.sin(turn)
            i = 5 + 0.4 * v + 6 * a * v
            out.write(f"{t:.1f},{v:.2f},{370 - 0.09 * i:.3f},{i:.2f},{soc:.3f},12\n")
            soc -= i / 7200 / 160 * 100
    return path


def by_question(rows):
    found = {row["question"]: row for row in rows}
    assert list(found) == QUESTIONS, list(found)
    assert len(rows) == len(QUESTIONS)
    for row in rows:
        assert row["verdict"] in ANSWERS, row
        assert row["evidence"], row
        assert (row["value"] is None) == (row["verdict"] != "agreed"), row
        if row["value"] is None:
            assert row["value_why"] and row["value_low"] is None and row["value_high"] is None
        elif isinstance(row["value"], float):
            assert row["value_low"] <= row["value"] <= row["value_high"], row
    return found


def expect(found, **want):
    for question, value in want.items():
        row = found[question]
        got = row["value"] if row["verdict"] == "agreed" else row["verdict"]
        assert got == value, f"{question}: {got}, expected {value}: {row['evidence']}"


def main():
    bin_ = Bin(sys.argv[1])
    with workspace() as name:
        folder = pathlib.Path(name)
        drive, charge = write_drive(folder / "drive.csv", 1200), write_charge(folder / "charge.csv")

        # Every coding and sign, from a drive and a charge; check sees the same.
        for coding in ("twos", "offset"):
            for sign in ("discharge-positive", "discharge-negative"):
                card = folder / f"{coding}-{sign}.log"
                bin_.drive(card, "--replay", drive, "--replay", charge, "--coding", coding,
                           "--sign", sign)
                depot = bin_.depot(folder / f"depot-{coding}-{sign}", card)
                rows = bin_.rows("verdicts", "--depot", depot)
                assert all(key in rows[0] for key in KEYS), rows[0].keys()
                found = by_question(rows)
                expect(found, coding=coding, sign=sign.replace("-", "_"), pack_current="yes",
                       offset_a="too_little", gain="too_little", speed_rounding="too_little",
                       distance_scale="too_little")
                assert "20 are needed" in found["offset_a"]["evidence"]
                assert "packmile note" in found["gain"]["evidence"]
                assert all(row["segment"] == 1 and row["ecu"] for row in rows)
                checked = bin_.rows("check", card)[0]["verdicts"]
                for row in checked:
                    want = {key: found[row["question"]][key] for key in row
                            if key != "decided_on"}
                    assert {k: v for k, v in row.items() if k != "decided_on"} == want, row
        print("coding and sign: four variants, each as set up")

        # The three formats say the same; a period holds what was decided in it.
        done = run(bin_.packmile, "verdicts", "--depot", depot, "--format", "csv")
        table = list(csv.DictReader(io.StringIO(done.stdout.decode())))
        assert [row["question"] for row in table] == QUESTIONS
        assert table[1]["value"] == "discharge_negative" and table[3]["value"] == ""
        text = run(bin_.packmile, "verdicts", "--depot", depot).stdout.decode()
        for word in QUESTIONS + ["discharge_negative", "too_little"]:
            assert word in text, word
        text = run(bin_.packmile, "check", card).stdout.decode()
        assert "verdicts, from this card alone" in text
        assert bin_.rows("verdicts", "--depot", depot, "--to", "2026-01-05") == []
        assert len(bin_.rows("verdicts", "--depot", depot, "--from", "2026-01-05")) == 8
        run(bin_.packmile, "verdicts", "--depot", depot, "--van", "nobody", status=2)

        # 340 km in town and on fast roads: cut down or rounded, and the scale is 1.
        rounds = []
        for mean in (18, 30, 45, 60, 75, 90):
            rounds += ["--replay", write_round(folder / f"round-{mean}.csv", mean)] * 3
        for fault, word in (([], "rounded"), (["--fault", "speed-cut"], "cut")):
            card = folder / f"{word}.log"
            bin_.drive(card, *rounds, "--poll-hz", "2", *fault)
            found = by_question(bin_.rows("check", card)[0]["verdicts"])
            print(word + ":", found["speed_rounding"]["evidence"])
            expect(found, speed_rounding=word)
            scale = found["distance_scale"]
            assert scale["verdict"] == "agreed", scale
            assert scale["value_low"] <= 1 <= scale["value_high"], scale
            assert scale["value_high"] - scale["value_low"] < 0.02, scale
            assert found["soc_step_pct"]["verdict"] == "agreed", found["soc_step_pct"]
            assert abs(found["soc_step_pct"]["value"] - 100 / 255) < 1e-9

        # What is not answered is no answer, and a stuck state of charge proves nothing.
        card = folder / "silent.log"
        bin_.drive(card, "--replay", drive, "--answers", "none")
        heard = bin_.rows("check", card)[0]["verdicts"]
        assert all(row["verdict"] == "not_applicable" and row["ecu"] is None for row in heard)
        card = folder / "no-odometer.log"
        bin_.drive(card, "--replay", drive, "--fault", "no-odometer", "--fault", "no-soc")
        found = by_question(bin_.rows("check", card)[0]["verdicts"])
        expect(found, sign="discharge_positive", soc_step_pct="not_applicable",
               speed_rounding="not_applicable", distance_scale="too_little")
        assert "odometer" in found["distance_scale"]["evidence"]
        card = folder / "frozen.log"
        bin_.drive(card, "--replay", drive, "--replay", charge, "--fault", "soc-frozen")
        found = by_question(bin_.rows("check", card)[0]["verdicts"])
        expect(found, pack_current="contradictory", sign="discharge_positive",
               offset_a="too_little")
        print("not answered, and stuck: as they should be")

        # A made month: the sensor of this van has no offset, and the interval holds that.
        month = folder / "month"
        run(bin_.benchvan, "month", "--direct", "--out", month, "--vans", "1", "--days", "8")
        (card,) = month.glob("*.log")
        found = by_question(bin_.rows("check", card)[0]["verdicts"])
        print("offset:", found["offset_a"]["verdict"], found["offset_a"]["evidence"])
        if found["offset_a"]["verdict"] == "agreed":
            assert found["offset_a"]["value_low"] <= 0 <= found["offset_a"]["value_high"]
        else:
            assert found["offset_a"]["verdict"] == "too_little"


main()
