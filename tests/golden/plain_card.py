"""The samples of a log, read from FORMAT.md and packmile.proto alone: slow, plain,
and without a line of the project's code."""
import struct

MAGIC = b"PMLG"
# FORMAT.md: all other signals are one byte.
WORD_BYTES = {1: 2, 2: 2, 7: 4, 9: 2, 10: 2, 12: 4, 13: 2, 15: 2, 17: 2, 18: 2, 23: 2, 24: 4, 25: 4}


def crc32c(content):
    crc = 0xFFFFFFFF
    for byte in content:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0x82F63B78 if crc & 1 else 0)
    return crc ^ 0xFFFFFFFF


def varint(content, at):
    value = shift = 0
    while True:
        byte = content[at]
        value |= (byte & 0x7F) << shift
        at, shift = at + 1, shift + 7
        if byte < 0x80:
            return value, at


def fields(message):
    at = 0
    while at < len(message):
        key, at = varint(message, at)
        if key & 7 == 0:
            value, at = varint(message, at)
        else:
            assert key & 7 == 2, key
            length, at = varint(message, at)
            value, at = message[at:at + length], at + length
        yield key >> 3, value


def packed(content):
    out, at = [], 0
    while at < len(content):
        value, at = varint(content, at)
        out.append(value)
    return out


def zigzag(values):
    return [value >> 1 ^ -(value & 1) for value in values]


def block_rows(block):
    ecu = period = 0
    signals, times, deltas, runs, lengths = [], [], {}, {}, {}
    for number, value in fields(block):
        if number == 1:
            ecu = value
        elif number == 2:
            signals = packed(value)
        elif number == 3:
            period = value
        elif number == 4:
            times = zigzag(packed(value))
        elif 5 <= number <= 10:
            deltas[number - 5] = zigzag(packed(value))
        elif 11 <= number <= 16:
            runs[number - 11] = zigzag(packed(value))
        elif 17 <= number <= 22:
            lengths[number - 17] = packed(value)
    ticks, tick, step = [], 0, period
    for row, change in enumerate(times):
        step += change if row else 0
        tick += step if row else change
        ticks.append(tick)
    for column, signal in enumerate(signals):
        modulus = 256 ** WORD_BYTES.get(signal, 1)
        word, words = 0, []
        for delta in deltas.get(column, []):
            word = (word + delta) % modulus
            words.append(word)
        for run, delta in enumerate(runs.get(column, [])):
            word = (word + delta) % modulus
            lasts = lengths.get(column, [])
            words += [word] * (lasts[run] if run < len(lasts) else len(ticks) - len(words))
        assert len(words) == len(ticks), (signal, len(words), len(ticks))
        for tick, word in zip(ticks, words):
            yield ecu, signal, tick, word


def samples(path):
    """(boot id, ECU, signal number, tick, word) of every good sector, copies once."""
    content = open(path, "rb").read()
    seen = {}
    for at in range(0, len(content) // 512 * 512, 512):
        sector = content[at:at + 512]
        if crc32c(sector[:508]) != struct.unpack("<I", sector[508:])[0] or sector[:4] != MAGIC:
            continue
        kind, length = sector[5], struct.unpack("<H", sector[6:8])[0]
        boot, sequence = struct.unpack("<II", sector[12:20])
        if kind == 1:
            seen[boot, sequence] = sector[28:28 + length]
    for (boot, _), record in sorted(seen.items(), key=lambda item: (item[0][1], item[0][0])):
        base, blocks = 0, []
        for number, value in fields(record):
            if number == 1:
                base = value
            elif number == 2:
                blocks.append(value)
        for block in blocks:
            for ecu, signal, tick, word in block_rows(block):
                yield boot, ecu, signal, base + tick, word
