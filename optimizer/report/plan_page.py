"""The report: how fast, how sure; what to buy; how to ride; where time is won; the evidence."""

from __future__ import annotations

import math
from functools import partial
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from markupsafe import Markup

from optimizer.kit.crosswind import OWN_WHEELS
from optimizer.report.card import (
    LINE_HEADINGS,
    card_csv,
    card_fragment,
    changes_words,
    coasting_words,
    figures,
    line_cells,
    position_reason,
    position_words,
)
from optimizer.report.cautions import day_cautions
from optimizer.report.course_map import letters, mapped
from optimizer.report.current import not_in_sets
from optimizer.report.held import held_parts, reserve_spare, risk_rule
from optimizer.report.money import advice, frontier_data, kept_kit, money_doubts, money_parts
from optimizer.report.page import (
    Chart,
    Folded,
    Section,
    Table,
    asset,
    laid_out,
    render,
    script_json,
)
from optimizer.report.rests_on import rests_on
from optimizer.report.ribbon import range_rule, ribbon
from optimizer.report.stated import beside, card_price, early_lead, proven_with, stated
from optimizer.report.strip import readings, strip, value_of_energy, where_won
from optimizer.report.svg import Mark, forest
from optimizer.report.try_it import try_it, try_it_data, try_it_scripts
from optimizer.report.uncertain import NINE_IN_TEN
from optimizer.report.weather import steady
from optimizer.report.words import (
    ascent,
    at_most,
    cell_seconds,
    clock,
    kilometres,
    listing,
    money,
    seconds,
    signed_seconds,
    watts,
)
from optimizer.side_by_side import side_by_side

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from optimizer.job import Result, Sensitivity, SetSplits
    from optimizer.pacing import Block
    from optimizer.report.page import Part

__all__ = ["plan_page"]

_LEAST = 0.005  # s; less is none
_VISIBLE = 0.05  # s; a smaller uncertainty stands in the table only
_WHERE = {"": "throughout", "climbs": "on climbs", "flat": "on the flat",
          "descents": "on descents"}
_FOOT = ("Computed offline by kitpace from the files named above. The page contains everything "
         "it shows and asks for nothing from outside.")


def plan_page(result: Result, *, change: str = "") -> str:
    """Give the whole report as HTML; `change` says what differs from an earlier plan."""
    job = result.job
    tried, opening, along, lead, *parts = side_by_side({
        "data for trying": lambda: script_json(try_it_data(result)),
        "opening": lambda: _opening(result),
        "along": lambda: script_json(readings(result)),
        "lead": lambda: _lead(result, change),
        **{of.__name__: partial(_laid_out, of, result)
           for of in (_time, _ride, try_it, money_parts, _sure, rests_on)}})
    time, ride, trial, kit, sure, basis = parts
    sections = [
        Section("sure", "How fast, and how sure", sure),
        Section("kit", "The kit" if kept_kit(result) else "What to buy, and what not", kit),
        Section("ride", "How to ride it", ride),
        Section("time", "Where time is won", time),
        Section("try", "Try other kit, weather and rider", trial),
        Section("basis", "What it is based on", basis),
    ]
    when = job.conditions.start_time
    kicker = ", ".join([f"Plan for {job.rider.name}",
                        *([job.course.name] if job.course.name != job.name else []),
                        kilometres(job.course.length), f"{ascent(job.course.ascent)} of ascent",
                        *([f"{when.day} {when:%B %Y, %H:%M}"] if when else [])])
    return render(
        job.name, lead, sections, kicker=kicker, opening=opening, foot=[_FOOT], along=along,
        script="\n".join([asset("plan_page.js"), *try_it_scripts()]), workers=True,
        data={"frontier": frontier_data(result), "card": card_csv(result),
              "tryIt": tried},
        style=asset("plan_page.css") + asset("map.css") + asset("card.css"))


def _laid_out(of: Callable[[Result], Sequence[Part]], result: Result) -> list[Part]:
    return laid_out(of(result))


# --- first screen ---------------------------------------------------------------------------


def _opening(result: Result) -> Markup:
    """Show the time with its range, and the ride below it."""
    times, risk = stated(result), risk_rule(result)
    return Markup(
        '<div class="answer"><p class="finish">{}</p><p class="by">by the card; {}</p>{}</div>{}{}'
    ).format(
            clock(times.finish), beside(result), range_rule(times.low, times.finish, times.high,
                                            "Finish time and its range"),
            Markup('<p class="risk">{}</p>').format(risk) if risk else "", ribbon(result))


def _doubts(result: Result) -> Markup:
    """Say what of the money buys no clear gain, and lead to what other money buys."""
    said = " ".join(money_doubts(result, odds=False))
    return Markup('{} <a href="#frontier">Other money</a>.').format(said) if said else Markup("")


def _lead(result: Result, change: str) -> list[Markup]:
    """Answer three questions: how fast, what to buy, how to ride."""
    cautions = day_cautions(result)
    answers = [("How fast", _fast(result)),
               ("What changed", Markup("{} {}").format(change, advice(result)
                if kept_kit(result) else "")) if change else
               ("What to buy", Markup("{} {} {}").format(
                   advice(result), _doubts(result),
                   "" if kept_kit(result) else _left_out(result))),
               ("How to ride", _manner(result)),
               *([("Caution", Markup(" ").join(cautions))] if cautions else [])]
    if result.bike_passed:
        answers.insert(0, answers.pop())
    return [Markup('<strong class="ask">{}</strong> {}').format(*answer) for answer in answers]


def _fast(result: Result) -> Markup:
    """Say how sure the time is, and that no ride beats the ideal one."""
    times, ideal = stated(result), beside(result)
    most = max(result.sensitivities, key=_half_range, default=None)
    moves = "" if most is None or _half_range(most) < 0.5 else (
        f" {most.name} moves it most, ± {seconds(_half_range(most))}.")
    return Markup("{} by the card; 90 % range {} to {}.{} {}{}; in this model{} no ride beats that "
                  "by more than {}.").format(
        clock(times.finish), clock(times.low), clock(times.high), moves, ideal[:1].upper(),
        ideal[1:], proven_with(result.plan, result.job.rider), at_most(result.plan.gap))


def _left_out(result: Result) -> Markup:
    """Name the most tempting thing that is not in the kit; the reasons stand further down."""
    choice = result.choice
    worth = {row.item: row.seconds for row in result.worth}
    tempting = sorted((name for name, _ in choice.left_out if worth.get(name, 0.0) > 0),
                      key=lambda name: -worth[name])
    if not tempting:
        return Markup("")
    more = sum(name != OWN_WHEELS for name, _ in choice.left_out) - 1  # those are no item
    others = f" and {more} other {'item' if more == 1 else 'items'}" if more else ""
    return Markup('<a href="#left-out">Not chosen</a>: {}{}.').format(tempting[0], others)


def _manner(result: Result) -> Markup:
    """How to ride it, in a sentence."""
    blocks = result.rideable.lines
    hardest = max(blocks, key=lambda block: block.mean)
    easiest = min(blocks, key=lambda block: block.mean)
    cost = card_price(result)
    budget_cost = result.effort_budget_cost
    held_back = (f" To spare your legs for what follows costs {seconds(budget_cost)}."
                 if budget_cost >= 0.05 else "")
    what = "The card is" if len(blocks) > 1 else "That is"
    price = (f" {what} {seconds(cost)} slower than the ideal ride." if cost >= 0.05 else
             f" {what} as fast as the ideal ride.")
    if len(blocks) > 1:
        coasting = coasting_words(result, easiest)
        start = Markup("In {} blocks: hardest {} from {}, easiest {}{} from {}.").format(
            len(blocks), watts(hardest.mean), _from(hardest), watts(easiest.mean),
            f" ({coasting})" if coasting else "", _from(easiest))
    else:
        start = Markup("At {}.").format(listing([
            f"{watts(power)} {_WHERE[words]}" for words, power in figures(hardest)]))
    return Markup("{}{}{}{}").format(start, price, changes_words(result.rideable), held_back)


def _from(block: Block) -> str:
    """Where a block begins, with the words for the place if it has any."""
    if block.start < 1.0:
        return "the start"
    start = kilometres(block.start)
    return f"{start} ({block.place})" if block.place else start


# --- how sure -------------------------------------------------------------------------------


def _sure(result: Result) -> list[Part]:
    plan, times = result.plan, stated(result)
    small = plan.grid_error < 0.005
    grid = "" if math.isnan(plan.grid_error) else (
        f" The steps of the computation add an error of {'' if small else 'about '}"
        f"{seconds(plan.grid_error)}.")
    words = (
        f"The range comes from {result.job.options.draws} draws of wind, rider and evidence about "
        f"the expected day, on which the card takes {clock(times.finish)}: one in twenty finishes "
        f"before {clock(times.low)}, one in twenty after {clock(times.high)}. What the card "
        f"costs on the expected day is added to each. The ideal ride changes its power all the "
        f"time. In this model{proven_with(plan, result.job.rider)} no ride beats its "
        f"{clock(times.ideal)} by more than {at_most(plan.gap)}: that is proven." + grid)
    parts: list[Part] = [words]
    if result.sensitivities:
        parts.append(_sensitivities(result))
    return parts


def _sensitivities(result: Result) -> Chart:
    """Draw what each input's uncertainty does to the finish time, largest first."""
    rows = sorted(result.sensitivities, key=lambda row: -_half_range(row))
    known = [row for row in rows if _half_range(row) >= _VISIBLE]
    marks = [Mark(row.name, 0.0, -_half_range(row), _half_range(row), bar=True,
                  said=f"± {cell_seconds(_half_range(row))}") for row in known]
    table = Table(
        ("Input", "Change", "Adds", "Uncertainty of the input", "90 % range of the time"),
        [(row.name, row.change, signed_seconds(row.seconds), row.uncertainty or "not stated",
          "–" if not math.isfinite(row.uncertainty_seconds) else
          f"± {cell_seconds(_half_range(row))}" if _half_range(row) >= _LEAST else "none")
         for row in rows], "Each from its own plan; ± is half of a 90 % range",
        ident="sensitivity-table", left=(0, 1, 3))
    finding = (f"{known[0].name} moves the time most, ± {seconds(_half_range(known[0]))}."
               if known else "No input with a stated uncertainty moves the time.")
    return Chart("sensitivity", "What moves the time most?",
                 lambda look: forest(look, marks, "seconds on the finish time, 90 % range"),
                 table, finding, note=_together(result, known), half=True)


def _together(result: Result, known: Sequence[Sensitivity]) -> str:
    """Say what the inputs come to together, beside the range of the time."""
    low, _, high = result.spread
    whole = math.hypot(*map(_half_range, known))
    if len(known) < 2:
        return ""
    return (f"Together, added in squares, ± {seconds(whole)}; the drawn days give "
            f"± {seconds(0.5 * (high - low))}. They also vary the heights of the road where these "
            "are uncertain, and large changes do not add up exactly.")


def _half_range(row: Sensitivity) -> float:
    """Half of the 90 % range that an input's uncertainty gives the time [s]; 0 where not known."""
    return NINE_IN_TEN * row.uncertainty_seconds if math.isfinite(row.uncertainty_seconds) else 0.0


# --- how to ride ----------------------------------------------------------------------------


def _ride(result: Result) -> list[Part]:
    return [strip(result), mapped(result.job.course, steady(result)), *_even(result),
            *_rules(result), *_positions(result), _blocks(result), *_splits(result),
            card_fragment(result), *held_parts(result)]


def _even(result: Result) -> list[Part]:
    """Say what the usual ways to ride would take."""
    even = result.even
    if even is None:
        return []
    ideal = result.plan.finish_time
    words = (f"One power throughout, {watts(even.power)}, would take {clock(even.power_time)}: "
             f"{seconds(even.power_time - ideal)} longer than the ideal ride and within the same "
             "limits.")
    if not math.isnan(even.speed_time):
        words += (" One speed, wherever course and power limit allow it, would take "
                  f"{seconds(even.speed_time - ideal)} longer.")
    return [words]


def _positions(result: Result) -> list[Part]:
    """Say where to leave the first position, if anywhere."""
    plan, positions = result.plan, result.day.rider.positions
    used = plan.problem.position
    if not np.any(used):
        return []
    edges = np.flatnonzero(np.diff(used, prepend=-1, append=-1))
    rows = [(positions[used[a]].name, f"{plan.distance[a] / 1000:.1f}",
             f"{plan.distance[b] / 1000:.1f}", clock(plan.time[b] - plan.time[a]),
             position_reason(result, plan.distance[a], plan.distance[b],
                             positions[used[a]].name)[1] or "faster, or a rest")
            for a, b in pairwise(edges) if used[a] > 0]
    table = Table(("Position", "from km", "to km", "lasts", "Why"), rows,
                  "Where another position is faster or has to be taken", left=(0, 4),
                  ident="positions")
    words = (f"Stay {positions[0].name} except on {len(rows)} "
             f"{'stretch' if len(rows) == 1 else 'stretches'}.")
    return [words, Folded("Where to change position", [table])]


def _rules(result: Result) -> list[Part]:
    """Say what the blocks mean, and whether they are worth it."""
    ridden = result.rideable
    words = [("Time, splits and reserve are those of a rider who follows the blocks exactly.")]
    if ridden.even and len(ridden.blocks) == 1:
        words.append("One power all the way is as good as any card here: no further line would "
                     "save 0.05 % of the time or 2 s.")
    elif not math.isnan(ridden.even_price):
        words.append(f"One power all the way is {seconds(ridden.even_price)} slower than the ideal "
                     f"ride, these blocks are {seconds(max(ridden.price, 0.0))} slower.")
    left, whole = float(ridden.reserve[-1]), float(ridden.reserve[0])
    if left < whole - 1.0 and result.plan.seconds_per_effort > 0 and reserve_spare(result):
        words.append(f"{left / 1000:.1f} of {whole / 1000:.1f} kJ of the reserve (W′) are left at "
                     "the finish: the effort that can be held for so long is the limit.")
    if ridden.hills_save > 0:
        words.append(f"Separate powers for climbs and descents save "
                     f"{seconds(ridden.hills_save)}.")
    return [" ".join(words)]


def _blocks(result: Result) -> Table:
    blocks, plan = result.rideable, result.plan
    cp = result.day.expected.critical_power
    several = len({block.position for block in blocks.blocks}) > 1
    rows = []
    for block in blocks.blocks:
        t0, t1 = np.interp([block.start, block.end], plan.distance, blocks.time)
        rows.append((*line_cells(result, block), f"{100 * block.mean / cp:.0f} %",
                     clock(t1 - t0), clock(t1),
                     f"{np.interp(block.end, plan.distance, blocks.reserve) / 1000:.1f} kJ",
                     *([position_words(result, block)] if several else [])))
    headings = [*LINE_HEADINGS, "of CP", "lasts", "until", "reserve then"]
    if several:
        headings.append("position")
    return Table(headings, rows, "The blocks to ride; share of critical power (CP) on "
                 "average while pedalling", ident="blocks", tools=True, left=(0, 1),
                 stretches=[(b.start / 1000, b.end / 1000) for b in blocks.blocks])


def _splits(result: Result) -> list[Part]:
    """Give elapsed times, a row a mark: by the card, then for each kit on its ideal ride."""
    kits = result.splits
    if not kits:
        return []
    course, currency = result.job.course, result.choice.currency
    letter_of = dict(zip(course.marks, letters(len(course.marks)), strict=True))
    places = [*(mark.distance for mark in course.split_marks), course.length]
    names = [*(f"{letter_of[mark]} {mark.name}" for mark in course.split_marks), "Finish"]
    rows = [(name, f"{place / 1000:.1f}", clock(float(by_card)), *(
        Markup("{} <small>({} to {})</small>").format(
            clock(kit.arrival[k]), clock(kit.low[k]), clock(kit.high[k])) for kit in kits))
        for k, (name, place, by_card) in enumerate(
            zip(names, places, stated(result).at(places), strict=True))]
    table = Table(("Place", "km", "By the card", *(
        f"{_title(kit)}, {money(kit.spend, currency)}" for kit in kits)), rows,
        "Elapsed time at the marks: by the card, with the best kit; then the ideal ride of each "
        "kit with its 90 % range", ident="splits", tools=True,
        stretches=[(a / 1000.0, b / 1000.0) for a, b in pairwise([0.0, *places])],
        at_end=True)
    named = [kit for kit in kits if kit.items and kit.items not in {
        result.choice.best.items, result.choice.owned.items}]
    words = [f"{_title(kit)}: {listing(kit.items)}." for kit in named]
    if words and (beyond := not_in_sets(result.job.catalogue, [kit.items for kit in named])):
        words.append(beyond)
    return [table, *(words for words in (early_lead(result), " ".join(words)) if words)]


def _title(kit: SetSplits) -> str:
    """Name of a kit at the head of its column."""
    return kit.name[:1].upper() + kit.name[1:]


# --- where time is won ----------------------------------------------------------------------


def _time(result: Result) -> list[Part]:
    plan = result.plan
    gain = max([1000.0 * plan.seconds_per_reserve_joule,
                *(-row.seconds for row in result.sensitivities if row.name == "Reserve W′")])
    words = [f"One more kJ of W′ would save {seconds(gain)}." if gain > 0.05 else
             "A larger W′ would hardly help on this course: less than 0.05 s for each kJ."]
    gains = _corner_gains(result)
    if gains:
        name = gains[0][0]
        the = "the " if name.startswith("corner at") else ""
        words.append(f"The corner that costs most is {the}{name}: 1 km/h more there saves "
                     f"{seconds(gains[0][1])}.")
    parts: list[Part] = [" ".join(words)]
    parts.append(value_of_energy(result))
    if result.choice.best.items != result.choice.owned.items:
        parts.append(where_won(result))
    if gains:
        parts.append(Table(("Corner", "km", "limit, km/h", "1 km/h more wins"),
                           [(name, f"{at / 1000:.1f}", f"{3.6 * limit:.0f}", seconds(gain))
                            for name, gain, at, limit in gains],
                           "What corners cost. The limits come from the grip of the tyres "
                           "and the share of it that you use: stated, or assumed as listed below",
                           ident="corners"))
    return parts


def _corner_gains(result: Result) -> list[tuple[str, float, float, float]]:
    """Corners by what 1 km/h more in them would win: name, s, place [m], limit [m/s]."""
    plan = result.plan
    rows = []
    for corner in result.job.course.corners:
        near = np.abs(plan.distance - corner.distance) <= 60.0
        gain = float(plan.seconds_per_speed[near].sum()) / 3.6
        if gain > 0.01:
            rows.append((corner.name or f"corner at {corner.distance / 1000:.1f} km", gain,
                         corner.distance, corner.speed))
    return sorted(rows, key=lambda row: -row[1])[:8]
