#!/usr/bin/env python3
"""A parked van is left alone: what 62 hours cost its 12 V battery, and what the
drives lose by it.

    parked.py BIN [DATA]

The bench's van stays awake for 2 min whenever it is asked (4 A from 45 Ah, 20 mA
asleep), and in one case wakes each day to fill its battery. The battery is the bench's, the requests are counted here from its
recording of the serial line, and both must agree with the limits and with the
card. With DATA the measured drives are played one after another with an hour
between them, with and without a supply that can be measured: with it nothing of
a drive may be missing; what its lack costs is printed.
"""
import csv
import pathlib
import re
import sys

import allow_list
from made_up_drive import write_drive
from programs import Bin, workspace

HOURS = 62
CAP_A_DAY = 4


def requests(lines):
    """Seconds of the requests in a recording; flow control is none."""
    out = []
    for line in open(lines):
        second, _, text = line.rstrip("\n").partition(" ")
        if text[:1] == "t" and text[5] == "0" or text[:1] == "T" and text[10] == "0":
            out.append(float(second))
    return out


def after_pause(seconds, pause=60):
    """Those after the first pause of a minute: the van counts as parked."""
    for i in range(1, len(seconds)):
        if seconds[i] - seconds[i - 1] >= pause:
            return seconds[i:]
    return []


def stand(programs, folder, name, replay, *faults):
    card, lines = f"{folder}/{name}.log", f"{folder}/{name}.lines"
    options = [word for fault in ("stays-awake", *faults) for word in ("--fault", fault)]
    said = programs.drive(card, "--replay", replay, "--parked-hours", str(HOURS), "--lines", lines,
                          *options).stderr.decode()
    loss = float(re.search(r"battery: ([0-9.]+) Ah", said)[1])
    top_ups = int(re.search(r"topped up ([0-9]+) times", said)[1])
    row = programs.rows("check", card)[0]
    assert allow_list.check(lines), "a line that a reader must not send"
    sent = requests(lines)
    parked = after_pause(sent)
    print(f"{name:<16}{len(sent):>6} requests, {len(parked):>3} while parked by the recording, "
          f"{row['requests_while_parked']:>3} by the card; {loss:.2f} Ah beyond its rest draw, "
          f"{top_ups} top-ups")
    return loss, sent, parked, row


def main():
    programs = Bin(sys.argv[1])
    with workspace() as folder:
        replay = write_drive(f"{folder}/drive.csv")
        for name, faults in (("stays awake", ()), ("no supply", ("no-supply",))):
            loss, sent, parked, row = stand(programs, folder, name, replay, *faults)
            assert row["requests_while_parked"] == len(parked) > 0
            days = -(-HOURS // 24)
            assert len(parked) <= CAP_A_DAY * days, parked
            assert all(b - a >= 15 * 60 for a, b in zip(parked, parked[1:])), parked
            # Without a supply it takes 5 min instead of 2 to call a van parked.
            assert loss <= (2.0 if not faults else 2.3), loss
        # A top-up of 10 min a day: as long as only the supply is high a request of each
        # kind in 10 s at most, once a minute has shown that nobody drives.
        loss, sent, parked, row = stand(programs, folder, "top-ups", replay, "top-ups")
        starts = [s for i, s in enumerate(sent) if i and s - sent[i - 1] >= 3600 and
                  sum(1 for t in sent if s <= t < s + 60) > 60]
        print(f"                top-ups seen at {[round(s / 3600, 2) for s in starts]} h")
        assert len(starts) == 2, starts
        for start in starts:
            seldom = [s for s in sent if start + 62 <= s < start + 600]
            assert 20 <= len(seldom) <= 40, len(seldom)
            assert max(seldom) < start + 310, "polled on although nobody uses the van"
        # The question after each rise of the supply is one more.
        assert row["requests_while_parked"] <= CAP_A_DAY * 3 + len(starts), row
        assert loss <= 2.0, loss
        loss, sent, parked, row = stand(programs, folder, "the same, blind", replay, "top-ups",
                                        "no-supply")
        assert len(parked) <= CAP_A_DAY * 3 and loss <= 2.3, (len(parked), loss)
        loss, sent, parked, row = stand(programs, folder, "supply too low", replay, "supply-low")
        assert sent == [] and loss < 0.2 and row["requests_while_parked"] == 0
        # Nobody answers, and nothing is on the bus: a few attempts, ever fewer.
        card, lines = f"{folder}/silent.log", f"{folder}/silent.lines"
        programs.drive(card, "--replay", replay, "--parked-hours", str(HOURS), "--fault",
                       "ecu-silent", "--lines", lines)
        assert allow_list.check(lines), "a line that a reader must not send"
        sent = requests(lines)
        late = [s for s in sent if s > 24 * 3600]
        print(f"silent port     {len(sent):>6} requests in {HOURS} h, {len(late)} after the first day")
        assert len(late) <= 20
        assert sum(1 for line in open(lines) if line.split()[1:] == ["O"]) < 60

        data = pathlib.Path(sys.argv[2]) if len(sys.argv) > 2 else None
        if not data or not data.exists():
            print("skipped: the measured drives are not here")
            return
        truth = {r["file"]: r for r in csv.DictReader(open(data / "truth.csv"))}
        drives = sorted(data.glob("drive-i3-*.csv"))[:12]
        wanted = sum(float(truth[d.name]["net_kwh"]) for d in drives)
        for name, faults in (("measured", ()), ("not measured", ("no-supply",)),
                             ("not measured, others on the bus", ("no-supply", "bus-traffic"))):
            card = f"{folder}/{name}.log"
            options = [word for fault in faults for word in ("--fault", fault)]
            programs.drive(card, "--gap-minutes", "75", *options,
                           *(word for d in drives for word in ("--replay", d)))
            depot = programs.depot(f"{folder}/depot {name}", card)
            rows = programs.rows("trips", "--depot", depot)
            net = sum(r["net_kwh"] or 0 for r in rows)
            print(f"{len(drives)} drives, supply {name}: {len(rows)} trips, "
                  f"{100 * (net / wanted - 1):+.3f} % of their net energy")
            if "no-supply" not in faults or "bus-traffic" in faults:
                assert len(rows) == len(drives)
                assert abs(net / wanted - 1) < 0.001, (net, wanted)


main()
