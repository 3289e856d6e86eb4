#!/usr/bin/env bash
# The main job on an invented firm: five vans of a linen-hire firm, a few days
# each through the real logger core, onto cards, into a depot, out as tables.
#   bash host/demo.sh [DIR]        DIR: where the depot is left (default: demo/)
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
out=${1:-demo}
days=${PACKMILE_DEMO_DAYS:-4}

if [ -e "$out" ] && [ ! -f "$out/depot/fleet.toml" ]; then
  echo "demo: $out is there and is not an earlier demo; name another folder: bash host/demo.sh DIR" >&2
  exit 1
fi

bash .ci/install.sh build
echo "building (the first time takes a few minutes) ..."
log=$(mktemp)
{ cmake --preset release -DBUILD_TESTING="${PACKMILE_DEMO_TESTING:-OFF}" &&
  cmake --build --preset release --target packmile packmile-benchvan; } >"$log" 2>&1 ||
  { tail -n 40 "$log"; exit 1; }
rm -f "$log"
export PATH="$PWD/build/release/bin:$PATH"

rm -rf "$out"
mkdir -p "$out"
show() {
  printf '\n$'
  printf ' %q' "$@"
  printf '\n'
  "$@"
}

cat <<TXT

A linen-hire firm runs five electric vans. A logger has sat in each of them for $days days, and
its memory card is now in the office. (The firm, the vans and the days are invented; the bench van
plays them to the real logger, which wrote the cards.)
TXT
show packmile-benchvan month --out "$out/cards" --vans 5 --days "$days" --seed 7

depot="$out/depot"
show packmile new "$depot" --zone Europe/London --currency GBP
cp "$out/cards/fleet.toml" "$depot/fleet.toml"

first=$(ls "$out"/cards/*.log | head -n 1)
printf '\nWhat is on one of the cards?\n'
show packmile check "$first"

printf '\nInto the archive, all five; doing it twice would change nothing.\n'
show packmile import "$out"/cards/*.log --depot "$depot"

van=$(basename "$first" .log)
printf '\nWhat did each trip of one van take?\n'
show packmile trips --depot "$depot" --van "$van"
printf '\nWhat did each charge put in?\n'
show packmile sessions --depot "$depot"
printf '\nAnd all together, van by van:\n'
show packmile throughput --depot "$depot"

printf '\nWhat only people know: two readings of an odometer, what the meter at the bay stood at before\n'
printf 'and after a night, and a receipt. Each note says what it changed, and which charge it is about.\n'
cat >"$out/week.csv" <<'CSV'
van,date,kind,v1,v2,v3,remark
willow,2026-01-05T07:00,odometer,34669mi,,,
willow,2026-01-06T07:00,odometer,34731mi,,,
willow,2026-01-06T07:00,meter,18240.5,18282.2,,bay 2
CSV
show packmile note --depot "$depot" --from "$out/week.csv"
show packmile note --depot "$depot" --van hazel --date 2026-01-06T06:15 receipt 49.1 24.06 'Mill Lane'
show packmile note --depot "$depot" --list

printf '\nDoes one take more than the others? A few days are too few to say:\n'
show packmile compare --depot "$depot"

printf '\nWhat are its words taken for, and what does its pack hold? A few days tell little of that:\n'
show packmile verdicts --depot "$depot" --van "$van"
show packmile capacity --depot "$depot" --van "$van"
show packmile fade --depot "$depot" --van "$van"

mkdir -p "$out/tables"
for table in trips sessions throughput compare verdicts capacity fade; do
  packmile "$table" --depot "$depot" --format csv --output "$out/tables/$table.csv"
done
cat <<TXT

Left for you to look at:
  $out/depot           the depot: fleet.toml, notes.csv, archive/, depot.db
  $out/tables          a CSV file of each of these tables, for a spreadsheet
  $out/cards           the cards, and truth.json: what really happened (never read by packmile)
Try: packmile trips --depot $depot --units km --van $van
     (the programs are in build/release/bin)
TXT
