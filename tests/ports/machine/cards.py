#!/usr/bin/env python3
"""Cards that are pulled, come late, do not keep what they take, are full, or are large.

    cards.py BIN IMAGE

pulled   taken out while the machine runs, put back later: it goes on in the same boot or begins
         another; nothing that was written is damaged
late     none at power-up; put in later: the machine begins to write on it
liar     answers each write and keeps none: no word of the machine's own may claim they are there
full     a ring of 8 MB that is nearly full: the log goes round and overwrites its oldest sectors
large    of 4 GB: addressed by blocks, not by bytes

What the emulator cannot do: its card tells the machine of no write error of the host's
(sd_blk_write prints it and answers as if all were well), and a card put back has the same
identity. Refused writes and other cards are tried in tests/unit/firmware/cortex_m.
"""
import concurrent.futures
import struct

from machine import Machine, arguments, running, wait_until, workspace
from nbd_card import SECTOR_BYTES, prepared_card
from sectors import HEAD_SECTORS, SAMPLES, SETTINGS, crc32c, header
from watch import clock_ms, rows_of_card

AWAY_MS = 15_000
EJECT, PUT_BACK = "eject -f sd0", "change sd0 {} raw"

# Of a card that has lost its state in the middle of a command.
STATE_LOST = r"^SD: CMD\d+ in a wrong state|sd_read_byte: not in Sending-Data state|sd_write_byte: not in"


def log_first(card):
    for address in range(card.image_bytes // SECTOR_BYTES):
        sector = card.read(address * SECTOR_BYTES, SECTOR_BYTES)
        if sector[:4] == b"PMLG" and (there := header(sector)) and there.kind == SETTINGS:
            return address, there
    raise AssertionError("no log on the card")


def all_there(found, card):
    """Every sector that was written stands on the card and is good."""
    row = rows_of_card(found, "check", card.image)[0]
    assert row["sectors_damaged"] == row["sectors_foreign"] == 0, row
    for write in card.writes:
        assert header(write.new) and card.read(write.offset, SECTOR_BYTES) == write.new
    return row


def pulled(found, image, folder):
    card = prepared_card(found, folder)
    with running(Machine(image, folder, card=card, icount=True)) as machine:
        wait_until("the first sector", lambda: card.writes)
        machine.monitor(EJECT)
        before, since_ms = len(card.writes), clock_ms(machine)
        # Long enough for it to want a sector written, and to find nobody there.
        wait_until("time without a card", lambda: clock_ms(machine) > since_ms + AWAY_MS)
        assert len(card.writes) == before, "a sector was written to a card that is out"
        machine.monitor(PUT_BACK.format(card.drive))
        wait_until("a sector after the card is back", lambda: len(card.writes) > before, limit_s=240)
        machine.close(STATE_LOST)
    row = all_there(found, card)
    return f"{before} sectors before, {len(card.writes) - before} after, {row['boots']} boots", card


def late(found, image, folder):
    card = prepared_card(found, folder)
    with running(Machine(image, folder, card=card, icount=True)) as machine:
        machine.monitor("stop")
        machine.monitor(EJECT)
        early = len(card.writes)
        machine.monitor("system_reset")
        machine.monitor("cont")
        machine.monitor(PUT_BACK.format(card.drive))
        wait_until("a sector on the card that came late", lambda: len(card.writes) > early, limit_s=240)
        machine.close(STATE_LOST)
    all_there(found, card)
    return f"{len(card.writes)} sectors written", card


def liar(found, image, folder):
    card = prepared_card(found, folder, swallows=lambda number, offset: True)
    with running(Machine(image, folder, card=card, icount=True)) as machine:
        # The first write of a boot is read back: it is tried again, and given up.
        wait_until("a write that is tried again", lambda: len(card.swallowed) > 1, limit_s=240)
        machine.close()
    offsets = {write.offset for write in card.swallowed[:2]}
    row = rows_of_card(found, "check", card.image)[0]
    assert row["boots"] == 0 and row["sectors_good"] == 1, row
    return f"{len(card.swallowed)} writes taken and not kept, the first two at {len(offsets)} places", card


def full(found, image, folder):
    card = prepared_card(found, folder)
    first, settings = log_first(card)
    # A log that ends 20 sectors before the end of its second lap, written by an earlier boot.
    last = 2 * settings.ring_sectors - 20
    good = lambda sequence: (head := struct.pack("<4sBBHIIIII", b"PMLG", 1, SAMPLES, 0, settings.log_id, 7, sequence,
                                                 settings.ring_sectors, 0) + bytes(480)) + struct.pack("<I", crc32c(head))
    for sequence in range(last - settings.ring_sectors, last):
        card.put((first + HEAD_SECTORS + sequence % settings.ring_sectors) * SECTOR_BYTES, good(sequence))
    with running(Machine(image, folder, card=card, icount=True)) as machine:
        wait_until("sectors of the next lap", lambda: card.writes, limit_s=240)
        machine.close()
    there = header(card.writes[0].new)
    # The next multiple of 32 is the first sector of the third lap: the oldest one's place.
    assert there.sequence == 2 * settings.ring_sectors, there
    assert card.writes[0].offset == (first + HEAD_SECTORS) * SECTOR_BYTES
    row = all_there(found, card)
    assert row["boots"] == 2 and row["sectors_overwritten"] > 0, row
    return f"sequence {there.sequence} in a ring of {settings.ring_sectors}", card


def large(found, image, folder):
    card = prepared_card(found, folder, at_least=4 << 30)
    with running(Machine(image, folder, card=card, icount=True)) as machine:
        wait_until("the first sector", lambda: card.writes)
        machine.close()
    first, _ = log_first(card)
    assert card.writes[0].offset == (first + HEAD_SECTORS) * SECTOR_BYTES
    all_there(found, card)
    return f"{card.size >> 30} GB, first sector at {card.writes[0].offset // SECTOR_BYTES}", card


def main():
    found, image = arguments()
    cases = [pulled, late, liar, full, large]
    with workspace() as folder, concurrent.futures.ThreadPoolExecutor(len(cases)) as pool:
        def run(case):
            (folder / case.__name__).mkdir()
            said, card = case(found, image, folder / case.__name__)
            card.close()
            return case.__name__, said
        for name, said in pool.map(run, cases):
            print(f"{name:7} {said}")


if __name__ == "__main__":
    main()
