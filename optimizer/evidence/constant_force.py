"""Several watts of one source that are a single force, held the same at every speed.

Drag is a force that grows with the square of the speed, so that the watts it takes grow with the
cube. A source that measured grams at one speed and multiplied them by others gives watts that
grow with the speed alone: one figure, not several.
"""

from __future__ import annotations

import re
from collections import defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING

from optimizer.defaults import GRAVITY
from optimizer.evidence.datum import Datum, Figure
from optimizer.evidence.quantities import NUMBER

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["at_other_speed", "one_figure_each"]

_LEAST = 3  # figures; two may agree by chance
_Span = tuple[float, float]


def one_figure_each(data: Sequence[Datum]) -> tuple[list[Datum], list[str]]:
    """Put one datum in place of those that are a single force at several speeds.

    They are at least three figures in watts, of one item, source and kind of test, that fit one
    force within the rounding of their digits and do not fit the cube of the speed. The datum in
    their place is that force at a speed that is not stated.

    Parameters
    ----------
    data : rows of the evidence table

    Returns
    -------
    data in their order, and in words which of them are one
    """
    alike: dict[tuple[object, ...], list[Datum]] = defaultdict(list)
    for datum in data:
        figure = datum.figure
        if figure.quantity == "power" and figure.speed and figure.acts_on == "drag_area":
            alike[datum.item, datum.source, datum.test, datum.measured_by, datum.yaw].append(datum)
    in_place: dict[int, Datum | None] = {}
    notes = []
    for found in alike.values():
        force = _common_force(found)
        if force is None:
            continue
        datum, note = _merged(found, force)
        notes.append(note)
        in_place |= {id(one): None for one in found} | {id(found[0]): datum}
    kept = (in_place.get(id(datum), datum) for datum in data)
    return [datum for datum in kept if datum is not None], notes


def _common_force(found: Sequence[Datum]) -> float | None:
    """Force [N] that all figures are within their rounding; None where there is no such one."""
    if len({datum.figure.speed for datum in found}) < _LEAST:
        return None
    force, cube = _common(found, 1), _common(found, 3)
    return 0.5 * sum(force) if force and not cube else None


def _common(found: Sequence[Datum], power: int) -> _Span | None:
    """Range of W / v^power that all figures share."""
    low, high = -float("inf"), float("inf")
    for datum in found:
        watts, rounding = datum.figure.value, 0.5 * _last_digit(datum.figure.text)
        scale = (datum.figure.speed or 1.0) ** power
        low, high = max(low, (watts - rounding) / scale), min(high, (watts + rounding) / scale)
    return (low, high) if low <= high else None


def _last_digit(text: str) -> float:
    """Worth of the last digit of the first number in a text."""
    number = re.search(NUMBER, text)
    decimals = re.search(r"[.,](\d+)", number[0]) if number else None
    return 10.0 ** -len(decimals[1]) if decimals else 1.0


def _merged(found: Sequence[Datum], force: float) -> tuple[Datum, str]:
    watts = ", ".join(f"{abs(datum.figure.value):g}" for datum in found)
    speeds = ", ".join(f"{3.6 * (datum.figure.speed or 0.0):.0f}" for datum in found)
    grams = f"{abs(force) / GRAVITY * 1000:.0f} g"
    words = f"{watts} W at {speeds} km/h"
    rows = ", ".join(datum.place.rpartition("row ")[2] for datum in found)
    figure = Figure("force", force, text=f"{words}, which is {grams} at each", unit="W",
                    read_as=f"{grams} of drag at a speed that is not stated")
    runs = max((datum.runs or 0 for datum in found), default=0) or None
    return replace(found[0], figure=figure, uncertainty=None, runs=runs), (
        f"{found[0].item}, rows {rows}: {words} is one figure, {grams} at every speed. Drag grows "
        "with the square of the speed, so it is right at one speed, not stated: counted once")


def at_other_speed(figure: Figure, speed: float) -> float | None:
    """Watts of a figure at another speed, if its source keeps grams constant.

    Parameters
    ----------
    figure : in watts or grams
    speed : m/s

    Returns
    -------
    watts; None for a figure of something else, or that states no speed
    """
    if figure.speed is None or figure.acts_on != "drag_area":
        return None
    if figure.quantity == "power":
        return figure.value / figure.speed * speed
    return figure.value * speed if figure.quantity == "force" else None
