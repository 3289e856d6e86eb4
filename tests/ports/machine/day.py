#!/usr/bin/env python3
"""A drive, a charge and a parked van in real time, logged by the machine, and what an import
then says of them.

    day.py BIN IMAGE

The bench van plays 164 s of a made-up day (made_up_day.py) at 115200 baud, then sleeps for a
minute; then the plug is pulled. Compared with the card: every word that the van said on its bus,
in order; net energy, distance and energy charged with an outside integration of the same rows;
every line that was sent with the allow-list. The stack's high-water mark is printed.
"""
import pathlib
import sys
import time

import made_up_day
from bus_log import compare
from machine import Bench, Machine, need_emulator, programs, running, wait_until, workspace
from nbd_card import prepared_card
from watch import stack_used

import allow_list  # of tests/conformity

PARKED_S = 60
# What may be missing at the pulled plug: a sector is closed when its oldest sample is 30 s old at
# most (firmware/core/settings.hpp); the fastest signal comes 5 times a second.
MOST_LOST_WORDS = 30 * 5 + 5


def main():
    need_emulator()
    found, image = programs.Bin(sys.argv[1]), pathlib.Path(sys.argv[2])
    with workspace() as folder:
        card = prepared_card(found, folder)
        replay = made_up_day.write(folder / "day.csv")
        with running(Bench(found.benchvan, folder, "--replay", replay)) as bench, \
                running(Machine(image, folder, card=card, bench=bench)) as machine:
            # The file begins with the first such request. The bench writes its recording in
            # pieces, so this comes some seconds late.
            wait_until("the van is asked", lambda: "9A" in bench.lines.read_text())
            time.sleep(made_up_day.LENGTH_S + PARKED_S)
            print("stack: %d of %d bytes used" % stack_used(machine))
            machine.close()
            print(bench.stop().strip())
        judge(found, folder, bench)
        card.close()


def went_to_listen(lines):
    """After the last question for the pack the adapter was opened to listen only."""
    texts = [line.partition(" ")[2] for line in lines.read_text().splitlines()]
    asked = [i for i, text in enumerate(texts) if "9A" in text]
    return "L" in texts[asked[-1]:]


def judge(found, folder, bench):
    assert allow_list.check(bench.lines), "a line that a reader must not send"
    assert went_to_listen(bench.lines), "the logger goes on asking a van that sleeps"
    row = found.rows("check", folder / "van.img")[0]
    assert row["boots"] == 1 and row["sectors_damaged"] == 0 and row["sectors_missing"] == 0, row
    said, kept, within, at_end = compare(found.rows("samples", folder / "van.img"), bench.candump)
    print(f"{said} words said, {kept} kept, {within} missing within, at most {at_end} of a signal at the end")
    assert within <= row["late_answers"] * 5, "words that were answered in time are missing"
    assert at_end <= MOST_LOST_WORDS, at_end
    depot = found.depot(folder / "depot", folder / "van.img")
    trips, sessions = (found.rows(table, "--depot", depot) for table in ("trips", "sessions"))
    assert len(trips) == 1 and len(sessions) == 1, (trips, sessions)
    truth = made_up_day.truth()
    for row, key, wanted in ((trips[0], "net_kwh", truth["net_kwh"]),
                             (trips[0], "distance_km", truth["distance_km"]),
                             (sessions[0], "pack_kwh", truth["charge_kwh"])):
        low, value, high = row[key + "_low"], row[key], row[key + "_high"]
        print(f"{key:12} {value:.4f} ({low:.4f} to {high:.4f}), truth {wanted:.4f}")
        assert low <= wanted <= high, f"{key}: the truth is outside"
    scatter = trips[0]["net_kwh_scatter"]
    assert abs(trips[0]["net_kwh"] - truth["net_kwh"]) < max(4 * scatter, 0.01 * 0.65), (
        "beyond what resampling 0.65 kWh out of the pack may cost")


if __name__ == "__main__":
    main()
