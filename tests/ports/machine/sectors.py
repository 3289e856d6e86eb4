"""Sectors of the log, read by nothing but FORMAT.md: for what the machine wrote, not for how it
is decoded.

Check value  CRC-32C of 123456789 is E3069283 (FORMAT.md, and the catalogue of CRCs of RevEng).
"""
import collections
import struct

SECTOR_BYTES = 512
HEAD_SECTORS = 32
BOOT_ALIGN_SECTORS = 32
SAMPLES, SESSION, SETTINGS = 1, 2, 3

Header = collections.namedtuple("Header", "kind log_id boot_id sequence ring_sectors van_tag")


def _table():
    for byte in range(256):
        for _ in range(8):
            byte = byte >> 1 ^ (0x82F63B78 if byte & 1 else 0)
        yield byte


CRC_TABLE = tuple(_table())


def crc32c(data):
    crc = 0xFFFFFFFF
    for byte in data:
        crc = crc >> 8 ^ CRC_TABLE[(crc ^ byte) & 0xFF]
    return crc ^ 0xFFFFFFFF


assert crc32c(b"123456789") == 0xE3069283


def header(sector):
    """None: not a valid sector."""
    if len(sector) != SECTOR_BYTES or struct.unpack_from("<I", sector, 508)[0] != crc32c(sector[:508]):
        return None
    magic, version, kind, _, log_id, boot_id, sequence, ring, tag = struct.unpack_from("<4sBBHIIIII", sector)
    assert magic == b"PMLG" and version == 1, "a good checksum under another format"
    return Header(kind, log_id, boot_id, sequence, ring, tag)


def fields(data):
    """(number, value) of one protobuf message: integers, or bytes of what is nested."""
    at = 0

    def varint():
        nonlocal at
        value = shift = 0
        while True:
            byte = data[at]
            at += 1
            value |= (byte & 0x7F) << shift
            shift += 7
            if byte < 0x80:
                return value

    while at < len(data):
        key = varint()
        if key & 7 == 0:
            yield key >> 3, varint()
        elif key & 7 == 2:
            length = varint()
            yield key >> 3, data[at:at + length]
            at += length
        else:
            size = {1: 8, 5: 4}[key & 7]
            yield key >> 3, data[at:at + size]
            at += size


def payload(sector):
    return sector[28:28 + struct.unpack_from("<H", sector, 6)[0]]
