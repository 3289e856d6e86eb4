#!/usr/bin/env bash
# Builds the fuzz targets and runs each for a while:
#   bash tests/fuzz/run.sh [SECONDS_PER_TARGET] [TARGET...]
# Default: 60 seconds, every target, two at a time. Prints runs, runs per second
# and coverage (edges reached, features) of each; exit 1 if any target found
# something. What was found stands in build/fuzz/findings/TARGET: put it into
# tests/regression/TARGET with the repair. New inputs stay in
# build/fuzz/corpus/TARGET and are used again.
# FUZZ_RUNS=N ends each target after N runs as well; FUZZ_AT_ONCE=1 runs one at
# a time. Packages: bash .ci/install.sh build test fuzz
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/../.."

seconds=60
if [[ ${1:-} =~ ^[0-9]+$ ]]; then
  seconds=$1
  shift
fi
all=(slcan isotp pid record sector settings card replay fleet port_settings log_extent encoder session notes sd_card)
targets=("$@")
[ ${#targets[@]} -gt 0 ] || targets=("${all[@]}")
for target in "${targets[@]}"; do
  [[ " ${all[*]} " == *" $target "* ]] ||
    { echo "fuzz: no target '$target'; there are: ${all[*]}" >&2; exit 2; }
done

began=$SECONDS
log=$(mktemp)
cmake --preset fuzz >"$log" 2>&1 && cmake --build --preset fuzz >"$log" 2>&1 ||
  { tail -n 40 "$log" >&2; rm -f "$log"; exit 2; }
rm -f "$log"
build=$PWD/build/fuzz
echo "built in $((SECONDS - began)) s; $seconds s a target"

# Leak checks and long stacks of allocations cost a third of the speed; the
# ordinary sanitizer build has both.
export ASAN_OPTIONS=detect_leaks=0:malloc_context_size=4
run_one() {
  local target=$1 corpus=$build/corpus/$1 found=$build/findings/$1
  mkdir -p "$corpus" "$found"
  local inputs=("$corpus" "$PWD/tests/fuzz/corpus/$target")
  [ ! -d "tests/regression/$target" ] || inputs+=("$PWD/tests/regression/$target")
  local options=(-max_total_time="$seconds" -timeout=5 -rss_limit_mb=512 -print_final_stats=1
                 -artifact_prefix="$found/")
  [ -z "${FUZZ_RUNS:-}" ] || options+=(-runs="$FUZZ_RUNS")
  # Longer inputs say the same again, slower.
  case $target in
    record | settings | sector) options+=(-max_len=520) ;;
    log_extent) options+=(-max_len=512) ;;
    pid) options+=(-max_len=160) ;;
    encoder | session | isotp | slcan) options+=(-max_len=1024) ;;
  esac
  if "$build/bin/packmile_fuzz_$target" "${options[@]}" "${inputs[@]}" >"$build/$target.log" 2>&1
  then echo ok >"$build/$target.outcome"
  else echo FOUND >"$build/$target.outcome"
  fi
}
export -f run_one
export build seconds

for target in "${targets[@]}"; do rm -f "$build/$target.outcome"; done
printf '%s\n' "${targets[@]}" |
  xargs -P "${FUZZ_AT_ONCE:-2}" -I{} bash -c 'run_one {}'

bad=0
printf '\n%-14s %12s %9s %7s %9s  %s\n' target runs 'runs/s' edges features outcome
for target in "${targets[@]}"; do
  outcome=$(cat "$build/$target.outcome" 2>/dev/null || echo 'DID NOT RUN')
  [ "$outcome" = ok ] || bad=1
  awk -v target="$target" -v outcome="$outcome" '
    /^stat::number_of_executed_units/ { runs = $2 }
    /^stat::average_exec_per_sec/ { rate = $2 }
    / cov: / { for (i = 1; i < NF; ++i) { if ($i == "cov:") edges = $(i + 1); if ($i == "ft:") features = $(i + 1) } }
    END { printf "%-14s %12d %9d %7d %9d  %s\n", target, runs, rate, edges, features, outcome }
  ' "$build/$target.log"
done
if [ "$bad" -ne 0 ]; then
  for target in "${targets[@]}"; do
    [ "$(cat "$build/$target.outcome" 2>/dev/null)" = ok ] && continue
    printf '\n== %s: last lines of %s\n' "$target" "build/fuzz/$target.log"
    grep -aE 'does not hold|ERROR|SUMMARY|runtime error|Test unit written|    #[0-9] ' \
      "$build/$target.log" | head -n 20
  done
  exit 1
fi
