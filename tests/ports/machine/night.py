#!/usr/bin/env python3
"""A night with nothing on the line, in skipped time: the machine sleeps from timer to timer, asks
ever more seldom, writes little and never restarts.

    night.py BIN IMAGE [--hours 8]

Hours by the machine's own clock. In skipped time the emulator lets a second timer run out before
the processor has woken for the first, so that more time passes than the machine can see: whether
its clock is right is asked in real time (clock_check.py).
"""

from machine import Machine, arguments, running, wait_until, workspace
from nbd_card import prepared_card
from sectors import header
from watch import clock_ms, rows_of_card, stack_used

import allow_list  # of tests/conformity

# As of a silent port in tests/conformity/parked.py: an attempt is a request or a few at two rates.
MOST_FRAMES, MOST_SECTORS = 120, 60


def main():
    found, image, hours = arguments(hours=8.0)
    with workspace() as folder:
        card = prepared_card(found, folder)
        with running(Machine(image, folder, card=card, sent=folder / "sent",
                             skip_time=True)) as machine:
            wait_until("a night of skipped time",
                       lambda: clock_ms(machine) >= hours * 3_600_000, limit_s=600)
            print("stack: %d of %d bytes used" % stack_used(machine))
            machine.close()
        judge(found, folder, card)
        card.close()


def judge(found, folder, card):
    headers = [header(write.new) for write in card.writes]
    assert all(headers) and len({h.boot_id for h in headers}) == 1, "it restarted"
    assert [h.sequence for h in headers] == list(range(len(headers)))
    sent = (folder / "sent").read_bytes().split(b"\r")
    with open(folder / "lines", "w") as out:
        out.writelines(f"0.0 {line.decode('latin-1')}\n" for line in sent[:-1])
    assert allow_list.check(folder / "lines"), "a line that a reader must not send"
    row = rows_of_card(found, "check", folder / "van.img")[0]
    frames = sum(line[:1] in (b"t", b"T") for line in sent)
    print(f"{len(card.writes)} sectors written, {frames} frames and {len(sent)} lines sent, "
          f"supply {row['supply_min_v']} V")
    assert row["boots"] == 1 and row["sectors_damaged"] == row["sectors_missing"] == 0
    assert 0 < frames <= MOST_FRAMES and len(card.writes) < MOST_SECTORS


if __name__ == "__main__":
    main()
