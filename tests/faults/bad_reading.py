"""Imports that cannot read the whole card, cannot write at all, or are not alone.

  bad_reading.py PACKMILE BENCHVAN FAILING_CALLS_LIBRARY
"""
import errno
import os
import re
import shutil
import subprocess
import sys
import tempfile

from scene import (HEAD, SECTOR, Programs, archive_bytes, archive_state, copy_depot, write_drive)

programs = Programs(*sys.argv[1:4])
failures = 0


def expect(true, what, done=None):
    global failures
    if true:
        return
    failures += 1
    print("FAILED:", what)
    if done is not None:
        print("   exit", done.returncode, "\n   " + done.stderr.replace("\n", "\n   "))


def good_sectors(card):
    """Sectors that are not blank, by address; the card is undamaged."""
    with open(card, "rb") as file:
        content = file.read()
    return {at // SECTOR: content[at:at + SECTOR] for at in range(0, len(content), SECTOR)
            if content[at:at + SECTOR].strip(b"\0") and content[at:at + SECTOR].strip(b"\xff")}


def pulled_while_reading(card, empty, work):
    """The card is pulled at sector k: what came before is in, and exit 3 says so."""
    good = good_sectors(card)
    last = max(good)
    whole = copy_depot(empty, os.path.join(work, "whole"))
    assert programs.run("import", card, "--depot", whole).returncode == 0
    for k in (0, 1, 5, HEAD, HEAD + 1, HEAD + 40, last // 2, last - 9, last):
        depot = copy_depot(empty, os.path.join(work, "pulled"))
        done = programs.run("import", card, "--depot", depot,
                            faults={"FAULT_READ": card, "FAULT_READ_FROM": k * SECTOR})
        what = f"pulled at sector {k}"
        expect(done.returncode == 3, f"{what}: not exit 3", done)
        # The system gives a page or none of it; a part of a page is given here.
        first = re.search(r"not read: sectors (\d+) to (\d+)", done.stderr)
        want = {("sector", s) for at, s in good.items() if at < k}
        if want:
            expect(first and int(first.group(1)) == k, f"{what}: does not say what", done)
            expect("unreadable" in done.stderr, f"{what}: does not say how much", done)
        expect(archive_state(depot) == want, f"{what}: other sectors than those before it")
        programs.rows(depot)
        again = programs.run("import", card, "--depot", depot)
        expect(again.returncode == 0, f"{what}: the whole card afterwards", again)
        expect(archive_state(depot) == archive_state(whole), f"{what}: afterwards not all is there")
        expect(programs.rows(depot) == programs.rows(whole), f"{what}: afterwards other rows")
    # In a list the card behind it is imported as ever.
    depot = copy_depot(empty, os.path.join(work, "pulled"))
    other = os.path.join(work, "other.log")
    shutil.copy(card, other)
    done = programs.run("import", card, other, "--depot", depot,
                        faults={"FAULT_READ": card, "FAULT_READ_FROM": (HEAD + 40) * SECTOR})
    expect(done.returncode == 3, "one of two cards pulled: not exit 3", done)
    expect(archive_state(depot) == archive_state(whole), "the second card is not in")


def read_only(card, one, work):
    """Nothing can be written: exit 1, a message, and not a byte changes."""
    depot = copy_depot(one, os.path.join(work, "read-only"))
    before = archive_bytes(depot)
    rows = programs.rows(one)
    for command in (["import", card], ["rebuild"]):
        done = programs.run(*command, "--depot", depot,
                            faults={"FAULT_AT": 1, "FAULT_HOW": "on", "FAULT_ERRNO": errno.EROFS})
        expect(done.returncode == 1, f"read-only {command[0]}: not exit 1", done)
        expect("packmile: " in done.stderr and re.search(r"(?m)^  [a-z]", done.stderr),
               f"read-only {command[0]}: no message, or no hint", done)
        expect(archive_bytes(depot) == before, f"read-only {command[0]}: something changed")
    expect(programs.rows(depot) == rows, "read-only: other rows afterwards")


def two_at_once(first, second, empty, work):
    """Two imports started together, of the same and of different cards."""
    for cards in ((first, first), (first, second)):
        want = copy_depot(empty, os.path.join(work, "one-by-one"))
        for card in cards:
            assert programs.run("import", card, "--depot", want).returncode == 0
        for _ in range(4):
            depot = copy_depot(empty, os.path.join(work, "together"))
            running = [subprocess.Popen([programs.packmile, "import", card, "--depot", depot],
                                        stderr=subprocess.PIPE, text=True) for card in cards]
            ends = [(run.communicate(timeout=60)[1], run.returncode) for run in running]
            expect(any(code == 0 for _, code in ends), f"none of two imports got through: {ends}")
            for text, code in ends:
                expect(code == 0 or (code == 1 and "another import is writing" in text),
                       f"two at once: exit {code}: {text}")
            programs.rows(depot)
            for card in cards:
                again = programs.run("import", card, "--depot", depot)
                expect(again.returncode == 0, "two at once: again", again)
            expect(archive_state(depot) == archive_state(want), "two at once: other sectors")
            expect(programs.rows(depot) == programs.rows(want), "two at once: other rows")


def main():
    place = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
    work = tempfile.mkdtemp(prefix="packmile-faults-", dir=place)
    path = lambda name: os.path.join(work, name)
    try:
        write_drive(path("drive.csv"))
        for name, vin in (("first.log", "1M8GDM9AXKP042788"), ("second.log", "11111111111111111")):
            programs.drive(path(name), [path("drive.csv")], "--vin", vin)
        # Cut behind what is written: reading 64 MiB of blank card takes time.
        for name in ("first.log", "second.log"):
            os.truncate(path(name), (max(good_sectors(path(name))) + 1) * SECTOR)
        made = programs.run("new", path("empty"), "--zone", "Europe/London")
        assert made.returncode == 0, made.stderr
        copy_depot(path("empty"), path("one"))
        assert programs.run("import", path("first.log"), "--depot", path("one")).returncode == 0
        pulled_while_reading(path("first.log"), path("empty"), work)
        read_only(path("second.log"), path("one"), work)
        two_at_once(path("first.log"), path("second.log"), path("empty"), work)
    finally:
        shutil.rmtree(work, ignore_errors=True)
    print("failures:", failures)
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
