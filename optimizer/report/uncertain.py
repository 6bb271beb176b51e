"""Figures that carry an uncertainty, in words and as marks with their range."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from optimizer.defaults import NINE_IN_TEN
from optimizer.report.svg import Mark

if TYPE_CHECKING:
    from collections.abc import Mapping

    from optimizer.evidence import Grounds

__all__ = ["NINE_IN_TEN", "UNTESTED", "Mark", "amount", "amount_range", "between", "clear_gain",
           "normal_mark", "number_range", "plain", "shown_half"]

UNTESTED: Final[Mapping[Grounds, str]] = {
    "seller": "the seller's word only", "mass": "not tested: mass only", "none": "not tested"}
"""What is said in place of a clear gain that nobody tested."""


def normal_mark(label: str, value: float, sd: float, *, leads: bool = False,
                sub: bool = False) -> Mark:
    """Mark a value by its standard deviation, with its 90 % range."""
    return Mark(label, value, value - NINE_IN_TEN * sd, value + NINE_IN_TEN * sd, leads=leads,
                sub=sub)


def amount(value: float, sd: float, unit: str = "") -> str:
    """Write a value ± half of its 90 % range, to the digits that the uncertainty allows."""
    if sd <= 0 or not math.isfinite(sd):
        digits = max(0, 2 - math.floor(math.log10(abs(value)))) if value else 0
        text = f"{value:.{digits}f}"
    else:
        half = NINE_IN_TEN * sd
        exponent = math.floor(math.log10(half))
        digits = max(0, (1 if half < 1.95 * 10.0**exponent else 0) - exponent)
        text = f"{value:.{digits}f} ± {half:.{digits}f}"
    return f"{text} {unit}".strip().replace("-", "−")


def amount_range(value: float, sd: float, unit: str = "") -> str:
    """90 % range in a unit, to two digits of its half-width; without doubt the value."""
    if sd <= 0 or not math.isfinite(sd):
        return amount(value, sd, unit)
    half = NINE_IN_TEN * sd
    digits = max(0, 1 - math.floor(math.log10(half)))
    return f"{plain(value - half, digits)} to {plain(value + half, digits)} {unit}".strip()


def shown_half(sd: float, unit: str) -> str:
    """Half of a 90 % range in tenths, never as none: '± 1.2 m', 'less than ± 0.1 m'."""
    half = NINE_IN_TEN * sd
    return f"± {half:.1f} {unit}" if half >= 0.1 else f"less than ± 0.1 {unit}"


def between(value: float, sd: float) -> str:
    """90 % range."""
    return number_range(value - NINE_IN_TEN * sd, value + NINE_IN_TEN * sd)


def number_range(low: float, high: float) -> str:
    """Range in whole units, or in tenths where it is below ten wide."""
    digits = 1 if high - low < 10 else 0
    return f"{plain(low, digits)} to {plain(high, digits)}"


def clear_gain(low: float, high: float, grounds: Grounds, between_them: str = "≈") -> str:
    """Say whether an item is a clear gain by its 90 % range [s] and what that rests on.

    `between_them` for a range that has zero in it.
    """
    if grounds in ("mass", "none"):  # what else it does, nobody knows
        return UNTESTED[grounds]
    if low > 0.0:
        return UNTESTED.get(grounds, "yes")
    return "no: costs time" if high < 0.0 else between_them


def plain(value: float, digits: int) -> str:
    """Write a number to `digits` with a true minus sign, and no minus before a zero."""
    text = f"{value:.{digits}f}"
    return text.lstrip("-") if float(text) == 0 else text.replace("-", "−")
