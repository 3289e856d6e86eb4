#!/usr/bin/env python3
"""Checks recordings of everything that was sent to the adapter against an
allow-list: what a reader may put on a van's bus.

    allow_list.py RECORDING...     exit 1 if a line in them is not allowed
    allow_list.py --self-test      bad recordings must be refused

Input     text, one line for each that the adapter got (without its CR):
            SECONDS LINE            12.345 t7DF8020100CCCCCCCCCC
          A recording may also hold what the adapter said, marked by '<':
            SECONDS < LINE          12.347 < t7E8804410D3200000000
          Flow control is then held to the very first frame that it answers.
Output    counts per kind; each violation with its line.
Source    written afresh from the standards, without a look at the logger: slcan
          as in the Linux driver, can-utils and python-can; ids of ISO 15765-4;
          services 01 and 09 of SAE J1979; F190 and F400..F4FF of ISO 14229-1;
          single frames and flow control of ISO 15765-2.

Allowed
  commands      C, S5, S6, O, L, F, and the empty line that flushes half a line
  frames        only between an O that was accepted and the next C: an adapter
                takes S, O and L while it is closed, O and L after an S
                data, DLC 8, to 7DF, 7E0..7E7, 18DB33F1, 18DAxxF1
  requests      one single frame:  01 and 1 to 6 PIDs; 09 and one info type;
                22 and F190, to one ECU; F400, to all; one to three of F400..F4FF,
                to one ECU; or one identifier that --did names, to the ECU
                that --did names with it
  flow control  30 00 00 or 32 00 00 to a physical id; where only our side is
                recorded: one for each time that the ECU was asked, alone or with
                all others, since the adapter was opened
Everything else is a violation. So is a recording without a line: it shows
nothing.
"""
import argparse
import collections
import re
import sys

COMMANDS = {"C", "S5", "S6", "O", "L", "F", ""}
FRAME = re.compile(r"(?:t([0-9A-Fa-f]{3})|T([0-9A-Fa-f]{8}))8([0-9A-Fa-f]{16})")
RECORDED = re.compile(r"(\d+(?:\.\d+)?) (< ?)?(.*)")
VIN_DID, OBD_DIDS = 0xF190, range(0xF400, 0xF500)
ALL_11, ALL_29 = 0x7DF, 0x18DB33F1


def response_id(request_id):
    """Of a physical request id; None: it is none."""
    if 0x7E0 <= request_id <= 0x7E7:
        return request_id + 8
    if request_id & 0xFFFF00FF == 0x18DA00F1:
        return 0x18DAF100 | (request_id >> 8 & 0xFF)
    return None


class Judge:
    def __init__(self, dids=(), both_sides=False):
        self.listed = set(dids)  # (request id, data identifier)
        self.both_sides = both_sides
        self.state, self.rate_known = "unknown", False
        self.counts = collections.Counter()
        self.asked = set()    # response ids that may still get a flow control
        self.all_asked = {}   # functional id: response ids that had theirs since
        self.first = set()    # response ids whose first frame waits for flow control

    def command(self, text):
        if text not in COMMANDS:
            return "not a command of a reader"
        self.counts["command " + (text or "(empty)")] += 1
        if text == "C":
            self.state = "closed"
            self.asked.clear()
            self.all_asked.clear()
            self.first.clear()
        elif text in ("S5", "S6"):
            self.rate_known = self.rate_known or self.state == "closed"
        elif text in ("O", "L"):
            if not self.rate_known:
                return "opened at a bit rate that nobody set"
            if self.state == "closed":
                self.state = "open" if text == "O" else "listening"
        return None

    def request(self, identifier, service, rest):
        if service == 0x01 and 1 <= len(rest) <= 6:
            pass
        elif service == 0x09 and len(rest) == 1:
            pass
        elif service == 0x22 and len(rest) in (2, 4, 6):
            dids = [rest[i] << 8 | rest[i + 1] for i in range(0, len(rest), 2)]
            if identifier in (ALL_11, ALL_29):
                if dids != [0xF400]:
                    return "a data identifier, to all, that is not F400"
            elif all(did in OBD_DIDS for did in dids):
                pass
            elif len(dids) > 1:
                return "several data identifiers that are not all F4xx"
            elif dids != [VIN_DID] and (identifier, *dids) not in self.listed:
                return "a data identifier that nobody listed for this ECU"
        else:
            return "a service, or a length of it, that a reader does not send"
        everybody = identifier in (ALL_11, ALL_29)
        self.counts[f"request {service:02X} {'to all' if everybody else 'to one ECU'}"] += 1
        if everybody:
            self.all_asked[identifier] = set()
        else:
            self.asked.add(response_id(identifier))
        return None

    def flow_control(self, identifier, data):
        ecu = response_id(identifier)
        if ecu is None:
            return "flow control to all"
        if data[0] not in (0x30, 0x32) or data[1] or data[2]:
            return "flow control that is not 30 00 00 or 32 00 00"
        if self.both_sides:
            if ecu not in self.first:
                return "flow control without a first frame"
            self.first.discard(ecu)
        else:
            everybody = self.all_asked.get(ALL_29 if ecu > 0x7FF else ALL_11)
            if ecu in self.asked:
                self.asked.discard(ecu)
            elif everybody is not None and ecu not in everybody:
                everybody.add(ecu)
            else:
                return "flow control to an ECU that was not asked since its last one"
        self.counts[f"flow control {data[0]:02X}"] += 1
        return None

    def sent(self, text):
        """One line to the adapter; says what is wrong with it, or None."""
        if text[:1] not in ("t", "T"):
            return self.command(text)
        match = FRAME.fullmatch(text)
        if not match:
            return "not a data frame with DLC 8"
        if self.state != "open":
            return f"a frame while the adapter is {self.state}"
        identifier, data = int(match[1] or match[2], 16), bytes.fromhex(match[3])
        if match[2] and identifier <= 0x7FF:
            return "an 11-bit id as a 29-bit one"
        if identifier not in (ALL_11, ALL_29) and response_id(identifier) is None:
            return "an id that is no tester's"
        kind, length = data[0] >> 4, data[0] & 15
        if kind == 0 and 1 <= length <= 7:
            return self.request(identifier, data[1], data[2:1 + length])
        if kind == 3:
            return self.flow_control(identifier, data)
        return "neither a single frame nor flow control"

    def heard(self, text):
        """One line from the adapter, where it is recorded."""
        match = FRAME.fullmatch(text)
        if match and match[3][0] == "1":
            self.first.add(int(match[1] or match[2], 16))


def judge(lines, dids=()):
    """Counts and violations [(number, line, why)] of one recording."""
    lines = [line.rstrip("\n") for line in lines]
    parsed = [RECORDED.fullmatch(line) for line in lines]
    it = Judge(dids, any(match and match[2] for match in parsed))
    violations = []
    for number, (line, match) in enumerate(zip(lines, parsed), 1):
        if not match:
            why = "not a line of a recording"
        elif match[2]:
            it.heard(match[3])
            continue
        else:
            why = it.sent(match[3])
        if why:
            violations.append((number, line, why))
    if not sum(it.counts.values()) and not violations:
        violations.append((0, "", "nothing was recorded"))
    return it.counts, violations


def check(path, dids=()):
    """Prints counts and violations of a recording; True: all of it is allowed."""
    # As the bytes came: a stray byte must show up as a violation, not as an error.
    with open(path, encoding="latin-1", newline="\n") as recording:
        counts, violations = judge(recording, dids)
    print(f"{path}: " + ", ".join(f"{n} {kind}" for kind, n in sorted(counts.items())))
    for number, line, why in violations[:20]:
        print(f"  line {number}: {line!r}: {why}")
    print(f"  {sum(counts.values())} lines allowed, {len(violations)} violations")
    return not violations


OPEN = ["C", "S6", "O"]
ASK = "t7E080201050000000000"  # 01 05 of one ECU
FLOW = "t7E083000000000000000"


def frame(head, bytes_):
    return head + "8" + bytes(bytes_).ljust(8, b"\xcc").hex().upper()


def self_test():
    good = {
        "start-up": ["C", "C", "C", "", "S6", "L", "C", "S5", "L", "F", "C", "S6", "O", "t7DF8020100CCCCCCCCCC"],
        "six PIDs": [*OPEN, frame("t7E0", b"\x07\x01\x0d\x42\x46\x5b\x9a\xa6")],
        "29 bit": [*OPEN, frame("T18DB33F1", b"\x02\x01\x00"), frame("T18DA10F1", b"\x02\x09\x02"),
                   frame("T18DA10F1", b"\x30\x00\x00")],
        "VIN": [*OPEN, frame("t7E0", b"\x03\x22\xf1\x90"), FLOW],
        "VIN, 29 bit": [*OPEN, frame("T18DA10F1", b"\x03\x22\xf1\x90")],
        "bitmap to all": [*OPEN, frame("t7DF", b"\x03\x22\xf4\x00"), FLOW],
        "bitmap to all, 29 bit": [*OPEN, frame("T18DB33F1", b"\x03\x22\xf4\x00")],
        "bitmaps of one ECU": [*OPEN, frame("t7E0", b"\x05\x22\xf4\x20\xf4\x40")],
        "three F4xx": [*OPEN, frame("t7E0", b"\x07\x22\xf4\x9a\xf4\x0d\xf4\xff"), FLOW],
        "flow control to two that were asked together": [
            *OPEN, "t7DF8020902CCCCCCCCCC", FLOW, FLOW.replace("7E0", "7E1")],
        "lower case": [*OPEN, ASK.replace("7E0", "7e0")],
        "too long an answer": [*OPEN, ASK, frame("t7E0", b"\x32\x00\x00")],
    }
    bad = {
        "nothing": [],
        "frame before any state": [ASK],
        "frame while closed": ["C", "S6", "O", "C", ASK],
        "frame while listening": ["C", "S6", "L", ASK],
        "O without C while listening": ["C", "S6", "L", "O", ASK],
        "O without a rate": ["C", "O"],
        "S of another rate": ["C", "S4"],
        "raw bit timing": ["C", "s031C"],
        "stamps": ["C", "Z1"],
        "filter": ["C", "M00000000"],
        "auto-poll": ["C", "A1"],
        "two commands in one": ["CS6"],
        "command in lower case": ["c"],
        "remote frame": [*OPEN, "r7DF8"],
        "remote frame, 29 bit": [*OPEN, "R18DB33F18"],
        "DLC 3": [*OPEN, "t7DF3020100"],
        "data missing": [*OPEN, "t7DF8020100CCCCCCCC"],
        "data over": [*OPEN, "t7DF8020100CCCCCCCCCCCC"],
        "no hexadecimal digit": [*OPEN, "t7DF8020100CCCCCCCCCG"],
        "another's id": [*OPEN, ASK.replace("7E0", "123")],
        "an ECU's id": [*OPEN, ASK.replace("7E0", "7E8")],
        "29 bit, another tester": [*OPEN, frame("T18DA10F2", b"\x02\x01\x0d")],
        "29 bit, other priority": [*OPEN, frame("T1CDA10F1", b"\x02\x01\x0d")],
        "29 bit, answer": [*OPEN, frame("T18DAF110", b"\x02\x01\x0d")],
        "29 bit, too large": [*OPEN, frame("T38DA10F1", b"\x02\x01\x0d")],
        "11-bit id in 29 bits": [*OPEN, frame("T000007DF", b"\x02\x01\x0d")],
        "empty single frame": [*OPEN, frame("t7E0", b"\x00\x01\x0d")],
        "service alone": [*OPEN, frame("t7E0", b"\x01\x01")],
        "length of 8": [*OPEN, frame("t7E0", b"\x08\x01\x0d\x42\x46\x5b\x9a\xa6")],
        "two info types": [*OPEN, frame("t7E0", b"\x03\x09\x02\x04")],
        "DID not listed": [*OPEN, frame("t7E4", b"\x03\x22\xd0\x01")],
        "below F400": [*OPEN, frame("t7E0", b"\x03\x22\xf3\xff")],
        "above F4FF": [*OPEN, frame("t7E0", b"\x03\x22\xf5\x00")],
        "F4xx and a DID not listed": [*OPEN, frame("t7E0", b"\x05\x22\xf4\x0d\xd0\x01")],
        "F4xx and the VIN": [*OPEN, frame("t7E0", b"\x05\x22\xf4\x0d\xf1\x90")],
        "VIN of all": [*OPEN, frame("t7DF", b"\x03\x22\xf1\x90")],
        "bitmap F420 of all": [*OPEN, frame("t7DF", b"\x03\x22\xf4\x20")],
        "data of all": [*OPEN, frame("t7DF", b"\x03\x22\xf4\x0d")],
        "two bitmaps of all": [*OPEN, frame("t7DF", b"\x05\x22\xf4\x00\xf4\x00")],
        "four F4xx": [*OPEN, frame("t7E0", b"\x09\x22\xf4\x0d\xf4\x0d\xf4")],
        "VIN and a DID not listed": [*OPEN, frame("t7E0", b"\x05\x22\xf1\x90\xf1\x91")],
        "half a DID": [*OPEN, frame("t7E0", b"\x02\x22\xf1")],
        "first frame": [*OPEN, frame("t7E0", b"\x10\x14\x01\x0d")],
        "consecutive frame": [*OPEN, frame("t7E0", b"\x21\x14\x01\x0d")],
        "flow control unasked": [*OPEN, FLOW],
        "flow control twice": [*OPEN, ASK, FLOW, FLOW],
        "flow control after closing": [*OPEN, ASK, *OPEN, FLOW],
        "flow control to another ECU": [*OPEN, ASK, FLOW.replace("7E0", "7E1")],
        "flow control to all": [*OPEN, "t7DF8020902CCCCCCCCCC", FLOW.replace("7E0", "7DF")],
        "flow control of the other family": [*OPEN, "t7DF8020902CCCCCCCCCC", frame("T18DA10F1", b"\x30\x00\x00")],
        "flow control, wait": [*OPEN, ASK, frame("t7E0", b"\x31\x00\x00")],
        "flow control, block size": [*OPEN, ASK, frame("t7E0", b"\x30\x08\x00")],
        "flow control, separation time": [*OPEN, ASK, frame("t7E0", b"\x30\x00\x14")],
        "stray byte": [*OPEN, "\x00" + ASK],
        **{f"service {s:02X}": [*OPEN, frame("t7E0", [2, s, 1])]
           for s in range(256) if s not in (0x01, 0x09)},
    }
    listed = [(0x7E4, 0xD001), (0x18DA14F1, 0xD001), (0x7DF, 0xD001)]
    with_list = {  # with those identifiers listed
        "listed DID": (True, [*OPEN, frame("t7E4", b"\x03\x22\xd0\x01"), FLOW.replace("7E0", "7E4")]),
        "listed DID, 29 bit": (True, [*OPEN, frame("T18DA14F1", b"\x03\x22\xd0\x01")]),
        "listed for another": (False, [*OPEN, frame("t7E0", b"\x03\x22\xd0\x01")]),
        "another of the listed ECU": (False, [*OPEN, frame("t7E4", b"\x03\x22\xd0\x02")]),
        "listed, of all": (False, [*OPEN, frame("t7DF", b"\x03\x22\xd0\x01")]),
        "listed twice in one": (False, [*OPEN, frame("t7E4", b"\x05\x22\xd0\x01\xd0\x01")]),
        "listed DID of a service that writes": (False, [*OPEN, frame("t7E4", b"\x04\x2e\xd0\x01\x00")]),
        "listed DID of a service that controls": (False, [*OPEN, frame("t7E4", b"\x04\x2f\xd0\x01\x00")]),
    }
    both = {  # with what the adapter said
        "answer to a first frame": (True, [*OPEN, ASK, "< " + frame("t7E8", b"\x10\x14\x41"), FLOW]),
        "no first frame": (False, [*OPEN, ASK, "< " + frame("t7E8", b"\x03\x41\x05\x50"), FLOW]),
        "another's first frame": (False, [*OPEN, ASK, "< " + frame("t7E9", b"\x10\x14\x41"), FLOW]),
        "two for one": (False, [*OPEN, ASK, "< " + frame("t7E8", b"\x10\x14\x41"), FLOW, FLOW]),
    }
    cases = [(name, True, lines, ()) for name, lines in good.items()]
    cases += [(name, False, lines, ()) for name, lines in bad.items()]
    cases += [(name, allowed, lines, ()) for name, (allowed, lines) in both.items()]
    cases += [(name, allowed, lines, listed) for name, (allowed, lines) in with_list.items()]
    failed = 0
    for name, allowed, lines, dids in cases:
        _, violations = judge([f"{i}.000 {line}\n" for i, line in enumerate(lines)], dids)
        # The last line alone must be what is wrong: the way to it is allowed.
        right = not violations if allowed else [n for n, _, _ in violations] == [len(lines)]
        if not right:
            failed += 1
            print(f"{name}: {'refused' if allowed else 'not refused as it should be'}: {lines} {violations}")
    if judge(["1.0 C\n", "half a line\n"])[1] != [(2, "half a line", "not a line of a recording")]:
        failed += 1
        print("a line without a time was taken")
    print(f"{len(cases) + 1} recordings, {failed} judged wrongly")
    return failed == 0


def listed_did(text):
    ecu, _, did = text.partition(":")
    return int(ecu, 16), int(did, 16)


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("recordings", nargs="*", metavar="RECORDING")
    parser.add_argument("--did", action="append", default=[], metavar="ECU:DID", type=listed_did,
                        help="a data identifier that the settings list, behind the request id of its "
                             "ECU, both hexadecimal (7E4:D001); may be repeated")
    parser.add_argument("--self-test", action="store_true")
    given = parser.parse_args()
    if given.self_test == bool(given.recordings):
        parser.error("either recordings or --self-test")
    if given.self_test:
        sys.exit(0 if self_test() else 1)
    sys.exit(0 if all([check(path, given.did) for path in given.recordings]) else 1)


if __name__ == "__main__":
    main()
