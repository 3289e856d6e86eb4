#!/usr/bin/env bash
# Builds everything and passes every test on a bare Debian 12:
#   bash tests/run.sh
# Prints the minutes of each part at the end.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

names=()
seconds=()
part() {
  local name=$1 began=$SECONDS
  shift
  printf '\n== %s\n' "$name"
  "$@"
  names+=("$name")
  seconds+=($((SECONDS - began)))
}

build() {
  cmake --preset "$1" "${@:2}" >"build-$1.log" 2>&1 || { cat "build-$1.log"; return 1; }
  rm -f "build-$1.log"
  cmake --build --preset "$1" 2>&1 | tail -n 40
}

run_tests() {
  ctest --preset "$1" -j "$(nproc)" --no-tests=error "${@:2}"
}

cortex_m() {
  cmake --preset cortex-m >/dev/null && cmake --build --preset cortex-m | tail -n 20 &&
    ctest --preset cortex-m --no-tests=error
}

part "packages" bash .ci/install.sh build test browser firmware fuzz
part "build" build release -DBUILD_TESTING=ON
part "tests" run_tests release -LE 'powercut|faults'
part "card exhaustion" run_tests release -L 'powercut|faults'
part "browser" bash tests/browser/run.sh build/release/bin
part "core for Cortex-M" cortex_m
part "sanitizer build" build asan -DBUILD_TESTING=ON -DPACKMILE_SANITIZE_ALL=OFF
# Less than all: the checks against outside tools and data run the same programs, ten
# times slower here, and the unit tests of arithmetic have just run without sanitizers.
# cmake --workflow --preset asan has them all.
part "sanitizer tests" run_tests asan -LE 'conformity|faults'
part "fuzzing" bash tests/fuzz/run.sh 6

printf '\n== minutes\n'
for i in "${!names[@]}"; do
  printf '%6.1f  %s\n' "$(awk -v s="${seconds[$i]}" 'BEGIN { print s / 60 }')" "${names[$i]}"
done
