"""The page of `kitpace worth`: what each item is worth, and the evidence for it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, get_args

from markupsafe import Markup

from optimizer.defaults import NINE_IN_TEN
from optimizer.evidence.properties import Channel, force_of
from optimizer.report.page import Chart, Folded, Points, Section, Table, render
from optimizer.report.svg import forest
from optimizer.report.uncertain import (
    UNTESTED,
    Mark,
    amount,
    between,
    clear_gain,
    normal_mark,
    number_range,
    plain,
)
from optimizer.report.words import listing, money

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimizer.evidence.item_ranking import Worth
    from optimizer.evidence.pool import Observation
    from optimizer.evidence.priors import Priors
    from optimizer.evidence.reference import Reference
    from optimizer.job import ItemWorth
    from optimizer.kit import Catalogue
    from optimizer.report.page import Part

__all__ = ["ALONE", "Valuation", "gain", "lead", "per_second", "worth_page"]

ALONE = (", on the scenario's bike without other kit (kitpace plan and kit: on top of your current "
         "kit)")
"""Why an item is worth a little more or less here than in a plan."""

_MOST_MARKS = 56  # of one picture, so that a sheet of paper holds it
_UNITS: dict[Channel, tuple[str, float, int]] = {
    "drag_area": ("m² CdA", 1.0, 4), "rolling_resistance": ("Crr", 1.0, 5),
    "efficiency": ("% efficiency", 100.0, 2), "mass": ("g", 1000.0, 0)}


@dataclass(frozen=True)
class Valuation:
    """Everything the page shows.

    `speeds` [m/s] are those of `Worth.watts`, `at_critical_power` tells that the rider's sets them;
    `course` names the course of `on_course`, empty without one; `overlaps` are
    rows (region, items, sum of the gains, together) in m².
    """

    title: str
    rider: str
    worths: tuple[Worth, ...]
    reference: Reference
    priors: Priors
    speeds: tuple[float, ...]
    at_critical_power: bool = False
    course: str = ""
    on_course: tuple[ItemWorth, ...] = ()
    catalogue: Catalogue | None = None
    currency: str = ""
    overlaps: tuple[tuple[str, tuple[str, ...], float, float], ...] = ()
    assumptions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def per_second(valuation: Valuation, worth: Worth) -> tuple[str, str]:
    """Price of an item and price of a second, as a range; dashes where nothing is known."""
    item = next((i for i in valuation.catalogue.items if i.name == worth.effect.item),
                None) if valuation.catalogue else None
    if item is None:
        return "–", "–"
    if item.cost == 0:
        return ("owned" if item.owned else "0"), "–"
    here = next((row for row in valuation.on_course if row.item == item.name), None)
    price = money(item.cost) + (" to hire" if item.hired else "")
    if here is None or here.high <= 0 or here.grounds in ("mass", "none"):
        return price, "–"
    if here.low <= 0:
        return price, f"{item.cost / here.high:,.0f} or more"
    return price, f"{item.cost / here.high:,.0f} to {item.cost / here.low:,.0f}"


def gain(valuation: Valuation, worth: Worth) -> str:
    """Whether an item saves time at all: on the course where there is one, else on the flat."""
    grounds = worth.effect.grounds
    for row in valuation.on_course:
        if row.item == worth.effect.item:
            return clear_gain(row.low, row.high, grounds)
    half = NINE_IN_TEN * worth.seconds_sd
    return clear_gain(worth.seconds - half, worth.seconds + half, grounds,
                      f"{math.floor(100 * worth.chance)} % likely")


def worth_page(valuation: Valuation) -> str:
    """Give the page as HTML."""
    sections = [Section("items", "What each item is worth", _items_worth(valuation))]
    if valuation.overlaps:
        sections.append(Section("overlap", "What overlaps", _overlaps(valuation)))
    sections += [Section("evidence", "The evidence", _evidence(valuation)),
                 Section("assumed", "What was assumed", _assumed(valuation))]
    return render(valuation.title, lead(valuation), sections, kicker="What is it worth?", foot=(
        ("Ranges are 90 % ranges, if the evidence and the judgements about it are right. A gain "
         "may be smaller or larger on another rider."),
        ("Whether a part may be used is for the rules of the event. Brakes, steering and pressed "
         "bearings are for a qualified mechanic; a new position is to be practised before a "
         "race.")))


def lead(valuation: Valuation) -> list[str]:
    """Say the answer in three sentences."""
    worths, here = valuation.worths, valuation.reference
    if not worths:
        return ["The table contains no evidence."]
    best = worths[0]
    count = sum(len(worth.evidence.observations) for worth in worths)
    clear = [worth for worth in worths if gain(valuation, worth) == "yes"]
    first = (f"{_number(len(worths), 'item')} from {_number(count, 'figure')}, for "
             f"{valuation.rider} at {here.speed * 3.6:.1f} km/h ({here.power_at(here.speed):.0f} "
             f"W{', critical power' * valuation.at_critical_power}) on a flat road without wind.")
    said = gain(valuation, best)
    open_end = ("" if said == "yes" else f" ({said})" if said in UNTESTED.values()
                else ", which may be none")
    there = next((row for row in valuation.on_course if row.item == best.effect.item), None)
    won = (f"{between(best.seconds, best.seconds_sd)} s over 40 km" if there is None
           else f"{number_range(there.low, there.high)} s on {valuation.course}")
    second = (f"The surest gain is {best.effect.item}: {won}{open_end}." if best.seconds > 0
              else "None of them saves time.")
    third = (f"{len(clear)} of {len(worths)} {'is' if len(clear) == 1 else 'are'} a clear "
             "gain. Do not pay for the difference between two items whose ranges overlap.")
    fourth = [f"Sources disagree about {listing(odd)}."] if (odd := [
        worth.effect.item for worth in worths
        if any("disagree" in words for words in worth.effect.warnings)]) else []
    return [first, second, third, *fourth]


def _number(count: int, noun: str) -> str:
    return f"{count} {noun}" + ("" if count == 1 else "s")


def _items_worth(valuation: Valuation) -> list[Part]:
    worths = valuation.worths
    here = {row.item: row for row in valuation.on_course}
    marks = [normal_mark(worth.effect.item, worth.seconds, worth.seconds_sd, leads=True)
             for worth in worths]
    question = "How many seconds does each save over 40 km?"
    if here:
        marks = [Mark(mark.label, here[mark.label].seconds, here[mark.label].low,
                      here[mark.label].high, leads=True) for mark in marks]
        question = f"How many seconds does each save on {valuation.course}?"
    marks = [replace(mark, said=f"{number_range(mark.low, mark.high)} s") for mark in marks]
    clear = sum(gain(valuation, worth) == "yes" for worth in worths)
    finding = (f"The surest gain is {marks[0].label}, {marks[0].said}; {clear} of {len(marks)} "
               f"{'is' if clear == 1 else 'are'} a clear gain." if clear else
               "None of them is a clear gain." if marks else "")
    return [Chart("seconds", question,
                  lambda look: forest(look, marks, "seconds saved, each on its own"),
                  _items_table(valuation), finding,
                  note="Mark: the expected gain. Line: its 90 % range. A line that crosses zero "
                       "may be no gain at all.")]


def _items_table(valuation: Valuation) -> Table:
    on_course = {row.item: row for row in valuation.on_course}
    headings = ["Item"]
    if on_course:
        headings += [f"s on {valuation.course}", f"Price, {valuation.currency}",
                     f"{valuation.currency} per s"]
    headings += ["Gain?", "s over 40 km",
                 *(f"W at {speed * 3.6:.0f} km/h" for speed in valuation.speeds), "Change",
                 "Evidence"]
    rows = []
    for worth in valuation.worths:
        row = [worth.effect.item]
        if on_course:
            here = on_course[worth.effect.item]
            row += [number_range(here.low, here.high), *per_second(valuation, worth)]
        rows.append([
            *row, gain(valuation, worth), between(worth.seconds, worth.seconds_sd),
            *(between(w, sd) for w, sd in zip(worth.watts, worth.watts_sd, strict=True)),
            _change(worth), worth.effect.basis])
    alone = ALONE if on_course else ""
    return Table(headings, rows, f"Each item on its own{alone}, best first. Watts are at "
                 "the wheel; drag is the mean over the yaw on the road.", ident="items-table",
                 tools=True)


def _change(worth: Worth) -> str:
    """Say what the item changes, property by property, each with its standard deviation."""
    parts = []
    for channel, (unit, scale, _) in _UNITS.items():
        value = worth.drag_area if channel == "drag_area" else getattr(worth.effect, channel)
        if sd := getattr(worth.effect, f"{channel}_sd"):
            parts.append(amount(scale * value, scale * sd, unit))
    return "; ".join(parts) or "–"


def _overlaps(valuation: Valuation) -> list[Part]:
    return [
        ("Two changes to the same part of the flow gain less together than one by one. By region "
         "of the catalogue, with its factors:"),
        Table(("Region", "Items", "Added up, m²", "Together, m²", "Lost"),
              [(region, listing(items), plain(total, 4), plain(together, 4),
                f"{100 * (1 - together / total):.0f} %" if total else "–")
               for region, items, total, together in valuation.overlaps],
              "The best item of each place, region by region", left=(0, 1))]


def _watts_of(observation: Observation, value: float, reference: Reference) -> float:
    """Watts saved at the wheel at the reference speed."""
    return -reference.speed * force_of(observation.channel, value, reference)


def _evidence(valuation: Valuation) -> list[Part]:
    """Forest plot of every datum and the pool of its item, all in watts at one speed."""
    here = valuation.reference
    sheets: list[list[Mark]] = [[]]
    table: list[Sequence[object]] = []
    count = sum(1 + len(worth.evidence.observations) for worth in valuation.worths)
    enough = count / math.ceil(max(count, 1) / _MOST_MARKS)  # as many in each picture
    for worth in valuation.worths:
        if len(sheets[-1]) >= enough:
            sheets.append([])
        marks = sheets[-1]
        marks.append(normal_mark(worth.effect.item, *_pooled_watts(worth, here), leads=True))
        for o in worth.evidence.observations:
            sd = abs(_watts_of(o, math.hypot(o.sd, o.shared_sd), here))
            yaw = f", yaw {_yaw(o)}" if len(worth.effect.yaw) > 1 and o.datum.yaw else ""
            marks.append(normal_mark(f"{o.datum.figure.text}{yaw}", _watts_of(o, o.value, here),
                                     sd, sub=True))
            table.append(_datum_row(worth, o))
    speed = f"{here.speed * 3.6:.0f} km/h"
    whole = Table(("Item", "As stated", "Source", "Test", "By", "Yaw", "Converted",
                   "As weighed", "Assumed"), table,
                  "Every figure of the table, converted and weighed", ident="data-table",
                  tools=True)
    note = ("Diamonds: an item, all its figures together. Circles: its figures, after what is "
            "believed of the kind of test and of sellers. Lines are 90 % ranges.")

    def chart(number: int, marks: Sequence[Mark]) -> Chart:
        first = number == 0
        question = f"What does each test say, in watts at {speed}?"
        return Chart(
            "forest" if first else f"forest-{number + 1}", question if first else "Further items",
            lambda look: forest(look, marks, f"W saved at the wheel at {speed}"),
            whole if first else Table(("Item or figure", "W saved, 90 % range"), [
                (mark.label, number_range(mark.low, mark.high)) for mark in marks]),
            _disagreement(valuation) if first else "", note=note if first else "")

    cautions = [(worth.effect.item, words) for worth in valuation.worths
              for words in worth.warnings]
    charts = [chart(number, marks) for number, marks in enumerate(sheets)]
    return [*charts, *([Table(("Item", "Caution"), cautions, "Cautions on the evidence",
                              ident="cautions", left=(0, 1))] if cautions else [])]


def _disagreement(valuation: Valuation) -> str:
    """Say whether the sources of an item agree."""
    odd = [worth.effect.item for worth in valuation.worths
           if any("disagree" in words for words in worth.effect.warnings)]
    return (f"Sources disagree about {listing(odd)}." if odd else
            "No item has sources that clearly disagree.")


def _pooled_watts(worth: Worth, here: Reference) -> tuple[float, float]:
    means: dict[Channel, float] = {"drag_area": worth.drag_area}
    means |= {channel: getattr(worth.effect, channel) for channel in get_args(Channel)
              if channel != "drag_area"}
    sds = [(channel, getattr(worth.effect, f"{channel}_sd")) for channel in means]
    value = -here.speed * sum(force_of(c, v, here) for c, v in means.items())
    return value, here.speed * math.hypot(*(force_of(c, sd, here) for c, sd in sds))


def _datum_row(worth: Worth, o: Observation) -> Sequence[object]:
    unit, scale, digits = _UNITS[o.channel]
    after = amount(scale * o.value, scale * math.hypot(o.sd, o.shared_sd), unit)
    return (worth.effect.item, o.datum.figure.text, o.datum.source or "–", o.datum.test,
            o.datum.measured_by or "–", _yaw(o), f"{plain(scale * o.stated, digits)} {unit}",
            after, "; ".join(words.split(" not stated")[0] for words in o.assumptions) or "–")


def _yaw(o: Observation) -> str:
    if o.datum.yaw is None:
        return "–"
    low, high = (math.degrees(angle) for angle in o.datum.yaw)
    return f"{low:.0f}°" if low == high else f"{low:.0f} to {high:.0f}°"


def _assumed(valuation: Valuation) -> list[Part]:
    here = valuation.reference
    known = (f"The road: flat, straight, no wind, {here.air_density:.3f} kg/m³. The rider: CdA "
             f"{amount(here.drag_area, here.drag_area_sd, 'm²')}, {here.mass:.1f} kg in all, Crr "
             f"{here.rolling_resistance:.4f}, drivetrain efficiency {here.efficiency:.3f}.")
    assumed = [*here.assumptions, *valuation.assumptions]
    said = [f"{words} ({_number(count, 'figure')})" for words, count in _counted(valuation)]
    parts: list[Part] = [known]
    if assumed:
        parts.append(Markup("<p>Not given, so assumed: {}.</p>").format("; ".join(assumed)))
    if said:
        parts += ["What the sources do not say, and what was put in its place:", Points(said)]
    return [*parts, Folded("What is believed of each kind of test", [_prior_table(valuation)])]


def _counted(valuation: Valuation) -> list[tuple[str, int]]:
    counts: dict[str, int] = {}
    for worth in valuation.worths:
        for o in worth.evidence.observations:
            for words in o.assumptions:
                counts[words] = counts.get(words, 0) + 1
    return sorted(counts.items(), key=lambda pair: (-pair[1], pair[0]))


def _prior_table(valuation: Valuation) -> Table:
    priors = valuation.priors
    names = {"independent": "by somebody independent", "seller": "by a seller",
             "estimate": "as an estimate",
             "": "by nobody named"}
    rows = [(names.get(name, name), f"{trust.factor:.2f} ± {NINE_IN_TEN * trust.factor_sd:.2f}",
             f"± {NINE_IN_TEN * trust.sd:.4f} m²" if trust.sd else "–")
            for name, trust in (*priors.test.items(), *priors.measured_by.items())]
    return Table(("Kind", "Factor on the figure", "Uncertainty of one run"), rows,
                 "Judgements, not measurements; your own file replaces them (--priors)")
