"""The plan as a course for head units, in the open binary interchange format (.fit).

A course file holds, in this order: what it is, its name, one lap with its time and length, the
start, the course points (where a line of the card begins, and the marks), the line of the road
with the clock of the card, and the end. Numbers of messages and fields are those of the format's
published profile; the tests read them back with a library of other authors.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimizer.job import Result

__all__ = ["course_fit"]

_EPOCH: Final = 631_065_600  # s from 1970 to the format's own zero, 1989-12-31
_NO_DAY: Final = datetime(2030, 1, 1, tzinfo=UTC)  # where no start is known; only the clock counts
_SEMICIRCLE: Final = 180.0 / 2**31  # degrees
_NAME: Final = 16  # bytes of a course point's name with its closing zero
_LONG_NAME: Final = 48
_PROFILE: Final = 2100  # version of the profile

# Base types: number, code of struct, value where nothing is known.
_ENUM, _U16, _I32, _U32, _TEXT = 0x00, 0x84, 0x85, 0x86, 0x07
_CODES: Final = {_ENUM: "B", _U16: "H", _I32: "i", _U32: "I"}


@dataclass(frozen=True)
class _Message:
    """A kind of message: its number, and number and base type of each field."""

    number: int
    fields: tuple[tuple[int, int, int], ...]  # field, base type, bytes


def _message(number: int, *fields: tuple[int, int] | tuple[int, int, int]) -> _Message:
    return _Message(number, tuple(
        (field[0], field[1], field[2] if len(field) == 3 else struct.calcsize(_CODES[field[1]]))
        for field in fields))


_FILE = _message(0, (0, _ENUM), (1, _U16), (2, _U16), (4, _U32), (8, _TEXT, 8))
_COURSE = _message(31, (4, _ENUM), (5, _TEXT, _LONG_NAME))
_LAP = _message(19, (253, _U32), (2, _U32), (3, _I32), (4, _I32), (5, _I32), (6, _I32),
                (7, _U32), (8, _U32), (9, _U32))
_EVENT = _message(21, (253, _U32), (0, _ENUM), (1, _ENUM))
_POINT = _message(32, (254, _U16), (1, _U32), (2, _I32), (3, _I32), (4, _U32), (5, _ENUM),
                  (6, _TEXT, _NAME))
_RECORD = _message(20, (253, _U32), (0, _I32), (1, _I32), (2, _U16), (5, _U32), (6, _U16))

_IS_COURSE, _IN_DEVELOPMENT, _CYCLING = 6, 255, 2
_TIMER, _STARTS, _STOPS = 0, 0, 9
_GENERIC = 0


def course_fit(result: Result, lines: Sequence[tuple[float, str]]) -> bytes:
    """Give the course with the clock of the card, and a course point a line and a mark.

    `lines` are where the lines of the card begin [m], and their watts in words.
    """
    course, ridden = result.job.course, result.rideable
    elapsed = np.interp(course.distance, result.plan.distance, ridden.time)
    speed = np.interp(course.distance, result.plan.distance, ridden.speed)
    start = result.job.conditions.start_time or _NO_DAY
    begin = round((start if start.tzinfo else start.replace(tzinfo=UTC)).timestamp()) - _EPOCH
    begin = min(max(begin, 0), 2**32 - 2**20)
    place = [np.round(values / _SEMICIRCLE).astype(np.int64).clip(-2**31, 2**31 - 1)
             for values in (course.latitude, course.longitude)]
    ends = [int(values[k]) for k in (0, -1) for values in place]
    total, length = float(elapsed[-1]), course.length

    points = [*lines, *((mark.distance, mark.name) for mark in course.marks)]
    parts = [
        _define(_FILE), _data(_FILE, _IS_COURSE, _IN_DEVELOPMENT, 0, begin, b"kitpace"),
        _define(_COURSE), _data(_COURSE, _CYCLING, _text(course.name, _LONG_NAME)),
        _define(_LAP), _data(_LAP, begin + round(total), begin, *ends, round(1000 * total),
                             round(1000 * total), round(100 * length)),
        _define(_EVENT), _data(_EVENT, begin, _TIMER, _STARTS), _define(_POINT)]
    for k, (at, name) in enumerate(sorted(points)):
        node = int(np.argmin(np.abs(course.distance - at)))
        parts.append(_data(_POINT, k, begin + round(float(elapsed[node])), int(place[0][node]),
                           int(place[1][node]), round(100 * at), _GENERIC, _text(name, _NAME)))
    parts.append(_define(_RECORD))
    parts += [_data(_RECORD, begin + round(float(t)), int(a), int(b), _height(float(h)),
                    round(100 * float(x)), round(1000 * float(v)))
              for t, a, b, h, x, v in zip(elapsed, *place, course.elevation, course.distance, speed,
                                          strict=True)]
    parts += [_define(_EVENT), _data(_EVENT, begin + round(total), _TIMER, _STOPS)]
    return _file(b"".join(parts))


def _height(metres: float) -> int:
    """Height as the format keeps it: fifths of a metre above -500 m."""
    return min(max(round(5.0 * (metres + 500.0)), 0), 0xFFFE)


def _text(words: str, size: int) -> bytes:
    """UTF-8 of at most `size` bytes with a closing zero, cut between characters."""
    plain = " ".join("".join(c if c.isprintable() else " " for c in words).split())
    return plain.encode()[:size - 1].decode("utf-8", "ignore").rstrip().encode()


def _define(message: _Message) -> bytes:
    """Define a kind of message; there is one at a time, so that all have local number 0."""
    head = struct.pack("<BBBHB", 0x40, 0, 0, message.number, len(message.fields))
    return head + b"".join(struct.pack("BBB", field, size, base)
                           for field, base, size in message.fields)


def _data(message: _Message, *values: int | bytes) -> bytes:
    out = b"\0"
    for (_, base, size), value in zip(message.fields, values, strict=True):
        if isinstance(value, bytes):
            out += value[:size - 1].ljust(size, b"\0")
        else:
            out += struct.pack("<" + _CODES[base], value)
    return out


def _file(body: bytes) -> bytes:
    """Whole file: a head of 14 bytes with its check, the messages, and the check of both."""
    head = struct.pack("<BBHI4s", 14, 0x10, _PROFILE, len(body), b".FIT")
    head += struct.pack("<H", _check(head))
    return head + body + struct.pack("<H", _check(head + body))


def _check(data: Sequence[int]) -> int:
    """Give the format's cyclic redundancy check: 16 bits, polynomial 0xA001."""
    out = 0
    for byte in data:
        out = _TABLE[(out ^ byte) & 0xFF] ^ (out >> 8)
    return out


def _row(byte: int) -> int:
    for _ in range(8):
        byte = (byte >> 1) ^ (0xA001 if byte & 1 else 0)
    return byte


_TABLE: Final = tuple(map(_row, range(256)))
