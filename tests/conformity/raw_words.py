#!/usr/bin/env python3
"""Reads a card with protoc alone and finds the raw words of `packmile samples`.

    raw_words.py BIN DATA PROTO_DIR
"""
import collections
import re
import subprocess
import sys

from programs import Bin, need, run, workspace

BYTES = {"PACK_V": 2, "PACK_A": 2, "MODULE_V": 2, "RUN_TIME_S": 2, "ODOMETER_KM": 4,
         "MONITOR_STATUS": 4}  # FORMAT.md; all others that a bench van answers are one byte


def columns(block):
    """The rows of one block from protoc's text: (ecu, signal, tick offset, word)."""
    field = collections.defaultdict(list)
    for name, value in re.findall(r"(\w+): (\S+)", block):
        field[name].append(value)
    step, tick, ticks = int((field["period_ms"] or [0])[0]), 0, []
    for i, change in enumerate(map(int, field["time"])):
        step += change if i else 0
        tick += step if i else change
        ticks.append(tick)
    for k, signal in enumerate(field["signal"]):
        modulus, word, words = 256 ** BYTES.get(signal, 1), 0, []
        for delta in map(int, field[f"c{k}"]):
            words.append(word := (word + delta) % modulus)
        lengths = list(map(int, field[f"n{k}"]))
        for run_number, delta in enumerate(map(int, field[f"r{k}"])):
            word = (word + delta) % modulus
            left = len(ticks) - len(words)
            words += [word] * (lengths[run_number] if run_number < len(lengths) else left)
        assert len(words) == len(ticks)
        for tick_ms, word in zip(ticks, words):
            yield int(field["ecu"][0]), signal.lower(), tick_ms, word


def main():
    programs, proto = Bin(sys.argv[1]), sys.argv[3]
    drive = need(sys.argv[2] + "/drive-i3-B13.csv", "the measured drive")
    with workspace() as folder:
        card = folder + "/card.log"
        programs.drive(card, "--replay", drive)
        ours = collections.Counter((r["ecu"], r["signal"], r["tick_ms"], r["raw"])
                                   for r in programs.rows("samples", card))
        theirs, records = collections.Counter(), 0
        good = programs.rows("check", card)[0]["sectors_good"]
        for address in [0] + list(range(32, 32 + good + 64)):
            raw = subprocess.run([programs.packmile, "sectors", card, "--address", str(address),
                                  "--raw"], capture_output=True)
            if raw.returncode != 0:
                continue
            text = run("protoc", "--decode", "packmile.Record", "-I", proto, "packmile.proto",
                       input=raw.stdout).stdout.decode()
            records += 1
            base = int((re.search(r"^base_ms: (\d+)", text, re.M) or [0, 0])[1])
            for block in re.findall(r"^block \{(.*?)^\}", text, re.M | re.S):
                for ecu, signal, tick, word in columns(block):
                    theirs[f"{ecu:X}", signal, base + tick, word] += 1
    print(f"{records} records read by protoc, {sum(theirs.values())} words, "
          f"{sum(ours.values())} rows of samples")
    assert records == good and sum(ours.values()) > 1000
    assert ours == theirs, list((ours - theirs).items())[:5] + list((theirs - ours).items())[:5]


main()
