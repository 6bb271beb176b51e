"""Quantities as people type them: a number with its unit or without, a direction in words.

The one home of both, for tables, TOML files, forms of the window and options of the command line.
"""

from __future__ import annotations

import re

__all__ = ["UNITS", "degrees_of", "parse_direction", "parse_quantity", "unit_of"]

UNITS = {"km": "km", "kmh": "km/h", "percent": "%", "mps2": "m/s²", "deg": "°", "c": "°C",
         "hpa": "hPa", "kg": "kg", "kgm2": "kg m²", "m": "m", "w": "W", "kj": "kJ", "cm": "cm",
         "m2": "m²", "min": "min", "s": "s", "g": "g", "kgm3": "kg/m³", "mps": "m/s"}
"""Symbol of a unit by the end of a name: `wind_kmh` is in km/h."""

_SUFFIX = re.compile(rf"_({'|'.join(sorted(UNITS, key=len, reverse=True))})$")
# Other spellings, in lower case and without blanks.
_SPELT = {"km/h": ("kmh", "kph", "km/hr"), "%": ("percent",), "m/s²": ("m/s2", "m/s^2", "mps2"),
          "°": ("deg", "degree", "degrees"), "°C": ("c", "degc", "ºc"), "kg m²": ("kgm2", "kgm^2"),
          "W": ("watt", "watts"), "m²": ("m2", "m^2"), "min": ("minute", "minutes", "mins"),
          "s": ("sec", "second", "seconds"), "g": ("gram", "grams"), "kg": ("kilo", "kilos"),
          "kg/m³": ("kg/m3", "kg/m^3"), "m/s": ("mps",), "m": ("metres", "meters"),
          "days": ("day",)}
_POINTS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW",
           "NW", "NNW")
_NAMES = {"north": "N", "east": "E", "south": "S", "west": "W"}


def unit_of(name: str) -> str:
    """Symbol of the unit that a name of a key or column ends with; empty without one."""
    found = _SUFFIX.search(name)
    return UNITS[found[1]] if found else ""


def parse_quantity(text: str, unit: str, *, decimal_comma: bool = False) -> float:
    """Read a number that may have its unit behind it, "68 kg" where `unit` is "kg".

    Another unit is refused, not converted; minutes may be a clock, 20:00 or 1:05:30. Raises
    ValueError with the reason in words.
    """
    from optimizer.scenario.tables import parse_clock, parse_number

    if unit == "min" and ":" in text:
        return parse_clock(text) / 60.0

    match = re.fullmatch(r"(?P<number>.*\d[.,]?)\s*(?P<unit>[^\d.,]\D*[23]?)\s*", text, re.DOTALL)
    if unit and match:
        said = "".join(match["unit"].split()).rstrip(".").lower()
        if said in {"".join(unit.split()).lower(), *_SPELT.get(unit, ())}:
            return parse_number(match["number"], decimal_comma=decimal_comma)
    return parse_number(text, decimal_comma=decimal_comma)


def parse_direction(text: str, *, decimal_comma: bool = False) -> float:
    """Read where a wind comes from [deg]: "225", "225°", "SW", "south-west".

    Raises ValueError with the reason in words.
    """
    plain = re.sub(r"^from\s+(?:the\s+)?", "", text.strip().lower())
    point = re.sub("|".join(_NAMES), lambda word: _NAMES[word[0]], plain)
    point = re.sub(r"[\s-]", "", point).upper()
    if point in _POINTS:
        return 22.5 * _POINTS.index(point)
    return parse_quantity(plain, "°", decimal_comma=decimal_comma)


def degrees_of(value: object) -> object:
    """Take a direction in words for its degrees; what is none stays, for a check to refuse."""
    try:
        return parse_direction(value) if isinstance(value, str) else value
    except ValueError:
        return value
