"""What the van said on its bus, read from the bench's log, and whether a card agrees.

Sources   ISO 15765-2 for the frames; SAE J1979 for service 01: which bytes of a PID are which
          signal is taken from FORMAT.md's table, lengths of the others from the standard.
"""
import collections
import re

# Of a PID: its bytes, and the signals in them (name, first byte, bytes).
PIDS = {
    0x01: (4, [("monitor_status", 0, 4)]), 0x05: (1, [("coolant_c", 0, 1)]),
    0x0D: (1, [("speed_kmh", 0, 1)]), 0x1C: (1, [("obd_requirements", 0, 1)]),
    0x1F: (2, [("run_time_s", 0, 2)]), 0x30: (1, [("warm_ups", 0, 1)]),
    0x31: (2, [("distance_since_clear_km", 0, 2)]), 0x33: (1, [("barometric_kpa", 0, 1)]),
    0x42: (2, [("module_v", 0, 2)]), 0x46: (1, [("ambient_c", 0, 1)]),
    0x4E: (2, [("time_since_clear_min", 0, 2)]), 0x51: (1, [("fuel_type", 0, 1)]),
    0x5B: (1, [("soc_pct", 0, 1)]), 0x61: (1, [("demanded_torque_pct", 0, 1)]),
    0x62: (1, [("actual_torque_pct", 0, 1)]), 0x63: (2, [("reference_torque_nm", 0, 2)]),
    0x9A: (6, [("pack_support", 0, 1), ("pack_state", 1, 1), ("pack_v", 2, 2), ("pack_a", 4, 2)]),
    0xA6: (4, [("odometer_km", 0, 4)]),
}
FRAME = re.compile(r"\((\d+\.\d+)\) can0 ([0-9A-F]{3})#([0-9A-F]+)")


def messages(path):
    """(seconds, id, bytes) of each message of an ECU that came out whole."""
    open_messages = {}
    for line in open(path):
        found = FRAME.match(line)
        if not found:
            continue
        at_s, can_id, data = float(found[1]), int(found[2], 16), bytes.fromhex(found[3])
        if not 0x7E8 <= can_id <= 0x7EF:
            continue
        kind = data[0] >> 4
        if kind == 0:
            yield at_s, can_id, data[1:1 + data[0]]
        elif kind == 1:
            open_messages[can_id] = [(data[0] & 15) << 8 | data[1], data[2:], 1]
        elif kind == 2 and can_id in open_messages:
            length, so_far, number = open_messages[can_id]
            if data[0] & 15 != number & 15:
                del open_messages[can_id]
                continue
            so_far += data[1:]
            open_messages[can_id] = [length, so_far, number + 1]
            if len(so_far) >= length:
                del open_messages[can_id]
                yield at_s, can_id, so_far[:length]


def words(path):
    """(ecu, signal) to the words that were said, in order."""
    said = collections.defaultdict(list)
    for _, can_id, message in messages(path):
        if message[0] != 0x41 or message[1] % 0x20 == 0:
            continue  # another service; which PIDs there are
        at = 1
        while at < len(message):
            length, signals = PIDS[message[at]]
            data = message[at + 1:at + 1 + length]
            for name, first, count in signals:
                said[f"{can_id:X}", name].append(int.from_bytes(data[first:first + count], "big"))
            at += 1 + length
    return said


def kept_words(samples):
    """The same from rows of `packmile samples` of one boot."""
    kept = collections.defaultdict(list)
    for row in sorted(samples, key=lambda r: r["tick_ms"]):
        kept[row["ecu"], row["signal"]].append(row["raw"])
    return kept


def lay_on(kept, said):
    """Lays what was kept on what was said, both in order, as late as it can lie. Returns where
    each kept word lies, or None: something was kept that was never said, or in another order."""
    places, at = [], len(said) - 1
    for word in reversed(kept):
        while at >= 0 and said[at] != word:
            at -= 1
        if at < 0:
            return None
        places.append(at)
        at -= 1
    return places[::-1]


def compare(samples, path):
    """(said, kept, lost within, lost at the end) over all signals of one boot. Kept words that
    nobody said are an AssertionError. `lost at the end` is the largest of any signal."""
    said, kept = words(path), kept_words(samples)
    assert set(kept) <= set(said), sorted(set(kept) - set(said))
    within, at_end = 0, 0
    for key in said:
        list_kept = kept[key]
        places = lay_on(list_kept, said[key])
        assert places is not None, f"{key}: words are on the card that were never said so"
        # As early as it can lie: how many are missing behind the last.
        at = -1
        for word in list_kept:
            at = said[key].index(word, at + 1)
        at_end = max(at_end, len(said[key]) - 1 - at)
        within += at + 1 - len(list_kept)
    return (sum(map(len, said.values())), sum(map(len, kept.values())), within, at_end)
