#!/bin/bash
# Signals that an owner defines in fleet.toml: onto a card, read back by protoc with
# no code of ours, listed by check and signals; mistakes and lists that do not fit
# are refused before a card is touched. What is defined here is invented.
#
#   owners_signals.sh PACKMILE PROTO_FOLDER
set -u
packmile=$1
proto=$2
export PATH=$PATH:/usr/sbin:/sbin
unset PACKMILE_DEPOT
work=$(mktemp -d) || exit 1
trap 'rm -rf "$work"' EXIT
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
says_not() { ! grep -qE -- "$2" "$1" || fails "says '$2'"; }

for program in mkfs.vfat protoc; do
  command -v $program >/dev/null || { echo "SKIPPED: no $program here"; exit 77; }
done

# settings CARD: the record of its settings sector, as protoc reads it.
settings() {
  "$packmile" sectors "$1" --address 0 --raw |
    protoc --decode packmile.Record -I "$proto" packmile.proto >out 2>err || fails "protoc of $1"
}

run 0 "$packmile" new depot --zone Europe/London
cat >>depot/fleet.toml <<'TOML'
[[van]]
name = "Linden"
[[van]]
name = "Cedar"
[[signal]]
role = "pack_a"
vans = ["Linden"]
ecu = 0x7E4
did = 0xF00D
first_byte = 1
bytes = 2
byte_order = "little"
signed = true
scale = 0.025
offset = -10
period_ms = 100
[[signal]]
role = "soc"
name = "soc_shown"
ecu = 0x18DA10F1
did = 0xF00E
bytes = 2
first_bit = 4
bits = 10
scale = 0.1
[[signal]]
name = "doors"
vans = ["Cedar"]
ecu = 0x7E4
did = 0xF00F
bytes = 1
TOML

run 0 "$packmile" card prepare linden.img --van Linden --size-mb 1 --depot depot
says out '^owner.s signals, read by service 22 alone:$'
says out '^  pack_a: identifier F00D of ECU 7E4, data bytes 1\.\.2; .*depot/fleet.toml:[0-9]+:1$'
says out '^  soc_shown: identifier F00E of ECU 18DA10F1, data bytes 0\.\.1; '
says_not out doors
settings linden.img
# 0.025 A in steps of 0.1 A, times 65536; -10 A in the same steps. 0.1 % in codes of
# 100 / 255 %, times 65536: 16711.68.
sed -n '/owners_signal/,/^  }/p' out >got
diff got - >out 2>err <<'TEXT' || fails "protoc reads something else"
  owners_signal {
    id: 1000
    request_id: 2020
    did: 61453
    first_byte: 1
    bytes: 2
    little_endian: true
    is_signed: true
    period_ms: 100
    role: ROLE_PACK_A
    scale: 0.025
    offset: -10
    name: "pack_a"
    unit: "A"
    code_scale_q16: 16384
    code_offset: -100
  }
  owners_signal {
    id: 1001
    request_id: 416944369
    did: 61454
    bytes: 2
    first_bit: 4
    bits: 10
    role: ROLE_SOC
    scale: 0.1
    name: "soc_shown"
    unit: "%"
    code_scale_q16: 16712
  }
TEXT
run 0 "$packmile" check linden.img --format json
says out '"settings_dids":\["F00D","F00E"\]'
run 0 "$packmile" signals --card linden.img --depot depot
says out '^pack_v +9A +F49A '
says out '^pack_a +pack_a +7E4 +F00D +1\.\.2 +all +little +two.s complement +0\.025 +-10 +A +100 ms +Linden +owner.s definition +linden.img: settings$'
says out '^soc_shown +soc +18DA10F1 +F00E +0\.\.1 +4\.\.13 +big +unsigned +0\.1 +0 +% +own +every +owner.s definition +.*depot/fleet.toml:[0-9]+:1$'
for format in csv json; do
  run 0 "$packmile" signals --card linden.img --depot depot --format $format
  mv out all.$format
done
/usr/bin/python3 - >out 2>err <<'PY' || fails "csv and json of signals"
import csv, json
rows = json.load(open("all.json"))["rows"]
table = list(csv.DictReader(open("all.csv")))
assert len(rows) == len(table), (len(rows), len(table))
for row, line in zip(rows, table):
    for key in ("signal", "pid", "did", "unit", "ecu", "role", "coding", "where", "confidence"):
        assert row[key] == line[key], (key, row, line)
    assert float(line["scale"]) == row["scale"] and int(line["bits"]) == row["bits"], row
owned = [row for row in rows if row["confidence"] == "owner's definition"]
assert [(r["signal"], r["number"], r["source"]) for r in owned] == [
    ("pack_a", None, "fleet.toml"), ("soc_shown", None, "fleet.toml"), ("doors", None, "fleet.toml"),
    ("pack_a", 1000, "card"), ("soc_shown", 1001, "card")], owned
assert all(row["did"] == "F4" + row["pid"] for row in rows if row["pid"]), rows
assert [r["vans"] for r in owned] == [["Linden"], [], ["Cedar"], ["Linden"], ["Linden"]], owned
PY
run 0 "$packmile" signals
says_not out owner
run 1 "$packmile" signals --depot nowhere
run 1 "$packmile" signals --card nowhere.img

# Whose is whose; a van that is not known has what every van has.
for van in Cedar:1000,1001 Rowan:1000; do
  run 0 "$packmile" card prepare ${van%:*}.img --van ${van%:*} --size-mb 1 --depot depot
  settings ${van%:*}.img
  [ "$(sed -n 's/^    id: //p' out | paste -sd,)" = "${van#*:}" ] || fails "signals of $van"
done
run 0 "$packmile" card prepare none.img --van Linden --size-mb 1
says_not out owner
settings none.img
says_not out owners_signal

# A list that does not fit, and one with a mistake: no card is made or changed.
sum=$(md5sum <linden.img)
cp depot/fleet.toml good.toml
for k in $(seq 10); do
  printf '[[signal]]\nname = "a_name_of_20_bytes_%s"\necu = 0x7E4\ndid = %s\nbytes = 1\n' "$k" "$k"
done >>depot/fleet.toml
for card in linden.img new.img; do
  run 1 "$packmile" card prepare $card --van Linden --size-mb 1 --yes --depot depot
  says err 'depot/fleet.toml: the settings are [0-9]+ bytes too long for their sector: 12 owner.s signals take [0-9]+ bytes of 480'
  says err "leave a signal of this van out, or shorten names and units .* the largest signal is 'pack_a'"
done
cp good.toml depot/fleet.toml
line=$(($(wc -l <good.toml) + 1))
printf '[[signal]]\nrole = "odometer"\necu = 0x7E4\ndid = "2E F00D"\nbytes = 4\nservice = 0x2E\n' >>depot/fleet.toml
for card in linden.img new.img; do
  run 1 "$packmile" card prepare $card --van Linden --size-mb 1 --yes --depot depot
  says err "depot/fleet.toml:$((line + 3)):7: did must be the data identifier alone, .*only service 22, which reads, is ever sent"
  says err "depot/fleet.toml:$((line + 5)):11: service cannot be chosen: only service 22, which reads, is ever sent"
done
run 1 "$packmile" signals --depot depot
says err "depot/fleet.toml:$((line + 3)):7: "
[ "$sum" = "$(md5sum <linden.img)" ] || fails "a refusal changed the card"
[ ! -e new.img ] || fails "a refusal made an image"

for command in signals 'card prepare'; do
  run 0 "$packmile" $command --help
  says out 'hardware-notes/signals\.md'
done

[ "$failures" -eq 0 ] || { echo "$failures failures"; exit 1; }
echo "owner's signals stand on cards as they were defined"
