#!/usr/bin/env python3
"""What charges cost, against a walk minute by minute with Python's zoneinfo, in
zones whose clocks change by an hour, by half an hour and not at all; against
the bench's own arithmetic; and whatever the machine's zone is.

    tariffs.py BIN

One import; only fleet.toml changes: prices and zones need no card again.
"""
import bisect
import csv
import datetime
import itertools
import json
import os
import pathlib
import random
import sqlite3
import sys
import zoneinfo

from programs import Bin, run, workspace

DAYS = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
SEED = 20261025


def week_of(bands):
    """Price of each minute of the week; a band begins on its days."""
    week = [None] * (7 * 1440)
    for begin, end, days, price in bands:
        end = end if end > begin else end + 1440
        for day in days:
            for minute in range(begin, end):
                place = (day * 1440 + minute) % (7 * 1440)
                assert week[place] is None
                week[place] = price
    assert None not in week
    return week


def clock(minute):
    return f"{minute // 60:02}:{minute % 60:02}"


def tariff_text(name, bands, utc=False):
    lines = ",\n".join(
        f'  {{ from = "{clock(a)}", to = "{clock(b)}", price = {p}, days = {json.dumps([DAYS[d] for d in days])} }}'
        for a, b, days, p in bands)
    return f'[[tariff]]\nname = "{name}"\nclock = "{"utc" if utc else "local"}"\nbands = [\n{lines}\n]\n'


def random_bands(draw):
    """Two to five bands by day, other ones at the end of the week, cut at any minute."""
    bands = []
    for days in (range(0, 5), range(5, 7)):
        cuts = sorted(draw.sample(range(0, 1440), draw.randint(2, 5)))
        # The last one goes over midnight only where it may: both parts of the week
        # begin with a band of their own at 00:00.
        cuts = [0] + [c for c in cuts if c] + [1440]
        for a, b in itertools.pairwise(cuts):
            bands.append((a, b % 1440 if b == 1440 else b, list(days), round(draw.uniform(0.03, 0.6), 4)))
    return bands


def mean_price(week, zone, start_ms, curve):
    """By the minute: the energy of each by the line of the ledger, the price by the wall."""
    times = [ms for ms, _ in curve]

    def kwh_at(ms):
        k = bisect.bisect_left(times, ms, lo=1)
        if k == len(curve):
            return curve[-1][1]
        (a, x), (b, y) = curve[k - 1:k + 1]
        return x + (y - x) * max(0, ms - a) / (b - a)

    at, end, paid = start_ms, start_ms + curve[-1][0], 0.0
    while at < end:
        until = min(end, (at // 60000 + 1) * 60000)
        local = datetime.datetime.fromtimestamp(at / 1000, zone)
        price = week[local.weekday() * 1440 + local.hour * 60 + local.minute]
        paid += price * (kwh_at(until - start_ms) - kwh_at(at - start_ms))
        at = until
    return paid / (curve[-1][1] - curve[0][1])


def curves_of(depot):
    with sqlite3.connect(f"file:{depot / 'depot.db'}?mode=ro", uri=True) as db:
        for start, curve in db.execute("SELECT start, curve FROM session"):
            yield start, [(int(ms), float(kwh)) for ms, kwh in (p.split() for p in curve.split(";") if p)]


def ms_of(text):
    return round(datetime.datetime.fromisoformat(text).timestamp() * 1000)


def check_walks(programs, depot, head):
    draw = random.Random(SEED)
    print("seed", SEED)
    compared = 0
    for zone_name in ("Europe/London", "Australia/Lord_Howe", "America/New_York", "Asia/Kathmandu"):
        zone = zoneinfo.ZoneInfo(zone_name)
        for utc in (False, True):
            bands = random_bands(draw)
            (depot / "fleet.toml").write_text(head.replace("Europe/London", zone_name) + tariff_text("t", bands, utc) +
                                              '[[place]]\nname = "p"\nkind = "depot"\ntariff = "t"\ndays = "mon-sun"\n')
            rows = {ms_of(row["start"]): row for row in programs.rows("sessions", "--depot", depot)}
            week = week_of(bands)
            for start, curve in curves_of(depot):
                row = rows[start]
                assert row["place"] == "p" and row["place_source"] == "assumed", row
                want = row["grid_kwh"] * mean_price(week, datetime.timezone.utc if utc else zone, start, curve)
                assert abs(row["cost"] - want) < 1e-5, (zone_name, utc, row["start"], row["cost"], want)
                assert row["cost_low"] <= row["cost"] <= row["cost_high"]
                compared += 1
    assert compared > 100, compared
    print(compared, "charges agree with the walk to a thousandth of a penny")


def check_truth(programs, depot, truth):
    for van in truth["vans"]:
        rows = programs.rows("sessions", "--depot", depot, "--van", van["van"])
        assert len(rows) == len(van["sessions"])
        for row, real in zip(rows, van["sessions"]):
            assert row["place"] == real["place"], (row, real)
            assert row["cost_low"] - 0.005 <= real["cost"] <= row["cost_high"] + 0.005, (row, real)
        [cost] = programs.rows("cost", "--depot", depot, "--van", van["van"])
        real = van["cost"]
        assert cost["energy_cost_low"] <= real["energy_cost"] <= cost["energy_cost_high"], (cost, real)
        assert abs(cost["energy_cost"] / real["energy_cost"] - 1) < 0.05
        assert cost["cost_per_mile"] is not None and cost["currency"] == "GBP"
        assert cost["depreciation_cost"] is None and "depreciation" in cost["not_included"]
        miles = cost["distance_km"] / 1.609344
        assert abs(cost["energy_cost_per_mile"] - cost["energy_cost"] / miles) < 1e-9


def check_sums(programs, depot):
    draw = random.Random(SEED)
    [first, last] = [ms_of(programs.rows("cost", "--depot", depot)[0][key]) for key in ("period_start", "period_end")]
    whole = {row["van"]: row["energy_cost"] for row in programs.rows("cost", "--depot", depot)}
    for _ in range(3):
        cuts = sorted([first, last] + [draw.randrange(first, last) for _ in range(3)])
        parts = dict.fromkeys(whole, 0.0)
        for a, b in itertools.pairwise(cuts):
            period = [datetime.datetime.fromtimestamp(t / 1000, datetime.timezone.utc).isoformat(timespec="milliseconds")
                      for t in (a, b)]
            for row in programs.rows("cost", "--depot", depot, "--from", period[0], "--to", period[1]):
                parts[row["van"]] += row["energy_cost"] or 0
        for van, cost in whole.items():
            assert abs(parts[van] - cost) < 1e-6, (van, parts[van], cost)
    for row in programs.rows("cost", "--depot", depot, "--by", "month"):
        parts = whole
    sums = dict.fromkeys(whole, 0.0)
    for row in programs.rows("cost", "--depot", depot, "--by", "month"):
        sums[row["van"]] += row["energy_cost"] or 0
    for van, cost in whole.items():
        assert abs(sums[van] - cost) < 1e-6


def check_same_anywhere(programs, depot):
    texts = set()
    for zone in ("Asia/Tokyo", "UTC", "America/New_York"):
        text = b"".join(run(programs.packmile, command, "--depot", depot, "--format", form,
                            env={**os.environ, "TZ": zone}).stdout
                        for command in ("sessions", "cost") for form in ("json", "csv", "table"))
        texts.add(text)
    assert len(texts) == 1, "what is printed hangs on the machine's zone"
    before = programs.rows("cost", "--depot", depot), programs.rows("sessions", "--depot", depot)
    notes = (depot / "notes.csv").read_text().splitlines()
    head = notes[0].split(",")
    lines = [dict(zip(head, line)) for line in csv.reader(notes[1:])]
    random.Random(SEED).shuffle(lines)
    with open(depot / "notes.csv", "w", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        plain = ["van", "date", "kind", "v1", "v2", "v3", "remark"]
        writer.writerow(plain)
        writer.writerows([line[key] for key in plain] for line in lines)
    after = programs.rows("cost", "--depot", depot), programs.rows("sessions", "--depot", depot)
    assert before == after, "the order of notes matters"


def main():
    programs = Bin(sys.argv[1])
    with workspace() as name:
        folder = pathlib.Path(name)
        # The nights on which London, then Lord Howe, and in autumn New York change.
        for start in ("2026-03-23", "2026-10-20"):
            month = folder / start[:7]
            run(programs.benchvan, "month", "--out", month, "--direct", "--vans", "2", "--days", "14", "--start", start,
                "--mechanism", "dc-charges")
            depot = programs.depot(folder / (start[:7] + "-depot"), *sorted(month.glob("*.log")))
            made = (month / "fleet.toml").read_text()
            (depot / "fleet.toml").write_text(made)
            run(programs.packmile, "note", "--depot", depot, "--from", month / "notes.csv")
            check_truth(programs, depot, json.loads((month / "truth.json").read_text()))
            check_sums(programs, depot)
            check_same_anywhere(programs, depot)
            # Receipts would be the cost, whatever the tariff.
            (depot / "notes.csv").write_text("van,date,kind,v1,v2,v3,remark\n")
            check_walks(programs, depot, made.split("[[tariff]]")[0])


if __name__ == "__main__":
    main()
