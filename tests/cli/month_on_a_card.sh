#!/bin/bash
# A month of driving, 540 half-hour drives, written into a prepared FAT32 card by
# the real core, more than the ring holds: the file system and the file beside the
# log stay as they were, and fsck.vfat has nothing to say.
#
#   month_on_a_card.sh PACKMILE BENCHVAN
set -eu
packmile=$1
benchvan=$2
for program in mkfs.vfat fsck.vfat mcopy; do
  command -v "$program" >/dev/null || PATH=$PATH:/usr/sbin:/sbin
  command -v "$program" >/dev/null || { echo "skipped: no $program"; exit 77; }
done
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
cd "$work"

/usr/bin/python3 - "$here/../conformity" <<'PY'
import sys
sys.path.insert(0, sys.argv[1])
from made_up_drive import write_drive
write_drive("drive.csv", seconds=1800, hz=2)
PY
"$packmile" card prepare card.img --van willow --size-mb 40 2>/dev/null
head -c 300000 /dev/urandom >route.bin
mcopy -i card.img route.bin ::ROUTE.BIN

# What is not the log: all of it up to the log, and all behind it.
log_at=$((4 * 1024 * 1024))
log_bytes=$((40 * 1024 * 1024))
rest() { { head -c $log_at card.img; tail -c +$((log_at + log_bytes + 1)) card.img; } | sha256sum; }
before=$(rest)

replays=()
for _ in $(seq 540); do replays+=(--replay drive.csv); done
"$benchvan" drive --card card.img "${replays[@]}" --gap-minutes 50 --poll-hz 1

[ "$(rest)" = "$before" ] || { echo "FAILED: something beside the log was written"; exit 1; }
said=$(fsck.vfat -n card.img)
echo "$said"
[ "$(wc -l <<<"$said")" -eq 2 ] || { echo "FAILED: fsck.vfat complains"; exit 1; }
mcopy -n -i card.img ::ROUTE.BIN back.bin
cmp route.bin back.bin || { echo "FAILED: the file beside the log changed"; exit 1; }
"$packmile" check card.img --format json >check.json
/usr/bin/python3 - <<'PY'
import json
row = json.load(open("check.json"))["rows"][0]
print({key: row[key] for key in ("sectors_good", "sectors_damaged", "sectors_missing",
                                 "sectors_overwritten", "days_held", "days_until_full")})
ring = (40 * 1024 * 1024 // 512 - 32) // 32 * 32
assert row["sectors_damaged"] == row["sectors_missing"] == row["sectors_foreign"] == 0
assert ring - 64 <= row["sectors_good"] <= ring + 1 and row["sectors_overwritten"] > 0
assert row["days_held"] > 20
PY
