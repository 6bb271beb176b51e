"""The pages of `kitpace kit` and `kitpace compare`, and the sentences that open them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, get_args

import numpy as np

from optimizer.defaults import NINE_IN_TEN
from optimizer.evidence import Grounds
from optimizer.kit.compare import CAUSES
from optimizer.report.along import Reading, kilometre_axis, posts, read_out
from optimizer.report.current import (
    LEAST_SAVED,
    apart_by_test,
    caution_of,
    cost_of,
    current_kit,
    faster_words,
    free_words,
    grounds_in,
    not_in_sets,
    nothing_bought,
    still_to_save,
)
from optimizer.report.money import money_words, slower_without
from optimizer.report.page import Chart, Folded, Section, Table, render
from optimizer.report.svg import Axis, Band, Dots, Line, Mark, Note, Row, forest, plot
from optimizer.report.uncertain import UNTESTED, clear_gain
from optimizer.report.wind_cautions import bike_cautions
from optimizer.report.words import (
    at_most,
    cell_range,
    cell_seconds,
    clock,
    days,
    kilometres,
    listing,
    money,
    seconds,
    seconds_range,
    signed_seconds,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimizer.job import Job
    from optimizer.kit import Item, KitSet
    from optimizer.kit.compare import Comparison, Difference
    from optimizer.kit.decision import KitDecision, Otherwise, Purchase
    from optimizer.report.svg import Drawing, Look

__all__ = ["basket", "compare_lead", "compare_page", "kit_lead", "kit_page",
           "landmarks", "named", "why_rows"]

_TOLD_APART = 0.9
_ALWAYS = 0.995  # share of the days that is shown as all of them
_CAUTION = ("Brakes, steering and wheels are for a qualified mechanic. The rules of the event and "
            "its officials decide what may be used. Practise with new kit before racing in it.")


def _assumed(assumptions: Sequence[str]) -> list[str]:
    """Say in one paragraph what was assumed."""
    return [f"Assumed: {'; '.join(assumptions)}."] if assumptions else []


# --- choosing -------------------------------------------------------------------------------


def kit_lead(job: Job, decision: KitDecision) -> list[str]:
    """Say the answer first: time, money, proof, how sure the last money is."""
    choice, chosen = decision.choice, decision.chosen
    low, high = decision.spread
    return [
        *bike_cautions(job, [("", chosen.items)]),
        (f"{job.name}: the ideal ride takes {clock(chosen.finish_time)} on the forecast day, 90 % "
         f"range {clock(low)} to {clock(high)}. " + (
             f"Spend {money(chosen.spend)} of {money(choice.budget, choice.currency)}: "
             f"{faster_words(choice, chosen, current_kit(job.catalogue, choice.owned))}."
             if chosen.spend > 0 else
             _nothing_bought(decision, current_kit(job.catalogue, choice.owned)))
         + f" {_criterion(decision)}"),
        *filter(None, [free_words(job.catalogue, choice, chosen)]),
        *money_words(choice, job.catalogue, job.effects, chosen, _gains(decision),
                     decision.equal, decision.likely),
        _proof(decision),
        "kitpace plan says how to ride it, and how often you could not hold that to the finish."]


def _nothing_bought(decision: KitDecision, current: str) -> str:
    """Say why nothing is bought, by what kit is chosen by, and what the fastest would save."""
    choice, chosen = decision.choice, decision.chosen
    if decision.measure.of is None or choice.budget <= 0:
        return nothing_bought(choice, chosen, current)
    amount, target = money(choice.budget, choice.currency), clock(decision.target)
    if not decision.measure.chance:
        why = f"by this measure no kit for {amount} is worth its price"
    elif decision.score >= _ALWAYS:
        why = (f"{current} beats {target} on {days(decision.score)} already, so this target is no "
               "test for kit")
    else:
        why = (f"no kit for {amount} beats {target} on enough more days to be worth its price")
    saved = still_to_save(choice, chosen)
    more = (f" On the forecast day the fastest kit for {amount} saves {seconds(saved)}."
            if saved >= LEAST_SAVED else "")
    return f"Buy nothing: {why}.{more}"


def _proof(decision: KitDecision) -> str:
    """Say what is proven of the chosen kit."""
    choice = decision.choice
    behind = choice.open_to(decision.chosen)
    bound = seconds(behind) if behind >= 10.0 else at_most(behind)
    words = (f"Proven in this model: of {choice.sets:,.0f} possible kits none that costs "
             f"{money(choice.budget, choice.currency)} or less is faster than this one by more "
             f"than {bound} on the forecast day.")
    return words if choice.program_gap == float("inf") else (
        f"{words} An integer program proves the same on its own.")


def _gains(decision: KitDecision) -> dict[str, tuple[float, float]]:
    """90 % ranges of what single items save on their own [s]."""
    return {purchase.items[0]: (purchase.low, purchase.high) for purchase in decision.purchases
            if len(purchase.items) == 1}


def _criterion(decision: KitDecision) -> str:
    choice, gain = decision.choice, seconds(decision.choice.least_gain)
    if decision.measure.of is None:
        if choice.least_gain <= 0:
            return "It is the fastest on that day, as in kitpace plan."
        return (f"It is the cheapest that is at most {gain} slower than the fastest within the "
                "budget, as in kitpace plan.")
    has = decision.measure.best_words(decision.level, clock(decision.target))
    score = days(decision.score) if decision.measure.chance else clock(decision.score)
    if choice.least_gain <= 0:
        return f"Of the kits looked at, it has {has}: {score}."
    return f"Of the kits looked at, it is the cheapest within {gain} of {has}: {score}."


def basket(job: Job, decision: KitDecision) -> Table:
    """Set out the chosen set with what each item is good for and its caution."""
    others = {other.item: other for other in decision.alternatives}
    # By the forecast day the kits at every price are times of the same sort, and may be nearer.
    by_day = decision.measure.of is None and decision.chosen.items == decision.choice.best.items
    nearest = slower_without(decision.choice) if by_day else {}
    rows = []
    for name in decision.chosen.items:
        item = job.catalogue[name]
        rows.append((name, item.place, cost_of(item),
                     _loss(decision, others[name], nearest.get(name, math.inf)),
                     caution_of(item)))
    return Table(("Item", "Place", "Cost", "Without it", "Caution"), rows,
                 "The kit. Without it: what the best kit without this item loses, for no more "
                 f"money ({decision.measure.lost})", left=(0, 1, 4), ident="basket")


def _loss(decision: KitDecision, other: Otherwise, nearest: float) -> str:
    """Say what deciding otherwise about an item loses; in seconds, no more than `nearest`."""
    if other.kit is None:
        return "needed"
    if decision.measure.chance:
        return days(other.loss)
    return cell_seconds(max(min(other.loss, nearest), 0.0))


def with_chosen(decision: KitDecision) -> list[KitSet]:
    """Give the sets of the frontier and the chosen one, by what they cost."""
    frontier, chosen = decision.choice.frontier, decision.chosen
    others = [kit for kit in frontier if kit.items != chosen.items]
    return sorted([*others, chosen], key=lambda kit: (kit.spend, -kit.finish_time))


def landmarks(decision: KitDecision, most: int = 12) -> list[KitSet]:
    """Pick sets along the frontier, about evenly in time, and the chosen one."""
    frontier, chosen = with_chosen(decision), decision.chosen
    if len(frontier) <= most:
        return frontier
    step = (frontier[0].finish_time - frontier[-1].finish_time) / (most - 1)
    picked = [frontier[0]]
    for kit in frontier[1:-1]:
        if kit is chosen or picked[-1].finish_time - kit.finish_time >= step:
            picked.append(kit)
    return [*picked, frontier[-1]]


def frontier_table(job: Job, decision: KitDecision, sets: Sequence[KitSet]) -> Table:
    """Set out sets of the frontier, with how they stand to the chosen one in the draws."""
    choice = decision.choice
    behind = {rival.kit.items: rival for rival in decision.rivals}
    grounds = grounds_in(job.catalogue, job.effects)
    rows: list[tuple[str, ...]] = []
    had = [name for name in choice.owned.items if job.catalogue[name].owned]
    for kit in sets:
        rival = behind.get(kit.items)
        stands = ("chosen" if kit.items == decision.chosen.items else "" if rival is None else
                  cell_range(rival.behind[0], rival.behind[2])
                  + ("" if rival.clear and apart_by_test(
                      grounds, kit.items, decision.chosen.items) else " ≈"))
        new = [named(job.catalogue[name]) for name in kit.items if name not in had]
        gone = [name for name in had if name not in kit.items]
        rows.append((money(kit.spend), clock(kit.finish_time), stands, ", ".join(new) or "–",
                     ", ".join(gone) or "–"))
        had = list(kit.items)
    whole, shown = len(with_chosen(decision)), len(sets)
    beside = ("" if any(kit.items == decision.chosen.items for kit in choice.frontier)
              else ", and the chosen one")
    counted = f"{shown} of {whole}" if shown < whole else f"{whole}"
    return Table((f"Spent, {choice.currency}", "Time", "Behind, 90 % range", "New in it",
                  "No longer in it"), rows,
                 f"Best kit at every price: {counted} kits that no cheaper one beats{beside}, each "
                 "against the row above; ≈ not clearly different from the chosen one", left=(3, 4))


def named(item: Item) -> str:
    """Name an item, and say where it is hired."""
    return f"{item.name} (hired)" if item.hired else item.name


def kit_page(job: Job, decision: KitDecision) -> str:
    """Page of the choice: the set, money against time, what to buy, to test and to leave."""
    choice = decision.choice
    sections = [
        Section("set", "What to ride", [basket(job, decision), _CAUTION]),
        Section("money", "Best kit at every price", [
            Folded(f"All {len(with_chosen(decision))} sets",
                   [frontier_table(job, decision, with_chosen(decision))])]),
        Section("next", "What to buy next", [_purchase_chart(job, decision),
                                             *([stage_table(decision, choice.currency)]
                                               if decision.stages else [])]),
    ]
    if decision.tests:
        sections.append(Section("tests", "What to test first",
                                [worth_table(decision, choice.currency)]))
    sections.append(Section("left-out", "What is not chosen, and why", [
        Table(("Item", "Why"), decision.left_out, left=(0, 1))]))
    return render(f"Kit for {job.name}", kit_lead(job, decision), sections,
                  opening=_frontier_chart(job, decision), kicker="Choice of kit",
                  foot=_assumed(job.assumptions))


def purchase_table(job: Job, decision: KitDecision, most: int = 40) -> Table:
    """Single purchases, most seconds for the money first."""
    currency = decision.choice.currency
    return Table(("Next purchase", currency, "Saves", "90 % range", f"{currency} per s",
                  "Clear gain"),
                 [(_bought(p), money(p.spend), cell_seconds(p.seconds),
                   cell_range(p.low, p.high), f"{p.price_per_second:.1f}",
                   clear_gain(p.low, p.high, _grounds(job, p)))
                  for p in decision.purchases[:most]],
                 f"Alone, on top of your current kit{_changed(decision)}, as in the report of "
                 "kitpace plan; these gains do not add up")


def _changed(decision: KitDecision) -> str:
    """Say where the current kit counts with free changes."""
    return " with free changes" if decision.choice.without_changes else ""


def _bought(purchase: Purchase) -> str:
    """Name what is bought or hired at once."""
    return listing([f"{name} (hired)" if name in purchase.hired else name
                    for name in purchase.items])


def _grounds(job: Job, purchase: Purchase) -> Grounds:
    """Say what the gain of things bought together rests on: the best that any of them has."""
    grounds = grounds_in(job.catalogue, job.effects)
    return min((grounds[name] for name in purchase.items), key=get_args(Grounds).index)


def _purchase_chart(job: Job, decision: KitDecision) -> Chart:
    marks = [Mark(f"{_bought(p)}, {money(p.spend)}", p.seconds, p.low, p.high,
                  said=cell_range(p.low, p.high)) for p in decision.purchases]
    first = decision.purchases[0] if decision.purchases else None
    finding = "Nothing can be bought on its own." if first is None else (
        f"{_bought(first)} gives most for the money: {seconds_range(first.low, first.high)} "
        f"for {money(first.spend, decision.choice.currency)}"
        + (f" ({UNTESTED[on]})" if (on := _grounds(job, first)) in UNTESTED else "") + ".")
    return Chart("purchases", "What does one purchase save?",
                 lambda look: forest(look, marks, "seconds saved against the current kit"
                                     + _changed(decision)),
                 purchase_table(job, decision), finding,
                 note="Each purchase on its own, most seconds for the money on top; the line is "
                      "the 90 % range.")


def stage_table(decision: KitDecision, currency: str) -> Table:
    """Purchases in order, as the money comes."""
    return Table((f"{currency} in all", "Buy now", "Hire", "No longer used", "Spent", "Time then",
                  "Loses"),
                 [(money(stage.money), listing(stage.bought) or "nothing",
                   listing(stage.hired) or "nothing", listing(stage.dropped) or "nothing",
                   money(stage.spend), clock(stage.kit.finish_time), cell_seconds(stage.regret))
                  for stage in decision.stages],
                 "As the money comes, if the race came then. What is bought stays; a hire is paid "
                 "for the race day alone. Loses: against the best kit for the same money, if no "
                 "other stage mattered", left=(1, 2, 3))


def worth_table(decision: KitDecision, currency: str, most: int = 10) -> Table:
    """Items whose test is worth something."""
    return Table(("Test before buying", "Uncertainty", "Halving it saves", "Worth"),
                 [(test.item, f"± {cell_seconds(NINE_IN_TEN * test.uncertainty)}",
                   cell_seconds(test.halved),
                   money(round(test.money), currency)) for test in decision.tests[:most]],
                 "What a better test is worth: what you would win on average by then buying the "
                 "right kit")


def _frontier_chart(job: Job, decision: KitDecision) -> Chart:
    choice, chosen = decision.choice, decision.chosen
    behind = {rival.kit.items: rival for rival in decision.rivals}
    x = np.array([kit.spend for kit in choice.frontier])
    y = np.array([choice.owned.finish_time - kit.finish_time for kit in choice.frontier])
    known = [(kit.spend, *behind[kit.items].behind) for kit in choice.frontier
             if kit.items in behind]
    top = choice.owned.finish_time - chosen.finish_time
    end = 1.04 * max(float(x[-1]), 1.0)
    against = current_kit(job.catalogue, choice.owned, "the")

    def draw(look: Look) -> Drawing:
        spent, low, _, high = np.array(known).T if known else np.zeros((4, 0))
        return plot(look, Axis(0.0, end, f"spent, {choice.currency}"), [Row(
            f"seconds faster than {against}", [
                Band(spent, top - high, top - low, "other"),
                Line([*x, end], y, "other", steps=True),
                Dots([chosen.spend], [top], "plan", "diamond", 5.0),
                Note(chosen.spend, top, "chosen", "strong",
                     "end" if chosen.spend > 0.5 * end else "start", 11.0)],
            190.0, zero=True, high=1.1 * float(y.max(initial=1.0)))])
    return Chart("frontier", "What does more money buy?", draw,
                 frontier_table(job, decision, landmarks(decision)),
                 f"The chosen kit costs {money(chosen.spend, choice.currency)} and saves "
                 f"{seconds(top)}.",
                 note="Time saved against money spent; the band is the 90 % range of what is lost "
                      "on the chosen kit (diamond) on the same day.")


# --- comparing ------------------------------------------------------------------------------


def compare_lead(job: Job, result: Comparison) -> list[str]:
    """Say which set is fastest, and how sure each difference is."""
    fastest = min(result.runs, key=lambda run: run.plan.finish_time)
    out = [*bike_cautions(job, [(run.name, run.kit.items) for run in result.runs]),
           (f"{job.name}: {fastest.name} is the fastest of {len(result.runs)} sets: its ideal "
            f"ride takes {clock(fastest.plan.finish_time)} on the forecast day, for "
            f"{money(fastest.kit.spend, job.currency)}. All times here are of ideal rides; a card "
            "costs some seconds more, which `kitpace plan` says.")]
    grounds = grounds_in(job.catalogue, job.effects)
    kits = {run.name: run.kit.items for run in result.runs}
    for difference in result.differences:
        faster = difference.seconds >= 0
        low, high = ((difference.low, difference.high) if faster
                     else (-difference.high, -difference.low))
        chance = difference.chance if faster else 1.0 - difference.chance
        word = "faster" if faster else "slower"
        tested = apart_by_test(grounds, kits[difference.first], kits[difference.second])
        verdict = (f"{word} on {days(chance)} only: not clearly different"
                   if chance < _TOLD_APART else f"{word} on {days(chance)}" if tested else
                   f"{word} on {days(chance)}, if sellers are right and what nobody tested does "
                   "nothing: not clearly different")
        out.append(f"{difference.first} is {seconds(difference.seconds)} "
                   f"{word} than {difference.second}, 90 % range "
                   f"{seconds_range(low, high)}, {verdict}.")
    beyond = not_in_sets(job.catalogue, [run.kit.items for run in result.runs])
    return [*out, *([beyond] if beyond else [])]


def why_rows(result: Comparison, difference: Difference,
             ) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Headings and rows of the seconds won by stretch and cause; minus is won.

    Sums are those of the rounded figures; what is left of the difference has a row of its own.
    """
    shown = [k for k in range(len(CAUSES)) if np.abs(difference.why[:, k]).max() >= 0.05]
    lost = -np.round(difference.why[:, shown], 1)
    whole = -round(difference.seconds, 1)

    def row(name: str, values: NDArray[np.float64]) -> tuple[str, ...]:
        return (name, *(_tenths(float(value)) for value in [*values, values.sum()]))
    rows = [row(f"to {name}", lost[p]) for p, (name, _) in enumerate(result.places)]
    rows.append(row("In all", lost.sum(axis=0)))
    rest = whole - float(lost.sum())
    if abs(rest) > 0.05:
        blank = [""] * len(shown)
        rows += [("another duration: other power is allowed, other wind is met", *blank,
                  _tenths(rest)),
                 ("At the finish, on the clock", *blank, _tenths(whole))]
    return ("Stretch", *(CAUSES[k] for k in shown), "all"), rows


def _tenths(value: float) -> str:
    """Give seconds more (+) or less (−) in tenths, also large ones: they are added up."""
    return signed_seconds(value) if abs(value) < 9.95 else (
        f"{'−' if value < 0 else '+'}{abs(value):,.1f} s")


def compare_page(job: Job, result: Comparison) -> str:
    """Page of sets side by side: splits, where seconds are won, and why."""
    splits = Table(
        ("Place", "km", *(run.name for run in result.runs)),
        [(name, kilometres(distance), *(
            f"{clock(run.arrival[k])} ({clock(run.low[k])} to {clock(run.high[k])})"
            for run in result.runs)) for k, (name, distance) in enumerate(result.places)],
        "Arrival on the ideal ride, with its 90 % range", ident="splits", tools=True)
    won = [Section(f"why-{n}", f"{d.first} against {d.second}", [
        Table(*why_rows(result, d),
              "Seconds at the finish that each stretch gains (−) or loses (+), by force. The "
              "clock may "
              "show them further on.")])
        for n, d in enumerate(result.differences)]
    return render(f"Sets for {job.name}", compare_lead(job, result), [
        Section("splits-section", "Splits", [splits]), *won,
        Section("sets", "The sets", [Table(
            ("Set", f"Cost, {job.currency}", "Items"),
            [(run.name, money(run.kit.spend), ", ".join(run.kit.items) or "as it stands")
             for run in result.runs], left=(0, 2)), _CAUTION])],
        opening=_won_chart(job, result), kicker="Comparison", foot=_assumed(job.assumptions),
        along=_readings(result))


_STYLES = ("plan", "other dash", "ink dot-line", "ink long")


def _won_chart(job: Job, result: Comparison) -> Chart:
    first, others = result.runs[0], result.runs[1:]
    km = first.plan.distance / 1000.0
    rows = [Row(f"seconds ahead of {first.name}", [
        Line(km, first.plan.time - run.plan.time, _STYLES[n % len(_STYLES)], run.name)
        for n, run in enumerate(others)], 150.0, zero=True)]
    table = Table(("Place", *(f"{d.first}" for d in result.differences)),
                  [(name, *(signed_seconds(-float(d.at[p])) for d in result.differences))
                   for p, (name, _) in enumerate(result.places)],
                  f"On the clock against {first.name}; − is ahead")
    ahead = {run.name: float(first.plan.time[-1] - run.plan.time[-1]) for run in others}
    best = max(ahead, key=lambda name: ahead[name])
    finding = (f"{best} is {seconds(ahead[best])} ahead of {first.name} at the finish."
               if ahead[best] > 0 else f"No other set is ahead of {first.name} at the finish.")
    return Chart("ahead", f"How far ahead of {first.name}?", lambda look: plot(
        look, kilometre_axis(job.course), rows, posts=posts(job.course), names=True, ends=True),
        table, finding, note="On the clock, each set on its own best plan.",
        kilometres=job.course.length / 1000.0)


def _readings(result: Comparison) -> dict[str, object]:
    first = result.runs[0]
    return read_out(first.plan.distance, [
        Reading(run.name, first.plan.time - run.plan.time, "s", 1, ("ahead", "behind"))
        for run in result.runs[1:]], first.plan.time)
