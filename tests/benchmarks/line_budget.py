#!/usr/bin/env python3
"""Exchanges a second against what the serial line can carry at most.

    line_budget.py BIN                  virtual time: 3 rates x 3 ECUs x 3 adapters
    line_budget.py BIN --check          ECUs that answer at once; fails under 90 %
    line_budget.py BIN --live SECONDS   packmile-logger over a pty, real time

The poll plan asks again as soon as the answer is in (period 0). The bench paces
the bytes, its bus takes no time, its ECUs answer after --ecu-ms, and each line of
the adapter reaches the host --adapter-latency-ms later. Counted from the bus log:
from each request of a kind to the next request, whatever that is.

Ceiling, in bytes of 10 bits (8N1): a frame line has 22, its confirmation 1.
  0D        request 22, answer 22: 256 a second at 115200 baud
  9A        two more lines, flow control and consecutive frame: 90 in all, 128 a second
  six PIDs  01 1C 51 30 31 4E: one consecutive frame more: 112 bytes, 103 a second
and the ECU's time once (a confirmation passes meanwhile), and the adapter's time
for each time that the host waits: once for 0D, twice for the others.

A six-PID request is made every half hour only, whatever the settings say: its
rate is that of the few exchanges that the drive has, not of a second full of them.
In real time at high rates the machine's own wake-ups count: quote it with care.
"""
import argparse
import collections
import pathlib
import re
import signal
import subprocess
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "conformity"))
from programs import Bin, workspace  # noqa: E402

FRAME_BYTES, CONFIRMED_BYTES = 22, 1
# Kind: (start of the request, frames of the answer, replay columns, a row of them)
SIX = "warm_ups,time_since_clear_min,odometer_km"
KINDS = {
    "0D": ("02010D", 1, "speed_kmh", "30"),
    "9A": ("02019A", 2, f"pack_v,pack_a,{SIX}", "350,20,3,100,{odometer_km}"),
    "six PIDs": ("0701011C5130314E", 3, f"pack_v,pack_a,{SIX}", "350,20,3,100,{odometer_km}"),
}
BAUDS, ECUS_MS, LATENCIES_MS = (115200, 460800, 1000000), (0, 20, 50), (0, 1, 16)
AT_LEAST = 0.9
# A request, or the frame that begins an answer.
FRAME = re.compile(r"^\((\d+\.\d+)\) \S+ 7E([0-7]#0[1-7]|[8-F]#[01])(\w+)", re.M)


def ceiling(frames, baud, ecu_ms=0, latency_ms=0):
    """Exchanges a second, with an answer of so many frames."""
    byte_s = 10 / baud
    exchange_s = 2 * FRAME_BYTES * byte_s + max(CONFIRMED_BYTES * byte_s, ecu_ms / 1000) + latency_ms / 1000
    if frames > 1:
        exchange_s += (FRAME_BYTES * frames + CONFIRMED_BYTES) * byte_s + latency_ms / 1000
    return 1 / exchange_s


def write_replay(path, columns, row, seconds):
    """A row each 5 s: the bench is silent over longer steps."""
    with open(path, "w") as out:
        out.write(f"time_s,{columns}\n")
        for t in range(0, int(seconds) + 10, 5):
            out.write(f"{t}," + row.format(odometer_km=12345 + t / 100) + "\n")
    return path


def rates(dump):
    """{kind: (exchanges a second, how many exchanges)} of a bus log."""
    took, count = collections.Counter(), collections.Counter()
    starts = {start: kind for kind, (start, *_) in KINDS.items()}
    kind, asked_s, answered = None, 0.0, False
    for at, head, data in FRAME.findall(open(dump).read()):
        if head[0] not in "01234567":
            answered = True
            continue
        # The van's silence at the end of a drive is no exchange.
        if kind and answered:
            took[kind] += float(at) - asked_s
            count[kind] += 1
        asked_s, answered = float(at), False
        kind = next((k for start, k in starts.items() if (head[2:] + data).startswith(start)), None)
    return {kind: (count[kind] / took[kind], count[kind]) for kind in count}


def drives():
    """Each replay once, with the kinds that it shows."""
    shown = collections.defaultdict(list)
    for kind, (_, _, columns, row) in KINDS.items():
        shown[columns, row].append(kind)
    return shown.items()


def show(kind, found, frames, baud, ecu_ms=0, latency_ms=0):
    rate, count = found.get(kind, (0, 0))
    most = ceiling(frames, baud, ecu_ms, latency_ms)
    print(f"{kind:9}{baud:9}{ecu_ms:6}{latency_ms:9}{most:10.1f}{rate:10.1f}{100 * rate / most:8.1f} %{count:9}",
          flush=True)
    return rate / most


HEAD = f"{'request':9}{'baud':>9}{'ECU ms':>6}{'adapter':>9}{'ceiling':>10}{'measured':>10}{'':10}{'counted':>9}"


def virtual(programs, folder, ecus_ms, latencies_ms):
    print(HEAD)
    worst = 1.0
    for (columns, row), kinds in drives():
        # Two, so that what is asked at the start is asked twice.
        replay = write_replay(f"{folder}/replay.csv", columns, row, 15)
        for baud in BAUDS:
            for ecu_ms in ecus_ms:
                for latency_ms in latencies_ms:
                    card, dump = pathlib.Path(folder, "card.log"), f"{folder}/bus.candump"
                    card.unlink(missing_ok=True)
                    programs.drive(card, "--replay", replay, "--replay", replay, "--poll-hz", "0", "--fault",
                                   "instant-ecu", "--pace-baud", str(baud), "--ecu-ms", str(ecu_ms),
                                   "--adapter-latency-ms", str(latency_ms), "--candump", dump)
                    found = rates(dump)
                    for kind in kinds:
                        worst = min(worst, show(kind, found, KINDS[kind][1], baud, ecu_ms, latency_ms))
    print(f"least: {100 * worst:.1f} % of a ceiling")
    return worst


def live(programs, folder, seconds):
    print(HEAD)
    for (columns, row), kinds in drives():
        replay = write_replay(f"{folder}/replay.csv", columns, row, seconds + 20)
        for baud in BAUDS:
            card, link, dump = f"{folder}/{baud}.log", f"{folder}/{baud}.tty", f"{folder}/{baud}.candump"
            pathlib.Path(card).unlink(missing_ok=True)
            programs.drive(card, "--replay", replay, "--poll-hz", "0")  # makes the card
            bench = subprocess.Popen([programs.benchvan, "serve", "--link", link, "--replay", replay, "--pace-baud",
                                      str(baud), "--fault", "instant-ecu", "--candump", dump],
                                     stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
            logger = None
            try:
                while not pathlib.Path(link).is_symlink():
                    assert bench.poll() is None, bench.stderr.read()
                    time.sleep(0.05)
                logger = subprocess.Popen([programs.packmile.with_name("packmile-logger"), "--adapter", link,
                                           "--card", card, "--baud", str(baud)])
                time.sleep(seconds + 6)  # it listens for some seconds first
            finally:
                for process in (logger, bench):
                    if process:
                        process.send_signal(signal.SIGTERM)
                        process.communicate(timeout=20)
            found = rates(dump)
            for kind in kinds:
                show(kind, found, KINDS[kind][1], baud)


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("bin")
    parser.add_argument("--check", action="store_true", help="ECUs that answer at once; exit 1 under 90 %%")
    parser.add_argument("--live", type=float, metavar="SECONDS", help="real time over a pty, for each rate")
    given = parser.parse_args()
    programs = Bin(given.bin)
    with workspace() as folder:
        if given.live:
            live(programs, folder, given.live)
        elif given.check:
            sys.exit(0 if virtual(programs, folder, (0,), (0,)) >= AT_LEAST else "less than 90 %")
        else:
            virtual(programs, folder, ECUS_MS, LATENCIES_MS)


main()
