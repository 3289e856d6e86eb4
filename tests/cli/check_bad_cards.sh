#!/bin/bash
# What is no sound card, through `check` and `import`: each gets a clear message
# (what, where, what to do) and the exit code of the contract, and a crash or a
# hang fails.
#
#   check_bad_cards.sh PACKMILE BENCHVAN
set -u
packmile=$1
benchvan=$2
work=$(mktemp -d) || exit 1
trap 'rm -rf "$work"' EXIT
cd "$work" || exit 1
failures=0

# fails WORDS...: counts a failure and shows what was printed.
fails() {
  echo "FAILED: $*"
  sed 's/^/    /' out err
  failures=$((failures + 1))
}

# run CODE COMMAND...: runs in the depot, output in out and err.
run() {
  local want=$1
  shift
  timeout 60 "$@" >out 2>err
  local got=$?
  [ "$got" -eq "$want" ] || fails "exit $got instead of $want: ${*:2}"
}

# bad CODE CARD WORDS: check and import both end with CODE and say WORDS and the
# name of the card on stderr, with a hint on an indented line.
bad() {
  local want=$1 card=$2 words=$3
  for command in check import; do
    local depot=()
    [ $command = import ] && depot=(--depot "$work/depot")
    run "$want" "$packmile" $command "$card" "${depot[@]}"
    grep -qF "packmile: " err || fails "$command $card: no line of packmile"
    grep -qF -- "${card%/}" err || fails "$command $card: the card is not named"
    grep -qiE -- "$words" err || fails "$command $card: does not say '$words'"
    grep -q '^  [a-z]' err || fails "$command $card: no hint what to do"
    grep -q '[^[:print:]]' err && fails "$command $card: control characters"
  done
}

"$packmile" new depot --zone Europe/London >out 2>err || fails "new depot"

: >empty.log
head -c 1048576 /dev/zero >zeros.log
/usr/bin/python3 - <<'PY'
import random
random.seed(7)
open("random.log", "wb").write(random.randbytes(1 << 20))
open("odd.log", "wb").write(random.randbytes(777))
PY
mkdir folder loop
ln -s ../loop loop/loop
ln -s self self
: >file
mkfifo pipe

bad 1 empty.log 'empty'
bad 1 zeros.log 'blank'
bad 3 random.log 'no logger sector'
bad 3 odd.log 'no logger sector|shorter'
bad 1 folder 'PACKMILE.LOG'
bad 1 loop 'PACKMILE.LOG'
bad 1 self 'symbolic links|loop'
bad 1 file/card.log 'not a directory'
bad 1 missing.log 'no such file'
bad 1 /dev/null 'empty|device|neither'
bad 1 pipe 'neither|not a'

# A sound card, and what can happen to it.
printf 'time_s,speed_kmh,pack_v,pack_a,soc_pct,ambient_c\n' >drive.csv
/usr/bin/python3 - <<'PY'
import math
with open("drive.csv", "a") as f:
    for k in range(0, 18000):
        t = k * 0.1
        v = 30 - 30 * math.cos(t * 2 * math.pi / 60)
        a = 30 / 3.6 * 2 * math.pi / 60 * math.sin(t * 2 * math.pi / 60)
        i = 5 + 0.4 * v + 6 * a * v
        f.write(f"{t:.1f},{v:.2f},{370 - 0.09 * i:.3f},{i:.2f},{80 - t * 0.003:.3f},12\n")
PY
"$benchvan" drive --card good.log --replay drive.csv --replay drive.csv >out 2>err ||
  fails "benchvan drive"
run 0 "$packmile" check good.log
grep -q 'can be known' out || fails "check says nothing"
run 0 "$packmile" import good.log --depot depot
grep -qE 'imported [0-9]+ sectors.*; the archive now covers [0-9-]{10} to [0-9-]{10}' err ||
  fails "import does not say what it did"
run 0 "$packmile" import good.log --depot depot
grep -q 'imported 0 sectors' err || fails "a second import took something"

# Cut off behind whole sectors: what is there is sound.
head -c $(((32 + 150) * 512)) good.log >cut.log
run 0 "$packmile" check cut.log
grep -q truncated out || fails "check cut.log: no finding truncated"
run 0 "$packmile" import cut.log --depot depot

# 200 sectors overwritten in the middle of the data.
cp --sparse=always good.log torn.log
/usr/bin/python3 - <<'PY'
import random
random.seed(8)
with open("torn.log", "r+b") as f:
    for sector in random.sample(range(33, 290), 200):
        f.seek(sector * 512)
        f.write(random.randbytes(512))
PY
bad 3 torn.log 'damaged'
run 3 "$packmile" check torn.log --format json
/usr/bin/python3 - <<'PY' || fails "check --format json: not 200 damaged sectors"
import json
row = json.load(open("out"))["rows"][0]
assert row["sectors_damaged"] == 200, row["sectors_damaged"]
assert "sectors_damaged" in row["findings"]
PY

# In a list each card is taken by itself.
run 3 "$packmile" check missing.log good.log
run 1 "$packmile" check missing.log empty.log
run 3 "$packmile" import empty.log good.log --depot depot
run 0 "$packmile" trips --depot depot --format json
/usr/bin/python3 - <<'PY' || fails "trips of the good card"
import json
rows = json.load(open("out"))["rows"]
assert len(rows) == 2, len(rows)
assert all(r["net_kwh"] is not None for r in rows)
PY

# One sector, as text and as a record.
run 0 "$packmile" sectors good.log --address 0
grep -q 'kind *settings' out || fails "sectors --address 0 is not the settings sector"
run 0 "$packmile" sectors good.log --address 32 --raw
[ -s out ] || fails "sectors --raw is empty"
run 1 "$packmile" sectors good.log --address 999999999 --raw
run 1 "$packmile" sectors torn.log --address 5 --raw

[ "$failures" -eq 0 ] || { echo "$failures failures"; exit 1; }
echo "every bad card is answered as it should be"
