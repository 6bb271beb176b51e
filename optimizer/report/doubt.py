"""Figures that carry a doubt, in words and as forest plots."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["CLEAR", "NINE_IN_TEN", "Mark", "amount", "between", "forest", "plain", "span", "sure"]

NINE_IN_TEN = 1.645  # standard normal: from 5 to 95 %
CLEAR = 0.95  # chance of a gain from which it is told from none


@dataclass(frozen=True)
class Mark:
    """A value with the range that holds it nine times in ten; `leads` sets it off."""

    label: str
    value: float
    low: float
    high: float
    leads: bool = False

    @classmethod
    def normal(cls, label: str, value: float, sd: float, *, leads: bool = False) -> Mark:
        """From a standard deviation."""
        return cls(label, value, value - NINE_IN_TEN * sd, value + NINE_IN_TEN * sd, leads)


def amount(value: float, sd: float, unit: str = "") -> str:
    """Write a value with its standard deviation, both to the digits that the doubt allows."""
    if sd <= 0 or not math.isfinite(sd):
        digits = max(0, 2 - math.floor(math.log10(abs(value)))) if value else 0
        text = f"{value:.{digits}f}"
    else:
        exponent = math.floor(math.log10(sd))
        digits = max(0, (1 if sd < 1.95 * 10.0**exponent else 0) - exponent)
        text = f"{value:.{digits}f} ± {sd:.{digits}f}"
    return f"{text} {unit}".strip().replace("-", "−")


def between(value: float, sd: float) -> str:
    """Range that holds nine times in ten."""
    return span(value - NINE_IN_TEN * sd, value + NINE_IN_TEN * sd)


def span(low: float, high: float) -> str:
    """Range in whole units, or in tenths where it is below ten wide."""
    digits = 1 if high - low < 10 else 0
    return f"{plain(low, digits)} to {plain(high, digits)}"


def sure(chance: float) -> str:
    """Chance of a gain, in percent that do not pretend; ≈ where it may as well be none."""
    if chance >= CLEAR:
        return "yes"
    if chance <= 1 - CLEAR:
        return "no: costs time"
    return f"≈ {math.floor(100 * chance)} %"



def plain(value: float, digits: int) -> str:
    """Write a number to `digits` with a true minus sign, and no minus before a zero."""
    text = f"{value:.{digits}f}"
    return text.lstrip("-") if float(text) == 0 else text.replace("-", "−")



def forest(marks: Sequence[Mark], axis: str) -> dict[str, Any]:
    """Draw marks with their ranges as a plotly figure, the first on top."""
    y = list(range(len(marks)))
    data = [
        {"type": "scatter", "mode": "lines", "hoverinfo": "skip",
         "x": [v for mark in marks for v in (mark.low, mark.high, None)],
         "y": [v for k in y for v in (k, k, None)], "line": {"color": "@ink", "width": 1.2}},
        {"type": "scatter", "mode": "markers", "x": [mark.value for mark in marks], "y": y,
         "text": [f"{mark.label}: {span(mark.low, mark.high)}" for mark in marks],
         "hovertemplate": "%{text}<extra></extra>",
         "marker": {"size": [9 if mark.leads else 7 for mark in marks],
                    "symbol": ["diamond" if mark.leads else "circle" for mark in marks],
                    "color": ["@plan" if mark.leads else "@paper" for mark in marks],
                    "line": {"width": 1.4, "color": ["@plan" if mark.leads else "@ink"
                                                     for mark in marks]}}}]
    return {"data": data, "layout": {
        "height": 80 + 22 * len(marks), "margin": {"l": 200, "r": 12, "t": 8, "b": 44},
        "xaxis": {"title": axis, "rangemode": "tozero", "zeroline": True, "zerolinecolor": "@ink",
                  "zerolinewidth": 1},
        "yaxis": {"tickvals": y, "ticktext": [_shortened(mark.label) for mark in marks],
                  "range": [len(marks) - 0.4, -0.6], "ticks": "", "showline": False,
                  "tickfont": {"color": "@ink"}, "automargin": True}}}


def _shortened(name: str, most: int = 38) -> str:
    return name if len(name) <= most else name[:most - 1].rstrip() + "…"
