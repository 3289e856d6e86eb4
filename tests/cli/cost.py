#!/usr/bin/python3
"""What a van costs that answers nothing: notes alone, reckoned by hand.

  cost.py PACKMILE

A March of one silent van, all of it from paper:
  meter      18240.5 -> 19105.0 kWh                         864.5 kWh
  odometer   61200 -> 65040 km, 3840 km                     2386.0654 miles
  yard       8.4 p flat               864.5 x 0.084 =       72.618
  receipt    21.3 kWh                                       14.70
  energy                              72.618 + 14.70 =      87.318
  tyres      two for 236.00                                 236.00
  job        wiper 17.90, half an hour at 32.00             17.90 and 16.00
  hire       2 days off the road                            110.00
  insurance  1095.75 / 365.25 x 31 days =                   93.00
  standing   0.47 x 31 days, one van =                      14.57
  value      30000 on 2024-03-01, 20000 on 2026-03-01: 730 days, 13.698630 a day
             x 31 days =                                    424.657534
  without    87.318 + 236 + 17.90 + 16 + 110 + 93 + 14.57 = 574.788
  total      574.788 + 424.657534 =                         999.445534
  by the mile      999.445534 / 2386.0654 =                 0.418868
  without          574.788 / 2386.0654 =                    0.240894
  energy           87.318 / 2386.0654 =                     0.036595
  at the meter     (864.5 + 21.3) / 2386.0654 =             0.371239
"""
import csv
import io
import json
import os
import re
import subprocess
import sys
import tempfile

import openpyxl

packmile = os.path.abspath(sys.argv[1])
failures = 0

FLEET = """zone = "Europe/London"
currency = "GBP"
labour_rate = 32
[[van]]
name = "Hazel"
nominal_kwh = 60
purchase = { day = 2024-03-01, sum = 30000 }
[[tariff]]
name = "yard"
price = 0.084
standing_per_day = 0.47
[[place]]
name = "Yard"
kind = "depot"
tariff = "yard"
[depot_meter]
place = "Yard"
vans = ["Hazel"]
[[fixed_cost]]
name = "insurance"
per_year = 1095.75
"""

NOTES = """van,date,kind,v1,v2,v3,remark
Hazel,2026-03-31T18:00,odometer,65040,,,
Hazel,2026-03-01T07:00,odometer,61200,,,
Hazel,2026-03-31T18:00,meter,18240.5,19105.0,,
Hazel,2026-03-12,receipt,21.3,14.70,Corn Exchange,
Hazel,2026-03-20,job,tyre front,236,,
Hazel,2026-03-21,job,wiper,17.90,0.5,
Hazel,2026-03-23,off_road,2,110,,
Hazel,2026-03-01,valuation,20000,,,
"""

WANT = {"distance_km": 3840, "energy_cost": 87.318, "tyres_cost": 236, "parts_cost": 17.90, "labour_cost": 16,
        "hire_cost": 110, "fixed_cost": 107.57, "lost_days": 2, "depreciation_cost": 424.657534,
        "total_cost": 999.445534, "cost_per_mile": 0.418868, "cost_per_mile_without_depreciation": 0.240894,
        "energy_cost_per_mile": 0.036595, "grid_kwh": 885.8, "grid_kwh_per_mile": 0.371239}


def expect(good, what):
    global failures
    if not good:
        failures += 1
        print("FAILED:", what)


def run(code, *arguments, zone="Asia/Tokyo"):
    done = subprocess.run([packmile, *arguments, "--depot", "depot"], capture_output=True, text=True, timeout=60,
                          env={**os.environ, "TZ": zone})
    expect(done.returncode == code, f"exit {done.returncode} of {arguments}: {done.stdout}{done.stderr}")
    return done


def rows(*arguments):
    return json.loads(run(0, *arguments, "--format", "json").stdout)["rows"]


def same_everywhere(march):
    """Money to the penny in JSON, CSV and spreadsheet, whatever the machine's zone."""
    for words in (("cost", *march), ("cost", "--by", "month"), ("sessions",)):
        said = rows(*words)
        for zone in ("Asia/Tokyo", "UTC"):
            text = run(0, *words, "--format", "csv", zone=zone).stdout
            table = list(csv.DictReader(io.StringIO(text)))
            run(0, *words, "--format", "xlsx", "-o", "out.xlsx", zone=zone)
            sheet = openpyxl.load_workbook("out.xlsx").worksheets[0]
            heads = [re.sub(r" \(.*\)$", "", cell.value) for cell in sheet[1]]
            expect(len(said) == len(table) == sheet.max_row - 1, f"rows of {words}")
            for k, row in enumerate(said):
                for key in (key for key in row if re.search(r"cost(_per_mile|_low|_high)*$", key)):
                    cell = sheet.cell(k + 2, heads.index(key) + 1).value
                    ours = ("" if row[key] is None else row[key], table[k][key], "" if cell is None else cell)
                    expect(len({f"{float(x):.9g}" if x != "" else "" for x in ours}) == 1, f"{words} {key}: {ours}")
            money = [cell for cell in sheet[1] if cell.value.startswith("energy_cost")] or [sheet[1][heads.index("cost")]]
            expect(all(cell.value.endswith("(GBP)") for cell in money), "the heading has no currency")


def one_counter(march):
    """Linden has no counter of its own: by hand, 864.5 + 21.3 kWh over 3840 + 1160 km."""
    with open("depot/fleet.toml", "w") as file:
        file.write(FLEET.replace('vans = ["Hazel"]', 'vans = ["Hazel", "Linden"]').replace(
            "[[tariff]]", '[[van]]\nname = "Linden"\nnominal_kwh = 60\n[[tariff]]', 1))
    for day, km in (("2026-03-01T07:00", "1200"), ("2026-03-31T18:00", "2360")):
        run(0, "note", "--van", "Linden", "--date", day, "odometer", km)
    hazel, linden = rows("cost", *march)
    # Half a standing charge each.
    expect(abs(hazel["fixed_cost"] - (93 + 14.57 / 2)) < 1e-9, f"a shared standing charge: {hazel['fixed_cost']}")
    expect(hazel["cost_per_mile"] is None and "more than one charge" in hazel["cost_per_mile_why"], str(hazel))
    expect("meter_shared" in hazel["not_included"], str(hazel["not_included"]))
    together = f"{(864.5 + 21.3) / (5000 / 1.609344):.3f}"
    for row in (hazel, linden):
        why = row["grid_kwh_per_mile_why"]
        expect(row["grid_kwh_per_mile"] is None and "Hazel, Linden together" in why and together in why, why)
    expect(rows("cost", *march, "--van", "Hazel") == [hazel], "a van asked for by itself has the same row")
    table = run(0, "cost", *march).stdout
    expect(table.count("together, which share the counter of Yard") == 1 and "for 87.32 (" in table and
           "by the mile " + together in table, table)


def main():
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        subprocess.run([packmile, "new", "depot"], check=True, capture_output=True)
        # What `new` writes is read again with every block in it.
        expect(rows("cost") == [], "a new depot costs nothing")
        with open("depot/fleet.toml", "w") as file:
            file.write(FLEET)
        with open("notes.csv", "w") as file:
            file.write(NOTES)
        run(0, "note", "--from", "notes.csv")
        march = ("--from", "2026-03-01", "--to", "2026-04-01")
        [row] = rows("cost", *march)
        for key, want in WANT.items():
            expect(row[key] is not None and abs(row[key] - want) < 5e-6 * max(1, want), f"{key}: {row[key]}, not {want}")
            if row[key] is not None:
                expect(row[key + "_low"] <= row[key] <= row[key + "_high"], f"{key} is outside its interval")
        expect(row["currency"] == "GBP" and row["not_included"] == [], str(row["not_included"]))
        expect(row["period_start"] == "2026-03-01T00:00:00.000+00:00", row["period_start"])
        # A local day: the clocks have gone forward.
        expect(row["period_end"] == "2026-04-01T00:00:00.000+01:00", row["period_end"])
        # All on record is that month, up to the end of the last day.
        [whole] = rows("cost")
        expect(whole == row, "the whole record is March")
        [early] = rows("cost", "--as-of", "2026-03-20")
        expect(early["parts_cost"] == 0 and early["tyres_cost"] == 236, "what comes after today does not count")
        # Pack figures have a reason and a cure, and are never nought.
        [pack] = rows("throughput", *march)
        for key in ("discharge_kwh", "charge_kwh", "full_cycles", "kwh_per_mile"):
            expect(pack[key] is None and pack[key + "_why"], f"{key} of a silent van: {pack[key]}")
        # The receipt is a charge that was noted.
        [session] = rows("sessions", *march)
        expect((session["source"], session["place"], session["place_source"], session["cost"], session["grid_kwh"]) ==
               ("noted", "Corn Exchange", "noted", 14.70, 21.3), str(session))
        expect(session["pack_kwh"] is None and session["pack_kwh_why"], "the pack of a noted charge")
        table = run(0, "cost", *march).stdout
        for words in ("999.45", "424.66", "0.419 (", "0.2409 (", "All sums in GBP"):
            expect(words in table, f"the table does not say {words}:\n{table}")
        by_month = rows("cost", "--by", "month", "--from", "2026-02-01", "--to", "2026-05-01")
        expect([r["period_start"][:10] for r in by_month] == ["2026-02-01", "2026-03-01", "2026-04-01"], str(by_month))
        expect(abs(by_month[1]["total_cost"] - row["total_cost"]) < 1e-9, "March of --by month is March")
        expect(by_month[0]["cost_per_mile"] is None and "odometer" in by_month[0]["cost_per_mile_why"], "February")
        expect(run(2, "cost", "--by", "week").stderr != "", "--by week is refused")
        # Yen have no pennies; the figures are the same.
        with open("depot/fleet.toml", "w") as file:
            file.write(FLEET.replace("GBP", "JPY"))
        table = run(0, "cost", *march).stdout
        expect("999 " in table and "999.45" not in table, f"yen:\n{table}")
        run(0, "cost", *march, "--format", "xlsx", "-o", "yen.xlsx")
        sheet = openpyxl.load_workbook("yen.xlsx").worksheets[0]
        [total] = [cell.column for cell in sheet[1] if cell.value == "total_cost (JPY)"]
        expect(sheet.cell(2, total).number_format == "[$JPY] #,##0", sheet.cell(2, total).number_format)
        with open("depot/fleet.toml", "w") as file:
            file.write(FLEET)
        same_everywhere(march)
        one_counter(march)
        # A van of which there are notes alone, and no block in fleet.toml.
        run(0, "note", "--van", "Sorrel", "--date", "2026-03-05", "odometer", "1200")
        expect([r["van"] for r in rows("cost", *march)] == ["Hazel", "Linden", "Sorrel"], "a van of notes alone")
        [sorrel] = rows("cost", *march, "--van", "Sorrel")
        # The vans of the file share a standing charge.
        expect(sorrel["fixed_cost"] == 93, str(sorrel["fixed_cost"]))
    if failures:
        sys.exit(f"{failures} failed")
    print("a silent van's March agrees with the sum by hand")


if __name__ == "__main__":
    main()
