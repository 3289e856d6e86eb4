#!/usr/bin/env python3
"""A drive, a charge and a parked van in real time, logged by the machine, and what an import
then says of them.

    day.py BIN IMAGE

The bench van plays three minutes of a made-up day (made_up_day.py) at 115200 baud, then sleeps for a
minute; then the plug is pulled. Compared with the card: every word that the van said on its bus,
in order; net energy, distance and energy charged with an outside integration of the same rows, by
the machine's clock (made_up_day.truth says why); every line that was sent with the allow-list. The
stack's high-water mark is printed.
"""
import pathlib
import shutil
import time

import numpy

import made_up_day
from bus_log import clock_pairs, compare
from machine import Bench, Machine, arguments, running, wait_until, workspace
from nbd_card import prepared_card
from watch import stack_used

import allow_list  # of tests/conformity

PARKED_S = 60
# Beyond it the host, not the machine, has left out what happened in between.
MOST_GAP_S = 0.5
# What may be missing at the pulled plug: a sector is closed when its oldest sample is 30 s old at
# most (firmware/core/settings.hpp); the fastest signal comes 5 times a second.
MOST_LOST_WORDS = 30 * 5 + 5


def main():
    found, image = arguments()
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
        try:
            judge(found, folder, bench)
        except AssertionError:
            for path in (card.image, bench.candump, bench.lines):
                shutil.copy(path, pathlib.Path("/tmp") / f"packmile-day-{path.name}")
            print("card and recordings are kept as /tmp/packmile-day-*")
            raise
        card.close()


def machine_clock(samples, bench):
    """(what the machine's clock showed at second t of the day, in its seconds; when it was told)."""
    pairs = clock_pairs(samples, bench.candump)
    # The log of the bus has wall time; the first answer comes within some ms of its request.
    bench_s = numpy.array([pair[0] for pair in pairs]) - pairs[0][0]
    machine_s = numpy.array([pair[1] for pair in pairs]) / 1000
    rate = (machine_s[-1] - machine_s[0]) / (bench_s[-1] - bench_s[0])
    print(f"the machine's clock ran {100 * (rate - 1):+.2f} % against the bench's")

    def at(t):
        if t > bench_s[-1]:
            return machine_s[-1] + (t - bench_s[-1]) * rate
        return float(numpy.interp(t, bench_s, machine_s))
    return at, list(bench_s)


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
    samples = found.rows("samples", folder / "van.img")
    said, kept, within, at_end = compare(samples, bench.candump)
    print(f"{said} words said, {kept} kept, {within} missing within, at most {at_end} of a signal at the end")
    assert within <= row["late_answers"] * 5, "words that were answered in time are missing"
    assert at_end <= MOST_LOST_WORDS, at_end
    depot = found.depot(folder / "depot", folder / "van.img")
    trips, sessions = (found.rows(table, "--depot", depot) for table in ("trips", "sessions"))
    assert len(trips) == 1 and len(sessions) == 1, (trips, sessions)
    clock, moments = machine_clock(samples, bench)
    gap_s = max(b - a for a, b in zip(moments, moments[1:]))
    print(f"longest time between two answers {gap_s:.1f} s")
    truth = made_up_day.truth(clock, moments if gap_s > MOST_GAP_S else None)
    # What fills a gap is kept apart: the two together are what the van did.
    for row, key, filled, wanted in ((trips[0], "net_kwh", "filled_kwh", truth["net_kwh"]),
                                     (trips[0], "distance_km", None, truth["distance_km"]),
                                     (sessions[0], "pack_kwh", "filled_kwh", truth["charge_kwh"])):
        low, value, high = (row[key + end] + (row[filled + end] if filled else 0) for end in ("_low", "", "_high"))
        print(f"{key:12} {value:.4f} ({low:.4f} to {high:.4f}), truth {wanted:.4f}")
        assert low <= wanted <= high, f"{key}: the truth is outside"


if __name__ == "__main__":
    main()
