#!/usr/bin/env bash
# The main job on an invented firm: five vans of a linen-hire firm, a year of cards
# and notes, into a depot and out as tables. The last month goes through the real
# logger core, second by second; what was before is made without its serial line.
#   bash host/demo.sh [DIR]        DIR: where the depot is left (default: demo/)
# PACKMILE_DEMO_CARDS: how many cards of four weeks before the last month (12).
# PACKMILE_DEMO_DAYS: days of the last month (30).
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
out=${1:-demo}
cards_before=${PACKMILE_DEMO_CARDS:-12}
days=${PACKMILE_DEMO_DAYS:-30}

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
told() {
  printf '\n$'
  printf ' %q' "$@"
  printf '\n'
}
show() {
  told "$@"
  "$@"
}
# The command, and the last lines of what it says.
show_end() {
  local lines=$1
  shift
  told "$@"
  "$@" 2>&1 | tail -n "$lines"
}

cat <<TXT

A linen-hire firm runs five electric vans. In four of them a logger has sat for a year, and every four
weeks its memory card came to the office; the port of the fifth, hazel, answers nothing. Once a month
somebody walked round the vans with a form. (The firm, the vans and the year are invented; the bench van
plays them, the last $days days to the real logger. It takes some minutes and 3 GB under $out.)
TXT
show packmile-benchvan firm --out "$out/cards" --cards-before "$cards_before" --days "$days" --seed 7

depot="$out/depot"
show packmile new "$depot" --zone Europe/London --currency GBP
cp "$out/cards/fleet.toml" "$depot/fleet.toml"
printf 'fleet.toml has what only the office knows: what the vans cost, tariffs, places, parts, cover.\n'

printf '\nWhat is on the last card of alder, and on that of the van that answers nothing?\n'
show packmile check "$out/cards/alder.log"
show packmile check "$out/cards/hazel.log"

printf '\nInto the archive, all of them; doing it twice would change nothing.\n'
show_end 6 packmile import "$out"/cards/*.log --depot "$depot"

printf '\nWhat only people know: odometers, treads, pads, the meter of one bay, receipts, work, prices.\n'
printf 'Each note says what it changed; these are the last of them.\n'
show_end 8 packmile note --depot "$depot" --from "$out/cards/notes.csv"

month=(--from 2026-01-05 --to 2026-02-05)
printf '\nA week of one van, trip by trip. In brackets: 95 %% intervals.\n'
show packmile trips --depot "$depot" --van alder --from 2026-01-05 --to 2026-01-12
printf '\nWillow is often charged away from the yard. What did that cost?\n'
show packmile sessions --depot "$depot" --van willow --from 2026-01-05 --to 2026-01-19
printf '\nWhat did a mile cost in the last month?\n'
show packmile cost --depot "$depot" "${month[@]}"
printf '\nWhat is due within a hundred days, by which rule?\n'
show packmile upkeep --depot "$depot" --to 2026-05-15
printf '\nDoes one van take more than the others, and does each still earn its keep?\n'
show packmile compare --depot "$depot"
printf '\nWhat does the pack of rowan hold, and how fast does it lose that?\n'
show packmile capacity --depot "$depot" --van rowan --from 2025-12-01
show packmile fade --depot "$depot" --van rowan
printf '\nAnd how much has passed through each?\n'
show packmile throughput --depot "$depot"

printf '\nOne page to print and act on, what a buyer of rowan may see, and all tables in one workbook:\n'
show packmile report --depot "$depot" --output "$out/report.html"
show packmile report --depot "$depot" --for-buyer --van rowan --output "$out/rowan-for-a-buyer.html"
show packmile report --depot "$depot" --format xlsx --output "$out/report.xlsx"

printf '\nThe form for the next walk-round:\n'
show packmile sheet --depot "$depot" --format html --output "$out/walk-round.html"
cat <<TXT

Left for you to look at:
  $out/depot             the depot: fleet.toml, notes.csv, archive/, depot.db
  $out/walk-round.html   the form, for a printer
  $out/report.xlsx       every table, one sheet each
  $out/rowan-for-a-buyer.html
  $out/cards             the cards, and truth.json: what really happened (never read by packmile)
Try: packmile verdicts --depot $depot --van alder
     (the programs are in build/release/bin)
And the page to print and act on; open it in a browser:
  $out/report.html
TXT
