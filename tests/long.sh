#!/usr/bin/env bash
# What tests/run.sh makes a part of, because all of it takes too long for every
# run: every round of the tests by chance, imports killed at every call in every way,
# the families back to back and on measured drives, ports that take their turn in
# another order, two minutes of real time, the report's sentences of twenty firms,
# every check of its page on a page broken for it, thirty days of the soak, and
# everything under sanitizers. After tests/run.sh:
#   bash tests/long.sh [SEED]
# Ends with the first thing that fails.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
bin=$PWD/build/release/bin
seed=${1:-$((RANDOM * 32768 + RANDOM))}
[ -x "$bin/packmile_soak" ] || { echo "long: build first: bash tests/run.sh" >&2; exit 2; }
echo "seed $seed"

part() {
  local began=$SECONDS
  printf '\n== %s\n' "$1"
  shift
  "$@"
  printf '%s s\n' "$((SECONDS - began))"
}

part "every round by chance" env PACKMILE_SHARE=1 "$bin/packmile_card_tests"
part "unlike rounds" env PACKMILE_ROUNDS=1000 "$bin/packmile_energy_tests" -tc="*unlike*"
part "killed at every call in every way" /usr/bin/python3 tests/faults/killed_imports.py "$bin/packmile" \
  "$bin/packmile-benchvan" "$(find build/release/tests/faults -name '*failing_calls*.so')" --all
part "families, measured" /usr/bin/python3 tests/conformity/families.py "$bin" ../shared/data
part "the report's sentences, 20 firms" /usr/bin/python3 tests/conformity/report_truth.py "$bin" --seeds 20
part "the report's sentences, a year" /usr/bin/python3 tests/conformity/report_truth.py "$bin" --seeds 1 --demo \
  --first "$((seed % 1000))" --cards-before 12 --days 30
part "another order of a port's turn is seen" /usr/bin/python3 tests/ports/same_sectors.py "$bin" --breaches
part "killed in real time" /usr/bin/python3 tests/ports/killed_in_real_time.py "$bin" 120
part "checks of the page complain" bash tests/browser/run.sh "$bin" --breaks
part "soak of 30 days" /usr/bin/python3 tests/soak/soak.py "$bin" --days 30 --seed "$seed"
part "all of it under sanitizers" cmake --workflow --preset asan
