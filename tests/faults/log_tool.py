"""Makes, takes apart and patches logs sector by sector, from FORMAT.md alone."""
import struct

SECTOR = 512
HEAD = 32
MAGIC = b"PMLG"
SETTINGS = 3


def _crc_table():
    table = []
    for value in range(256):
        for _ in range(8):
            value = value >> 1 ^ (0x82F63B78 if value & 1 else 0)
        table.append(value)
    return table


_TABLE = _crc_table()


def crc32c(content):
    crc = 0xFFFFFFFF
    for byte in content:
        crc = crc >> 8 ^ _TABLE[(crc ^ byte) & 0xFF]
    return crc ^ 0xFFFFFFFF


assert crc32c(b"123456789") == 0xE3069283


def seal(kind, log_id, boot_id, sequence, ring, van_tag, payload):
    head = struct.pack("<4sBBHIIIII", MAGIC, 1, kind, len(payload), log_id, boot_id, sequence, ring,
                       van_tag)
    body = head + payload + bytes(480 - len(payload))
    return body + struct.pack("<I", crc32c(body))


def header(sector):
    """(kind, log id, boot id, sequence, ring, van tag) of a good sector, else None."""
    magic, _, kind, length, *ids = struct.unpack("<4sBBHIIIII", sector[:28])
    if magic != MAGIC or crc32c(sector[:508]) != struct.unpack("<I", sector[508:])[0]:
        return None
    return (kind, *ids)


def reseal(sector):
    """A sector whose bytes were changed, with the CRC that they need."""
    return sector[:508] + struct.pack("<I", crc32c(sector[:508]))


def _varint(number):
    out = b""
    while number >= 0x80:
        out += bytes([number & 0x7F | 0x80])
        number >>= 7
    return out + bytes([number])


def prepare(path, ring, log_id, van, prepared_unix_ms):
    """A blank log with a ring of `ring` sectors, as a host prepares it."""
    assert ring % 32 == 0
    settings = b"\x10" + _varint(prepared_unix_ms)
    if van:
        settings = b"\x0a" + _varint(len(van)) + van.encode() + settings
    record = b"\x22" + _varint(len(settings)) + settings
    with open(path, "wb") as out:
        out.write(seal(SETTINGS, log_id, 0, 0, ring, 0, record))
        out.truncate((HEAD + ring) * SECTOR)


def sectors(path):
    """Every good sector: (address, header, bytes)."""
    with open(path, "rb") as file:
        address = 0
        while len(content := file.read(SECTOR)) == SECTOR:
            if content[:4] == MAGIC and (head := header(content)) is not None:
                yield address, head, content
            address += 1


def sequences(path):
    """The sequence numbers of the ring that are there."""
    return sorted(head[3] for _, head, _ in sectors(path) if head[0] != SETTINGS)
