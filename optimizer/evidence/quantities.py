"""Figures of aero testing in the trade's own words and units, read into SI."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

from optimizer.errors import InputError
from optimizer.evidence.datum import Channel, Currency, Figure

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["read_figure", "read_quantity", "read_uncertainty", "tidy"]

_NUMBER = r"\d+(?:[.,]\d+)?(?:[eE][+-]?\d+)?|[.,]\d+"
_AMOUNT = re.compile(rf"(?P<sign>[+-])?\s*(?:(?P<clock>\d+:\d{{2}}(?:[.,]\d+)?)|(?P<number>{_NUMBER}))"
                     r"\s*(?P<unit>%|[a-zA-Zµ°][a-zA-Zµ°]*(?:\^?[23²³](?![0-9]))?"
                     r"(?:/[a-zA-Z]+)?)?")
_DISTANCE = re.compile(rf"(?:/|\bper\b|\bover\b|\bin\b|\bon\b)\s*(?P<number>{_NUMBER})?\s*"
                       r"(?P<unit>km|mi|miles?|m)\b")
_THOUSANDS = re.compile(r"(?<![\d.,])[1-9]\d{0,2},\d{3}(?!\d)")

# Direction words: what they say about the quantity itself. "saves" and "costs" speak of
# something one wants less of, so they do not go with efficiency.
_LESS = {"saves", "saved", "saving", "save", "less", "lower", "reduces", "reduced", "minus"}
_MORE = {"costs", "cost", "adds", "added", "more", "higher", "plus"}
_FASTER, _SLOWER = {"faster", "quicker"}, {"slower"}
_LIGHTER, _HEAVIER = {"lighter"}, {"heavier"}
_GAINS, _LOSES = {"gains", "gain", "better"}, {"loses", "loss", "lost", "worse"}

# Words that say what the number is about.
_ABOUT = {
    "drag": "drag", "aero": "drag", "aerodynamic": "drag", "cda": "area",
    "crr": "crr", "rolling": "rolling", "tyre": "rolling", "tyres": "rolling",
    "efficiency": "efficiency", "drivetrain": "drivetrain", "chain": "drivetrain",
    "mass": "mass", "weight": "mass", "power": "power",
}
_FILLER = {"of", "the", "a", "resistance", "area", "force", "time", "about", "approx", "ca",
           "by", "at", "in", "on", "total", "each", "pair"}
_ACTS_ON: dict[str, Channel] = {
    "crr": "rolling_resistance", "rolling": "rolling_resistance", "efficiency": "efficiency",
    "drivetrain": "efficiency", "mass": "mass"}

_DIMENSIONS = ("speed", "length", "time", "power", "force", "mass", "area")

_SPELLINGS = {
    "km/h": "kilometer/hour", "kmh": "kilometer/hour", "kph": "kilometer/hour",
    "mph": "mile/hour", "m/s": "meter/second", "mps": "meter/second",
    "gf": "gram_force", "kgf": "kilogram_force", "lbf": "pound_force",
    "gram": "gram", "grams": "gram", "watt": "watt", "watts": "watt", "w": "watt",
    "kw": "kilowatt", "n": "newton", "newtons": "newton",
    "s": "second", "sec": "second", "secs": "second", "seconds": "second",
    "min": "minute", "mins": "minute", "minutes": "minute",
    "m2": "meter**2", "m^2": "meter**2", "m²": "meter**2",
    "cm2": "centimeter**2", "cm^2": "centimeter**2", "cm²": "centimeter**2",
    "miles": "mile", "mi": "mile", "deg": "degree", "°": "degree", "degrees": "degree",
}


@cache
def _registry() -> Any:
    import pint  # 0.2 s: only where a figure is read

    return pint.UnitRegistry()


def tidy(text: str) -> str:
    """Spreadsheet artefacts away: odd spaces, typographic minus, multiplication of spaces."""
    for old, new in (("\u2212", "-"), ("\u2013", "-"), ("\u00b1", "±"), ("\u202f", " "),
                     ("\u00a0", " "), ("\u2009", " "), ("\ufeff", "")):
        text = text.replace(old, new)
    return " ".join(text.split())


def _number(text: str) -> float:
    return float(text.replace(",", "."))


def _clock(text: str) -> float:
    minutes, seconds = text.split(":")
    return 60.0 * int(minutes) + _number(seconds)


@dataclass(frozen=True)
class _Where:
    """Where a text stands, for messages."""

    file: str
    where: str
    text: str

    def refuse(self, problem: str, remedy: str) -> InputError:
        return InputError(self.file, self.where, f'"{self.text}": {problem}', remedy)


def _to_si(value: float, unit: str, where: _Where) -> tuple[float, str]:
    """Value in SI and its dimension in words."""
    import pint

    spelt = _SPELLINGS.get(unit) or _SPELLINGS.get(unit.lower()) or unit
    try:
        quantity = _registry().Quantity(value, spelt).to_base_units()
    except (pint.UndefinedUnitError, pint.PintError, AttributeError, ValueError) as error:
        raise where.refuse(
            f'unknown unit "{unit}"',
            "use g or N of drag, W, s or m:ss, %, m2, km/h, mph, m/s, km, kg") from error
    name = next((name for name in _DIMENSIONS if quantity.check(f"[{name}]")), "other quantity")
    return float(quantity.magnitude), name


def read_quantity(text: str, dimension: str, file: str = "value", where: str = "") -> float:
    """Read one positive quantity such as "45 km/h" or "250 W" into SI.

    Raises InputError for another dimension, an unknown unit, or a value that is not above 0.
    """
    place = _Where(file, where, text)
    match = _AMOUNT.fullmatch(tidy(text))
    if not match or not match["number"] or not match["unit"]:
        raise place.refuse("not a number with a unit", f"write a {dimension} such as "
                           + {"speed": "45 km/h", "power": "250 W"}.get(dimension, "40 km"))
    value, found = _to_si(_number(match["number"]), match["unit"], place)
    if found != dimension:
        raise place.refuse(f"a {found}, where a {dimension} is meant", f"write a {dimension}")
    if match["sign"] == "-" or not value > 0 or not math.isfinite(value):
        raise place.refuse(f"a {dimension} must be above 0", "state the value of the test")
    return value


def read_figure(text: str, file: str = "figure", where: str = "", *,
                unsigned: bool = False) -> Figure:
    """Read a stated change such as "saves 37 g @ 50 km/h" or "Crr -0.0004".

    Words and signs speak of the quantity itself: "saves 8 W" and "-8 W" are 8 W less.
    `unsigned` lets a bare number through and takes it as a saving.

    Raises InputError for an unknown unit or word, a percentage without a base, a speed of
    zero, a missing direction, or a sign that contradicts the words.
    """
    original = tidy(text)
    place = _Where(file, where, text)
    if not original:
        raise place.refuse("empty", 'state the change, such as "saves 37 g @ 50 km/h"')
    if _THOUSANDS.search(original):
        raise place.refuse("a comma before three digits may mean thousands or decimals",
                           "write the number without grouping")
    main, *conditions = re.split(r"@|\bat\b", original)
    speed, power = _conditions(conditions, place)
    distance, main = _distance(main, place)
    amounts = list(_AMOUNT.finditer(main))
    if len(amounts) != 1:
        raise place.refuse(
            "no number in it" if not amounts else "more than one number in it",
            'state one change, such as "saves 8 W @ 45 km/h" or "-0.004 m2"')
    amount = amounts[0]
    unit = amount["unit"] or ""
    words = [w.lower() for w in re.findall(r"[A-Za-z]+", main[:amount.start()])]
    words += [w.lower() for w in re.findall(r"[A-Za-z]+", main[amount.end():])]
    if unit.lower() in _ABOUT or unit.lower() in _FASTER | _SLOWER | _LESS | _MORE:
        words.append(unit.lower())  # a number without unit before a word
        unit = ""
    about = _about(words, place)
    currency, value, acts_on = _currency(amount, unit, about, distance, speed, place)
    direction = _direction(words, amount["sign"], currency, place)
    if direction == 0 and not unsigned:
        raise place.refuse(
            "a number without a direction",
            'say "saves" or "costs", or put a sign in front: minus is less of it')
    if direction == 0:
        sign = 1.0 if currency == "efficiency" else -1.0
    else:
        sign = float(direction)
    if currency == "time" and distance is None:
        raise place.refuse("a time without a distance", 'write "12 s / 40 km @ 45 km/h"')
    if currency == "force" and power is not None:
        raise place.refuse("a force belongs to an air speed, not to a power",
                           'write "37 g @ 50 km/h"')
    return Figure(currency, sign * value, speed=speed, power=power, distance=distance,
                  acts_on=acts_on, signed=direction != 0, text=original)


def read_uncertainty(text: str, figure: Figure, file: str = "uncertainty",
                     where: str = "") -> float:
    """Standard deviation in the SI unit of `figure`, from "4 g", "± 4 g", "20 %" or "0.0005".

    A percentage is of the figure itself. "(95 %)" behind it marks the half width of a 95 %
    interval, which is divided by 1.96.
    """
    place = _Where(file, where, text)
    plain = tidy(text).lstrip("±+-/ ").strip()
    plain, wide = re.subn(r"\(\s*95\s*%\s*\)$", "", plain)
    match = _AMOUNT.fullmatch(plain.strip())
    if not match or match["sign"] or not (match["number"] or match["clock"]):
        raise place.refuse("not an uncertainty", 'write it like "4 g", "20 %" or "0.0005"')
    unit = match["unit"] or ""
    number = _clock(match["clock"]) if match["clock"] else _number(match["number"])
    shares = figure.currency in {"drag_share", "power_share", "efficiency"}
    if unit == "%":
        # For a figure that is itself in percent, percent points are what a source means.
        value = number / 100 if shares else abs(figure.value) * number / 100
    elif unit:
        value, dimension = _to_si(number, unit, place)
        if dimension == "mass" and figure.currency == "force":
            value *= _registry().Quantity(1, "gram_force").to_base_units().magnitude / 1e-3
        elif dimension != {"drag_area": "area"}.get(figure.currency, figure.currency):
            raise place.refuse(f"not in the unit of the figure ({figure.text})",
                               "state it in the unit of the figure or in %")
    else:
        value = number * _unit_of(figure, place)
    if not math.isfinite(value) or value < 0:
        raise place.refuse("not an uncertainty", "write a number of 0 or more")
    return value / 1.96 if wide else value


def _unit_of(figure: Figure, place: _Where) -> float:
    """SI value of one unit of the figure, for an uncertainty that names none."""
    match = _AMOUNT.search(re.split(r"@|\bat\b", figure.text)[0])
    unit = (match["unit"] or "") if match else ""
    if unit == "%":
        return 0.01
    if figure.currency in {"rolling_resistance", "efficiency"} or not unit:
        return 1.0
    value, dimension = _to_si(1.0, unit, place)
    if dimension == "mass" and figure.currency == "force":
        value *= 9.80665
    return value


def _conditions(parts: Iterable[str], place: _Where) -> tuple[float | None, float | None]:
    speed = power = None
    for part in parts:
        match = _AMOUNT.fullmatch(part.strip())
        if not match or not match["number"] or not match["unit"]:
            raise place.refuse(f'"{part.strip()}" is not a speed or a power',
                               'write "@ 45 km/h" or "@ 250 W"')
        value, dimension = _to_si(_number(match["number"]), match["unit"], place)
        if dimension not in {"speed", "power"}:
            raise place.refuse(f'"{part.strip()}" is not a speed or a power',
                               'write "@ 45 km/h" or "@ 250 W"')
        if not value > 0 or match["sign"] == "-":
            raise place.refuse(f"a test {dimension} of zero or less",
                               f"state the {dimension} of the test")
        if dimension == "speed":
            speed = value
        else:
            power = value
    return speed, power


def _distance(main: str, place: _Where) -> tuple[float | None, str]:
    match = _DISTANCE.search(main)
    if not match:
        return None, main
    number = _number(match["number"]) if match["number"] else 1.0
    value, _ = _to_si(number, match["unit"], place)
    if not value > 0:
        raise place.refuse("a distance of zero", "state the distance of the saving")
    return value, main[:match.start()] + " " + main[match.end():]


def _about(words: list[str], place: _Where) -> str:
    known = (_LESS | _MORE | _FASTER | _SLOWER | _LIGHTER | _HEAVIER | _GAINS | _LOSES
             | _FILLER | set(_ABOUT))
    for word in words:
        if word not in known:
            raise place.refuse(f'"{word}" is not understood',
                               'keep to the pattern "saves 37 g @ 50 km/h"')
    named = {_ABOUT[w] for w in words if w in _ABOUT}
    if named == {"power", "drag"}:
        named = {"power"}
    if len(named) > 1:
        raise place.refuse("names more than one quantity: " + ", ".join(sorted(named)),
                           "one quantity a row")
    if set(words) & (_LIGHTER | _HEAVIER):
        named.add("mass")
    return named.pop() if named else ""


def _currency(amount: re.Match[str], unit: str, about: str, distance: float | None,
              speed: float | None, place: _Where) -> tuple[Currency, float, Channel]:
    acts_on = _ACTS_ON.get(about, "drag_area")
    if amount["clock"]:
        return "time", _clock(amount["clock"]), acts_on
    number = _number(amount["number"])
    if unit == "%":
        return *_share(number / 100, about, place), acts_on
    if not unit:
        return *_plain(number, about, place), acts_on
    value, dimension = _to_si(number, unit, place)
    if dimension == "mass":
        return *_mass_or_drag(value, about, speed, place), acts_on
    match dimension:
        case "force":
            return "force", value, acts_on
        case "power":
            return "power", value, acts_on
        case "time":
            return "time", value, acts_on
        case "area":
            return "drag_area", value, acts_on
    hint = "state the distance after a slash" if distance is None else "state a change"
    raise place.refuse(f"a {dimension} is no measure of a change", hint)


def _share(share: float, about: str, place: _Where) -> tuple[Currency, float]:
    match about:
        case "drag" | "area":
            return "drag_share", share
        case "power":
            return "power_share", share
        case "efficiency" | "drivetrain":
            return "efficiency", share
    raise place.refuse("a percentage without a base",
                       'say of what: "2 % drag", "2 % power @ 45 km/h", "efficiency +0.8 %"')


def _plain(number: float, about: str, place: _Where) -> tuple[Currency, float]:
    match about:
        case "area":
            return "drag_area", number
        case "crr" | "rolling":
            return "rolling_resistance", number
        case "efficiency":
            return "efficiency", number
    raise place.refuse("a number without a unit",
                       "add the unit: g, N, W, s, %, m2; or say CdA, Crr or efficiency")


def _mass_or_drag(value: float, about: str, speed: float | None,
                  place: _Where) -> tuple[Currency, float]:
    """Grams are drag when a speed or the word says so, mass when the word says so."""
    if about == "mass":
        return "mass", value
    if about == "drag" or (speed is not None and not about):
        return "force", value * 9.80665
    raise place.refuse("grams of drag or of mass?",
                       'write "g drag", "g @ 50 km/h" or "gf" for drag, "g mass" for mass')


def _direction(words: list[str], sign: str | None, currency: Currency, place: _Where) -> int:
    said = set(words)
    less, more = said & _LESS, said & _MORE
    if currency == "time":
        less, more = less | said & _FASTER, more | said & _SLOWER
    elif said & (_FASTER | _SLOWER):
        raise place.refuse("faster and slower go with a time", 'say "saves" or "costs"')
    if currency == "mass":
        less, more = less | said & _LIGHTER, more | said & _HEAVIER
    gains, loses = said & _GAINS, said & _LOSES
    if currency == "efficiency":
        if less & {"saves", "saved", "save", "saving"} or more & {"costs", "cost"}:
            raise place.refuse("an efficiency is gained or lost, not saved",
                               'write "efficiency +0.8 %"')
        less, more = less | loses, more | gains
    else:
        less, more = less | gains, more | loses
    if less and more:
        raise place.refuse("the words contradict each other", "use one direction word")
    by_word = -1 if less else 1 if more else 0
    by_sign = {"-": -1, "+": 1}.get(sign or "", 0)
    if by_word and by_sign and by_word != by_sign:
        raise place.refuse("the sign contradicts the words",
                           "drop the sign or the word: minus is less of the quantity")
    return by_word or by_sign
