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

# beside NAME COMMAND...: runs it while the next parts do, for what keeps one processor
# busy at best; `joined` waits for it, prints what it said and counts its minutes.
beside_log=$(mktemp)
trap 'rm -f "$beside_log" "$beside_log.seconds"; [ -z "${beside_pid:-}" ] || kill -- "-$beside_pid" 2>/dev/null || true' EXIT
beside() {
  beside_name=$1
  shift
  # A group of its own, so that it ends with this script.
  set -m
  (began=$SECONDS; status=0; "$@" || status=$?; echo "$((SECONDS - began))" >"$beside_log.seconds"; exit "$status") \
    >"$beside_log" 2>&1 &
  beside_pid=$!
  set +m
}
joined() {
  local status=0
  printf '\n== %s, beside the parts above\n' "$beside_name"
  wait "$beside_pid" || status=$?
  beside_pid=
  cat "$beside_log"
  names+=("$beside_name, beside the parts above")
  seconds+=("$(cat "$beside_log.seconds")")
  return "$status"
}

build() {
  cmake --preset "$1" "${@:2}" >"build-$1.log" 2>&1 || { cat "build-$1.log"; return 1; }
  rm -f "build-$1.log"
  ${polite:-} cmake --build --preset "$1" 2>&1 | tail -n 40
}

run_tests() {
  ${polite:-} ctest --preset "$1" -j "$(nproc)" --no-tests=error "${@:2}"
}

# After the release build: the bench van on the other end of the line, and the decoder
# of the card, are programs of that. Mostly waits: real time.
bare_machine() {
  build cortex-m && run_tests cortex-m
}

part "packages" bash .ci/install.sh build test browser firmware fuzz
part "build" build release -DBUILD_TESTING=ON
beside "browser" bash tests/browser/run.sh build/release/bin
part "tests" run_tests release -LE 'powercut|faults'
part "card exhaustion" run_tests release -L 'powercut|faults'
joined
beside "emulator" bare_machine
# The emulator answers a van in real time: what stands beside it waits for it.
polite="nice -n 10"
part "sanitizer build" build asan -DBUILD_TESTING=ON -DPACKMILE_SANITIZE_ALL=OFF
# What reads bytes of others, and nothing else: the rest has just run without sanitizers.
# cmake --workflow --preset asan has all of it.
part "sanitizer tests" run_tests asan -L bytes
joined
polite=
part "fuzzing" bash tests/fuzz/run.sh 6

printf '\n== minutes\n'
for i in "${!names[@]}"; do
  printf '%6.1f  %s\n' "$(awk -v s="${seconds[$i]}" 'BEGIN { print s / 60 }')" "${names[$i]}"
done
