#!/usr/bin/env python3
"""tshark and scapy read the bench van's bus traffic; `samples` must say the same.

    outside_decoders.py BIN

Both tools decode SAE J1979 on their own (their PID tables rest on the same
public page, so they count as one confirmation of the scalings; their ISO-TP is
independent of ours and of each other's). The values played are the worked ones:
50 km/h, 14.000 V, 35 degC, 78.43 %, and a VIN that passes 49 CFR 565. Neither
tool knows the inside of PIDs 9A and A6: nothing here confirms their scale.
"""
import logging
import shutil
import sys
import warnings

logging.disable(logging.WARNING)
warnings.simplefilter("ignore")
from programs import Bin, run, skip, workspace  # noqa: E402

try:
    from scapy.contrib.automotive.obd.obd import OBD
    from scapy.contrib.isotp import ISOTPMessageBuilder
    from scapy.layers.can import CandumpReader
except ImportError as error:
    skip(f"scapy is not here ({error})")

VIN = "1M8GDM9AXKP042788"
def replay_rows():
    """130 s, a row each 5 s: up to 50 km/h, on, and standing in the cold."""
    rows = ["time_s,speed_kmh,pack_v,pack_a,soc_pct,ambient_c,module_v,barometric_kpa"]
    for t in range(0, 135, 5):
        warm = t < 90
        speed = min(2.5 * t, 50) if t <= 70 else max(0, 50 - 2.5 * (t - 70))
        rows.append(f"{t},{speed},{350 + t / 100},{25 - t / 4},{78.5 if warm else 77.9},{35 if warm else 0},"
                    f"{14 if warm else 13.5},{101 if warm else 99}")
    return "\n".join(rows) + "\n"


# PID, scapy's name of its value, ours
SCALARS = {0x0D: "speed_kmh", 0x42: "module_v", 0x46: "ambient_c", 0x5B: "soc_pct",
           0x33: "barometric_kpa"}
TSHARK_FIELDS = {"obd-ii.mode01_vehicle_speed": "speed_kmh",
                 "obd-ii.mode01_control_module_voltage": "module_v",
                 "obd-ii.mode01_ambient_air_temp": "ambient_c",
                 "obd-ii.mode01_hybrid_battery_remaining_life": "soc_pct",
                 "obd-ii.mode01_absolute_barometric_pressure": "barometric_kpa"}


def play(programs, folder, name, *faults):
    """Plays the rows; returns the candump log and {signal: [values in order of time]}."""
    replay, log = f"{folder}/replay.csv", f"{folder}/{name}.candump"
    open(replay, "w").write(replay_rows())
    arguments = [a for fault in faults for a in ("--fault", fault)]
    programs.drive(f"{folder}/{name}.log", "--replay", replay, "--vin", VIN, "--candump", log, *arguments)
    series = {}
    for row in sorted(programs.rows("samples", f"{folder}/{name}.log"), key=lambda r: r["tick_ms"]):
        series.setdefault(row["signal"], []).append((row["value"], row["raw"]))
    return log, series


def check(what, ours, theirs, tolerance):
    assert len(ours) == len(theirs), f"{what}: {len(ours)} samples, {len(theirs)} decoded outside"
    worst = max(abs(a - b) for (a, _), b in zip(ours, theirs))
    print(f"{what:28} {len(ours):5} values, {min(theirs):g} .. {max(theirs):g}, worst difference {worst:.2g}")
    assert worst <= tolerance, what


def by_scapy(log, series):
    builder = ISOTPMessageBuilder(use_ext_address=False)
    with CandumpReader(log) as frames:
        for frame in frames:
            builder.feed(frame)
    scalars, packs, vins = {pid: [] for pid in SCALARS}, [], set()
    while len(builder):
        message = OBD(bytes(builder.pop().data))
        if message.haslayer("OBD_S01_PR"):
            for record in message["OBD_S01_PR"].data_records:
                if record.pid in SCALARS:
                    scalars[record.pid].append(float(record.payload.getfieldval("data")))
                elif record.pid == 0x9A:
                    packs.append(bytes(record.payload.getfieldval("data")))
        elif message.haslayer("OBD_S09_PR"):
            for record in message["OBD_S09_PR"].data_records:
                if record.iid == 0x02:
                    vins.update(record.payload.getfieldval("vehicle_identification_numbers"))
    assert vins == {VIN.encode()}, vins
    for pid, signal in SCALARS.items():
        check(f"scapy {pid:02X} {signal}", series[signal], scalars[pid], 0.0006)  # it rounds to 3 places
    ours = [support.to_bytes(1, "big") + state.to_bytes(1, "big") + v.to_bytes(2, "big") + a.to_bytes(2, "big")
            for (_, support), (_, state), (_, v), (_, a) in zip(*(series[s] for s in (
                "pack_support", "pack_state", "pack_v", "pack_a")))]
    assert ours == packs, "the bytes of PID 9A differ"
    print(f"scapy 9A, six bytes each     {len(packs):5} equal")


def by_tshark(log, series):
    fields = [a for field in TSHARK_FIELDS for a in ("-e", field)]
    text = run("tshark", "-r", log, "-d", "can.subdissector,iso15765", "-d", "iso15765.subdissector,obd-ii",
               "-T", "fields", "-E", "separator=|", *fields, "-e", "obd-ii.VIN").stdout.decode()
    columns, vins = {field: [] for field in TSHARK_FIELDS}, set()
    for line in text.splitlines():
        *values, vin = line.split("|")
        vins.add(vin)
        for field, value in zip(TSHARK_FIELDS, values):
            if value:
                columns[field].append(float(value))
    assert VIN in vins, vins
    for field, signal in TSHARK_FIELDS.items():
        check("tshark " + signal, series[signal], columns[field], 1e-9)


def main():
    programs = Bin(sys.argv[1])
    with workspace() as folder:
        log, series = play(programs, folder, "together")
        for value, signal in ((50, "speed_kmh"), (14.0, "module_v"), (35, "ambient_c"), (78.43, "soc_pct")):
            assert any(abs(v - value) < 0.005 for v, _ in series[signal]), signal
        by_scapy(log, series)
        if not shutil.which("tshark"):
            skip("tshark is not here")
        # tshark does not take replies with several PIDs apart.
        by_tshark(*play(programs, folder, "single", "one-pid-only"))


main()
