#!/usr/bin/env bash
# Reports in a real browser, as a reader, a printer and a screen reader meet them:
#   bash tests/browser/run.sh BIN_DIR [--breaks]
# A report of a depot of eight vans by BIN_DIR/packmile passes every check, what the
# buyer of a van gets those that are about such a page; a page written by hand that
# holds what is awkward passes those of charts, names and paper.
# --breaks: each check is seen to complain about a broken page instead.
# Pictures stay in build/browser. The first run fetches the tools with npm.
set -euo pipefail
here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
bin=$(realpath "$1")
out=$here/../../build/browser
tools=$out/tools
mkdir -p "$tools"
out=$(realpath "$out")

charts=$bin/../host/report/web/charts.js
[ -f "$charts" ] || { echo "browser: $bin was built without charts (-DPACKMILE_CHARTS=OFF)" >&2; exit 2; }
if ! cmp -s "$here/package-lock.json" "$tools/fetched"; then
  cp "$here"/{package.json,package-lock.json,.npmrc} "$tools"
  (cd "$tools" && npm ci --ignore-scripts --prefer-offline >npm.log 2>&1) || {
    tail -n 8 "$tools/npm.log" >&2
    echo "browser: npm ci could not fetch the test tools; they come from the npm registry, once" >&2
    exit 1
  }
  cp "$here/package-lock.json" "$tools/fetched"
fi
cp "$here"/*.mjs "$tools"

cd "$tools"
node fixture.mjs "$here/../../host/report/web/style.css" "$charts" "$out/awkward.html"
if [ "${2:-}" = --breaks ]; then
  exec node breaks.mjs "$out/awkward.html" "$out/broken"
fi
echo "a page with what is awkward:"
node check.mjs "$out/awkward.html" "$out/awkward" names_are_text every_point_is_drawn axes_tell_the_data \
  days_have_their_bars labels_do_not_collide all_of_it_works_by_keyboard a_phone_needs_no_sideways_scrolling \
  it_prints_on_a4 >awkward.log 2>&1 &
awkward=$!
/usr/bin/python3 "$here/depot.py" "$bin" "$out/depot"
status=0
wait "$awkward" || status=1
cat awkward.log
node check.mjs "$out/depot/buyer.html" "$out/buyer" html_is_valid parts_are_where_they_belong names_are_text \
  without_scripts_all_is_said a_screen_reader_meets_it_in_order axe_finds_nothing nothing_is_asked_for \
  every_point_is_drawn axes_tell_the_data labels_do_not_collide nothing_moves_for_who_asked \
  light_and_dark_can_be_read a_phone_needs_no_sideways_scrolling it_prints_on_a4 \
  printed_at_once_it_has_its_charts paper_can_be_read \
  pictures_are_kept >buyer.log 2>&1 &
buyer=$!
echo "a report of eight vans:"
node check.mjs "$out/depot/report.html" "$out/eight-vans" || status=1
wait "$buyer" || status=1
echo "what a buyer gets:"
cat buyer.log
exit "$status"
