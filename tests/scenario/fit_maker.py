"""A minimal writer of the open interchange format, to test its reader on made-up rides."""

from __future__ import annotations

import struct

_EPOCH = 631_065_600  # seconds from 1970 to the format's own zero, 1989-12-31
_MISSING = {0x86: 0xFFFFFFFF, 0x85: 0x7FFFFFFF, 0x84: 0xFFFF}
_PACK = {0x86: "I", 0x85: "i", 0x84: "H"}
# Field number and base type of the record message.
FIELDS = {"timestamp": (253, 0x86), "position_lat": (0, 0x85), "position_long": (1, 0x85),
          "altitude": (2, 0x84), "distance": (5, 0x86), "speed": (6, 0x84), "power": (7, 0x84)}


def checksum(data):
    """The format's cyclic redundancy check: 16 bits, polynomial 0xA001."""
    out = 0
    for byte in data:
        out ^= byte
        for _ in range(8):
            out = (out >> 1) ^ (0xA001 if out & 1 else 0)
    return out


def make_fit(samples, fields=("timestamp", "power")):
    """File with one record a sample; a sample is {field: value}, absent ones are missing.

    `timestamp` in seconds since 1970, `altitude` in m, `distance` in m, `speed` in m/s,
    positions in degrees.
    """
    scaled = {"altitude": lambda v: round(5 * (v + 500)), "distance": lambda v: round(100 * v),
              "speed": lambda v: round(1000 * v), "timestamp": lambda v: round(v - _EPOCH),
              "position_lat": lambda v: round(v * 2**31 / 180),
              "position_long": lambda v: round(v * 2**31 / 180), "power": round}
    definition = bytes([0x40, 0, 0]) + struct.pack("<HB", 20, len(fields))
    for name in fields:
        number, kind = FIELDS[name]
        definition += bytes([number, struct.calcsize(_PACK[kind]), kind])
    body = definition
    for sample in samples:
        body += b"\x00"
        for name in fields:
            kind = FIELDS[name][1]
            value = scaled[name](sample[name]) if name in sample else _MISSING[kind]
            body += struct.pack("<" + _PACK[kind], value)
    head = struct.pack("<BBHI4s", 14, 0x20, 2078, len(body), b".FIT")
    head += struct.pack("<H", checksum(head))
    return head + body + struct.pack("<H", checksum(head + body))
