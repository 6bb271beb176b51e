"""Numbers and units as the trade writes them, read into SI."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

from optimizer.defaults import GRAVITY
from optimizer.errors import InputError

__all__ = ["NUMBER", "UNIT", "Dimension", "Stated", "an", "read_quantity", "tidy"]

NUMBER = r"(?:\d+(?:[.,]\d+)?|[.,]\d+)(?:[eE][+-]?\d+)?"
UNIT = r"%|°|[a-zA-Zµ]+(?:\^?[23²³](?!\d))?(?:/[a-zA-Z]+)?"

Dimension = Literal["speed", "length", "time", "power", "force", "mass", "area", "angle",
                    "other quantity"]
_DIMENSIONS: tuple[Dimension, ...] = ("speed", "length", "time", "power", "force", "mass", "area")

# What people write that pint would not read, or would read as something else.
_SPELLINGS = {
    "km/h": "km/hour", "kmh": "km/hour", "kph": "km/hour", "kmph": "km/hour",
    "mi/h": "mile/hour", "mph": "mile/hour", "mps": "m/s",
    "gf": "gram_force", "kgf": "kilogram_force", "lbf": "pound_force",
    "w": "watt", "watts": "watt", "kw": "kilowatt", "n": "newton", "newtons": "newton",
    "gram": "g", "grams": "g", "gr": "g", "seconds": "second",
    "s": "second", "sec": "second", "secs": "second", "min": "minute", "mins": "minute",
    "m²": "m**2", "m2": "m**2", "m^2": "m**2",
    "cm²": "cm**2", "cm2": "cm**2", "cm^2": "cm**2",
    "mi": "mile", "°": "degree", "deg": "degree",
}
# The usual ones in SI, since pint takes longer to start than a plan for race morning may last.
_USUAL: dict[str, tuple[float, Dimension]] = {
    "km/hour": (1 / 3.6, "speed"), "mile/hour": (0.44704, "speed"), "m/s": (1.0, "speed"),
    "watt": (1.0, "power"), "newton": (1.0, "force"), "gram_force": (1e-3 * GRAVITY, "force"),
    "g": (1e-3, "mass"), "kg": (1.0, "mass"), "second": (1.0, "time"), "minute": (60.0, "time"),
    "m": (1.0, "length"), "km": (1e3, "length"), "cm": (1e-2, "length"), "mm": (1e-3, "length"),
    "m**2": (1.0, "area"), "cm**2": (1e-4, "area"), "degree": (math.pi / 180, "angle"),
}
# What is more, in SI, is a slip: no figure of kit, test or rider is as large.
_LARGEST: dict[str, float] = {
    "speed": 60.0, "power": 5000.0, "force": 500.0, "mass": 300.0, "time": 400_000.0,
    "length": 5e6, "area": 10.0, "angle": 10.0}
_SMALLEST = {"speed": 0.5, "power": 1.0}
_EXAMPLES = {"speed": "45 km/h", "power": "250 W", "length": "40 km", "mass": "80 kg"}
_SPACES = {"\u2212": "-", "\u2013": "-", "\u2192": "->", "\u202f": " ", "\u00a0": " ",
           "\u2009": " ", "\ufeff": "", "\u200b": ""}
_THOUSANDS = re.compile(r"(?<![\d.,])[1-9]\d{0,2},\d{3}(?!\d)")


def tidy(text: str) -> str:
    """Text with plain spaces and minus signs in place of a spreadsheet's.

    Parameters
    ----------
    text : as written

    Returns
    -------
    the same text
    """
    for old, new in _SPACES.items():
        text = text.replace(old, new)
    return " ".join(text.split())


@dataclass(frozen=True)
class Stated:
    """A text that states a quantity, with the file and the place where it stands."""

    text: str
    file: str = ""
    where: str = ""

    def refuse(self, problem: str, remedy: str) -> InputError:
        """Return an InputError that quotes the text, for the caller to raise."""
        return InputError(self.file or "your input", self.where, f'"{self.text}" {problem}', remedy)

    def number(self, digits: str) -> float:
        """Read digits with a decimal point or comma; refuse what can be read in two ways."""
        if _THOUSANDS.fullmatch(digits):
            raise self.refuse(f"contains {digits}, which may be thousands or a fraction",
                              "write the number without grouping, such as 1500 or 1.5")
        value = float(digits.replace(",", "."))
        if not math.isfinite(value):
            raise self.refuse(f"contains {digits}, which is too large", "check the number")
        return value

    def in_si(self, value: float, unit: str) -> tuple[float, Dimension]:
        """Value in SI with its dimension; refuse what is larger than any in this trade."""
        found, dimension = self._in_si(value, unit)
        if not abs(found) <= _LARGEST.get(dimension, math.inf):
            raise self.refuse(f"contains {value:g} {unit}, more than any {dimension} can be",
                              "check the number and its unit")
        return found, dimension

    def not_tiny(self, value: float, dimension: str) -> None:
        """Refuse speeds and powers at which nobody rides or tests, which would be divided by."""
        if value < _SMALLEST.get(dimension, 0.0):
            raise self.refuse(f"contains too small a {dimension}", "state the value of the test")

    def _in_si(self, value: float, unit: str) -> tuple[float, Dimension]:
        spelling = _SPELLINGS.get(unit, _SPELLINGS.get(unit.lower(), unit))
        if spelling in _USUAL:
            factor, usual = _USUAL[spelling]
            return value * factor, usual
        import pint

        try:
            quantity = _registry().Quantity(value, spelling)
            dimension = next((d for d in _DIMENSIONS if quantity.check(f"[{d}]")), None)
            if dimension is None:
                angle = quantity.check("[]") and spelling in {"degree", "degrees", "rad"}
                dimension = "angle" if angle else "other quantity"
            return float(quantity.to_base_units().magnitude), dimension
        except (pint.PintError, AttributeError, ValueError, TypeError) as error:
            raise self.refuse(f'contains "{unit}", which is not a known unit',
                              "known are g, gf, N, W, s, m:ss, %, m2, cm2, km/h, mph, m/s, km, "
                              "mm, kg and their multiples") from error


@cache
def _registry() -> Any:
    import pint

    return pint.UnitRegistry()


def an(word: str) -> str:
    """Give a word its article.

    Parameters
    ----------
    word : such as "area"

    Returns
    -------
    such as "an area"
    """
    return f"{'an' if word[:1] in 'aeiou' else 'a'} {word}"


def read_quantity(text: str, dimension: Dimension, file: str = "", where: str = "") -> float:
    """Read one quantity above 0.

    Parameters
    ----------
    text : such as "45 km/h" or "250 W"
    dimension : that it has to have
    file, where : named in a message

    Returns
    -------
    value in SI

    Raises
    ------
    InputError
        for another dimension, an unknown unit, or a value of 0 or less
    """
    stated = Stated(text, file, where)
    example = f"write {an(dimension)} such as {_EXAMPLES.get(dimension, '1')}"
    match = re.fullmatch(rf"([+-]?)\s*({NUMBER})\s*({UNIT})", tidy(text))
    if not match:
        raise stated.refuse("is not a number with a unit", example)
    value, found = stated.in_si(stated.number(match[2]), match[3])
    if found != dimension:
        raise stated.refuse(f"is {an(found)}, and {an(dimension)} is needed", example)
    if match[1] == "-" or value <= 0:
        raise stated.refuse(f"is {an(dimension)} of zero or less", "state the value of the test")
    stated.not_tiny(value, dimension)
    return value
