"""A depot of eight vans for the checks of its printed report.

    depot.py BIN_DIR FOLDER

The demo's firm with some weeks of cards, and three more vans of which only papers and
notes exist; one of them has a name that would be markup if a page let it.
FOLDER/depot is the depot, FOLDER/report.html its report, FOLDER/buyer.html what the
buyer of one van gets.
"""

import csv
import pathlib
import re
import shutil
import sys

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "conformity"))
from programs import Bin, run  # noqa: E402

# A new van, and the one whose papers and notes it takes over.
MORE_VANS = {"birch": "rowan", "</script><b>elm": "willow", "a van named at some length": "hazel"}


def fleet_with_more(text):
    """fleet.toml with a copy of every block that is about one van alone for each new one."""
    blocks = re.findall(r"\[\[\w+\]\]\n(?:.+\n)+", text)
    more = []
    for k, (new, old) in enumerate(MORE_VANS.items()):
        for block in blocks:
            if re.search(rf'^(name = "{old}"|vans = \["{old}"\])', block, re.M):
                # The last digits of a VIN are its serial number.
                more.append(re.sub(r'^(vin = ".{14}).{3}', rf"\g<1>{900 + k}", block.replace(f'"{old}"', f'"{new}"'), flags=re.M))
    return "\n".join([text.rstrip(), "", *more])


def notes_with_more(path):
    with open(path, newline="", encoding="utf-8") as file:
        head, *rows = csv.reader(file)
    # A charge's note needs the charge, which a van without cards does not have.
    more = [[new, *row[1:]] for new, old in MORE_VANS.items() for row in rows if row[0] == old and row[2] != "receipt"]
    with open(path, "w", newline="", encoding="utf-8") as file:
        csv.writer(file, lineterminator="\n").writerows([head, *rows, *more])


def main():
    programs, folder = Bin(sys.argv[1]), pathlib.Path(sys.argv[2])
    shutil.rmtree(folder, ignore_errors=True)
    cards, depot = folder / "cards", folder / "depot"
    run(programs.benchvan, "firm", "--out", cards, "--cards-before", "2", "--days", "1", "--seed", "5")
    run(programs.packmile, "new", depot, "--zone", "Europe/London", "--currency", "GBP")
    (depot / "fleet.toml").write_text(fleet_with_more((cards / "fleet.toml").read_text(encoding="utf-8")), encoding="utf-8")
    run(programs.packmile, "import", *sorted(cards.glob("*.log")), "--depot", depot)
    notes_with_more(cards / "notes.csv")
    run(programs.packmile, "note", "--from", cards / "notes.csv", "--depot", depot)
    for log in cards.glob("*.log"):
        log.unlink()
    run(programs.packmile, "report", "-o", folder / "report.html", "--depot", depot)
    run(programs.packmile, "report", "--for-buyer", "--van", "willow", "-o", folder / "buyer.html", "--depot", depot)


main()
