#!/usr/bin/env python3
"""Exchanges a second against what a 115200-baud line can carry at most.

    line_ceiling.py BIN [SECONDS]

The poll plan asks again as soon as the answer is in (period 0); the bench van's
ECUs answer at once, so the line alone sets the pace. The bench paces the bytes
and counts: in virtual time from its bus log, in real time (packmile-logger over
a pty) from what `serve` prints.

Ceiling: 11,520 bytes a second (8N1). One exchange of a single-frame PID is a
request line of 22 bytes out, its confirmation of 1 and an answer line of 22 in:
256 a second. PID 9A takes two more lines (flow control, consecutive frame) and
one more confirmation: 90 bytes, 128 a second, 125 with the bus time of its frames.
The goal is 90 % of 256 and of 125.
"""
import pathlib
import re
import signal
import subprocess
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "conformity"))
from programs import Bin, workspace  # noqa: E402

CASES = {  # name: (replay columns and one row, start of the answer that is counted, ceiling)
    "0D": ("speed_kmh", "30", "03410D", 256),
    "9A": ("pack_v,pack_a", "350,20", "1008419A", 125),
}


def main():
    programs, seconds = Bin(sys.argv[1]), float(sys.argv[2]) if len(sys.argv) > 2 else 20
    with workspace() as folder:
        for name, (columns, row, answer, ceiling) in CASES.items():
            card, replay, dump = (f"{folder}/{name}.{x}" for x in ("log", "csv", "candump"))
            # A minute, a row each 5 s: the bench is silent over longer steps.
            open(replay, "w").write(f"time_s,{columns}\n" + "".join(f"{t},{row}\n" for t in range(0, 65, 5)))
            programs.drive(card, "--replay", replay, "--poll-hz", "0", "--fault", "instant-ecu",
                           "--candump", dump)
            stamps = [float(m[1]) for m in re.finditer(rf"^\((\S+)\) \S+ \w+#{answer}", open(dump).read(), re.M)]
            middle = [t for t in stamps if stamps[0] + 10 <= t < stamps[0] + 50]
            virtual = len(middle) / 40
            print(f"PID {name}: ceiling {ceiling} a second; virtual time {virtual:.1f} ({100 * virtual / ceiling:.1f} %)",
                  end="", flush=True)

            link = f"{folder}/{name}.tty"
            bench = subprocess.Popen([programs.benchvan, "serve", "--link", link, "--replay", replay, "--pace-baud",
                                      "115200", "--fault", "instant-ecu", "--candump", dump + ".live"],
                                     stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
            while not pathlib.Path(link).is_symlink():
                time.sleep(0.05)
            logger = subprocess.Popen([programs.packmile.with_name("packmile-logger"), "--adapter", link,
                                       "--card", card, "--baud", "115200"])
            time.sleep(seconds + 6)
            logger.send_signal(signal.SIGTERM)
            logger.wait(timeout=20)
            bench.send_signal(signal.SIGTERM)
            bench.communicate(timeout=20)
            stamps = [float(m[1]) for m in
                      re.finditer(rf"^\((\S+)\) \S+ \w+#{answer}", open(dump + ".live").read(), re.M)]
            live = (len(stamps) - 1) / (stamps[-1] - stamps[0])
            print(f"; real time over a pty {live:.1f} ({100 * live / ceiling:.1f} %)")


main()
