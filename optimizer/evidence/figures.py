"""Stated changes such as "saves 30 g @ 45 km/h", read into SI and said back.

    figure    = words amount words [± amount] ["/" distance] ["@" condition]...
    amount    = [sign] number unit | [sign] m:ss | amount "-" amount | "up to" amount
    distance  = [number] km | mi | m, after "/", "per", "over", "in" or "on"
    condition = number with a unit of speed or power, after "@" or "at"

Words and signs speak of the quantity itself: "saves 8 W" and "-8 W" are 8 W less. A range is a
mean with an uncertainty: its ends are taken as a 90 % range.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from optimizer.defaults import NINE_IN_TEN
from optimizer.evidence.datum import Figure
from optimizer.evidence.quantities import NUMBER, UNIT, Stated, an, tidy
from optimizer.evidence.units import UNITS, Unit

if TYPE_CHECKING:
    from optimizer.evidence.properties import Channel

__all__ = ["read_figure", "read_uncertainty", "say_figure"]

_CLOCK = r"\d+:\d\d(?:[.,]\d+)?"
_SIGN = r"(?<![\w.])[+-]"
_AMOUNT = re.compile(rf"(?P<sign>{_SIGN})?\s*(?:(?P<clock>{_CLOCK})|(?P<number>{NUMBER}))"
                     rf"\s*(?P<unit>{UNIT})?")
_RANGE = re.compile(
    rf"(?P<sign>{_SIGN})?\s*(?P<low>{_CLOCK}|(?<![\w.,]){NUMBER})\s*(?P<low_unit>{UNIT})??\s*"
    rf"(?P<dash>-|\.\.\.?|…|\bto\b)\s*(?P<high_sign>[+-])?\s*(?P<high>{_CLOCK}|{NUMBER})"
    rf"\s*(?P<unit>{UNIT})?")
_DISTANCE = re.compile(rf"(?:/|\b(?:per|over|in|on)\b)\s*(?P<number>{NUMBER})?\s*"
                       r"(?P<unit>kms?|[kK]|miles?|mi|m)\b")
_SHARE = r"(?:\(\s*9[05]\s*%\s*\))"
_UNCERTAINTY = re.compile(rf"(?:±|\+/-|\+-)\s*(?P<amount>{NUMBER}\s*(?:{UNIT})?\s*{_SHARE}?)")
_NORMAL = {"90": NINE_IN_TEN, "95": 1.96}  # half width of an interval over the standard deviation
_PATTERN = 'keep to the pattern "saves 30 g @ 45 km/h"'
_FASTEST = 110 / 3.6  # m/s; no tunnel, track or road test of a rider is faster
_UNCLEAR = {
    "%": ("is a percentage of nothing named",
          'say of what: "2 % drag", "2 % power @ 45 km/h", "efficiency +0.8 %"'),
    "": ("is a number without a unit", "add g, N, W, s, % or m2; or say CdA, Crr or efficiency"),
    "mass": ("may be grams of drag or of mass",
             'write "g drag" or "g @ 50 km/h" for drag, "g mass" for mass'),
    "area": ("is an area and speaks of {topic}", 'write "-0.004 m2 CdA"'),
}
_SHARED_UNIT = re.compile(  # 37 ± 4 g
    rf"(?<![\w.,])({NUMBER})\s*(?:±|\+/-|\+-)\s*({NUMBER})\s*({UNIT})")
_ABOUT = re.compile(r"[~≈∼]|\b(?:approx(?:imately)?|about|around|circa|ca|roughly|estimated|est)\b"
                    r"\.?", re.IGNORECASE)
_AT_MOST = re.compile(r"(?:\bup\s?to\b|\bat most\b|\bmax(?:imum|imal)?\b\.?|≤|<)", re.IGNORECASE)
_AT_LEAST = re.compile(r"\bat least\b|\bmore than\b|\bmin(?:imum)?\b\.?\s*(?=\d)|≥|>|(?<=\d)\+"
                       r"(?![/-])", re.IGNORECASE)
_WHERE = re.compile(r"\b(?:at|on)\s+(?:the\s+)?(?P<part>wheels?|hub|cranks?|pedals?)\b",
                    re.IGNORECASE)
_MONTHS = "jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec"
_DATE = re.compile(rf"\d{{1,2}}[-. ](?:{_MONTHS})[a-z]*(?:[-. ]\d{{2,4}})?|(?:{_MONTHS})[a-z]*[-. ]"
                   r"\d{1,4}|\d{4}-\d\d-\d\d(?:[T ].*)?|\d{1,2}([./])\d{1,2}\1\d{2,4}",
                   re.IGNORECASE)

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
_FILLER = {"of", "the", "a", "an", "resistance", "area", "force", "time", "by", "is", "total",
           "pair", "between", "from", "and"}
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
    half_range: float | None
    unit: str
    clock: bool
    distance: float | None
    speed: float | None
    power: float | None


def read_figure(text: str, file: str = "", where: str = "", *, grams: str = "") -> Figure:
    """Read a stated change; where the reading goes beyond the text, `read_as` says how.

    A bare number is the size of a saving (not for a mass), a percentage without a base is of the
    drag.

    Parameters
    ----------
    text : such as "saves 8 W @ 45 km/h"
    file, where : named in a message
    grams : what grams are where nothing else says so: "drag", or "" to refuse them

    Returns
    -------
    the change in SI

    Raises
    ------
    InputError
        for an unknown unit or word, a speed of zero, a missing direction, a sign that contradicts
        the words, grams of unclear kind, a range that can be read in two ways
    """
    stated = Stated(text, file, where)
    plain, about, at_most = _plainer(stated)
    plain, part = _take(_WHERE, plain)
    plain, uncertainty = _take(_UNCERTAINTY, _SHARED_UNIT.sub(r"\1 \3 ± \2 \3", plain))
    parts, completed = _completed(_take_apart(plain, stated, up_to=at_most), grams)
    unit, size = _unit(parts, stated)
    direction = _direction(parts, unit, stated)
    _possible(size, unit, stated)
    if not direction and size:
        if unit.name == "mass":
            raise stated.refuse("is a number without a direction",
                                'say "saves" or "costs", or give it a sign: minus is less of it')
        completed = True
    direction = direction or (1 if unit.more_is_better else -1)
    _consistent(parts, unit, stated)
    if part and unit.name != "power":
        raise stated.refuse("names the wheel or the cranks, which matter to watts only",
                            "leave that out")
    figure = Figure(unit.name, direction * size + 0.0, parts.speed, parts.power, parts.distance,
                    _CHANNELS.get(parts.topic, "drag_area"), text=tidy(text),
                    unit="s" if parts.clock else parts.unit,
                    at_cranks=part is not None and part["part"][0].lower() in "cp")
    if parts.half_range is not None:
        if uncertainty is not None:
            raise stated.refuse("states a range and an uncertainty", "keep one of them")
        half = _unit(replace(parts, number=parts.half_range), stated)[1]
        figure = replace(figure, uncertainty=half / _NORMAL["90"])
    elif uncertainty is not None:
        figure = replace(figure, uncertainty=read_uncertainty(uncertainty["amount"], figure, file,
                                                              where))
    plainly = not (about or completed or parts.half_range is not None)
    return figure if plainly else replace(figure, read_as=say_figure(figure))


def _plainer(stated: Stated) -> tuple[str, bool, bool]:
    """Text without "about" and "up to", and whether it had them."""
    plain = tidy(stated.text)
    if _DATE.fullmatch(plain):
        day = re.match(r"\d{4}-(\d\d)-(\d\d)", plain)
        made = f" such as {int(day[2])}-{int(day[1])}" if day else ""
        raise stated.refuse(f"is a date: a spreadsheet may have made one of a range{made}",
                            "write the figure again, such as 5 to 6 W, in a cell formatted as text")
    plain, about = _ABOUT.subn(" ", plain)
    plain, at_most = _AT_MOST.subn(" ", plain)
    if _AT_LEAST.search(plain):
        raise stated.refuse("has no upper end", "state the figure, or a range such as 5 to 8 W")
    return plain, bool(about), bool(at_most)


def _completed(parts: _Parts, grams: str) -> tuple[_Parts, bool]:
    """Give a number the quantity that the trade means where nothing is said."""
    bare = not parts.topic
    share = parts.unit == "%"
    weight = grams == "drag" and parts.unit.lower() in {"g", "gram", "grams"}
    if bare and (share or weight):
        return replace(parts, topic="drag"), share or parts.speed is None
    return parts, False


def read_uncertainty(text: str, figure: Figure, file: str = "", where: str = "") -> float:
    """Read a standard deviation.

    A percentage is of the figure, or in points where the figure itself is in percent.
    "(95 %)" or "(90 %)" behind it marks the half width of such an interval. A number without a
    unit has the unit of the figure.

    Parameters
    ----------
    text : such as "4 g", "± 4 g", "20 %" or "0.0005"
    figure : what is uncertain
    file, where : named in a message

    Returns
    -------
    standard deviation in the SI unit of the figure

    Raises
    ------
    InputError
        for what is no uncertainty, or has another unit than the figure
    """
    stated = Stated(text, file, where)
    plain = re.sub(r"^(±|\+/-|\+-)\s*", "", _ABOUT.sub(" ", tidy(text)).strip())
    plain, interval = _take(re.compile(_SHARE), plain)
    match = _AMOUNT.fullmatch(plain.strip())
    if not match or match["sign"]:
        raise stated.refuse("is not an uncertainty", 'write it like "4 g", "20 %" or "0.0005"')
    unit = match["unit"] or ("s" if match["clock"] else figure.unit)
    number = _clock(match["clock"]) if match["clock"] else stated.number(match["number"])
    if unit == "%":
        points = figure.counts.by("%")
        value = number / 100 * (1.0 if points else abs(figure.value))
    elif unit.lower() in _WORDS | {""}:
        value = number
    else:
        value, dimension = stated.in_si(number, unit)
        way = figure.counts.by(dimension)
        if way is None:
            raise stated.refuse(f'is {an(dimension)}, which cannot be the uncertainty of '
                                f'"{figure.text}"',
                                "state it in the unit of the figure or in %")
        value *= way.factor
    _possible(value, figure.counts, stated)
    return value / _NORMAL[re.sub(r"\D", "", interval[0])] if interval else value


def say_figure(figure: Figure) -> str:
    """Write a figure in the one way that can be read in one way only.

    Parameters
    ----------
    figure : as its source states it, in SI

    Returns
    -------
    text that `read_figure` reads as the same figure
    """
    counts = figure.counts
    said_else = figure.acts_on != "drag_area" and counts.said_else
    scale, unit, topic = said_else or counts.said
    if any(way.topics is None for way in counts.written):
        topic = _TOPIC_OF.get(figure.acts_on, topic)
    better = figure.value >= 0 if counts.more_is_better else figure.value <= 0
    verb = ({True: "gains", False: "loses"} if counts.more_is_better else
            {True: "saves", False: "costs"})[better]
    words = f"{verb} {_digits(abs(figure.value) / scale)} {unit} {topic}".split()
    if figure.uncertainty is not None:
        half = _digits(_NORMAL["90"] * figure.uncertainty / scale)
        words += ["±", half, *([unit] if unit else []), "(90 %)"]
    if figure.distance is not None:
        words += ["/", _digits(figure.distance / 1000), "km"]
    if figure.at_cranks:
        words += ["at the cranks"]
    if figure.speed is not None:
        words += ["@", _digits(figure.speed * 3.6, 5), "km/h"]
    if figure.power is not None:
        words += ["@", _digits(figure.power), "W"]
    return " ".join(words)


_TOPIC_OF: dict[Channel, str] = {"rolling_resistance": "rolling", "efficiency": "drivetrain",
                                 "mass": "mass"}


def _digits(value: float, count: int = 6) -> str:
    """Write a number to `count` significant digits, without exponent."""
    text = f"{value:.{count}g}"
    if "e" not in text:
        return text
    return f"{float(text):.12f}".rstrip("0").rstrip(".")


def _possible(size: float, unit: Unit, stated: Stated) -> None:
    """Refuse a change, or an uncertainty of one, that is larger than the whole."""
    if not abs(size) <= unit.largest:
        raise stated.refuse("is more than any change can be", "check the number and its unit")


def _clock(text: str) -> float:
    minutes, seconds = text.split(":")
    return 60.0 * float(minutes) + float(seconds.replace(",", "."))


def _take(pattern: re.Pattern[str], text: str) -> tuple[str, re.Match[str] | None]:
    """Text without the first match, and the match."""
    match = pattern.search(text)
    return (f"{text[:match.start()]} {text[match.end():]}" if match else text), match


def _take_apart(text: str, stated: Stated, *, up_to: bool) -> _Parts:
    main, *conditions = re.split(r"@|\bat\b", text)
    speed, power = _conditions(conditions, stated)
    main, run = _take(_DISTANCE, main)
    distance = None
    if run:
        unit = "km" if run["unit"].lower() in {"k", "km", "kms"} else run["unit"]
        distance, _ = stated.in_si(stated.number(run["number"] or "1"), unit)
        if distance < 1.0:
            raise stated.refuse("has a distance of zero, or nearly",
                                "state the distance of the change")
    main = re.sub(r"\bbetween\b(?=.*\d)\s*(.*?)\s*\band\b", r"\1 to", main)
    ranges = list(_RANGE.finditer(main))
    amounts = list(_AMOUNT.finditer(main))
    if not amounts or len(amounts) > (2 if len(ranges) == 1 else 1):
        problem = "has no number" if not amounts else "has more than one number"
        raise stated.refuse(problem, 'state one change, such as "saves 8 W @ 45 km/h" or '
                                     '"-0.004 m2"; uncertainty goes behind ± or to its own column')
    pattern = _RANGE if ranges else _AMOUNT
    amount, rest = (ranges or amounts)[0], _take(pattern, main)[0]
    sign, value, half = _range(amount, stated) if ranges else _one(amount, stated)
    if up_to:
        if half is not None or sign:
            raise stated.refuse("states an upper end twice, or with a sign", 'write "up to 8 W"')
        value, half = 0.5 * value, 0.5 * value
    unit = amount["unit"] or ""
    if unit.lower() in _WORDS:  # "-0.0004 Crr"
        unit, rest = "", f"{rest} {unit}"
    strange = re.sub(r"[A-Za-z\s,.;()]|(?<=[A-Za-z])-(?=[A-Za-z])", "", rest)
    words = tuple(word.lower() for word in re.findall(r"[A-Za-z]+", rest))
    unknown = [word for word in words if word not in _WORDS]
    if strange or unknown:
        raise stated.refuse(f'contains "{(unknown or [strange])[0]}", which is not understood',
                            _PATTERN)
    clock = ":" in (amount["low"] if ranges else amount["clock"] or "")
    return _Parts(words, _topic(words, stated), sign, value, half, unit, clock, distance, speed,
                  power)


def _one(amount: re.Match[str], stated: Stated) -> tuple[int, float, None]:
    """Sign and size of a single number."""
    value = _clock(amount["clock"]) if amount["clock"] else stated.number(amount["number"])
    return {"-": -1, "+": 1}.get(amount["sign"] or "", 0), value, None


def _range(found: re.Match[str], stated: Stated) -> tuple[int, float, float]:
    """Sign, size of the mean, and half width of a range; refuse what can be read in two ways."""
    low, high = (_clock(text) if ":" in text else stated.number(text)
                 for text in (found["low"], found["high"]))
    if (":" in found["low"]) != (":" in found["high"]):
        raise stated.refuse("is a range from a time to a number", "write both ends alike")
    unit = found["low_unit"]
    if unit and unit != found["unit"]:
        (one, this), (other, that) = (stated.in_si(1.0, unit),
                                      stated.in_si(1.0, found["unit"] or unit))
        if this != that:
            raise stated.refuse(f"is a range from {an(this)} to {an(that)}",
                                "write both ends in one unit")
        low *= one / other
    sign, second = found["sign"] or "", found["high_sign"] or ""
    if (sign == "-" or second) and not (sign and second):
        raise stated.refuse("has a minus that may be a sign or a dash",
                            'give both ends their sign: "-5 to -6 W", or write "saves 5 to 6 W"')
    if not sign and low > high:
        raise stated.refuse("names its larger end first",
                            f'write "{found["high"]} to {found["low"]}", or "±" for an uncertainty')
    low, high = (-low if sign == "-" else low), (-high if second == "-" else high)
    mean = 0.5 * (low + high)
    said = 0 if not sign else -1 if mean < 0 else 1
    return said, abs(mean), 0.5 * abs(high - low)


def _conditions(texts: list[str], stated: Stated) -> tuple[float | None, float | None]:
    found: dict[str, float] = {}
    for text in texts:
        match = re.fullmatch(rf"\s*([+-]?)\s*({NUMBER})\s*({UNIT})\s*", text)
        value, dimension = (stated.in_si(stated.number(match[2]), match[3]) if match
                            else (0.0, "other quantity"))
        if match is None or dimension not in {"speed", "power"}:
            raise stated.refuse(f'has "{text.strip()}" after @, which is neither a speed nor a '
                                'power',
                                'write "@ 45 km/h" or "@ 250 W"; the yaw has its own column')
        if match[1] == "-" or value <= 0:
            raise stated.refuse(f"has a {dimension} of zero or less",
                                f"state the {dimension} of the test")
        stated.not_tiny(value, dimension)
        if dimension == "speed" and value > _FASTEST:
            raise stated.refuse(f"has {text.strip()}, faster than any test",
                                "check the speed and its unit")
        if dimension in found:
            raise stated.refuse(f"names two values of {dimension}", "write one row for each")
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
        raise stated.refuse(f"speaks of {' and '.join(sorted(topics))}",
                            "write one quantity in each row")
    return topics.pop() if topics else ""


def _unit(parts: _Parts, stated: Stated) -> tuple[Unit, float]:
    """Find what the number counts, and its size in SI."""
    size, dimension, topic = parts.number, "time" if parts.clock else parts.unit, parts.topic
    if not parts.clock and parts.unit not in {"", "%"}:
        size, dimension = stated.in_si(parts.number, parts.unit)
    # Grams are drag where a speed says so.
    if dimension == "mass" and parts.speed is not None and not topic:
        topic = "drag"
    for unit in UNITS.values():
        for way in unit.written:
            if way.dimension == dimension and (way.topics is None or topic in way.topics):
                return unit, size * way.factor
    problem, remedy = _UNCLEAR.get(dimension, (
        f"is {an(dimension)}, which does not measure a change of kit",
        "state drag, watts, seconds, %, CdA, Crr, efficiency or mass"))
    raise stated.refuse(problem.format(topic=topic), remedy)


def _direction(parts: _Parts, unit: Unit, stated: Stated) -> int:
    """-1 for less of the quantity, 1 for more, 0 where nothing says."""
    said = set(parts.words)
    if unit.more_is_better and said & (_SAVES | _COSTS):
        raise stated.refuse("says that an efficiency is saved or costs; it rises or falls",
                            'write "efficiency +0.8 %"')
    if said & set(_OF_TIME) and not unit.over_distance:
        raise stated.refuse("says faster or slower without a time", 'say "saves" or "costs"')
    better = 1 if unit.more_is_better else -1
    signs = {-1 for _ in said & (_SAVES | _LESS)} | {1 for _ in said & (_COSTS | _MORE)}
    signs |= {better for _ in said & _GAINS} | {-better for _ in said & _LOSES}
    signs |= {sign for word, sign in (_OF_TIME | _OF_MASS).items() if word in said}
    if len(signs) > 1:
        raise stated.refuse("has words that contradict each other", "keep one of them")
    # "saves -8 W" is a loss to one reader and a gain to the next; "costs +8 W" is clear.
    if signs and parts.sign and (parts.sign < 0 or parts.sign not in signs):
        raise stated.refuse("has a sign that contradicts its words",
                            "drop one of the two: minus is less of the quantity")
    return parts.sign or next(iter(signs), 0)


def _consistent(parts: _Parts, unit: Unit, stated: Stated) -> None:
    """Refuse conditions that do not belong to the quantity."""
    if unit.over_distance and parts.distance is None:
        raise stated.refuse("is a time without a distance", 'write "saves 15 s / 40 km @ 45 km/h"')
    if not unit.over_distance and parts.distance is not None:
        raise stated.refuse("has a distance, which only a time needs",
                            "drop the distance, or give seconds")
    if unit.at_speed and parts.power is not None and parts.speed is None:
        raise stated.refuse("is a force without an air speed", 'write "30 g @ 45 km/h"')
    if parts.speed is not None and parts.power is not None:
        raise stated.refuse("names a speed and a power", "keep one: it gives the other")
