"""Figures as a person reads them: a sensible number of digits, and the unit beside them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["ascent", "at_most", "between", "cell_range", "cell_seconds", "clock", "compass", "days",
           "kilometres", "listing", "money", "seconds", "seconds_range", "signed_seconds", "watts"]

_TENTHS = 9.95  # s, below which an amount of seconds has a decimal
_WINDS = ("north", "north-north-east", "north-east", "east-north-east", "east", "east-south-east",
          "south-east", "south-south-east", "south", "south-south-west", "south-west",
          "west-south-west", "west", "west-north-west", "north-west", "north-north-west")


def clock(time: float) -> str:
    """Seconds as m:ss or h:mm:ss, rounded to the second."""
    whole = round(time)
    minutes, rest = divmod(whole, 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"


def seconds(value: float) -> str:
    """Amount of seconds, to two digits at the most below ten; minutes from two on, then hours."""
    size = abs(value)
    if size >= 119.5:
        minutes, rest = divmod(round(size), 60)
        return clock(size) if minutes >= 60 else f"{minutes} min {rest:02d} s"
    return cell_seconds(value)


def between(later: float, earlier: float) -> float:
    """Seconds between two times; from ten on those of their clocks, so that readers find the same.

    Each clock is rounded to the second: the exact difference could be a second off theirs.
    """
    exact = later - earlier
    return float(exact if abs(exact) < _TENTHS else round(later) - round(earlier))


def cell_seconds(value: float) -> str:
    """Amount of seconds for the cell of a column, which has one unit: as `seconds`, no minutes."""
    size = abs(value)
    if size < 0.005:
        return "under 0.01 s"
    if size < 0.1:
        return f"{size:.2f} s"
    return f"{size:.1f} s" if size < _TENTHS else f"{size:,.0f} s"


def at_most(value: float) -> str:
    """Bound of seconds, rounded up to two digits, for 'not faster by more than ...'."""
    if value < 0.01:
        return "0.01 s"
    digits = 2 if value < 0.1 else 1 if value < 10 else 0
    up = math.ceil(round(value * 10**digits, 6)) / 10**digits
    return f"{up:,.{digits}f} s"


def signed_seconds(value: float) -> str:
    """Seconds more (+) or less (−), in tenths below ten."""
    digits = f"{abs(value):.1f}" if abs(value) < 9.95 else f"{abs(value):,.0f}"
    if float(digits.replace(",", "")) == 0.0:
        return "0 s"
    return f"{'−' if value < 0 else '+'}{digits} s"


def seconds_range(low: float, high: float) -> str:
    """Range of seconds, as '9 to 29 s'; a negative end has its sign; long ones in minutes."""
    if low >= 0.0 and high >= 119.5:
        return f"{seconds(low)} to {seconds(high)}"
    return cell_range(low, high)


def cell_range(low: float, high: float) -> str:
    """Range of seconds for the cell of a column, which has one unit: no minutes."""
    def text(value: float) -> str:
        whole = round(value, 1) if abs(high - low) < 5 else round(value)
        size = f"{abs(whole):,.10g}"
        return f"−{size}" if whole < 0 else size
    if text(low) == text(high):
        return f"{text(low)} s"
    return f"{text(low)} to {text(high)} s"


def money(amount: float, currency: str = "") -> str:
    """Amount with thousands apart; cents only where there are some."""
    text = f"{amount:,.0f}" if math.isclose(amount, round(amount)) else f"{amount:,.2f}"
    return f"{text} {currency}".strip()


def days(chance: float) -> str:
    """Chance as days in a hundred."""
    whole = round(100 * chance)
    if whole == 0:
        return "fewer than 1 day in 100"
    return f"{whole} {'day' if whole == 1 else 'days'} in 100"


def watts(power: float) -> str:
    """Power to the watt."""
    return f"{power:.0f} W"


def kilometres(distance: float, digits: int = 1) -> str:
    """Metres as kilometres."""
    return f"{distance / 1000.0:.{digits}f} km"


def ascent(climbed: float) -> str:
    """Metres of ascent, to the metre as in the tables of stretches."""
    return f"{climbed:.0f} m"


def compass(east: float, north: float) -> str:
    """Where a wind that moves to (east, north) comes from, one of sixteen names."""
    bearing = math.degrees(math.atan2(-east, -north)) % 360.0
    return _WINDS[round(bearing / 22.5) % 16]


def listing(items: Sequence[str]) -> str:
    """Items as 'a, b and c'."""
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} and {items[-1]}"
