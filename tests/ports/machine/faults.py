#!/usr/bin/env python3
"""The program of the machine goes wrong: it restarts by itself, and its next session record says
why and where.

    faults.py BIN IMAGE

undefined instruction  written by a debugger where the processor is in its turn: a usage fault,
                       taken as a hard fault
endless loop           written there: nobody feeds the watchdog any more; interrupts still come
stack too deep         the stack pointer set to the bottom of the stack: the guard below it

Numbers of exceptions: ARM DDI 0403 B1.5.2; bits of the fault status register: B3.2.15.
"""
import struct

from machine import Machine, arguments, running, symbols, wait_until, workspace
from nbd_card import prepared_card
from sectors import SESSION, fields, header, payload
from watch import rows_of_card

RESET_WATCHDOG, RESET_FAULT = 3, 4  # packmile.ResetCause
RECORD_SESSION, SESSION_CAUSE, SESSION_FAULT = 3, 5, 16  # fields of packmile.proto
HARD_FAULT, MEMORY_FAULT = 3, 4
WATCHDOG_INTERRUPT = 16 + 18  # of the LM3S6965
PLACE = "packmile::Logger::deadline() const"
HANDLER = "packmile_end_after_exception"  # firmware/cortex_m/last_words.cpp
UNDEFINED = struct.pack("<H", 0xDE00)  # UDF #0
LOOP = struct.pack("<H", 0xE7FE)       # B to itself
FORCED_UNDEFINED = 1 << 16             # CFSR: UNDEFINSTR
DATA_ACCESS, WHILE_STACKING = 1 << 1, 1 << 4  # CFSR: DACCVIOL, MSTKERR


def first_session(card, boot):
    """The fields of the first session record of the boot-th boot; None: it is not there yet."""
    ids = []
    for write in list(card.writes):
        there = header(write.new)
        if there.boot_id not in ids:
            ids.append(there.boot_id)
            if len(ids) == boot + 1:
                assert there.kind == SESSION, "a boot does not begin with its session record"
                return dict(fields(dict(fields(payload(write.new)))[RECORD_SESSION]))
    return None


def go_wrong(found, image, name, spoil):
    """Returns (where it was spoilt, the session record of the boot after)."""
    with workspace() as folder:
        card = prepared_card(found, folder)
        with running(Machine(image, folder, card=card, gdb=True, icount=True)) as machine:
            wait_until("the first session record", lambda: first_session(card, 0))
            assert SESSION_FAULT not in first_session(card, 0)
            debugger = machine.gdb()
            # A place of the turn, where interrupts may come; the clock masks them.
            debugger.break_at(symbols(image)[PLACE])
            debugger.go_on()
            debugger.wait_for_stop()
            where = debugger.registers()["pc"]
            debugger.unbreak_at(where)
            whole = debugger.memory(where, 4)
            spoil(debugger, where)
            # The emulator does not load the program anew at a reset: it is mended once it has failed.
            debugger.break_at(symbols(image)[HANDLER])
            debugger.go_on()
            debugger.wait_for_stop()
            debugger.unbreak_at(symbols(image)[HANDLER])
            debugger.set_memory(where, whole)
            debugger.go_on()
            session = wait_until(f"the session record after {name}", lambda: first_session(card, 1), limit_s=60)
            debugger.close()
            machine.close()
        row = rows_of_card(found, "check", folder / "van.img")[0]
        card.close()
    fault = dict(fields(session.get(SESSION_FAULT, b"")))
    print(f"{name}: cause {session[SESSION_CAUSE]}, exception {fault.get(1)}, at {fault.get(2, 0):08X} "
          f"from {fault.get(3, 0):08X}, status {fault.get(4, 0):08X}; spoilt at {where:08X}; "
          f"findings {row['findings']}")
    assert row["boots"] == 2 and "logger_failed" in row["findings"]
    return where, session[SESSION_CAUSE], fault


def main():
    found, image = arguments()

    def undefined(debugger, where):
        debugger.set_memory(where, UNDEFINED)

    def loop(debugger, where):
        debugger.set_memory(where, LOOP)

    def deep(debugger, where):
        # The next push leaves the stack downwards.
        debugger.set_memory(where, bytes.fromhex("2de9f04f"))  # push.w {r4-r11, lr}
        debugger.set_register("sp", symbols(image)["__stack_bottom"] + 8)

    where, cause, fault = go_wrong(found, image, "an undefined instruction", undefined)
    assert cause == RESET_FAULT and fault[1] == HARD_FAULT and fault[2] == where
    assert fault[4] & FORCED_UNDEFINED
    where, cause, fault = go_wrong(found, image, "an endless loop", loop)
    assert cause == RESET_WATCHDOG and fault[1] == WATCHDOG_INTERRUPT and fault[2] == where
    where, cause, fault = go_wrong(found, image, "a stack that is too deep", deep)
    assert cause == RESET_FAULT and fault[1] in (HARD_FAULT, MEMORY_FAULT)
    assert fault[4] & (DATA_ACCESS | WHILE_STACKING)


if __name__ == "__main__":
    main()
