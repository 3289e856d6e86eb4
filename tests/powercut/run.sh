#!/usr/bin/env bash
# The damage tables: every power cut, every kind of damage, and the same damage
# in other stores beside it.
#
#   tests/powercut/run.sh [PLACES]
#
# Builds the two programs first (release). PLACES: damaged places of each store,
# default 60. Exit 1 when a sample was lost beyond the bound or invented.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/../.."
places=${1:-60}

cmake --preset release >build-powercut.log 2>&1 &&
  cmake --build --preset release -t packmile_powercut packmile_beside >>build-powercut.log 2>&1 ||
  { cat build-powercut.log; exit 1; }
rm -f build-powercut.log

failed=0
echo "Power cuts and damage"
build/release/bin/packmile_powercut --threads "$(nproc)" || failed=1
echo
echo "The same damage in other stores"
build/release/bin/packmile_beside --places "$places" || failed=1
exit $failed
