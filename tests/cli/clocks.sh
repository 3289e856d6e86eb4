#!/bin/bash
# Boots without a clock: two cards of one van, by the real core. On the first a
# boot without a clock stands between two with one, the second never had any and
# is placed by its odometer. Every row says between what it was; durations are
# sure; a period says which rows may not belong to it; the day of pulling counts
# also when the card was imported before.
#
#   clocks.sh PACKMILE BENCHVAN
set -eu
packmile=$1
benchvan=$2
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
cd "$work"

/usr/bin/python3 - "$here/../conformity" <<'PY'
import sys
sys.path.insert(0, sys.argv[1])
from made_up_drive import write_drive
write_drive("drive.csv", seconds=600, hz=2)
PY
drive() { # CARD START ODOMETER [OPTION...]
  local card=$1 start=$2 odometer=$3
  shift 3
  "$benchvan" drive --card "$card" --replay drive.csv --poll-hz 2 --start "$start" \
    --odometer-km "$odometer" "$@" 2>/dev/null
}
drive one.log 2026-03-02T06:00:00Z 40000
drive one.log 2026-03-03T06:00:00Z 40004.9 --fault no-clock
drive one.log 2026-03-05T06:00:00Z 40009.8
drive two.log 2026-02-20T06:00:00Z 40014.7 --fault no-clock

"$packmile" new depot --zone Europe/London --currency GBP 2>/dev/null
"$packmile" import one.log two.log --depot depot 2>import.txt
"$packmile" trips --depot depot --format json >before.json
"$packmile" trips --depot depot >before.txt
cat before.txt
"$packmile" import two.log --depot depot --pulled-at 2026-03-09T17:00:00Z 2>/dev/null
"$packmile" trips --depot depot --format json >after.json
"$packmile" trips --depot depot --format csv >after.csv
"$packmile" trips --depot depot >after.txt
cat after.txt
"$packmile" trips --depot depot --format json --from 2026-03-02 --to 2026-03-04 >early.json
"$packmile" trips --depot depot --from 2026-03-02 --to 2026-03-03 >day.txt
tail -n 8 day.txt
for to in 2026-03-03 2026-03-06; do
  "$packmile" throughput --depot depot --format json --from 2026-03-02 --to $to >until-$to.json
done
# Made anew from the archive, the same.
"$packmile" rebuild --depot depot 2>/dev/null
"$packmile" trips --depot depot --format json >again.json
cmp after.json again.json

/usr/bin/python3 - <<'PY'
import csv
import datetime
import json


def rows(name):
    return json.load(open(name))["rows"]


def at(text):
    return datetime.datetime.fromisoformat(text)


before, after = rows("before.json"), rows("after.json")
assert len(before) == len(after) == 4
known_1, unknown, known_2, alone = after
for row in (known_1, known_2):
    assert "clock_guessed" not in row["findings"]
    width = at(row["start_high"]) - at(row["start_low"])
    assert width < datetime.timedelta(minutes=10), width
for row in (unknown, alone):
    assert row["findings"].count("clock_guessed") == 1
    for key in ("start", "end"):
        assert at(row[key + "_low"]) <= at(row[key]) <= at(row[key + "_high"])
# The bench drove it on 3 March; nothing on the card says so.
assert at(known_1["end_low"]) <= at(unknown["start_low"])
assert at(unknown["end_high"]) <= at(known_2["start_high"])
assert at(unknown["start_low"]) < at("2026-03-03T06:00:00+00:00") < at(unknown["end_high"])
# By the odometer behind all of the other card; before that it was pulled.
assert at(alone["start_low"]) >= at(known_2["end_low"])
pulled = at("2026-03-09T17:00:00+00:00")
assert pulled - datetime.timedelta(minutes=2) < at(alone["end_high"]) <= pulled, alone["end_high"]
assert before[3]["end_high"] is None and "--pulled-at" in before[3]["end_high_why"]
assert before[3]["start_low"] == alone["start_low"]
# Ten minutes of driving each, whenever it was.
lengths = [(at(row["end"]) - at(row["start"])).total_seconds() for row in after]
print("lengths", lengths)
assert max(lengths) - min(lengths) < 2, lengths
energies = [row["net_kwh"] for row in after]
assert max(energies) - min(energies) < 0.01 * max(energies), energies

table = open("before.txt").read()
assert "between 2026-03-02" in table and "after 2026-03-05" in table
table = open("after.txt").read()
assert table.count("between") == 2
line = next(csv.DictReader(open("after.csv")))
assert line["start_low"] == known_1["start_low"] and line["start_high_why"] == ""

# Its middle is on 3 March: it counts there, and both days say that it may not.
early = rows("early.json")
assert [("period_unsure" in row["findings"]) for row in early] == [False, True], early
day = open("day.txt").read()
assert "trips beside this period that may belong to it: 1 (" in day, day
one, all_four = (rows(f"until-2026-03-0{day}.json")[0] for day in (3, 6))
kwh = known_1["discharge_kwh"]
assert abs(one["discharge_kwh"] - kwh) < 0.05 * kwh
assert one["discharge_kwh_high"] > 1.9 * kwh
assert one["discharge_kwh_low"] > 0.9 * kwh
# Surely in by the other card's time; the fourth may be.
assert abs(all_four["discharge_kwh"] - 3 * kwh) < 0.1 * kwh
assert all_four["discharge_kwh_high"] > 3.9 * kwh
print("ok")
PY
