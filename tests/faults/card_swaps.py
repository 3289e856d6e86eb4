"""Cards that go from van to van, vans with several cards, and vans that never say
their VIN: each sample stands under the right van or apart, and what is doubtful is
said with the card's name and what to do.

  card_swaps.py PACKMILE BENCHVAN
"""
import json
import os
import re
import shutil
import sys
import tempfile

import log_tool
from scene import Programs, copy_depot, write_drive

programs = Programs(*sys.argv[1:3])
A, B = "1M8GDM9AXKP042788", "11111111111111111"
failures = 0


class Case:
    """One depot and its cards, in a folder of their own."""

    def __init__(self, name, work, replay, fleet=""):
        self.name, self.replay = name, replay
        self.folder = os.path.join(work, re.sub(r"\W+", "-", name))
        os.mkdir(self.folder)
        self.depot = copy_depot(os.path.join(work, "empty"), os.path.join(self.folder, "depot"))
        if fleet:
            with open(os.path.join(self.depot, "fleet.toml"), "a") as out:
                out.write(fleet)
        self.said = ""

    def expect(self, true, what):
        global failures
        if not true:
            failures += 1
            print(f"FAILED: {self.name}: {what}\n   " + self.said.replace("\n", "\n   "))

    def card(self, name, log_id, van):
        path = os.path.join(self.folder, name)
        log_tool.prepare(path, 1024, log_id, van, 1767225600000)
        return path

    def drive(self, card, day, vin, odometer_km, *faults, hour=6):
        more = []
        for fault in faults:
            more += ["--fault", fault]
        programs.drive(card, [self.replay], "--vin", vin, "--start",
                       f"2026-01-{day:02}T{hour:02}:00:00Z", "--odometer-km", str(odometer_km),
                       *more)

    def import_cards(self, *cards, code=0):
        done = programs.run("import", *cards, "--depot", self.depot)
        self.said = done.stderr
        self.expect(done.returncode == code, f"exit {done.returncode} instead of {code}")

    def trips(self):
        """[(van, vin, day)] of the trips that were seen, in order."""
        rows = json.loads(programs.rows(self.depot, ("trips",)))["rows"]
        return sorted((row["van"], row["vin"], int(row["start"][8:10])) for row in rows
                      if row["coverage"] > 0)

    def says(self, card, *words):
        """The card is named, with these words, and the line below says what to do."""
        lines = self.said.splitlines()
        found = [k for k, line in enumerate(lines)
                 if line.startswith(card + ": ") and all(word in line for word in words)]
        self.expect(found, f"does not say {words} of the card")
        self.expect(found and found[0] + 1 < len(lines) and
                    re.match(r"  [a-z]", lines[found[0] + 1]), f"no hint behind {words}")


def main():
    work = tempfile.mkdtemp(prefix="packmile-swaps-")
    try:
        replay = os.path.join(work, "drive.csv")
        write_drive(replay, seconds=600)
        made = programs.run("new", os.path.join(work, "empty"), "--zone", "UTC")
        assert made.returncode == 0, made.stderr

        case = Case("one card in two vans", work, replay)
        card = case.card("card.log", 1, "Rowan")
        case.drive(card, 3, A, 40000)
        case.drive(card, 4, A, 40005)
        case.drive(card, 6, B, 71000)
        case.import_cards(card)
        case.expect(case.trips() == [(B, B, 6), ("Rowan", A, 3), ("Rowan", A, 4)],
                    f"trips {case.trips()}")
        case.says(card, "used in 2 vans", "2026-01-03 06:00", "2026-01-06 06:00", "Rowan", B)
        case.says(card, "van_name_of_another_vin")
        checked = programs.run("check", card)
        case.expect(checked.returncode == 0 and f"VIN {A} from 2026-01-03 06:00" in checked.stdout
                    and f"VIN {B} from 2026-01-06 06:00" in checked.stdout
                    and "prepare a card for each van" in checked.stdout, checked.stdout)
        row = json.loads(programs.run("check", card, "--format", "json").stdout)["rows"][0]
        case.expect("van_changed" in row["findings"], "check has no finding")

        case = Case("a van with two cards in turn", work, replay)
        odd, even = case.card("odd.log", 1, "Rowan"), case.card("even.log", 2, "Rowan")
        for day in range(1, 5):
            case.drive((even, odd)[day % 2], day, A, 40000 + 5 * day)
        case.import_cards(even, odd)
        case.expect(case.trips() == [("Rowan", A, day) for day in range(1, 5)],
                    f"trips {case.trips()}")
        case.expect("time_overlap" not in case.said and "used in" not in case.said,
                    "finds something wrong with it")

        case = Case("two cards that claim the same time", work, replay)
        one, two = case.card("one.log", 1, "Rowan"), case.card("two.log", 2, "Rowan")
        case.drive(one, 1, A, 40000)
        case.drive(two, 1, A, 40005)
        case.import_cards(one, two)
        case.expect(case.trips() == [("Rowan", A, 1)], f"trips {case.trips()}")
        case.says(one, "time_overlap")
        case.says(two, "time_overlap")

        case = Case("the settings name another van", work, replay,
                    f"\n[[van]]\nname = 'Rowan'\nvin = '{A}'\n[[van]]\nname = 'Cedar'\nvin = '{B}'\n")
        card = case.card("card.log", 1, "Cedar")
        case.drive(card, 1, A, 40000)
        case.import_cards(card)
        case.expect(case.trips() == [("Rowan", A, 1)], f"trips {case.trips()}")
        case.says(card, "Rowan", "van_name_of_another_vin")

        # The VIN is never read.
        case = Case("no VIN, the name tells", work, replay)
        first, second = case.card("first.log", 1, "Rowan"), case.card("second.log", 2, "Rowan")
        case.drive(first, 1, A, 40000)
        case.drive(second, 2, A, 40006, "no-vin")
        case.import_cards(first, second)
        case.expect(case.trips() == [("Rowan", A, 1), ("Rowan", A, 2)], f"trips {case.trips()}")

        case = Case("no VIN anywhere, a name", work, replay)
        card = case.card("card.log", 1, "Rowan")
        case.drive(card, 1, A, 40000, "no-vin")
        case.import_cards(card)
        case.expect(case.trips() == [("Rowan", None, 1)], f"trips {case.trips()}")

        case = Case("no VIN, the name contradicts the odometer", work, replay)
        first, second = case.card("first.log", 1, "Rowan"), case.card("second.log", 2, "Rowan")
        case.drive(first, 1, A, 40000)
        case.drive(second, 2, B, 71000, "no-vin")
        case.import_cards(first, second)
        case.expect(case.trips() == [("Rowan", A, 1), ("log-00000002", None, 2)],
                    f"trips {case.trips()}")
        case.says(second, "log-00000002", "van_not_told")

        case = Case("no VIN, fleet.toml's name contradicts the odometer", work, replay,
                    f"\n[[van]]\nname = 'Rowan'\nvin = '{A}'\n")
        first, second = case.card("first.log", 1, ""), case.card("second.log", 2, "Rowan")
        case.drive(first, 1, A, 40000)
        case.drive(second, 2, B, 71000, "no-vin")
        case.import_cards(first, second)
        case.expect(case.trips() == [("Rowan", A, 1), ("log-00000002", None, 2)],
                    f"trips {case.trips()}")

        case = Case("no VIN, no name, the evidence fits one van", work, replay)
        first, other, blank = (case.card("first.log", 1, "Rowan"),
                               case.card("other.log", 2, "Cedar"), case.card("blank.log", 3, ""))
        case.drive(first, 1, A, 40000)
        case.drive(other, 1, B, 71000)
        case.drive(blank, 2, A, 40006, "no-vin")
        case.import_cards(first, other, blank)
        case.expect(case.trips() == [("Cedar", B, 1), ("Rowan", A, 1), ("Rowan", A, 2)],
                    f"trips {case.trips()}")
        case.says(blank, "Rowan", "van_told_by_evidence")

        case = Case("no VIN, no name, the evidence fits two vans", work, replay)
        first, other, blank = (case.card("first.log", 1, "Rowan"),
                               case.card("other.log", 2, "Cedar"), case.card("blank.log", 3, ""))
        case.drive(first, 1, A, 40000)
        case.drive(other, 1, B, 40000)
        case.drive(blank, 2, A, 40006, "no-vin")
        case.import_cards(first, other, blank)
        case.expect(case.trips() == [("Cedar", B, 1), ("Rowan", A, 1), ("log-00000003", None, 2)],
                    f"trips {case.trips()}")
        case.says(blank, "log-00000003", "van_not_told")

        case = Case("no VIN, no name, no odometer", work, replay)
        first, blank = case.card("first.log", 1, "Rowan"), case.card("blank.log", 3, "")
        case.drive(first, 1, A, 40000)
        case.drive(blank, 2, A, 40006, "no-vin", "no-odometer")
        case.import_cards(first, blank)
        case.expect(case.trips() == [("Rowan", A, 1), ("log-00000003", None, 2)],
                    f"trips {case.trips()}")
        case.says(blank, "log-00000003", "van_not_told")

        case = Case("the logger moved with its card to a van without VIN", work, replay)
        card = case.card("card.log", 1, "Rowan")
        case.drive(card, 1, A, 40000)
        case.drive(card, 3, B, 71000, "no-vin")
        case.import_cards(card)
        case.expect(case.trips() == [("Rowan", A, 1), ("log-00000001", None, 3)],
                    f"trips {case.trips()}")
        case.says(card, "used in 2 vans")
        case.says(card, "log-00000001", "van_not_told")

        case = Case("the VIN was not answered for one day", work, replay)
        card = case.card("card.log", 1, "Rowan")
        case.drive(card, 1, A, 40000)
        case.drive(card, 2, A, 40006, "no-vin")
        case.drive(card, 3, A, 40012)
        case.import_cards(card)
        case.expect(case.trips() == [("Rowan", A, 1), ("Rowan", A, 2), ("Rowan", A, 3)],
                    f"trips {case.trips()}")
        case.expect("used in" not in case.said, "says that there are two vans")
    finally:
        shutil.rmtree(work, ignore_errors=True)
    print("failures:", failures)
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
