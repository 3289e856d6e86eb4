#!/usr/bin/env python3
"""How the cards of this folder were made, once. Does not touch one that exists.

    make.py BIN
"""
import pathlib
import sys

HERE = pathlib.Path(__file__).parent
sys.path[:0] = [str(HERE.parent / "conformity"), str(HERE.parent / "faults")]
import log_tool  # noqa: E402
from made_up_drive import HEADER, write_drive  # noqa: E402
from programs import Bin, workspace  # noqa: E402

RING = 96
VIN = "0PMLVAN19T0000042"


def write_charge(path):
    with open(path, "w") as out:
        out.write(HEADER)
        for t in range(0, 1201, 5):
            current = -100.0 if t < 900 else -100.0 + (t - 900) * 0.25
            out.write(f"{t},0,{352 + t * 0.01:.3f},{current:.2f},{40 + t * 0.0165:.3f},9\n")


def main():
    programs = Bin(sys.argv[1])
    with workspace() as folder:
        drive, short, charge = f"{folder}/drive.csv", f"{folder}/short.csv", f"{folder}/charge.csv"
        write_drive(drive, seconds=300)
        write_drive(short, seconds=150)
        write_charge(charge)

        def card(name, replay, boots=1, poll_hz=5):
            path = HERE / name
            assert not path.exists(), f"{path} exists and stays"
            log_tool.prepare(path, RING, 0x60D00000 + len(name), "hazel", 1767225600000)
            for boot in range(boots):
                programs.drive(path, "--replay", replay, "--vin", VIN, "--start",
                               f"2026-02-{boot + 1:02}T07:00:00Z", "--odometer-km",
                               str(41000 + 20 * boot), "--poll-hz", str(poll_hz))
            return path

        card("drive.log", drive)
        card("charge.log", charge, poll_hz=1)
        laps = card("laps.log", short, boots=7)
        damaged = HERE / "damaged.log"
        assert not damaged.exists()
        content = bytearray(laps.read_bytes())

        def sector(ring_place):
            begin = (32 + ring_place) * 512
            return slice(begin, begin + 512)

        content[sector(3).start + 100] ^= 0x10
        content[sector(5)] = bytes(512)
        content[sector(40)] = content[sector(36)]  # a copy, over a neighbour
        content[sector(62)] = content[sector(8)]   # moved
        content[sector(8)] = bytes(512)
        damaged.write_bytes(content)


main()
