"""Stated changes such as "saves 37 g @ 50 km/h", read into SI.

    figure    = words amount words [± amount] ["/" distance] ["@" condition]...
    amount    = [sign] number unit | [sign] m:ss
    distance  = [number] km | mi | m, after "/", "per", "over", "in" or "on"
    condition = number with a unit of speed or power, after "@" or "at"

Words and signs speak of the quantity itself: "saves 8 W" and "-8 W" are 8 W less.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from optimizer.evidence.datum import Channel, Figure, Quantity
from optimizer.evidence.quantities import NUMBER, UNIT, Stated, tidy
from optimizer.physics import GRAVITY

__all__ = ["read_figure", "read_uncertainty"]

_AMOUNT = re.compile(rf"(?P<sign>(?<![\w.])[+-])?\s*"
                     rf"(?:(?P<clock>\d+:\d\d(?:[.,]\d+)?)|(?P<number>{NUMBER}))"
                     rf"\s*(?P<unit>{UNIT})?")
_DISTANCE = re.compile(rf"(?:/|\b(?:per|over|in|on)\b)\s*(?P<number>{NUMBER})?\s*"
                       r"(?P<unit>km|miles?|mi|m)\b")
_UNCERTAINTY = re.compile(rf"(?:±|\+/-|\+-)\s*"
                          rf"(?P<amount>{NUMBER}\s*(?:{UNIT})?\s*(?:\(\s*95\s*%\s*\))?)")
_PATTERN = 'keep to the pattern "saves 37 g @ 50 km/h"'
# Of a change and of its uncertainty, in SI: each is more than rider and bike have in all.
_LARGEST: dict[Quantity, float] = {
    "power": 2000.0, "force": 200.0, "time": 100_000.0, "drag_area": 2.0,
    "rolling_resistance": 0.1, "efficiency": 1.0, "mass": 100.0, "drag_share": 2.0,
    "power_share": 2.0}
_SHARED_UNIT = re.compile(  # 37 ± 4 g
    rf"(?<![\w.,])({NUMBER})\s*(?:±|\+/-|\+-)\s*({NUMBER})\s*({UNIT})")

# What a word says about the quantity: less of it or more.
_SAVES = {"saves", "saved", "saving", "save"}
_COSTS = {"costs", "cost"}
_LESS = {"less", "lower", "fewer", "reduces", "reduced", "minus"}
_MORE = {"more", "higher", "adds", "added", "plus"}
_OF_TIME = {"faster": -1, "quicker": -1, "slower": 1}
_OF_MASS = {"lighter": -1, "heavier": 1}
# For an efficiency "gains" is more; for all else it is less of what one does not want.
_GAINS = {"gains", "gain", "better"}
_LOSES = {"loses", "lost", "loss", "worse"}
_FILLER = {"of", "the", "a", "an", "resistance", "area", "force", "time", "about", "ca", "by",
           "is", "total", "pair"}
_TOPICS = {
    "drag": "drag", "aero": "drag", "aerodynamic": "drag", "cda": "area",
    "crr": "crr", "rolling": "rolling", "tyre": "rolling", "tyres": "rolling",
    "efficiency": "efficiency", "drivetrain": "drivetrain", "chain": "drivetrain",
    "mass": "mass", "weight": "mass", "lighter": "mass", "heavier": "mass", "power": "power"}
_CHANNELS: dict[str, Channel] = {
    "crr": "rolling_resistance", "rolling": "rolling_resistance", "efficiency": "efficiency",
    "drivetrain": "efficiency", "mass": "mass"}
_WORDS = (_SAVES | _COSTS | _LESS | _MORE | _GAINS | _LOSES | _FILLER | set(_OF_TIME)
          | set(_OF_MASS) | set(_TOPICS))


@dataclass(frozen=True)
class _Parts:
    """A stated change taken apart."""

    words: tuple[str, ...]
    topic: str
    sign: int
    number: float
    unit: str
    clock: bool
    distance: float | None
    speed: float | None
    power: float | None


def read_figure(text: str, file: str = "", where: str = "", *, unsigned: bool = False) -> Figure:
    """Read a stated change; `unsigned` takes a bare number as the size of a saving.

    Raises InputError for an unknown unit or word, a percentage without a base, a speed of
    zero, a missing direction, a sign that contradicts the words, grams of unclear kind.
    """
    stated = Stated(text, file, where)
    plain, uncertainty = _take(_UNCERTAINTY, _SHARED_UNIT.sub(r"\1 \3 ± \2 \3", tidy(text)))
    parts = _take_apart(plain, stated)
    quantity, size = _quantity(parts, stated)
    direction = _direction(parts, quantity, stated)
    _possible(size, quantity, stated)
    if not direction and size and not unsigned:
        raise stated.refuse("a number without a direction",
                            'say "saves" or "costs", or give it a sign: minus is less of it')
    if not direction:
        direction = 1 if quantity == "efficiency" else -1
    _consistent(parts, quantity, stated)
    figure = Figure(quantity, direction * size + 0.0, parts.speed, parts.power, parts.distance,
                    _CHANNELS.get(parts.topic, "drag_area"), text=tidy(text))
    if uncertainty is None:
        return figure
    sd = read_uncertainty(uncertainty["amount"], figure, file, where)
    return replace(figure, uncertainty=sd)


def read_uncertainty(text: str, figure: Figure, file: str = "", where: str = "") -> float:
    """Read a standard deviation in the SI unit of `figure`: "4 g", "± 4 g", "20 %" or "0.0005".

    A percentage is of the figure, or in points where the figure itself is in percent.
    "(95 %)" behind it marks the half width of a 95 % interval, which is divided by 1.96. A
    number without a unit has the unit of the figure.
    """
    stated = Stated(text, file, where)
    plain = re.sub(r"^(±|\+/-|\+-)\s*", "", tidy(text))
    plain, interval = _take(re.compile(r"\(\s*95\s*%\s*\)"), plain)
    match = _AMOUNT.fullmatch(plain.strip())
    if not match or match["sign"]:
        raise stated.refuse("not an uncertainty", 'write it like "4 g", "20 %" or "0.0005"')
    of_figure = _AMOUNT.search(_UNCERTAINTY.sub(" ", tidy(figure.text)))
    unit = match["unit"] or ("s" if match["clock"] else of_figure["unit"] or "" if of_figure
                             else "")
    number = _clock(match["clock"]) if match["clock"] else stated.number(match["number"])
    if unit == "%":
        points = figure.quantity in {"drag_share", "power_share", "efficiency"}
        value = number / 100 * (1.0 if points else abs(figure.value))
    elif figure.quantity in {"rolling_resistance", "efficiency"} or unit.lower() in _WORDS | {""}:
        value = number
    else:
        value, dimension = stated.in_si(number, unit)
        if figure.quantity == "force" and dimension == "mass":
            value, dimension = value * GRAVITY, "force"
        if dimension != {"drag_area": "area"}.get(figure.quantity, figure.quantity):
            raise stated.refuse(f'a {dimension} is no uncertainty of "{figure.text}"',
                                "state it in the unit of the figure or in %")
    _possible(value, figure.quantity, stated)
    return value / 1.96 if interval else value


def _possible(size: float, quantity: Quantity, stated: Stated) -> None:
    """Refuse a change, or an uncertainty of one, that is larger than the whole."""
    if not abs(size) <= _LARGEST[quantity]:
        raise stated.refuse("is more than any change can be", "check the number and its unit")


def _clock(text: str) -> float:
    minutes, seconds = text.split(":")
    return 60.0 * float(minutes) + float(seconds.replace(",", "."))


def _take(pattern: re.Pattern[str], text: str) -> tuple[str, re.Match[str] | None]:
    """Text without the first match, and the match."""
    match = pattern.search(text)
    return (f"{text[:match.start()]} {text[match.end():]}" if match else text), match


def _take_apart(text: str, stated: Stated) -> _Parts:
    main, *conditions = re.split(r"@|\bat\b", text)
    speed, power = _conditions(conditions, stated)
    main, run = _take(_DISTANCE, main)
    distance = None
    if run:
        distance, _ = stated.in_si(stated.number(run["number"] or "1"), run["unit"])
        if distance < 1.0:
            raise stated.refuse("a distance of zero, or nearly", "state the distance of the change")
    amounts = list(_AMOUNT.finditer(main))
    if len(amounts) != 1:
        problem = "holds no number" if not amounts else "holds more than one number"
        raise stated.refuse(problem, 'state one change, such as "saves 8 W @ 45 km/h" or '
                                     '"-0.004 m2"; uncertainty goes behind ± or to its own column')
    amount, rest = amounts[0], _take(_AMOUNT, main)[0]
    unit = amount["unit"] or ""
    if unit.lower() in _WORDS:  # "-0.0004 Crr"
        unit, rest = "", f"{rest} {unit}"
    strange = re.sub(r"[A-Za-z\s,.;()]|(?<=[A-Za-z])-(?=[A-Za-z])", "", rest)
    words = tuple(word.lower() for word in re.findall(r"[A-Za-z]+", rest))
    unknown = [word for word in words if word not in _WORDS]
    if strange or unknown:
        raise stated.refuse(f'"{(unknown or [strange])[0]}" is not understood', _PATTERN)
    value = _clock(amount["clock"]) if amount["clock"] else stated.number(amount["number"])
    return _Parts(words, _topic(words, stated), {"-": -1, "+": 1}.get(amount["sign"] or "", 0),
                  value, unit, bool(amount["clock"]), distance, speed, power)


def _conditions(texts: list[str], stated: Stated) -> tuple[float | None, float | None]:
    found: dict[str, float] = {}
    for text in texts:
        match = re.fullmatch(rf"\s*([+-]?)\s*({NUMBER})\s*({UNIT})\s*", text)
        value, dimension = (stated.in_si(stated.number(match[2]), match[3]) if match
                            else (0.0, "other quantity"))
        if match is None or dimension not in {"speed", "power"}:
            raise stated.refuse(f'"{text.strip()}" is neither a speed nor a power',
                                'write "@ 45 km/h" or "@ 250 W"; the yaw has its own column')
        if match[1] == "-" or value <= 0:
            raise stated.refuse(f"a {dimension} of zero or less",
                                f"state the {dimension} of the test")
        stated.not_tiny(value, dimension)
        if dimension in found:
            raise stated.refuse(f"names two values of {dimension}", "one row for each")
        found[dimension] = value
    return found.get("speed"), found.get("power")


def _topic(words: tuple[str, ...], stated: Stated) -> str:
    topics = {_TOPICS[word] for word in words if word in _TOPICS}
    for general, special in (("drag", "area"), ("drag", "power"), ("power", "rolling"),
                             ("power", "drivetrain"), ("drivetrain", "efficiency"),
                             ("rolling", "crr")):
        if {general, special} <= topics:
            topics.discard(general)
    if len(topics) > 1:
        raise stated.refuse(f"speaks of {' and '.join(sorted(topics))}", "one quantity a row")
    return topics.pop() if topics else ""


def _quantity(parts: _Parts, stated: Stated) -> tuple[Quantity, float]:
    """Currency of the number and its size in SI."""
    if parts.clock:
        return "time", parts.number
    if parts.unit == "%":
        return _share(parts, stated), parts.number / 100
    if not parts.unit:
        return _bare(parts, stated), parts.number
    size, dimension = stated.in_si(parts.number, parts.unit)
    match dimension:
        case "mass":
            return _drag_or_mass(size, parts, stated)
        case "force" | "power" | "time":
            return dimension, size
        case "area":
            return "drag_area", size
    raise stated.refuse(f"a {dimension} does not measure a change of kit",
                        "state drag, watts, seconds, %, CdA, Crr, efficiency or mass")


def _share(parts: _Parts, stated: Stated) -> Quantity:
    match parts.topic:
        case "drag" | "area":
            return "drag_share"
        case "power":
            return "power_share"
        case "efficiency" | "drivetrain":
            return "efficiency"
    raise stated.refuse("a percentage without a base",
                        'say of what: "2 % drag", "2 % power @ 45 km/h", "efficiency +0.8 %"')


def _bare(parts: _Parts, stated: Stated) -> Quantity:
    match parts.topic:
        case "area":
            return "drag_area"
        case "crr" | "rolling":
            return "rolling_resistance"
        case "efficiency":
            return "efficiency"
    raise stated.refuse("a number without a unit",
                        "add g, N, W, s, % or m2; or say CdA, Crr or efficiency")


def _drag_or_mass(size: float, parts: _Parts, stated: Stated) -> tuple[Quantity, float]:
    """Grams are drag where a speed or a word says so, and mass where a word says so."""
    if parts.topic == "mass":
        return "mass", size
    if parts.topic == "drag" or (parts.speed is not None and not parts.topic):
        return "force", size * GRAVITY
    raise stated.refuse("grams of drag or of mass?",
                        'write "g drag" or "g @ 50 km/h" for drag, "g mass" for mass')


def _direction(parts: _Parts, quantity: Quantity, stated: Stated) -> int:
    """-1 for less of the quantity, 1 for more, 0 where nothing says."""
    said = set(parts.words)
    if quantity == "efficiency" and said & (_SAVES | _COSTS):
        raise stated.refuse("an efficiency is gained or lost, not saved",
                            'write "efficiency +0.8 %"')
    if said & set(_OF_TIME) and quantity != "time":
        raise stated.refuse("faster and slower go with a time", 'say "saves" or "costs"')
    better = 1 if quantity == "efficiency" else -1
    signs = {-1 for _ in said & (_SAVES | _LESS)} | {1 for _ in said & (_COSTS | _MORE)}
    signs |= {better for _ in said & _GAINS} | {-better for _ in said & _LOSES}
    signs |= {sign for word, sign in (_OF_TIME | _OF_MASS).items() if word in said}
    if len(signs) > 1:
        raise stated.refuse("the words contradict each other", "keep one of them")
    # "saves -8 W" is a loss to one reader and a gain to the next; "costs +8 W" is clear.
    if signs and parts.sign and (parts.sign < 0 or parts.sign not in signs):
        raise stated.refuse("the sign contradicts the words",
                            "drop one of the two: minus is less of the quantity")
    return parts.sign or next(iter(signs), 0)


def _consistent(parts: _Parts, quantity: Quantity, stated: Stated) -> None:
    """Refuse conditions that do not belong to the currency."""
    if quantity == "time" and parts.distance is None:
        raise stated.refuse("a time without a distance", 'write "saves 12 s / 40 km @ 45 km/h"')
    if quantity != "time" and parts.distance is not None:
        raise stated.refuse("a distance belongs to a time", "drop the distance, or give seconds")
    if quantity == "force" and parts.power is not None and parts.speed is None:
        raise stated.refuse("a force belongs to an air speed", 'write "37 g @ 50 km/h"')
    if parts.speed is not None and parts.power is not None:
        raise stated.refuse("names a speed and a power", "one of the two gives the other")
