#!/usr/bin/env python3
"""The plug is pulled at random moments, and what the card had not finished is torn, dropped or
turned to noise before the machine starts again on it.

    power_cuts.py BIN IMAGE [--chains 6] [--cuts 9] [--seed N]

A chain is one card through many power-ups. Two boots in three meet a van and are killed within
some seconds; the third stands for eleven minutes of skipped time with nothing on the line (a
logger that was reset three times within ten minutes would only listen). After each kill of the
first kind the writes of the last two seconds before the last one meet what a card may do to them.

Held to, at each kill (tests/powercut does the same to the core in memory, a hundred thousand
times; here it is the machine as a whole):
  what was handed over  valid sectors; the first of a boot at a multiple of 16 KiB beyond all that
                        the boot could see, then one after another, at their places in the ring;
                        another boot id each time; nothing outside of the log is written
  what is on the card   what the decoder takes out of it before the damage it takes out afterwards,
                        but for samples of the damaged sectors; nothing that was not there before
  what was lost         samples not yet handed over at the kill: 10 s of the van's answers at most
"""
import concurrent.futures
import pathlib
import random
import shutil
import time

from bus_log import compare
from machine import Bench, Machine, arguments, running, wait_until, workspace
from nbd_card import SECTOR_BYTES, prepared_card
from sectors import BOOT_ALIGN_SECTORS, HEAD_SECTORS, SAMPLES, SETTINGS, fields, header, payload
from watch import clock_ms, rows_of_card

UNFINISHED_S = 2
# Eleven minutes: past the window in which resets are counted (firmware/core/boot_history.hpp).
LONG_MS = 11 * 60_000
# 10 s (firmware/core/settings.hpp) of the fastest signal, 5 a second, and an exchange or two.
MOST_UNWRITTEN = 10 * 5 + 3
BASE_MS = 1  # field of packmile.Record


class Chain:
    def __init__(self, found, image, folder, seed):
        self.found, self.image, self.folder = found, image, folder
        self.rng = random.Random(seed)
        self.name = f"chain {seed}"
        self.path = folder / "van.img"
        self.card = prepared_card(found, folder)
        self.log_first = self.find_log()
        self.boot_ids = set()
        self.boots_that_wrote = self.hurt = self.kept_words = self.words_lost = 0

    def find_log(self):
        """Address of the log's sector 0 on the card: the one good settings sector."""
        for address in range(self.card.size // SECTOR_BYTES):
            sector = self.card.read(address * SECTOR_BYTES, SECTOR_BYTES)
            if sector[:4] == b"PMLG" and (there := header(sector)) and there.kind == SETTINGS:
                self.ring = there.ring_sectors
                return address
        raise AssertionError("no log on the card")

    def ring_address(self, sequence):
        return self.log_first + HEAD_SECTORS + sequence % self.ring

    def samples(self):
        return {(r["boot"], r["tick_ms"], r["ecu"], r["signal"]): r["raw"]
                for r in rows_of_card(self.found, "samples", self.path)}

    def newest_on_card(self):
        """Highest sequence of a good sector on the card; -1: none."""
        newest = -1
        for at in range(self.ring):
            sector = self.card.read((self.log_first + HEAD_SECTORS + at) * SECTOR_BYTES, SECTOR_BYTES)
            if sector[:4] == b"PMLG" and (there := header(sector)):
                newest = max(newest, there.sequence)
            elif at > BOOT_ALIGN_SECTORS * 64:
                break  # such a short test does not come so far
        return newest

    def run_van(self, number):
        with running(Bench(self.found.benchvan, self.folder, "--round", number)) as bench:
            with running(Machine(self.image, self.folder, card=self.card, bench=bench)) as machine:
                # Some right at the start, while the card is searched; some while the van is found.
                span_s = self.rng.choice((1, 6, 18, 18, 18))
                time.sleep(self.rng.uniform(0, span_s))
                machine.close()
            bench.stop()
            return bench

    def stand(self):
        with running(Machine(self.image, self.folder, card=self.card, skip_time=True)) as machine:
            wait_until("eleven minutes of skipped time", lambda: clock_ms(machine) > LONG_MS)
            machine.close()

    def check_handed_over(self, first_write, newest_before):
        """Of one boot. Returns its boot id; none: it wrote nothing."""
        sequence = boot_id = None
        for write in self.card.writes[first_write:]:
            assert len(write.new) == SECTOR_BYTES and write.offset % SECTOR_BYTES == 0
            there = header(write.new)
            assert there is not None, "a sector is sealed wrong"
            if sequence is None:
                assert there.sequence % BOOT_ALIGN_SECTORS == 0, "a boot does not begin on 16 KiB"
                assert newest_before < there.sequence <= newest_before + BOOT_ALIGN_SECTORS, (
                    newest_before, there.sequence)
                boot_id = there.boot_id
                assert boot_id not in self.boot_ids, "a boot id came twice"
                self.boot_ids.add(boot_id)
            else:
                assert there.sequence == sequence + 1 and there.boot_id == boot_id
            sequence = there.sequence
            assert write.offset == self.ring_address(sequence) * SECTOR_BYTES, "outside of its place"
        return boot_id

    def check_lost(self, bench, boot_id):
        """What the van said to this boot, and what of it was handed over."""
        rows = [r for r in rows_of_card(self.found, "samples", self.path) if r["boot"] == f"{boot_id or 0:08X}"]
        said, kept, within, at_end = compare(rows, bench.candump)
        late = rows_of_card(self.found, "check", self.path)[0]["late_answers"]
        assert within <= 6 * late, f"{within} words of {said} are missing within"
        assert at_end <= MOST_UNWRITTEN, f"{at_end} words were not handed over"
        self.kept_words += kept
        self.words_lost += at_end

    def check_damage(self, first_write):
        before = self.samples()
        good_before = rows_of_card(self.found, "check", self.path)[0]["sectors_good"]
        hurt = self.card.cut(self.rng, UNFINISHED_S, first_write)
        self.hurt += len(hurt)
        after = self.samples()
        row = rows_of_card(self.found, "check", self.path)[0]
        invented = {k: v for k, v in after.items() if before.get(k) != v}
        assert not invented, f"damage decoded as good: {list(invented.items())[:3]}"
        gone = {header(write.new).sequence for write in hurt}
        assert row["sectors_good"] == good_before - len(gone), (row["sectors_good"], good_before, gone)
        lost = set(before) - set(after)
        holding = [w for w in hurt if header(w.new).kind == SAMPLES]
        if lost:
            oldest = min(dict(fields(payload(w.new))).get(BASE_MS, 0) for w in holding)
            boots = {f"{header(w.new).boot_id:08X}" for w in holding}
            assert {k[0] for k in lost} <= boots and min(k[1] for k in lost) >= oldest, (
                "samples of undamaged sectors are gone")
        else:
            assert not holding, "a damaged sector's samples are still there"

    def cut(self, number):
        first_write, newest = len(self.card.writes), self.newest_on_card()
        stands = number % 3 == 2
        bench = self.stand() if stands else self.run_van(number)
        boot_id = self.check_handed_over(first_write, newest)
        self.boots_that_wrote += boot_id is not None
        if not stands:
            self.check_lost(bench, boot_id)
            self.check_damage(first_write)
        assert rows_of_card(self.found, "check", self.path)[0]["sectors_foreign"] == 0

    def run(self, cuts):
        number = 0
        try:
            for number in range(cuts):
                self.cut(number)
        except AssertionError as error:
            kept = pathlib.Path("/tmp") / f"packmile-{self.name.replace(' ', '-')}.img"
            shutil.copy(self.path, kept)
            raise AssertionError(f"{self.name}, cut {number}: {error} (card kept as {kept})") from error
        finally:
            self.card.close()
        return self


def main():
    found, image, chain_count, cuts, seed = arguments(chains=6, cuts=9, seed=20261126)
    with workspace() as folder, concurrent.futures.ThreadPoolExecutor(chain_count) as pool:
        folders = [folder / str(i) for i in range(chain_count)]
        for each in folders:
            each.mkdir()
        chains = list(pool.map(lambda i: Chain(found, image, folders[i], seed + i).run(cuts),
                               range(chain_count)))
    total = lambda name: sum(getattr(chain, name) for chain in chains)
    print(f"{chain_count * cuts} kills of {chain_count} machines: {total('boots_that_wrote')} boots wrote, "
          f"{total('hurt')} of their last sectors were damaged; of {total('kept_words')} words handed over in boots "
          f"with a van none was lost but with its sector, {total('words_lost')} of a signal had not been handed over")
    assert total("boots_that_wrote") >= chain_count * cuts / 3, "too few boots came so far as to write"
    assert total("hurt") > 0 and total("kept_words") > 0, "nothing was at stake"


if __name__ == "__main__":
    main()
