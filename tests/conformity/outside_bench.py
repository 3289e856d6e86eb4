#!/usr/bin/env python3
"""packmile-logger against a van that is made of other people's parts only.

    outside_bench.py BIN [SECONDS] [--seed N]

Real time, over a pty. Our own bench van and our logger read the standards with
the same eyes; here nothing on the van's side is ours:
  lines       python-can's slcan reader and writer, over pyserial's loop://
  ISO-TP      scapy: requests and flow control parsed, answers cut by fragment()
  SAE J1979   scapy's OBD layers: requests parsed, answers and bitmaps built
What is written here is the loop between them: the adapter's commands (slcan as
in the Linux driver and can-utils) and when an ECU sends its next frame.

Two ECUs: 7E8 fills its frames up (55), 7E9 sends them as short as scapy makes
them. Their values are drawn (the seed is printed), and every third answer has
its PIDs in another order than the request, which SAE J1979 allows.

From bytes, because scapy does not know them: PID C7 (its table ends at C0) and
PID B2. PIDs 9A and A6 it knows by their length alone. Of these four only the raw
words are compared; nothing here confirms scale, coding or sign of 9A. For all
others the card's value must be what scapy reads in its own packet (scapy's table
and tshark's come from one public page: one confirmation of a scale, not two).

After SECONDS (22) the ECUs fall silent, then the logger is stopped. The card
must hold exactly the values that were sent, each as often, in order (but for
those that it says it dropped because its last sector was not written yet); VIN,
calibration ids and ECU names as sent; and everything that the logger said must
pass allow_list.py, whose recording has both sides.
"""
import argparse
import logging
import os
import pathlib
import random
import re
import select
import signal
import subprocess
import sys
import threading
import time
import tty
import warnings

logging.disable(logging.WARNING)
warnings.simplefilter("ignore")
import allow_list  # noqa: E402
from programs import Bin, run, skip, workspace  # noqa: E402

try:
    import can
    import serial  # noqa: F401  (python-can's slcan needs it)
    from can.interfaces.slcan import slcanBus
except ImportError as error:
    skip(f"python-can is not here ({error})")
try:
    from scapy.contrib.automotive.obd import obd as scapy_obd
    from scapy.contrib.isotp import ISOTP, ISOTP_FC, ISOTP_SF, ISOTPHeader
    from scapy.layers.can import CAN
except ImportError as error:
    skip(f"scapy is not here ({error})")

VIN = b"1M8GDM9AXKP042788"  # passes 49 CFR 565
PROTO = pathlib.Path(__file__).resolve().parents[2] / "proto"
# Signals of a PID on the card: (name, first byte, bytes). PIDs not here: none.
SIGNALS = {
    0x01: [("monitor_status", 0, 4)], 0x05: [("coolant_c", 0, 1)], 0x0D: [("speed_kmh", 0, 1)],
    0x1C: [("obd_requirements", 0, 1)], 0x1F: [("run_time_s", 0, 2)], 0x21: [("mil_distance_km", 0, 2)],
    0x30: [("warm_ups", 0, 1)], 0x31: [("distance_since_clear_km", 0, 2)], 0x33: [("barometric_kpa", 0, 1)],
    0x42: [("module_v", 0, 2)], 0x46: [("ambient_c", 0, 1)], 0x4D: [("mil_time_min", 0, 2)],
    0x4E: [("time_since_clear_min", 0, 2)], 0x51: [("fuel_type", 0, 1)], 0x5B: [("soc_pct", 0, 1)],
    0x9A: [("pack_support", 0, 1), ("pack_state", 1, 1), ("pack_v", 2, 2), ("pack_a", 4, 2)],
    0xA6: [("odometer_km", 0, 4)], 0xB2: [("reported_b2", 0, 4)], 0xC7: [("distance_since_reflash_km", 0, 2)],
}
BY_LENGTH_ALONE = (0x9A, 0xA6)
FROM_BYTES = {0xB2: 4, 0xC7: 2}
# A value drawn for scapy's field `data`: what a van in a town may show.
DRAWN = {
    0x05: lambda r: r.randint(-20, 90), 0x0D: lambda r: r.randint(5, 60), 0x1F: lambda r: r.randint(0, 65000),
    0x21: lambda r: r.randint(0, 65000), 0x30: lambda r: r.randint(0, 254), 0x31: lambda r: r.randint(0, 65000),
    0x33: lambda r: r.randint(80, 105), 0x42: lambda r: r.randint(12000, 15000) / 1000,
    0x46: lambda r: r.randint(-30, 45), 0x4D: lambda r: r.randint(0, 65000), 0x4E: lambda r: r.randint(0, 65000),
    0x51: lambda r: 8, 0x1C: lambda r: 5,
}
# No answer is later than this on a machine that is not overloaded; the logger
# gives up after 150 ms. Later ones may or may not be on the card.
LATE_S = 0.1


class OutsideEcu:
    def __init__(self, number, pids, infos, pad, draw):
        self.request_id, self.response_id = 0x7E0 + number, 0x7E8 + number
        self.pids, self.infos, self.pad, self.draw = pids, infos, pad, draw
        self.waiting = []    # consecutive frames that wait for flow control or their time
        self.gap_s = None    # from flow control; None: not there yet
        self.due = 0.0
        self.sending = None  # what is told to the tally once the last frame is out
        self.answers = 0
        # These two must go on as in a van that drives, or it would be taken for another thing.
        self.soc_code, self.odometer_raw = draw.randint(120, 250), draw.randint(10**5, 10**7)

    def record(self, pid):
        """scapy's record of one PID, and [(signal, raw word, value or None)]."""
        make = scapy_obd.OBD_S01_PR_Record
        if pid % 0x20 == 0:
            names = [f"PID{n:02X}" for n in range(pid + 1, pid + 0x21)
                     if n in self.pids or (n % 0x20 == 0 and any(m > n for m in self.pids))]
            layer = getattr(scapy_obd, f"OBD_PID{pid:02X}")
            return bytes(make(pid=pid) / layer(supported_pids="+".join(names))), []
        if pid in FROM_BYTES:
            data, value = self.draw.randbytes(FROM_BYTES[pid]), None
            built = bytes([pid]) + data
        else:
            layer = getattr(scapy_obd, f"OBD_PID{pid:02X}")
            if pid == 0x9A:  # its support byte says that charging state, voltage and current count
                packet = layer(data=b"\x07\x00" + self.draw.randbytes(4))
            elif pid == 0xA6:
                self.odometer_raw += self.draw.randint(0, 1)
                packet = layer(data=self.odometer_raw.to_bytes(4, "big"))
            elif pid == 0x5B:
                self.soc_code -= self.draw.randint(0, 1)
                packet = layer(data=self.soc_code * 100 / 255)
            elif pid == 0x01:
                packet = layer(mil=self.draw.randint(0, 1), dtc_count=self.draw.randint(0, 9))
            else:
                packet = layer(data=DRAWN[pid](self.draw))
            built = bytes(make() / packet)
            assert built[0] == pid, "scapy's own binding"
            data = built[1:]
            value = getattr(layer(data), "data", None)
            value = None if pid in BY_LENGTH_ALONE or value is None else float(value)
        return built, [(name, int.from_bytes(data[first:first + count], "big"), value)
                       for name, first, count in SIGNALS[pid]]

    def answer(self, request, functional):
        """Payload and tally of the answer to a request of scapy's; (None, ..): silence."""
        told = []
        if request.service == 0x01:
            asked = list(request[scapy_obd.OBD_S01].pid)
            support = [pid for pid in asked if pid % 0x20 == 0]
            known = [pid for pid in asked if pid in self.pids or (
                pid in support and (pid == 0 or any(m > pid for m in self.pids)))]
            if len(known) > 1 and self.draw.randint(0, 2) == 0:
                self.draw.shuffle(known)
            records = b""
            for pid in known:
                record, words = self.record(pid)
                records += record
                told += words
            if records:
                return bytes(scapy_obd.OBD(service=0x41)) + records, told
        elif request.service == 0x09:
            kind = request[scapy_obd.OBD_S09].iid
            make = scapy_obd.OBD_S09_PR_Record
            built = None
            if kind == [0x00]:
                built = make() / scapy_obd.OBD_IID00(
                    supported_iids="+".join(f"IID{iid:02X}" for iid in self.infos))
            elif len(kind) == 1 and kind[0] in self.infos:
                built = make() / self.infos[kind[0]]
            if built is not None:
                return bytes(scapy_obd.OBD() / scapy_obd.OBD_S09_PR(data_records=[built])), told
        if functional:
            return None, told  # no ECU says no to a request to all
        return bytes(scapy_obd.OBD() / scapy_obd.OBD_NR(request_service_id=request.service,
                                                        response_code=0x12)), told


class Adapter:
    """The far side of the pty: slcan lines on one side, two ECUs on the other."""

    def __init__(self, near, recording, seed):
        self.near, self.recording = near, recording
        self.codec = slcanBus("loop://", sleep_after_open=0)
        self.codec.flush()
        draw = random.Random(seed)
        self.names = {0x7E8: (b"VCM\x00-OutsideControl\x00", b"OUTSIDE-VCM-1.09"),
                      0x7E9: (b"BMS\x00-OutsideBattery\x00", b"OUTSIDE-BMS-07\x00\x00")}
        infos = {ecu: {0x04: scapy_obd.OBD_IID04(calibration_identifications=[calibration]),
                       0x0A: scapy_obd.OBD_IID0A(ecu_names=[name])}
                 for ecu, (name, calibration) in self.names.items()}
        infos[0x7E8][0x02] = scapy_obd.OBD_IID02(vehicle_identification_numbers=[VIN])
        self.ecus = [
            OutsideEcu(0, {0x01, 0x0D, 0x1C, 0x1F, 0x21, 0x30, 0x31, 0x33, 0x42, 0x46, 0x4D, 0x4E, 0x51,
                           0xA6, 0xC7}, infos[0x7E8], b"\x55", draw),
            OutsideEcu(1, {0x01, 0x05, 0x5B, 0x9A, 0xB2}, infos[0x7E9], b"", draw)]
        self.state, self.rate = "closed", None
        self.partial = b""
        self.tally = {}  # (ecu, signal): [(raw, value, late)]
        self.late = self.unfetched = self.foreign = 0
        self.silent = threading.Event()
        self.ended = threading.Event()
        self.trouble = None
        self.begun = self.input_empty = time.monotonic()
        self.request_at = None

    def note(self, mark, line):
        self.recording.write(f"{time.monotonic() - self.begun:.3f} {mark}{line}\n")

    def say(self, text):
        os.write(self.near, text)
        if len(text) > 1:
            self.note("< ", text[:-1].decode())

    def put_frame(self, identifier, data):
        self.codec.send(can.Message(arbitration_id=identifier, is_extended_id=False, data=data))
        self.say(self.codec.serialPortOrig.read(self.codec.serialPortOrig.in_waiting))

    def on_line(self, line):
        self.note("", line.decode("latin-1"))
        if line[:1] in (b"t", b"T", b"r", b"R"):
            self.codec.serialPortOrig.write(line + b"\r")
            message = self.codec.recv(0)
            if message is None or self.state != "open":
                return self.say(b"\a")
            self.say(b"\r")  # it is on the bus
            if not message.is_extended_id and not message.is_remote_frame:
                self.on_frame(message.arbitration_id, bytes(message.data))
            return None
        closed, done = self.state == "closed", True
        if line == b"C":
            self.state, done = "closed", not closed
        elif re.fullmatch(rb"S[0-8]", line) and closed:
            self.rate = line
        elif line in (b"O", b"L") and closed and self.rate:
            self.state = "open" if line == b"O" else "listening"
        elif line == b"F":
            return self.say(b"F00\r")
        elif line != b"":
            done = False
        return self.say(b"\r" if done else b"\a")

    def on_frame(self, identifier, data):
        if self.rate != b"S6":
            return  # a bus of 500 kbit/s: nobody is there at another rate
        frame = ISOTPHeader(bytes(CAN(identifier=identifier, data=data)))
        for ecu in self.ecus:
            functional = identifier == 0x7DF
            if not functional and identifier != ecu.request_id:
                continue
            if frame.haslayer(ISOTP_FC):
                control = frame[ISOTP_FC]
                if ecu.waiting and ecu.gap_s is None and control.fc_flag == 0:
                    assert control.block_size == 0, "this bench knows no blocks"
                    step = control.separation_time
                    ecu.gap_s = step / 1000 if step < 0x80 else (step - 0xF0) / 10000
                    ecu.due = time.monotonic()
            elif frame.haslayer(ISOTP_SF) and not self.silent.is_set():
                request = scapy_obd.OBD(frame[ISOTP_SF].data)
                payload, told = ecu.answer(request, functional)
                self.unfetched += bool(ecu.waiting)
                ecu.waiting, ecu.gap_s = [], None
                if payload is None:
                    continue
                self.request_at = self.input_empty
                parts = [part.data for part in ISOTP(payload, rx_id=ecu.response_id).fragment()]
                parts = [part.ljust(8, ecu.pad) if ecu.pad else part for part in parts]
                ecu.waiting, ecu.sending = parts[1:], told
                self.put_frame(ecu.response_id, parts[0])
                self.sent(ecu)

    def sent(self, ecu):
        """A frame is out; with the last one the answer counts."""
        if ecu.waiting:
            return
        ecu.answers += 1
        late = time.monotonic() - self.request_at > LATE_S
        self.late += late
        for name, raw, value in ecu.sending:
            self.tally.setdefault((f"{ecu.response_id:X}", name), []).append((raw, value, late))

    def live(self):
        next_foreign = self.begun
        while not self.ended.is_set():
            ready, _, _ = select.select([self.near], [], [], 0.002)
            now = time.monotonic()
            if not ready:
                self.input_empty = now
            else:
                self.partial += os.read(self.near, 4096)
                *lines, self.partial = self.partial.split(b"\r")
                for line in lines:
                    self.on_line(line)
            for ecu in self.ecus:
                while ecu.waiting and ecu.gap_s is not None and ecu.due <= time.monotonic():
                    self.put_frame(ecu.response_id, ecu.waiting.pop(0))
                    ecu.due += ecu.gap_s
                    self.sent(ecu)
            # Other frames, as on any bus that is awake.
            if now >= next_foreign and self.state != "closed" and self.rate == b"S6":
                self.foreign += 1
                self.put_frame(0x1A0, self.foreign.to_bytes(8, "big"))
                next_foreign = now + 0.05

    def run(self):
        try:
            self.live()
        except BaseException as error:  # shown by the main thread
            self.trouble = error
            raise


def missing_words(kept, sent):
    """How many of those sent, late ones aside, are not on the card; None: the card has others,
    or in another order."""
    position, missing = 0, 0
    for raw, _, late in sent:
        if position < len(kept) and kept[position] == raw:
            position += 1
        elif not late:
            missing += 1
    return missing if position == len(kept) else None


def compare(samples, tally, dropped):
    kept = {}
    for row in sorted(samples, key=lambda row: row["tick_ms"]):
        kept.setdefault((row["ecu"], row["signal"]), []).append((row["raw"], row["value"]))
    assert set(kept) <= set(tally), f"never sent: {sorted(set(kept) - set(tally))}"
    missing = 0
    print(f"{'ecu':4}{'signal':26}{'sent':>5}{'kept':>5}  worst difference of a value")
    for key, sent in sorted(tally.items()):
        ours = kept.get(key, [])
        values = dict((raw, value) for raw, value, _ in sent)
        worst = max((abs(value - values[raw]) for raw, value in ours if values.get(raw) is not None), default=None)
        print(f"{key[0]:4}{key[1]:26}{len(sent):5}{len(ours):5}  {'raw only' if worst is None else f'{worst:.2g}'}")
        lost = missing_words([raw for raw, _ in ours], sent)
        assert lost is not None, f"{key}: the words on the card are not those sent"
        missing += lost
        # scapy rounds to three places.
        assert worst is None or worst <= 0.0006, key
    print(f"{missing} words are not on the card; it says that it dropped {dropped}")
    assert missing <= dropped, "words are gone without a word on the card"
    return sum(map(len, kept.values()))


def records(programs, card):
    """Read from the raw records by protoc, of all boots: {ecu: (name, calibration id)}, VINs, and how
    many words were dropped because the card was busy."""
    found, vins, dropped = {}, set(), 0
    for address in range(32, 32 + 200):
        raw = subprocess.run([programs.packmile, "sectors", card, "--address", str(address), "--raw"],
                             capture_output=True)
        if raw.returncode != 0:
            continue
        text = run("protoc", "--decode", "packmile.Record", "-I", PROTO, "packmile.proto",
                   input=raw.stdout).stdout.decode()
        dropped += sum(map(int, re.findall(r"^dropped_samples: (\d+)", text, re.M)))
        vins.update(re.findall(r'\bvin: "(.*)"', text))
        for ecu in re.findall(r"^  ecu \{(.*?)^  \}", text, re.M | re.S):
            field = dict(re.findall(r'^    (\w+): "?(.*?)"?$', ecu, re.M))
            found.setdefault(int(field["response_id"]), set()).add((field.get("name"), field.get("calibration_id")))
    return found, vins, dropped


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("bin")
    parser.add_argument("seconds", nargs="?", type=float, default=22)
    parser.add_argument("--seed", type=int, default=None)
    given = parser.parse_args()
    seed = random.SystemRandom().randint(0, 999999) if given.seed is None else given.seed
    print(f"seed {seed}")
    programs = Bin(given.bin)
    with workspace() as folder:
        card, replay, lines = f"{folder}/card.log", f"{folder}/still.csv", f"{folder}/lines.txt"
        open(replay, "w").write("time_s,speed_kmh\n0,0\n5,0\n")
        programs.drive(card, "--replay", replay)  # makes the card, and is its first boot
        near, far = os.openpty()
        tty.setraw(near)
        tty.setraw(far)
        with open(lines, "w", encoding="latin-1", newline="\n") as recording:
            bench = Adapter(near, recording, seed)
            thread = threading.Thread(target=bench.run, daemon=True)
            thread.start()
            logger = subprocess.Popen([programs.packmile.with_name("packmile-logger"), "--adapter",
                                       os.ttyname(far), "--card", card, "--baud", "115200"])
            try:
                time.sleep(given.seconds)
                assert logger.poll() is None, "the logger ended by itself"
                assert bench.trouble is None, bench.trouble
                bench.silent.set()
                time.sleep(1.5)  # longer than an answer takes, shorter than the logger's patience
                logger.send_signal(signal.SIGTERM)
                assert logger.wait(timeout=30) == 0, "the logger did not end well"
            finally:
                if logger.poll() is None:
                    logger.kill()
                bench.ended.set()
                thread.join(timeout=10)
        os.close(far)
        os.close(near)
        bench.unfetched += sum(bool(ecu.waiting) for ecu in bench.ecus)
        samples = programs.rows("samples", card)
        boots = list(dict.fromkeys(row["boot"] for row in samples))
        row = programs.rows("check", card)[0]
        print({key: row[key] for key in ("boots", "sectors_good", "sectors_damaged", "sectors_missing", "vin")})
        assert row["boots"] == 2 and row["sectors_damaged"] == 0 and row["sectors_missing"] == 0
        found, vins, dropped = records(programs, card)
        count = compare([row for row in samples if row["boot"] == boots[-1]], bench.tally, dropped)
        answers = {f"{ecu.response_id:X}": ecu.answers for ecu in bench.ecus}
        print(f"{count} values kept; answers {answers}; late {bench.late}, not fetched {bench.unfetched}, "
              f"other frames {bench.foreign}")
        packs = len(bench.tally.get(("7E9", "pack_v"), []))
        assert packs >= 20, "too few answers to tell anything"
        # What both answer is asked of one.
        every = {name for ecu in bench.ecus for pid in ecu.pids for name, _, _ in SIGNALS[pid]}
        missing = every - {name for _, name in bench.tally}
        assert not missing, f"never asked for: {missing}"
        assert VIN.decode() in vins, vins
        for ecu, (name, calibration) in bench.names.items():
            # FORMAT.md: the card holds text without its fill.
            wanted = (name.replace(b"\0", b"").decode(), calibration.replace(b"\0", b"").decode())
            assert wanted in found.get(ecu, ()), f"{ecu:X}: {wanted} sent, {found.get(ecu)} on the card"
        print(f"VIN, {len(bench.names)} ECU names and calibration ids as sent")
        assert allow_list.check(lines), "something that a reader must not send"


main()
