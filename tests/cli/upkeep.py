#!/usr/bin/python3
"""Upkeep and keep-or-sell as people ask for them: a van whose logger is silent, what
is missing and how to enter it, the same answer whatever the machine's zone.

  upkeep.py PACKMILE
"""
import csv
import io
import json
import os
import subprocess
import sys
import tempfile

packmile = os.path.abspath(sys.argv[1])
failures = 0

FLEET = """zone = "Europe/London"
currency = "GBP"
[[van]]
name = "Linden"
plated_weight_kg = 4250
warranty = [ { name = "pack", miles = 100000, years = 8, from = 2024-03-01 } ]
[[van]]
name = "Rowan"
[[part]]
name = "gear oil"
limit_km = 20000
limit_years = 4
[[part]]
name = "brake fluid"
limit_years = 2
"""

KEEP = """[[keep]]
vans = ["Linden"]
challenger_price = [19000, 21500, 24000]
challenger_years = 5
challenger_resale = [5000, 7000, 9500]
challenger_repairs_a_year = [300, 600, 1200]
challenger_lost_days_a_year = [1, 3, 6]
resale_now = [7000, 8500, 9800]
resale_next_year = [5200, 6600, 8000]
repairs_next_year = [700, 1500, 3500]
lost_days_next_year = [3, 8, 18]
hire_per_lost_day = 85
rate_pct = 6
rate_kind = "nominal"
"""

NOTES = """van,date,kind,v1,v2,v3,remark
Linden,2026-01-01,odometer,61200,,,
Linden,2026-03-12,odometer,65040,,,
Linden,2026-01-01,job,gear oil,85,,
Linden,2026-01-01,tread,fl,7.0,,
Linden,2026-03-12,tread,fl,5.0,,
Linden,2024-02-01,fluid,brake fluid,,,
"""


def expect(good, what):
    global failures
    if not good:
        failures += 1
        print("FAILED:", what)


def run(*arguments, code=0, zone="Asia/Tokyo"):
    done = subprocess.run([packmile, *arguments], capture_output=True, text=True, timeout=120,
                          env={**os.environ, "TZ": zone})
    expect(done.returncode == code,
           f"exit {done.returncode} instead of {code}: {' '.join(arguments)}\n{done.stderr}")
    return done


def rows(command, *arguments, zone="Asia/Tokyo"):
    return json.loads(run(command, "--depot", "depot", "--format", "json", *arguments,
                          zone=zone).stdout)["rows"]


def row(all_rows, part, rule, van="Linden", position=None):
    found = [r for r in all_rows if (r["van"], r["part"], r["rule"], r["position"]) ==
             (van, part, rule, position)]
    expect(len(found) == 1, f"{len(found)} rows of {van}, {part}, {rule}")
    return found[0]


with tempfile.TemporaryDirectory() as work:
    os.chdir(work)
    os.environ.pop("PACKMILE_DEPOT", None)
    run("new", "depot", "--zone", "Europe/London", "--currency", "GBP")
    with open("depot/fleet.toml", "w") as file:
        file.write(FLEET)

    # A new depot says what to enter.
    text = run("upkeep", "--depot", "depot").stdout
    for words in ("odometer READING", "tread fl MM", "pad front MM", "job 'gear oil' SUM",
                  "licensed people only"):
        expect(words in text, f"a new depot does not say {words!r}")

    with open("notes.csv", "w") as file:
        file.write(NOTES)
    run("note", "--from", "notes.csv", "--depot", "depot")
    known = rows("upkeep")
    # By hand: 3,840 km in 70 days are 54.86 a day; 20,000 - 3,840 = 16,160 km are left,
    # which are 294.6 days from 2026-03-12: 2027-01-01.
    oil = row(known, "gear oil", "distance")
    expect(oil["used"] == 3840 and oil["remaining"] == 16160, f"gear oil: {oil}")
    expect(oil["due"] == "2027-01-01", f"gear oil is due {oil['due']}")
    expect(oil["due_low"] < oil["due"] < oil["due_high"], "gear oil has no interval")
    expect(oil["decided_by"] == "distance" and oil["as_of"] == "2026-03-12", "gear oil: decided")
    expect(abs(oil["used_share"] - 0.192) < 1e-9 and 0 < oil["age_share"] < 0.06, "its shares")
    # 65,040 km / 1.609344 / 13,000 = 3.109 years.
    expect(abs(oil["equivalent_years"] - 65040 / 1.609344 / 13000) < 1e-9, "equivalent years")
    fluid = row(known, "brake fluid", "age")
    expect(fluid["due"] == "2026-02-01" and fluid["remaining"] < 0, "the brake fluid is overdue")
    # 2 mm in 3,840 km: 0.5208 mm per 1,000 km; to 3.0 mm 3,840 km, 70 days.
    tyre = row(known, "tyre", "measured", position="fl")
    expect(abs(tyre["mm_per_1000_km"] - 2 / 3.84) < 1e-9, "the tyre's wear")
    expect(tyre["due"] == "2026-05-21", f"the tyre is due {tyre['due']}")
    expect(tyre["legal_limit_mm"] == 1.0 and tyre["legal_due"] > tyre["due"], "the law")
    pack = row(known, "warranty: pack", "age")
    expect(pack["due"] == "2032-03-01", "the pack's warranty")
    for one in known:
        for key, value in one.items():
            if value is None and not key.endswith(("_low", "_high", "_scatter")):
                expect(one.get(key + "_why"), f"{one['part']}: {key} is null without a reason")

    # Nothing depends on the machine's zone, and CSV is JSON.
    expect(rows("upkeep", zone="UTC") == known, "another TZ, another answer")
    table = list(csv.DictReader(io.StringIO(
        run("upkeep", "--depot", "depot", "--format", "csv").stdout)))
    expect([r["due"] for r in table] == [r["due"] or "" for r in known], "CSV against JSON")
    text = run("upkeep", "--depot", "depot").stdout
    for words in ("Linden, brake fluid: overdue by age, since about 2026-02-01",
                  "1.0 mm above: Great Britain, SI 1986/1078"):
        expect(words in text, f"the table lacks {words!r}")

    # 100 days after the last reading it has gone on, and is due on the same day.
    late = row(rows("upkeep", "--as-of", "2026-06-20"), "gear oil", "distance")
    expect(abs(late["used"] - 3840 * 170 / 70) < 1e-6 and late["used_low"] < late["used"] <
           late["used_high"], f"100 days later: {late['used']}")
    expect(late["due"] == "2027-01-01", f"100 days later it is due {late['due']}")
    expect(abs(late["odometer_km"] - (65040 + 3840 * 100 / 70)) < 1e-6, "its odometer")
    expect("(known to 2026-03-12, then by its own use)" in
           run("upkeep", "--depot", "depot", "--as-of", "2026-06-20").stdout, "the odometer's day")

    # What is told of a day that nobody wrote down is probable, never sure.
    far = run("upkeep", "--depot", "depot", "--as-of", "2026-06-20").stdout
    expect("Linden, tyre fl: probably overdue by measurement, since about 2026-05-21" in far,
           f"a tyre by its wear: {far}")
    expect("Linden, brake fluid: overdue by age, since about 2026-02-01" in far, "the fluid then")

    # The walk-round's form says what is due before the next one.
    expect("due brake fluid 2026-02-01" in run("sheet", "--depot", "depot").stdout, "the sheet")
    html = run("sheet", "--depot", "depot", "--format", "html").stdout
    expect("due brake fluid <span>2026-02-01</span>" in html, "the sheet as HTML")
    form = run("sheet", "--depot", "depot", "--format", "csv").stdout
    expect('Linden,,fluid,,,,,"brake fluid renewed on 2024-02-01, due 2026-02-01"' in form,
           "the sheet's twin")

    # What is due before a day, and what was known on an earlier one.
    expect([r["part"] for r in rows("upkeep", "--to", "2026-04-01", "--van", "Linden")] ==
           ["brake fluid"], "--to")
    early = row(rows("upkeep", "--as-of", "2026-01-05"), "gear oil", "distance")
    expect(early["due"] is None and "one reading" in early["due_why"], f"--as-of: {early}")
    run("upkeep", "--depot", "depot", "--as-of", "soon", code=2)
    run("upkeep", "--depot", "depot", "--van", "nobody", code=2)

    # Keep or sell: refused with the list of what is missing, then told.
    before = {r["van"]: r for r in rows("compare")}
    expect(before["Linden"]["break_even_price"] is None and
           "challenger_price" in before["Linden"]["break_even_price_why"], "what is missing")
    with open("depot/fleet.toml", "a") as file:
        file.write(KEEP)
    after = {r["van"]: r for r in rows("compare")}
    linden = after["Linden"]
    expect(linden["question"] == "keep_or_sell" and
           linden["break_even_price_low"] < linden["break_even_price"] <
           linden["break_even_price_high"], "a break-even price")
    expect((linden["decided"] == "yes") == (linden["selling_is_cheaper"] >= 0.9 or
                                            linden["selling_is_cheaper"] <= 0.1), "decided")
    expect("miles a year by its own use" in linden["reason"], "the source of the miles")
    expect(after["Rowan"]["break_even_price"] is None, "Rowan has no keep")
    expect("keep or sell" in run("compare", "--depot", "depot").stdout, "the table of compare")

    # The template shows every block.
    run("new", "fresh")
    fresh = open("fresh/fleet.toml").read()
    for words in ("#[[part]]", "#[[keep]]", "#least_mm", "#rate_kind", "INVENTED"):
        expect(words in fresh, f"the template lacks {words}")

print("upkeep:", "FAILED" if failures else "all well")
sys.exit(1 if failures else 0)
