#!/usr/bin/env python3
"""packmile-logger against the bench van in real time over a pty, then killed.

    killed_in_real_time.py BIN [SECONDS]

The bench paces the line at 115200 baud. After SECONDS (60) the logger gets
SIGKILL, as when the plug is pulled. The card must decode, nothing on it may be
damaged, no more than the open sector (10 s) and a second of grace may be
missing, and the answers must have come at the rate that the plan asks for.
"""
import pathlib
import signal
import subprocess
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "conformity"))
import allow_list  # noqa: E402
from programs import Bin, workspace  # noqa: E402

STILL = "time_s,speed_kmh,pack_v,pack_a,soc_pct,ambient_c\n0,0,350,1,80,10\n12,0,350,1,80,10\n"


def main():
    programs, seconds = Bin(sys.argv[1]), float(sys.argv[2]) if len(sys.argv) > 2 else 60
    with workspace() as folder:
        card, link, replay = f"{folder}/card.log", f"{folder}/tty", f"{folder}/still.csv"
        open(replay, "w").write(STILL)
        programs.drive(card, "--replay", replay)  # makes the card, and is its first boot
        bench = subprocess.Popen([programs.benchvan, "serve", "--link", link, "--round", "5",
                                  "--pace-baud", "115200", "--lines", f"{folder}/lines"], stderr=subprocess.PIPE, text=True)
        logger = None
        try:
            while not pathlib.Path(link).is_symlink():
                assert bench.poll() is None, bench.stderr.read()
                time.sleep(0.05)
            logger = subprocess.Popen([programs.packmile.with_name("packmile-logger"), "--adapter", link,
                                       "--card", card, "--baud", "115200"])
            time.sleep(seconds)
            assert logger.poll() is None, "the logger ended by itself"
            logger.send_signal(signal.SIGKILL)
            logger.wait()
        finally:
            for process in (bench, logger):
                if process and process.poll() is None:
                    process.send_signal(signal.SIGTERM)
            said = bench.communicate(timeout=20)[1]
        print(said.strip())
        assert allow_list.check(f"{folder}/lines"), "a line that a reader must not send"
        row = programs.rows("check", card)[0]
        print({k: row[k] for k in ("boots", "sectors_good", "sectors_damaged", "sectors_missing", "vin")})
        assert row["boots"] == 2 and row["sectors_damaged"] == 0 and row["sectors_missing"] == 0
        samples = programs.rows("samples", card)
        boots = list(dict.fromkeys(r["boot"] for r in samples))
        last = [r for r in samples if r["boot"] == boots[-1] and r["signal"] == "pack_v"]
        span = (last[-1]["tick_ms"] - last[0]["tick_ms"]) / 1000
        rate = (len(last) - 1) / span
        print(f"{len(last)} answers of the pack over {span:.1f} s, {rate:.2f} a second")
        # Up to 4 s of looking for the bus and the van come first, and on a busy machine some start-up.
        assert span > seconds - 11 - 10, span
        assert rate > 4.5, "the van answers at once; the plan asks five times a second"


main()
