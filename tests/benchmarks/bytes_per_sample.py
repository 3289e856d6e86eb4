#!/usr/bin/env python3
"""Bytes on the card per sample while driving.

    bytes_per_sample.py BIN [REPLAY.csv ...]

Replays drives through the logger core (or, without files, one made-up day of
the bench van) at 5 and 2 Hz and divides the payload bytes of the samples
sectors by the samples in them. A sample is one signal's value with its time.
The second figure leaves out $9A's support and state bytes, which never change
and so cost next to nothing: it is the stricter one. The goals are 1.8 bytes at
5 Hz and 2.3 at 2 Hz, in sectors that close when 10 s old.
"""
import csv
import io
import pathlib
import struct
import sys

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "conformity"))
from programs import Bin, run, workspace  # noqa: E402


def payloads(card):
    """(kind, payload bytes) of the sectors of the ring up to the first blank one after data."""
    with open(card, "rb") as log:
        log.seek(32 * 512)
        while sector := log.read(512):
            magic, _, kind, size = struct.unpack_from("<IBBH", sector)
            if magic == 0x474C4D50:
                yield kind, size
            elif not any(sector) and log.tell() > 4 << 20:
                return


def main():
    programs, files = Bin(sys.argv[1]), sys.argv[2:]
    for hz in (5, 2):
        sizes, samples, strict = [], 0, 0
        with workspace() as folder:
            cards = []
            for i, path in enumerate(files):
                cards.append(f"{folder}/{i}.log")
                programs.drive(cards[-1], "--replay", path, "--poll-hz", str(hz))
            for card in cards:
                found = list(payloads(card))
                sizes += [size for kind, size in found if kind == 1]
                text = run(programs.packmile, "samples", card, "--format", "csv").stdout.decode()
                for row in csv.DictReader(io.StringIO(text)):
                    samples += 1
                    strict += row["signal"] not in ("pack_support", "pack_state")
        print(f"{hz} Hz: {len(sizes)} sectors of samples, {sum(sizes)} payload bytes, {samples} samples: "
              f"{sum(sizes) / samples:.3f} bytes a sample; {sum(sizes) / strict:.3f} without support and "
              f"state bytes; {512 * len(sizes) / samples:.3f} with whole sectors")


main()
