#!/usr/bin/env python3
"""The frozen cards of this folder are read as they always were; README.md says why.

    golden.py BIN [--write]
"""
import csv
import hashlib
import io
import json
import pathlib
import re
import sys

HERE = pathlib.Path(__file__).parent
sys.path.insert(0, str(HERE.parent / "conformity"))
from plain_card import samples  # noqa: E402
from programs import Bin, run, workspace  # noqa: E402

CHECK = ["log_id", "van", "vin", "boots", "sectors_good", "sectors_damaged", "sectors_foreign",
         "sectors_missing", "first", "last", "clock_source", "answers"]
TRIP = ["start", "end", "distance_km", "net_kwh", "discharge_kwh", "regen_kwh", "soc_start_pct",
        "soc_end_pct", "coverage"]
# What was given and what came back were split otherwise when the cards were made; the net and
# every word that was read are as they were.
SPLIT = {"discharge_kwh": 1e-4, "regen_kwh": 1e-4}
SESSION = ["start", "end", "pack_kwh", "pack_ah", "coverage"]


def signal_numbers():
    text = (HERE.parent.parent / "proto" / "packmile.proto").read_text()
    body = text[text.index("enum Signal {"):]
    return {name.lower(): int(number)
            for name, number in re.findall(r"(\w+) = (\d+);", body[:body.index("}")])}


def digest(rows):
    """Number and SHA-256 of the rows, in an order of their own."""
    text = "".join("%08X %X %d %d %d\n" % row for row in sorted(rows))
    return {"rows": len(rows), "sha256": hashlib.sha256(text.encode()).hexdigest()}


def by_packmile(programs, card, numbers):
    status = 3 if "damaged" in card.name else 0
    done = run(programs.packmile, "samples", card, "--format", "csv", status=status)
    rows = list(csv.DictReader(io.StringIO(done.stdout.decode())))
    with workspace() as folder:
        depot = programs.depot(folder + "/depot", card, status=status)
        trips = programs.rows("trips", "--depot", depot)
        sessions = programs.rows("sessions", "--depot", depot)
    check = programs.rows("check", card, status=status)[0]
    words = [(int(r["boot"], 16), int(r["ecu"], 16), numbers[r["signal"]], int(r["tick_ms"]),
              int(r["raw"])) for r in rows]
    return words, {"check": {key: check[key] for key in CHECK},
                   "trips": [{key: trip[key] for key in TRIP} for trip in trips],
                   "sessions": [{key: one[key] for key in SESSION} for one in sessions]}


def differences(expected, got, where="", share=1e-9):
    """Numbers may differ in their last digits: the sums are floating point. share: by so much."""
    if isinstance(expected, dict):
        for key in expected:
            yield from differences(expected[key], got[key], f"{where}.{key}", SPLIT.get(key, share))
    elif isinstance(expected, list) and isinstance(got, list) and len(expected) == len(got):
        for i, (a, b) in enumerate(zip(expected, got)):
            yield from differences(a, b, f"{where}[{i}]")
    elif isinstance(expected, float) and isinstance(got, (int, float)):
        if abs(expected - got) > share * max(1.0, abs(expected)):
            yield f"{where}: {got} instead of {expected}"
    elif expected != got:
        yield f"{where}: {got!r} instead of {expected!r}"


def main():
    programs, numbers = Bin(sys.argv[1]), signal_numbers()
    cards = sorted(HERE.glob("*.log"))
    assert len(cards) == 4, cards
    wrong = []
    for card in cards:
        words, told = by_packmile(programs, card, numbers)
        plain = digest(list(samples(card)))
        ours = digest(words)
        told["samples"] = plain
        if ours != plain:
            wrong.append(f"{card.name}: packmile gives {ours}, the plain reading {plain}")
        frozen = card.with_suffix(".json")
        if "--write" in sys.argv and not frozen.exists():
            frozen.write_text(json.dumps(told, indent=1) + "\n")
        expected = json.loads(frozen.read_text())
        wrong += [card.name + line for line in differences(expected, told)]
        print(f"{card.name}: {plain['rows']} samples, {len(told['trips'])} trips, "
              f"{len(told['sessions'])} sessions, {told['check']['sectors_good']} good sectors")
    for line in wrong:
        print("FAILED " + line)
    sys.exit(1 if wrong else 0)


main()
