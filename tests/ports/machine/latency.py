#!/usr/bin/env python3
"""How long the machine takes from a first frame to its flow control, and how much it does for an
exchange: counted in instructions, so that nothing depends on how busy this host is.

    latency.py BIN IMAGE [--seconds 20]

The emulator runs one instruction at a time and logs each, and each byte that the line's register
gives and takes. From the instruction that reads the last byte of the line with a first frame to
the one that hands over the first byte of the flow control's line; on the line itself that takes
another 22 bytes. The machine sleeps in between: what is asleep is not counted, so a wait would be
missed: the number of waits in between is told, and must be 0.

Limit   25 ms is asked of the machine. ISO 15765-2 gives the sender of a first frame 1,000 ms
        (N_Bs) to wait, ISO 15765-4 asks for less; 75 ms is the shortest that the bench knows.
Speed   62.5 million instructions a second, a Cortex-M3 at 50 MHz (machine.py).
"""
import re
import time

from machine import ICOUNT_SHIFT, Bench, Machine, arguments, programs, running, wait_until, workspace
from nbd_card import prepared_card
from watch import stack_used

LIMIT_MS = 25.0
BAUD, FLOW_CONTROL_BYTES = 115200, 22
BYTE = re.compile(rb"pl011_(read|write)\b.*?addr (?:0x)?0+\b.*?value (?:0x)?([0-9a-fA-F]+)")
PLACE = re.compile(rb"^Trace \d+: \S+ \[[0-9a-f]+/([0-9a-f]+)/")


def watch(machine, seconds):
    """The emulator's log of so much time."""
    path = machine.folder / "instructions"
    machine.monitor(f"logfile {path}")
    machine.monitor("singlestep on")
    machine.monitor("log exec,nochain")
    # Bytes last, so that no instruction between two of them is missed.
    for event in ("pl011_read", "pl011_write"):
        machine.monitor(f"trace-event {event} on")
    time.sleep(seconds)
    machine.monitor("stop")
    machine.monitor("log guest_errors")
    return path


def measure(path, waits):
    """(instructions to flow control of each first frame, waits in between, instructions in all,
    requests)."""
    done = slept = requests = 0
    came, sent = bytearray(), bytearray()
    first_frame = flow_begin = None
    latencies, waited = [], 0
    for line in open(path, "rb"):
        if found := PLACE.match(line):
            done += 1
            slept += int(found[1], 16) in waits
            continue
        found = BYTE.search(line)
        if not found:
            continue
        byte = int(found[2], 16) & 0xFF
        if found[1] == b"read":
            came.append(byte)
            if byte in (0x0D, 0x07):
                # t, three digits of id, length, then the frame: 1 is a first frame.
                if re.match(rb"t7E.81", bytes(came).lstrip(b"\r\x07zZ")):
                    first_frame, slept = done, 0
                came.clear()
            continue
        if not sent:
            flow_begin = done
        sent.append(byte)
        if byte == 0x0D:
            if re.match(rb"t7E.830", bytes(sent)):
                if first_frame is not None:
                    latencies.append(flow_begin - first_frame)
                    waited += slept
                    first_frame = None
            elif sent[:1] == b"t":
                requests += 1
            sent.clear()
    return latencies, waited, done, requests


def wait_instructions(image):
    """Addresses of the instruction that waits for an interrupt."""
    text = programs.run("arm-none-eabi-objdump", "-d", image).stdout.decode()
    return {int(address, 16) for address in re.findall(r"^ *([0-9a-f]+):\s+bf30\s+wfi", text, re.M)}


def main():
    found, image, seconds = arguments(seconds=20.0)
    with workspace() as folder:
        card = prepared_card(found, folder)
        with running(Bench(found.benchvan, folder, "--round", 5)) as bench, \
                running(Machine(image, folder, card=card, bench=bench, icount=True)) as machine:
            # The second session record is written once the van is known.
            wait_until("the van is known", lambda: len(card.writes) >= 2)
            path = watch(machine, seconds)
            print("stack: %d of %d bytes used, by its paint" % stack_used(machine))
            machine.kill()
            bench.stop()
            latencies, waited, done, requests = measure(path, wait_instructions(image))
        card.close()
    assert len(latencies) >= 5 and requests >= 5, (len(latencies), requests)
    ns = 1 << ICOUNT_SHIFT
    worst_ms = max(latencies) * ns / 1e6
    line_ms = FLOW_CONTROL_BYTES * 10_000 / BAUD
    print(f"{len(latencies)} first frames: flow control after {min(latencies)} to {max(latencies)} instructions, "
          f"at worst {worst_ms:.2f} ms, and {line_ms:.2f} ms on the line; {waited} waits in between")
    print(f"{requests} exchanges: {done // requests} instructions each, all that the machine does in between included")
    assert min(latencies) > 0, "the log of instructions has holes"
    assert waited == 0 and worst_ms + line_ms < LIMIT_MS


if __name__ == "__main__":
    main()
