#!/usr/bin/env python3
"""One script of bytes and times through all ports: the same bytes to the adapter at the
same ticks, and the same sectors.

    same_sectors.py BIN [--image ELF]

Scripts are recorded from the bench van and the core in virtual time; then each port
lives through them in lock-step, its own line, card and turn at work and only its clock
replaced. Power-up values (the clock, what the boot id is drawn from) come from the
script, so that whole cards are compared and no field is left out.
"""
import argparse
import pathlib
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "conformity"))
import players  # noqa: E402
from programs import Bin, run, workspace  # noqa: E402

CARD_BYTES = 64 << 20  # what the emulator takes is a power of two
# Of a script: its van's signals, boots, least number of samples, sectors and turns that
# have bytes at a deadline.
SCRIPTS = {"day": (None, 2, 4000, 40, 50), "owner": ("owner", 2, 500, 6, 5), "pulled": (None, 1, 500, 6, 10)}


def prepare(programs, folder, signals):
    """An image of a whole FAT32 card."""
    card = folder / f"prepared-{signals}.img"
    if not card.exists():
        depot = folder / f"depot-{signals}"
        run(programs.packmile, "new", depot)
        if signals:
            with open(depot / "fleet.toml", "ab") as fleet:
                fleet.write(b"\n" + run(programs.benchvan, "signals", "--van", "alder").stdout)
        run(programs.packmile, "card", "prepare", card, "--van", "alder", "--size-mb", "40", "--depot", depot, "--yes")
        with open(card, "r+b") as image:
            image.truncate(CARD_BYTES)
    return card


def main():
    arguments = argparse.ArgumentParser()
    arguments.add_argument("bin", type=pathlib.Path)
    arguments.add_argument("--image", type=pathlib.Path)
    options = arguments.parse_args()
    programs = Bin(options.bin)
    failed = False
    with workspace() as name:
        folder = pathlib.Path(name)
        for script_name, (signals, boots, samples, sectors, coincidences) in SCRIPTS.items():
            blank = prepare(programs, folder, signals)

            def copy(what):
                card = folder / f"{script_name}-{what}.img"
                run("cp", "--sparse=always", blank, card)
                return card

            recorded = copy("recorded")
            path = folder / f"{script_name}.txt"
            said = run(options.bin / "packmile_port_script", "record", recorded, path, script_name).stdout.decode()
            script = players.read_script(path)
            print(f"{script_name}: {said.strip()}")

            # What a script that says nothing would pass.
            check = programs.rows("check", recorded)[0]
            kept = programs.rows("samples", recorded)
            both = sum(1 for before, turn in zip(script, script[1:])
                       if turn.kind == "turn" and turn.received and turn.tick == before.due)
            assert check["boots"] == boots and check["sectors_damaged"] == 0, check
            assert len(kept) >= samples and check["sectors_good"] >= sectors, (len(kept), check)
            assert both >= coincidences, both

            ports = [players.Virtual(options.bin, copy("virtual"))] if script_name != "pulled" else []
            ports.append(players.Linux(options.bin, copy("linux"), folder / "tty"))
            if options.image and script_name != "pulled":
                ports.append(players.Emulated(options.image, copy("emulated"), folder))
            for port in ports:
                began = time.monotonic()
                try:
                    wakes = players.play(script, port)
                    differ = players.differing_sectors(recorded, port.card)
                    assert not differ, f"{len(differ)} sectors differ, the first is {differ[0]}"
                    print(f"  {port.name}: the same {check['sectors_good']} sectors; woken {wakes} times by itself; "
                          f"{time.monotonic() - began:.1f} s")
                except (players.Differs, AssertionError) as error:
                    failed = True
                    print(f"  {port.name}: {error}")
    sys.exit(failed)


main()
