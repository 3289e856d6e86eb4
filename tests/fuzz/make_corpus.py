#!/usr/bin/python3
"""Writes the binary seed inputs of the fuzz targets:

    make_corpus.py FOLDER        (in the tree: tests/fuzz/corpus)

The text seeds (slcan, replay, fleet, port_settings, notes) are written by hand and lie
beside them. Bytes are put together here from proto/FORMAT.md and packmile.proto,
with no code of ours; the layout of an input that a target takes apart stands in
the file comment of that target.
"""
import pathlib
import random
import struct
import sys


def varint(value):
    value &= (1 << 64) - 1
    out = bytearray()
    while value >= 0x80:
        out.append(value & 0x7F | 0x80)
        value >>= 7
    out.append(value)
    return bytes(out)


def zigzag(value):
    return varint(value << 1 if value >= 0 else (-value << 1) - 1)


def number(field, value):
    return varint(field << 3) + varint(value)


def chunk(field, content):
    return varint(field << 3 | 2) + varint(len(content)) + content


def packed(field, values, one=varint):
    return chunk(field, b"".join(one(v) for v in values))


def block(ecu, signals, period, times, columns):
    """columns: for each signal ('c', deltas) or ('r', changes, lengths)."""
    out = number(1, ecu) + packed(2, signals) + (number(3, period) if period else b"")
    out += packed(4, times, zigzag)
    for k, column in enumerate(columns):
        if column[0] == "c":
            out += packed(5 + k, column[1], zigzag)
    for k, column in enumerate(columns):
        if column[0] == "r":
            out += packed(11 + k, column[1], zigzag)
    for k, column in enumerate(columns):
        if column[0] == "r" and column[2]:
            out += packed(17 + k, column[2])
    return chunk(2, out)


WORKED = number(1, 61000) + block(
    0x7E8, [3, 4, 1, 2, 5], 200, [0, 0, 1],
    [("r", [6], []), ("r", [0], []), ("c", [22400, -2, 18]), ("c", [250, 10, -265]),
     ("c", [50, 1, 0])]) + block(
         0x7E8, [6, 9], 5000, [13], [("r", [200], []), ("c", [14000])])


def long_record():
    rows = 40
    return number(1, 1 << 40) + block(
        0x18DAF110, [5, 7, 1002], 0, [5] + [200] + [0] * (rows - 2),
        [("c", [1] * rows), ("r", [123456, 1, 1], [13, 12]), ("c", [-1] + [70000, -70000] * 19 + [3])])


def records():
    yield "worked", WORKED
    yield "long", long_record()
    yield "dropped", WORKED + number(5, 300)
    yield "unknown_fields", WORKED + number(99, 5) + chunk(100, b"abc") + b"\x8d\x06abcd"
    yield "twice_base", number(1, 5) + WORKED
    yield "eight_blocks", b"".join(
        block(0x7E8 + i, [1 + i], 200, [0, 0], [("c", [i, 1])]) for i in range(8))
    yield "nine_blocks", b"".join(
        block(0x7E8 + i, [1 + i], 200, [0, 0], [("c", [i, 1])]) for i in range(9))
    yield "six_signals", block(0x7E8, [1, 2, 3, 4, 5, 6], 200, [0, 3, -3],
                               [("c", [1, 2, 3])] * 6)
    yield "seven_signals", block(0x7E8, [1, 2, 3, 4, 5, 6, 7], 200, [0], [("c", [1])] * 6)
    yield "unpacked", chunk(2, number(1, 0x7E8) + number(2, 5) + number(4, 0) + number(5, 4))
    yield "columns_unequal", block(0x7E8, [1, 2], 200, [0, 0, 0], [("c", [1, 2]), ("c", [1])])
    yield "runs_too_long", block(0x7E8, [6], 200, [0, 0], [("r", [6, 1], [9])])
    yield "runs_of_none", block(0x7E8, [6], 200, [0, 0], [("r", [6, 1], [0])])
    yield "empty_column", block(0x7E8, [6], 200, [0], [("c", [])])
    yield "negative_first_time", block(0x7E8, [6], 200, [-1], [("c", [1])])
    yield "step_back", block(0x7E8, [6], 200, [0, -201], [("c", [1, 1])])
    yield "wraps", block(0x7E8, [1, 7, 5], 200, [0, 0],
                         [("c", [65535, 1]), ("c", [-1, 1]), ("c", [255, -256])])


def settings():
    full = (chunk(1, "Mangle & Fold 3".encode()) + number(2, 1768471200000) + number(3, 200)
            + number(4, 5000) + number(5, 10000) + number(6, 30000) + number(7, 1))
    yield "full", chunk(4, full)
    yield "empty", chunk(4, b"")
    yield "zero_period", chunk(4, number(3, 0))
    yield "utf8", chunk(4, chunk(1, "Wäscherei Größe".encode()))
    yield "not_utf8", chunk(4, chunk(1, b"\xc0\xaf\xed\xa0\x80"))
    yield "twice", chunk(4, number(5, 2000)) + chunk(4, number(6, 3000))
    yield "unknown", chunk(4, number(8, 1))
    yield "too_long", chunk(4, chunk(1, b"x" * 41))
    yield "wide_key", chunk(4, b"\x98\x80\x80\x80\x80\x00" + varint(200))
    yield "samples", WORKED


CRC_TABLE = []
for n in range(256):
    for _ in range(8):
        n = n >> 1 ^ (0x82F63B78 if n & 1 else 0)
    CRC_TABLE.append(n)


def crc32c(data):
    crc = 0xFFFFFFFF
    for byte in data:
        crc = crc >> 8 ^ CRC_TABLE[(crc ^ byte) & 0xFF]
    return crc ^ 0xFFFFFFFF


def sector(kind, payload, sequence=33, version=1, length=None, ring=64):
    head = struct.pack("<4sBBHIIIII", b"PMLG", version, kind,
                       len(payload) if length is None else length, 0x20260105, 0x0BADCAFE,
                       sequence, ring, 0x9B51B34F)
    body = (head + payload).ljust(508, b"\0")
    return body + struct.pack("<I", crc32c(body))


def sectors():
    yield "samples", sector(1, WORKED)
    yield "settings", sector(3, dict(settings())["full"])
    yield "newer", sector(1, WORKED, version=2)
    yield "no_such_kind", sector(9, WORKED)
    yield "too_long", sector(1, WORKED, length=481)
    yield "odd_ring", sector(1, WORKED, ring=65)
    yield "damaged", sector(1, WORKED)[:-1] + b"\0"
    yield "blank", b""
    yield "erased", b"\xff" * 512


def isotp():
    def first(length, data):
        return bytes([0x08, 0x10 | length >> 8, length & 0xFF]) + data[:6]

    # 0C: eight bytes, the sequence number that is due.
    def follow(data):
        return bytes([0x0C, 0x20]) + data[:7].ljust(7, b"\xcc")

    text = bytes(range(0x41, 0x41 + 80)) * 2
    yield "single", bytes([0x08, 0x03, 0x41, 0x0D, 0x32]) + b"\xcc" * 4
    yield "vin", first(20, text) + follow(text[6:]) + follow(text[13:])
    yield "longest", first(160, text) + b"".join(follow(text[i:]) for i in range(6, 160, 7))
    yield "too_long", first(161, text)
    yield "wide_length", bytes([0x08, 0x10, 0, 0, 0, 0x10, 0, 1, 2])
    yield "wrong_sn", first(20, text) + bytes([0x08, 0x25]) + text[:7]
    yield "late", first(20, text) + bytes([0x83]) + struct.pack("<H", 1000)
    yield "in_between", first(20, text) + bytes([0x08, 0x02, 0x41, 0x00]) + text[:5]
    yield "other_id", bytes([0x38, 0xE9, 0x07]) + text[:8]
    yield "short_frames", bytes([0x00, 3, 0x02, 1, 2, 3, 4, 5, 6, 7])


def pids():
    yield "pack_and_speed", bytes.fromhex("41 9A 06 00 57 80 00 FA 0D 32")
    yield "soc", bytes.fromhex("41 5B C8")
    yield "odometer", bytes.fromhex("41 A6 00 01 E2 40 42 36 B0")
    yield "unknown", bytes.fromhex("41 EE 01 02")
    yield "unknown_layout", bytes.fromhex("41 B2 01 02 03")
    yield "cut_off", bytes.fromhex("41 0D 32 9A 06 00")
    yield "many", bytes.fromhex("41") + bytes.fromhex("0D 32") * 7
    yield "bitmaps", bytes.fromhex("00 BE 3E B8 11 20 80 01 80 01 40 00 00 00 01")
    yield "pending", bytes.fromhex("7F 01 78")
    yield "refused", bytes.fromhex("7F 09 12")


def cards():
    def step(what, payload, more=b""):
        half = (len(payload) + 1) // 2
        return bytes([what]) + more + bytes([half]) + payload.ljust(2 * half, b"\0")

    session = chunk(3, number(1, 1000) + chunk(2, b"0.1.0") + chunk(3, b"Van 3")
                    + chunk(4, b"1M8GDM9AXKP042788")
                    + chunk(6, number(1, 3) + number(2, 1768471200000) + number(3, 900)))
    head = bytes([0, 0]) + step(4, dict(settings())["full"])
    even = WORKED + (b"" if len(WORKED) % 2 == 0 else number(5, 1))
    drive = step(3, session) + step(0, even) * 4
    yield "drive", head + drive
    yield "image", bytes([0, 2]) + step(4, dict(settings())["full"]) + drive
    yield "two_boots", head + drive + step(3 | 0x08 | 0x10, session, bytes([1, 27, 0])) + drive
    yield "lap", head + step(0, even) * 40
    yield "another_card", head + drive + step(0x80, even) * 2
    yield "copied_and_flipped", head + drive + bytes([5, 33, 35, 7, 100, 0, 34])
    yield "cut_off", head + drive + bytes([0xF7]) + struct.pack("<H", 33 * 512 + 100)
    yield "noise", head + drive + bytes([6, 36, 0, 0, 60]) + bytes(range(60))


def extents():
    def card(how, at, cluster, reserved, clusters, times, root, log, sectors, entry, more=b""):
        out = bytes([how])
        if how & 1:
            out += struct.pack("<H", at)
        out += bytes([cluster, reserved]) + struct.pack("<HB", clusters, times)
        out += struct.pack("<HHH", root, log, sectors)
        if how & 4:
            out += b"\x07"
        out += bytes([entry])
        return out + more

    plain = (0x02, 0, 3, 30, 4000, 0, 0, 9, 640, 2)
    yield "whole_card", card(*plain)
    yield "partition", card(0x03, 2047, 3, 30, 4000, 0, 0, 9, 640, 2)
    yield "long_log", card(0x02, 0, 0, 30, 60000, 3, 60000, 5, 65000, 20)
    yield "odd_size", card(0x06, 0, 6, 1, 300, 0, 7, 100, 999, 0)
    yield "one_fat", card(0x00, 0, 3, 30, 4000, 0, 0, 9, 640, 2)
    yield "too_small", card(0x02, 0, 3, 30, 4000, 0, 0, 9, 63, 2)
    yield "unreadable_fat", card(*plain, b"\xf3\x00\x00")
    yield "fragmented", card(*plain, bytes([0x63, 0, 0]) + struct.pack("<H", 4 * 13) + b"\x80\x02\0\0")
    yield "cut_off", card(0x0A, *plain[1:9], plain[9])[:-1] + bytes([2]) + struct.pack("<I", 500)


def encoded():
    rng = random.Random(20260105)
    for name, keys, rows in (("drive", 2, 60), ("many_sets", 9, 60), ("wild", 4, 40)):
        out = bytes([keys - 1])
        for key in range(keys):
            how = key << 4 & 0x70 | (4 if name != "wild" else 13)
            out += bytes([how])
            out += bytes(rng.randrange(0xF0) for _ in range(1 + how % 6))
            if how & 8:
                out += struct.pack("<I", rng.randrange(1 << 32))
        out += bytes([0]) + struct.pack("<H", 1000)
        for row in range(rows):
            wide = name == "wild" or row < keys
            out += bytes([row % keys | (0x10 if wide else 0x20), 200])
            out += bytes(rng.randrange(256) for _ in range(24 if wide else 6))
        yield name, out
    # One signal that seldom changes: the length of a run takes two bytes from 128 on.
    out = bytes([0, 0, 5, 0]) + struct.pack("<H", 1000)
    for rows in (128, 3, 127, 3):  # a sector ends after 254 rows of one byte
        out += bytes([0x20, 200, 129]) + bytes([0x00, 200]) * (rows - 1)
    yield "long_runs", out


def sessions():
    rng = random.Random(20260106)

    def some(count):
        return bytes(rng.randrange(256) for _ in range(count))

    yield "small", bytes([0x00]) + some(8) + bytes([4]) + some(4)
    # Everything at its longest: eight ECUs, twenty polls, counters of five bytes.
    full = bytes([0xE1]) + b"\xff" * 8 + bytes([40]) + some(40) + b"\x02" + b"\xff" * 20
    full += b"\xf4\x01" + (b"\xff" * 5) * 15 + b"\xff\xff" + bytes([17]) + some(17) + bytes([8])
    for _ in range(8):
        full += b"\xf0\xf1\xda\x18" + bytes([20]) + some(20) + bytes([16]) + some(16)
        full += b"\xff" + some(32)
    full += bytes([20])
    for _ in range(20):
        full += bytes([5]) + b"\xf0\xf1\xda\x18" + b"\xff" * 4 + some(6)
    yield "full", full + b"\xff" * 5


def sd_cards():
    # After so many bytes as they are: one is changed, or a run of them.
    for kind in range(4):
        for name, first in (("start", kind), ("work", 0x80 | kind)):
            yield f"{name}_{kind}", bytes([first]) + b"\xff\xff"
            out = bytes([first]) + struct.pack("<H", 20 + 9 * kind)
            for change in (0x01, 0xFE, 0xFF, 0x05, 0x08, 0x80):
                out += bytes([change, 0x80, 40 + change // 2])
            yield f"{name}_now_and_then_{kind}", out
            yield f"{name}_run_{kind}", bytes([first]) + struct.pack("<H", 15) + bytes([0xFF, 0]) * 40


def main():
    folder = pathlib.Path(sys.argv[1])
    for target, seeds in (("record", records()), ("settings", settings()), ("sector", sectors()),
                          ("isotp", isotp()), ("pid", pids()), ("card", cards()),
                          ("log_extent", extents()), ("encoder", encoded()),
                          ("session", sessions()), ("sd_card", sd_cards())):
        (folder / target).mkdir(parents=True, exist_ok=True)
        for name, seed in seeds:
            (folder / target / name).write_bytes(seed)


main()
