"""One history on three overlapping cards, in all six orders, in one import or in
three, twice: the same rows to the byte. And what the ring overwrote before it was
read is said, with its time, whatever the order.

  cards_in_any_order.py PACKMILE BENCHVAN
"""
import itertools
import json
import os
import re
import shutil
import sqlite3
import sys
import tempfile

import log_tool
from scene import Programs, archive_state, copy_depot, write_charge, write_drive

programs = Programs(*sys.argv[1:3])
RING = 512
LOG_ID = 0x20260105
VIN = "1M8GDM9AXKP042788"
failures = 0


def expect(true, what):
    global failures
    if not true:
        failures += 1
        print("FAILED:", what)


def all_that_is_told(depot):
    """Rows of every command, and the verdicts of the ledger."""
    out = programs.rows(depot)
    with sqlite3.connect(os.path.join(depot, "depot.db")) as ledger:
        for table in ("verdict", "lost"):
            rows = ledger.execute(f"SELECT * FROM {table}").fetchall()
            # The number of a van is SQLite's own.
            out += table + repr(sorted([row[1:] for row in rows], key=repr)) + "\n"
        out += repr(ledger.execute("SELECT van, vin, findings FROM van ORDER BY 1, 2").fetchall())
    return out


def grow(card, replays, day):
    """One more day of the van on the card: a boot of its own."""
    programs.drive(card, replays, "--vin", VIN, "--start", f"2026-01-{day:02}T06:00:00Z",
                   "--odometer-km", str(40000 + 100 * day))


def import_cards(depot, cards, at_once):
    said = ""
    for part in ([list(cards)] if at_once else [[card] for card in cards]):
        done = programs.run("import", *part, "--depot", depot)
        assert done.returncode == 0, done.stderr
        said += done.stderr
    return said


def same_in_any_order(cards, empty, work):
    told, sectors = None, None
    for k, order in enumerate(itertools.permutations(cards)):
        # The first and the last order both ways, those between in turn.
        for at_once in (True, False) if k in (0, 5) else (k % 2 == 0,):
            depot = copy_depot(empty, os.path.join(work, "depot"))
            names = [os.path.basename(card) for card in order]
            for again in (False, True):
                import_cards(depot, order, at_once)
                now = all_that_is_told(depot)
                told = told or now
                sectors = sectors or archive_state(depot)
                expect(now == told, f"{names}, at once {at_once}, again {again}: other rows")
                expect(archive_state(depot) == sectors, f"{names}: another archive")
    return told


def main():
    work = tempfile.mkdtemp(prefix="packmile-orders-")
    path = lambda name: os.path.join(work, name)
    try:
        for odd in (0, 1):
            # Days of different length: some boots end in the middle of a run of 32.
            write_drive(path(f"drive-{odd}.csv"), seconds=900 + 170 * odd)
        write_charge(path("charge.csv"), seconds=2400)
        log_tool.prepare(path("ring.log"), RING, LOG_ID, "Rowan", 1767225600000)
        made = programs.run("new", path("empty"), "--zone", "UTC")
        assert made.returncode == 0, made.stderr
        copies = {}
        for day in range(1, 22):
            grow(path("ring.log"), [path(f"drive-{day % 2}.csv"), path("charge.csv")], day)
            copies[day] = shutil.copy(path("ring.log"), path(f"day-{day:02}.log"))
        # Beside a whole lap, where boots skipped some, remnants of the lap before.
        reach = {}
        for day, copy in copies.items():
            numbers = log_tool.sequences(copy)
            reach[day] = [number for number in numbers if number > numbers[-1] - RING]

        # Three cards that overlap, so that nothing is lost.
        first = max(day for day in reach if reach[day][-1] < RING)
        second = max(day for day in reach if reach[day][0] <= reach[first][-1])
        third = max(day for day in reach if reach[day][0] <= reach[second][-1])
        expect(first < second < third and reach[second][0] > 0, "the cards do not overlap")
        told = same_in_any_order([copies[day] for day in (first, second, third)], path("empty"),
                                 work)
        throughput = json.loads(told[told.index('{"schema_version": 1, "command": "throughput"'):]
                                .split("\n]}\n")[0] + "\n]}")
        expect(throughput["rows"][0]["lost"] == [], "something is lost, although cards overlap")
        trips = json.loads(told[:told.index("\n]}\n")] + "\n]}")["rows"]
        # The odometer also tells of drives that nobody saw.
        seen = [trip for trip in trips if trip["net_kwh"] is not None]
        expect(len(seen) == third, f"{len(seen)} trips in {third} days")

        # Three that do not: what lies between them was overwritten.
        beyond = lambda card: min(day for day in reach if reach[day][0] > reach[card][-1] + 64)
        middle = beyond(first)
        last = beyond(middle)
        cards = [copies[day] for day in (first, middle, last)]
        expect(reach[middle][0] > reach[first][-1] + 1, "the cards overlap")
        told = same_in_any_order(cards, path("empty"), work)
        rows = json.loads(told[told.index('{"schema_version": 1, "command": "throughput"'):]
                          .split("\n]}\n")[0] + "\n]}")["rows"]
        lost = rows[0]["lost"]
        expect(len(lost) == 2 and all(one["why"] == "overwritten" for one in lost),
               f"two gaps between three cards: {lost}")
        for one, (before, behind) in zip(lost, ((first, middle), (middle, last))):
            numbers = reach[behind][0] - reach[before][-1] - 1
            # Each boot in between skipped up to 31 numbers, which is no loss, or
            # left as many that could still be read.
            skipped = 31 * 2 * (behind - before + 1)
            expect(numbers - skipped <= one["sectors"] <= numbers,
                   f"{one['sectors']} sectors lost of {numbers} numbers")
            expect(one["from"] < one["to"], "the time of the gap")
        # The gap begins where the first card ends, and ends inside a later day.
        end_of_first = max(trip["end"] for trip in programs_rows(programs, "sessions", work,
                                                                path("empty"), copies[first]))
        expect(lost[0]["from"][:10] == end_of_first[:10], "the gap begins on the wrong day")

        # As people read it.
        depot = copy_depot(path("empty"), path("depot"))
        said = import_cards(depot, cards, True)
        lines = re.findall(r"lost before it was read: Rowan, (\S+ \S+) to (\S+ \S+), (\d+) sectors "
                           r"overwritten", said)
        expect([int(count) for _, _, count in lines] == [one["sectors"] for one in lost] * 3,
               f"import says {lines}")
        for (since, until, _), one in zip(lines, lost):
            expect(one["from"].startswith(since.replace(" ", "T")) and
                   one["to"].startswith(until.replace(" ", "T")), "import says another time")

        # One full card alone: what it had overwritten has no beginning.
        depot = copy_depot(path("empty"), path("depot"))
        said = import_cards(depot, [copies[14]], True)
        expect(re.search(r"lost before it was read: Rowan, up to \S+ \S+, \d+ sectors overwritten",
                         said), f"one full card: {said}")
        row = json.loads(programs.run("check", copies[14], "--format", "json").stdout)["rows"][0]
        expect(row["sectors_overwritten"] == reach[14][-1] - RING + 1, "check: how many")
        expect(row["overwritten_until"] == row["first"], "check: until when")
        expect(row["days_until_full"] == 0, "check: a full ring holds more days")
        expect("overwritten" in row["findings"], "check: no finding")
        expect("sectors were overwritten" in programs.run("check", copies[14]).stdout, "check text")

        # One that is not full yet: the pace of its own days.
        row = json.loads(programs.run("check", copies[first], "--format", "json").stdout)["rows"][0]
        want = (RING - 1 - reach[first][-1]) / (reach[first][-1] + 1) * row["days_held"]
        expect(abs(row["days_until_full"] - want) < 1e-9, f"days until full: {want}")
        text = programs.run("check", copies[first]).stdout
        expect(re.search(r"holds (\d+ more days?|less than a day more) before the oldest sector is overwritten", text),
               text)
        row = json.loads(programs.run("check", copies[1], "--format", "json").stdout)["rows"][0]
        expect(row["days_until_full"] is None and row["days_until_full_why"], "a day tells no pace")

        # Damage is not overwriting: the middle of the newest day.
        hurt = shutil.copy(copies[first], path("hurt.log"))
        with open(hurt, "r+b") as file:
            file.seek((log_tool.HEAD + reach[first][-20]) * log_tool.SECTOR + 100)
            file.write(b"\x55\xaa\x55")
        depot = copy_depot(path("empty"), path("depot"))
        assert programs.run("import", hurt, "--depot", depot).returncode == 3
        rows = json.loads(programs.rows(depot, ("throughput",)))["rows"]
        expect([(one["sectors"], one["why"]) for one in rows[0]["lost"]] ==
               [(1, "damaged_or_missing")], f"damage: {rows[0]['lost']}")
        # And it is healed by another copy.
        assert programs.run("import", copies[first], "--depot", depot).returncode == 0
        rows = json.loads(programs.rows(depot, ("throughput",)))["rows"]
        expect(rows[0]["lost"] == [], "damage: not healed by another copy")
    finally:
        shutil.rmtree(work, ignore_errors=True)
    print("failures:", failures)
    return 1 if failures else 0


def programs_rows(programs, command, work, empty, card):
    depot = copy_depot(empty, os.path.join(work, "alone"))
    import_cards(depot, [card], True)
    return json.loads(programs.rows(depot, (command,)))["rows"]


if __name__ == "__main__":
    sys.exit(main())
