#!/bin/bash
# Cards prepared, filled, checked, imported, released and prepared again, on
# folders, images and devices; whole-card images that others made; what must not
# be destroyed; preparing that is cut off. fsck.vfat has nothing to say of any.
#
#   card_prepare.sh PACKMILE BENCHVAN
set -u
packmile=$1
benchvan=$2
export PATH=$PATH:/usr/sbin:/sbin MTOOLS_SKIP_CHECK=1
unset PACKMILE_DEPOT
work=$(mktemp -d) || exit 1
loop=
mounted=
tidy() {
  [ -z "$mounted" ] || umount "$mounted"
  [ -z "$loop" ] || losetup -d "$loop"
  rm -rf "$work"
}
trap tidy EXIT
cd "$work" || exit 1
failures=0

fails() {
  echo "FAILED: $*"
  sed 's/^/    /' out err
  failures=$((failures + 1))
}

# run CODE COMMAND...: output in out and err, nobody at the terminal.
run() {
  local want=$1
  shift
  timeout 120 "$@" >out 2>err </dev/null
  local got=$?
  [ "$got" -eq "$want" ] || fails "exit $got instead of $want: ${*:2}"
}

# says FILE WORDS...
says() { grep -qE -- "$2" "$1" || fails "does not say '$2'"; }

# clean CARD: not one complaint. What fsck.vfat says of a sound card is its
# version and the count of files.
clean() {
  fsck.vfat -n "$1" >out 2>err || fails "fsck.vfat $1"
  [ "$(cat out err | wc -l)" -eq 2 ] || fails "fsck.vfat complains of $1"
}

for program in mkfs.vfat fsck.vfat mcopy sfdisk; do
  command -v $program >/dev/null || { echo "SKIPPED: no $program here"; exit 77; }
done

/usr/bin/python3 - <<'PY'
import math
with open("drive.csv", "w") as f:
    f.write("time_s,speed_kmh,pack_v,pack_a,soc_pct,ambient_c\n")
    for k in range(0, 3000):
        t = k * 0.1
        v = 30 - 30 * math.cos(t * 2 * math.pi / 60)
        i = 5 + 0.4 * v + v * math.sin(t * 2 * math.pi / 60)
        f.write(f"{t:.1f},{v:.2f},{370 - 0.09 * i:.3f},{i:.2f},{80 - t * 0.003:.3f},12\n")
PY
drive() { run 0 "$benchvan" drive --card "$1" --replay drive.csv --start "$2"; }
run 0 "$packmile" new depot --zone Europe/London

# A month in a card's life. The card is prepared now, so the drives come later.
day=$(date -u -d '+2 days' +%F)
run 0 "$packmile" card prepare linden.img --van Linden --size-mb 64 --depot depot
says err 'does not know van Linden'
says err '^name = "Linden"'
says out 'prepared for van Linden: card [0-9A-F]{8}, a log of 64 MB'
says out 'next: .*packmile check linden.img'
[ "$(du -k linden.img | cut -f1)" -lt 8192 ] || fails "the image is not sparse"
clean linden.img
run 0 "$packmile" check linden.img
says out 'van +Linden'
says out 'no_data_yet'
run 0 "$packmile" card release linden.img --depot depot
says out '\(0\)'
run 0 "$packmile" sectors linden.img --address 0
says out 'kind *settings'
drive linden.img "${day}T06:00:00Z"
clean linden.img
run 0 "$packmile" check linden.img --format json
good=$(/usr/bin/python3 -c 'import json; print(json.load(open("out"))["rows"][0]["sectors_good"])')
[ "$good" -gt 20 ] || fails "only $good sectors on the card after a drive"
sum=$(md5sum <linden.img)
run 3 "$packmile" card release linden.img --depot depot
says err "card [0-9A-F]{8} holds $((good - 1)) good sectors of van Linden, $day to $day"
says err 'packmile import linden.img'
for yes in '' --yes; do
  run 3 "$packmile" card prepare linden.img --van Rowan $yes --depot depot
  says err "not prepared: card [0-9A-F]{8} holds $((good - 1)) good sectors of van Linden, $day"
  says err 'packmile import linden.img'
done
run 3 "$packmile" card prepare linden.img --van Rowan --yes
says err 'no depot'
run 3 "$packmile" card release linden.img
run 1 "$packmile" card prepare linden.img --van Rowan --yes --depot nowhere
[ "$sum" = "$(md5sum <linden.img)" ] || fails "a refusal changed the card"
run 0 "$packmile" import linden.img --depot depot
says err "imported $good sectors"
run 0 "$packmile" card release linden.img --depot depot
says out "every good sector \($((good - 1))\) is in the archive .*depot/archive: the card may"
PACKMILE_DEPOT=depot run 0 "$packmile" card release linden.img
drive linden.img "${day}T16:00:00Z"
run 3 "$packmile" card prepare linden.img --van Rowan --yes --depot depot
run 0 "$packmile" import linden.img --depot depot
run 2 "$packmile" card prepare linden.img --van Rowan --depot depot
says err '--yes'
run 0 "$packmile" card prepare linden.img --van Rowan --size-mb 64 --yes --depot depot
says err 'all of it will be gone'
run 0 "$packmile" check linden.img
says out 'van +Rowan'
says out 'no_data_yet'
grep -q older_log out && fails "the old log shows through"
clean linden.img

# Words that cannot be right change nothing.
run 2 "$packmile" card prepare x.img --van ''
run 2 "$packmile" card prepare x.img --van "$(printf 'x%.0s' {1..41})"
run 2 "$packmile" card prepare x.img --van $'bad\xff'
run 2 "$packmile" card prepare x.img --van $'two\nlines'
for mb in 0 4096 -1 5x ''; do run 2 "$packmile" card prepare x.img --van A --size-mb "$mb"; done
run 2 "$packmile" card prepare --van A
run 2 "$packmile" card prepare x.img
run 2 "$packmile" card prepare x.img --van A --yess
says err "did you mean '--yes'"
run 2 "$packmile" card
run 2 "$packmile" card prepar x.img
says err "did you mean 'card prepare'"
run 1 "$packmile" card prepare none/x.img --van A
run 1 "$packmile" card prepare /dev/packmile-none --van A
run 1 "$packmile" card prepare /dev/null --van A
run 1 "$packmile" card release none.img
[ ! -e x.img ] || fails "a usage error made an image"
for command in prepare release; do
  run 0 "$packmile" card $command --help
  [ "$(grep -c "^  packmile card $command" out)" -eq 3 ] || fails "help of $command: no three examples"
done

# A file that is no card is not lost without a question either; an empty one is.
echo precious >note.txt
run 2 "$packmile" card prepare note.txt --van A
[ "$(cat note.txt)" = precious ] || fails "a small file was replaced without a question"
: >empty.img
run 0 "$packmile" card prepare empty.img --van A --size-mb 1
clean empty.img

# A mounted folder.
mkdir folder
echo keep >folder/readme.txt
run 0 "$packmile" card prepare folder --van Linden --size-mb 4 --depot depot
[ "$(stat -c %s folder/PACKMILE.LOG)" -eq 4194304 ] || fails "the log is not 4 MB long"
[ "$(du -k folder/PACKMILE.LOG | cut -f1)" -ge 4096 ] || fails "the log is not written in full"
[ "$(ls folder | wc -l)" -eq 2 ] || fails "more than the log in the folder"
drive folder/PACKMILE.LOG "${day}T06:00:00Z"
run 3 "$packmile" card prepare folder --van Rowan --yes --depot depot
says err 'holds [0-9]+ good sectors of van Linden'
run 0 "$packmile" import folder --depot depot
mv folder/PACKMILE.LOG folder/packmile.log
run 2 "$packmile" card prepare folder --van Rowan --depot depot
run 0 "$packmile" card prepare folder --van Rowan --size-mb 2 --yes --depot depot
[ "$(ls folder)" = "$(printf 'PACKMILE.LOG\nreadme.txt')" ] || fails "a log in small letters stayed"
run 0 "$packmile" check folder
says out 'van +Rowan'

# Cards that others formatted, with other files on them: superfloppy and
# partition table, three cluster sizes, a log between files.
run 0 "$benchvan" drive --card plain.log --replay drive.csv
head -c $((2 << 20)) plain.log >log.2m
run 0 "$packmile" check log.2m --format json
sed 's/"card":"[^"]*"//' out >want.json
whole=$(/usr/bin/python3 -c 'import json; print(json.load(open("out"))["rows"][0]["sectors_good"])')
head -c 700000 /dev/urandom >other.bin
for layout in superfloppy table; do
  for clusters in 1:50 8:300 64:2200; do
    card=$layout-${clusters%:*}.img
    at=0
    truncate -s "${clusters#*:}M" "$card"
    if [ $layout = table ]; then
      at=$((2048 * 512))
      printf '2048,,c\n' | sfdisk -q "$card" >out 2>err || fails "sfdisk"
      mkfs.vfat -F 32 -s "${clusters%:*}" --offset 2048 "$card" \
        $((${clusters#*:} * 1024 - 1024)) >out 2>err || fails "mkfs.vfat"
    else
      mkfs.vfat -F 32 -s "${clusters%:*}" "$card" >out 2>err || fails "mkfs.vfat"
    fi
    mcopy -i "$card@@$at" other.bin ::/before.bin
    mcopy -i "$card@@$at" log.2m ::/PACKMILE.LOG
    mcopy -i "$card@@$at" other.bin ::/after.bin
    run 0 "$packmile" check "$card" --format json
    sed 's/"card":"[^"]*"//' out | cmp -s - want.json || fails "$card is not judged as its log is"
    run 3 "$packmile" card prepare "$card" --van Rowan --yes --depot depot
  done
done
run 0 "$packmile" import superfloppy-1.img --depot depot
for card in superfloppy-8.img table-64.img; do
  run 0 "$packmile" card release $card --depot depot
  run 0 "$packmile" card prepare $card --van Rowan --size-mb 16 --yes --depot depot
  clean $card
  run 0 "$packmile" check $card
  says out 'no_data_yet'
done

# In pieces on purpose: the whole card is searched, nothing is lost.
truncate -s 50M pieces.img
mkfs.vfat -F 32 -s 1 pieces.img >out 2>err
head -c 1200000 /dev/urandom >fill.bin
for k in 1 2 3; do mcopy -i pieces.img fill.bin ::/fill$k.bin; done
clean pieces.img
free=$(sed -n 's|.* \([0-9]*\)/\([0-9]*\) clusters|\2 - \1|p' out)
head -c $(((free) * 512 - 512)) /dev/zero | mcopy -i pieces.img - ::/rest.bin
mdel -i pieces.img ::/fill1.bin ::/fill3.bin
mcopy -i pieces.img log.2m ::/PACKMILE.LOG || fails "mcopy in pieces"
clean pieces.img
timeout 60 "$packmile" check pieces.img --format json >out 2>err
/usr/bin/python3 - "$whole" <<'PY' || fails "pieces.img: not every sector was found"
import json, sys
row = json.load(open("out"))["rows"][0]
assert row["sectors_good"] == int(sys.argv[1]), row
PY
run 1 "$benchvan" drive --card pieces.img --replay drive.csv
says err 'pieces|fragment'

# A log that was deleted, outside the log file of today: not destroyed either.
run 0 "$benchvan" drive --card second.log --replay drive.csv --vin 1M8GDM9AXKP042788
truncate -s 50M left.img
mkfs.vfat -F 32 -s 1 left.img >out 2>err
head -c $((2 << 20)) second.log | mcopy -i left.img - ::/PACKMILE.LOG
mdel -i left.img ::/PACKMILE.LOG
head -c 3000000 other.bin | mcopy -i left.img - ::/fill.bin
run 3 "$packmile" card release left.img --depot depot
run 3 "$packmile" card prepare left.img --van Rowan --yes --depot depot
# What else lies around it is damage to a reader of the whole: exit 3.
run 3 "$packmile" import left.img --depot depot
run 0 "$packmile" card release left.img --depot depot

# Killed at moments of its way: the old card, or one that is simply prepared.
seed=${PACKMILE_SEED:-$RANDOM}
RANDOM=$seed
echo "moments of the kill: seed $seed"
begin=$(date +%s%N)
run 0 "$packmile" card prepare folder --van Rowan --size-mb 64 --yes --depot depot
folder_ms=$((($(date +%s%N) - begin) / 1000000 + 1))
begin=$(date +%s%N)
run 0 "$packmile" card prepare kill.img --van Rowan --size-mb 8 --yes --depot depot
image_ms=$((($(date +%s%N) - begin) / 1000000 + 1))
# wait_ms LIMIT: a moment before it, drawn.
wait_ms() { sleep "$(printf '%d.%03d' 0 $((RANDOM % ($1 > 999 ? 999 : $1))))"; }
caught=0
for k in $(seq 1 30); do
  "$packmile" card prepare folder --van "Kill$k" --size-mb 64 --yes --depot depot >out 2>err &
  pid=$!
  wait_ms $folder_ms
  kill -9 $pid 2>/dev/null
  wait $pid 2>/dev/null
  [ $? -eq 137 ] && caught=$((caught + 1))
  run 0 "$packmile" check folder
  says out 'van +(Rowan|Kill[0-9]+)'
  "$packmile" card prepare kill.img --van "Kill$k" --size-mb 8 --yes --depot depot >out 2>err &
  pid=$!
  wait_ms $image_ms
  kill -9 $pid 2>/dev/null
  wait $pid 2>/dev/null
  if [ -e kill.img ]; then
    run 0 "$packmile" check kill.img
    clean kill.img
  fi
done
echo "killed in mid-way: $caught of 30, moments up to $folder_ms ms"
run 0 "$packmile" card prepare folder --van Linden --size-mb 2 --yes --depot depot
[ "$(ls folder)" = "$(printf 'PACKMILE.LOG\nreadme.txt')" ] || fails "a killed run left something"
run 0 "$packmile" card prepare kill.img --van Linden --size-mb 8 --yes --depot depot
clean kill.img
[ ! -e kill.img.preparing ] || fails "a killed run left its working file"

# Someone writes the card.
(flock 9 && sleep 20) 9<kill.img &
holder=$!
for k in 1 2 3 4 5 6 7 8 9 10; do
  flock -n kill.img true || break
  sleep 0.1
done
run 1 "$packmile" card prepare kill.img --van Linden --yes --depot depot
says err 'stop it first'
kill $holder
wait $holder 2>/dev/null

# A full disk: the old card stays.
mkdir small
if [ "$(id -u)" -eq 0 ] && mount -t tmpfs -o size=6m none small 2>err; then
  mounted=$work/small
  run 1 "$packmile" card prepare small --van Linden --size-mb 7
  says err 'no room'
  run 0 "$packmile" card prepare small --van Linden --size-mb 1
  run 0 "$packmile" card prepare small/card.img --van Linden --size-mb 8
  sum=$(md5sum <small/card.img)
  run 1 "$packmile" card prepare small/card.img --van Rowan --size-mb 4000 --yes
  says err 'mkfs.vfat could not make|No space left'
  [ "$sum" = "$(md5sum <small/card.img)" ] || fails "a full disk changed the card"
  [ "$(ls small | wc -l)" -eq 2 ] || fails "a full disk leaves files behind"
  umount small && mounted=
else
  echo "SKIPPED the full disk: it takes root and a tmpfs"
fi

# A block device.
truncate -s 80M device.img
if [ "$(id -u)" -eq 0 ] && loop=$(losetup -f --show device.img 2>err) && [ -n "$loop" ]; then
  run 2 "$packmile" card prepare "$loop" --van Linden
  says err '--yes'
  run 1 "$packmile" card prepare "$loop" --van Linden --size-mb 100 --yes
  says err 'no room'
  run 0 "$packmile" card prepare "$loop" --van Linden --yes
  clean "$loop"
  run 0 "$packmile" check "$loop"
  says out 'no_data_yet'
  losetup -d "$loop"
  drive device.img "${day}T06:00:00Z"
  loop=$(losetup -f --show device.img)
  run 3 "$packmile" card prepare "$loop" --van Rowan --yes --depot depot
  run 0 "$packmile" import "$loop" --depot depot
  run 0 "$packmile" card release "$loop" --depot depot
  for k in 1 2 3 4 5 6; do
    "$packmile" card prepare "$loop" --van Rowan --yes --depot depot >out 2>err &
    pid=$!
    wait_ms $folder_ms
    kill -9 $pid 2>/dev/null
    wait $pid 2>/dev/null
    # Its mkfs.vfat may still be at work: the device is then in use.
    for try in $(seq 1 50); do
      "$packmile" card release "$loop" --depot depot >out 2>err && break
      sleep 0.1
    done
    run 0 "$packmile" card release "$loop" --depot depot
  done
  run 0 "$packmile" card prepare "$loop" --van Rowan --yes --depot depot
  clean "$loop"
  run 0 "$packmile" check "$loop"
  says out 'van +Rowan'
  says out 'no_data_yet'
  mkfs.ext4 -q -F "$loop" >out 2>err
  if mount "$loop" small 2>err; then
    mounted=$work/small
    run 1 "$packmile" card prepare "$loop" --van Rowan --yes --depot depot
    says err 'is mounted at'
    umount small && mounted=
  fi
  losetup -d "$loop" && loop=
else
  loop=
  echo "SKIPPED the block device: it takes root and a loop device"
fi

[ "$failures" -eq 0 ] || { echo "$failures failures"; exit 1; }
echo "cards are prepared and released as they should be"
