#!/usr/bin/env python3
"""One script of bytes and times through all ports: the same bytes to the adapter at the
same ticks, and the same sectors.

    same_sectors.py BIN [--image ELF] [--only SCRIPT]
    same_sectors.py BIN --breaches

The second form shows that the check sees a port which keeps another order than the turn
above class Logger: each of these must differ from the script, and the one that keeps it
must not.

Scripts are recorded from the bench van and the core in virtual time; then each port
lives through them in lock-step, its own line, card and turn at work and only its clock
replaced. Power-up values (the clock, what the boot id is drawn from) come from the
script, so that whole cards are compared and no field is left out.

Two boots each: "day" has wake, discovery, a drive, standing until the van is taken for
parked, sleep, a power cut and a charge; "owner" a van that answers what its card's
settings define; "pulled" an adapter that is unplugged, and a clean stop (not on the chip,
which can see neither).
"""
import argparse
import pathlib
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "conformity"))
import players  # noqa: E402
from programs import Bin, need, run, workspace  # noqa: E402

CARD_BYTES = 64 << 20  # what the emulator takes is a power of two
# Of a script: its van's signals, boots, and at least so many samples, sectors and turns
# that bring bytes at the tick of a deadline.
SCRIPTS = {"day": ("standard", 2, 1500, 25, 30), "owner": ("owner", 2, 250, 10, 15),
           "pulled": ("standard", 1, 120, 5, 8)}

# Words of port_script.cpp.
BREACHES = ["time-first", "late", "time-forgotten", "one-take", "tick-behind"]


def prepare(programs, folder, signals):
    """An image of a whole FAT32 card."""
    card = folder / f"prepared-{signals}.img"
    if not card.exists():
        depot = folder / f"depot-{signals}"
        run(programs.packmile, "new", depot)
        if signals == "owner":
            with open(depot / "fleet.toml", "ab") as fleet:
                fleet.write(b'\n[[van]]\nname = "alder"\nvin = "0PMLVAN19T0000042"\n\n' + run(programs.benchvan, "signals", "--van", "alder").stdout)
        run(programs.packmile, "card", "prepare", card, "--van", "alder", "--size-mb", "40", "--depot", depot, "--yes")
        with open(card, "r+b") as image:
            image.truncate(CARD_BYTES)
        run(programs.packmile.with_name("packmile_port_script"), "settings", card)
    return card


class Recorded:
    """A script, and the card that it leaves."""

    def __init__(self, programs, folder, name):
        signals, boots, samples, sectors, coincidences = SCRIPTS[name]
        self.name, self.folder = name, folder
        self.blank = prepare(programs, folder, signals)
        self.card = self.copy("recorded")
        path = folder / f"{name}.txt"
        said = run(programs.packmile.with_name("packmile_port_script"), "record", self.card, path, name).stdout.decode()
        print(f"{name}: {said.strip()}", flush=True)
        self.turns = players.read_script(path)

        # A script that says nothing would pass.
        check = programs.rows("check", self.card)[0]
        kept = programs.rows("samples", self.card)
        both = sum(1 for before, turn in zip(self.turns, self.turns[1:])
                   if turn.kind == "turn" and turn.received and turn.tick == before.due)
        assert check["boots"] == boots and check["sectors_damaged"] == 0
        assert len(kept) >= samples and check["sectors_good"] >= sectors, (len(kept), check["sectors_good"])
        assert both >= coincidences, both
        self.sectors = check["sectors_good"]

    def copy(self, what):
        card = self.folder / f"{self.name}-{what}.img"
        run("cp", "--sparse=always", self.blank, card)
        return card

    def played_to(self, port):
        """What the port did otherwise, in words; none: nothing."""
        began = time.monotonic()
        try:
            wakes = players.play(self.turns, port)
        except players.Differs as difference:
            return str(difference)
        differ = players.differing_sectors(self.card, port.card)
        if differ:
            return f"{len(differ)} sectors differ, the first is {differ[0]}"
        print(f"  {port.name}: the same {self.sectors} sectors; woken {wakes} times by itself; "
              f"{time.monotonic() - began:.1f} s", flush=True)
        return None


def same_sectors(programs, folder, options):
    failed = False
    for name in [options.only] if options.only else SCRIPTS:
        recorded = Recorded(programs, folder, name)
        ports = [players.Linux(options.bin, recorded.copy("linux"), folder / "tty")]
        # A chip's serial port cannot tell that nobody is there.
        if options.image and name != "pulled":
            ports.append(players.Emulated(options.image, recorded.copy("emulated"), folder))
        for port in ports:
            difference = recorded.played_to(port)
            if difference:
                failed = True
                print(f"  {port.name}: {difference}", flush=True)
    return failed


def breaches(programs, folder, options):
    failed = False
    recorded = Recorded(programs, folder, "owner")
    for breach in ["none", *BREACHES]:
        difference = recorded.played_to(players.Virtual(options.bin, recorded.copy(breach), breach))
        if difference:
            print(f"  {breach}: {difference}", flush=True)
        failed = failed or (difference is None) != (breach == "none")
    return failed


def main():
    arguments = argparse.ArgumentParser()
    arguments.add_argument("bin", type=pathlib.Path)
    arguments.add_argument("--image", type=pathlib.Path)
    arguments.add_argument("--only", choices=SCRIPTS)
    arguments.add_argument("--breaches", action="store_true")
    options = arguments.parse_args()
    programs = Bin(options.bin)
    if options.image:
        need(options.bin / "packmile_port_script", "cmake --build --preset release")
    with workspace() as name:
        check = breaches if options.breaches else same_sectors
        sys.exit(check(programs, pathlib.Path(name), options))


main()
