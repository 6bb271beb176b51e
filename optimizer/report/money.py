"""What to buy and what not: the best kit, that at every price, and every item with its evidence."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from markupsafe import Markup

from optimizer.kit.crosswind import OWN_WHEELS
from optimizer.kit.rivals import EVEN, equal_rival, likely_rival
from optimizer.report.current import (
    DISAGREE,
    apart_by_test,
    caution_of,
    cost_of,
    current_kit,
    faster_words,
    free_words,
    grounds_in,
    kept_words,
    not_clear_words,
    nothing_bought,
    rests_on_words,
    still_to_save,
)
from optimizer.report.page import Chart, Folded, Table
from optimizer.report.svg import Axis, Dots, Line, Mark, Note, Row, Upright, forest, plot
from optimizer.report.uncertain import clear_gain
from optimizer.report.words import (
    between,
    cell_range,
    cell_seconds,
    clock,
    days,
    listing,
    money,
    seconds,
)

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from optimizer.evidence import Effect
    from optimizer.job import ItemWorth, Result
    from optimizer.kit import Catalogue, Choice, Item, KitSet
    from optimizer.kit.rivals import Rival
    from optimizer.report.page import Part
    from optimizer.report.svg import Drawing, Look

_FEW_ITEMS = 2  # from which the last money is told item by item
_FEW = 3  # items that the first screen names
_HEAD = 6  # rows of a long list that are always shown
_CROWD = 40  # sets of the frontier, from which on their marks are small
_ON_PAPER = 8  # rows of the forest plot that fit on paper

__all__ = ["advice", "clearly_different", "each_buys", "frontier", "frontier_data",
           "items_worth", "kept_kit", "last_money_words", "money_doubts", "money_parts",
           "money_words", "slower_without"]


def advice(result: Result) -> Markup:
    """Say what to spend, on what, and what it saves."""
    choice, catalogue = result.choice, result.job.catalogue
    best, owned = choice.best, choice.owned
    new = [name for name in best.items if name not in owned.items]
    if kept_kit(result):
        return Markup('{} <a href="#kit">Item by item</a>.').format(
            kept_words(catalogue, choice, _FEW + 1))
    if not catalogue.items:
        return Markup("No kit to choose from was named.")
    free, current = free_words(catalogue, choice, best), current_kit(catalogue, owned)
    if not new:
        return Markup("{} {}").format(
            nothing_bought(choice, best, current), free)
    faster = faster_words(choice, best, current)
    if best.spend == 0:
        return Markup("Buy nothing, but use {}: {}. {}").format(
            _in_short(result, new), faster, free)
    return Markup("Spend <strong>{}</strong> of {} on {}: {}. {}").format(
        money(best.spend), money(choice.budget, choice.currency), _in_short(result, new),
        faster, free)


def money_doubts(result: Result, *, odds: bool = True) -> list[str]:
    """Say what of the money of a plan buys no clear gain; `odds` as `money_words` has them."""
    choice = result.choice
    if kept_kit(result):
        return []
    return money_words(
        choice, result.job.catalogue, result.job.effects, choice.best,
        {row.item: (row.low, row.high) for row in result.worth},
        equal_rival(choice.best, result.rivals, choice.least_gain),
        likely_rival(choice.best, result.rivals), odds=odds)


def money_words(choice: Choice, catalogue: Catalogue, effects: Sequence[Effect], chosen: KitSet,
                gains: Mapping[str, tuple[float, float]], equal: Rival | None,
                likely: Rival | None, *, odds: bool = True) -> list[str]:
    """Say what of the money buys no clear gain, item by item and of the last of it.

    Parameters
    ----------
    choice, catalogue, effects : what was chosen from
    chosen : kit, the best one or another
    gains : 90 % ranges [s] of items on their own
    equal, likely : kits that cost less and may as well be the faster one, or are unlikely to be
    odds : whether to give the ranges, and the days on which the last of the money makes faster

    Returns
    -------
    sentences, none where all that is paid for is clear
    """
    said = [not_clear_words(catalogue, effects, chosen.items, gains, choice.currency, why=odds),
            rests_on_words(catalogue, effects, chosen.items, choice.currency)]
    if (rival := equal or likely) is not None:
        said += [last_money_words(rival, chosen, choice.owned, choice.currency,
                                  even=rival is equal, odds=odds),
                 each_buys(choice, catalogue, chosen, rival)]
    return [sentence for sentence in said if sentence]


def last_money_words(rival: Rival, chosen: KitSet, owned: KitSet, currency: str, *,
                     even: bool, odds: bool = True) -> str:
    """Say by how much a kit is dearer than a rival, and what that buys, and how surely.

    `even` where the rival may as well be the faster one. What they save is the difference of the
    two kits' own times, as in every table; the middle of the draws only where a kit that was chosen
    by something else than the forecast is no faster by it.
    """
    saved = rival.kit.finish_time - chosen.finish_time
    first = ""
    if rival.kit.spend > 0 and saved > 0.0:
        part, whole = (seconds(between(owned.finish_time, kit.finish_time))
                       for kit in (rival.kit, chosen))
        part = part if " min " in whole else part.removesuffix(" s")
        first = f"{money(rival.kit.spend, currency)} save {part} of the {whole}. "
    if saved <= 0.0:
        saved = rival.behind[1]
    little = even and rival.chance < EVEN
    says = ("buy little that is sure" if little else f"save only {seconds(saved)}" if even else
            f"likely save {seconds(saved)}, but not surely")
    last = f"{first}The last {money(chosen.spend - rival.kit.spend, currency)} {says}"
    if not odds:
        return f"{last}."
    low, _, high = rival.behind
    return (f"{last}: with them you are faster on {days(rival.chance)} (90 % range of the gain: "
            f"{_lost_or_won(low)} to {_lost_or_won(high)})."
            + (" Test before you spend them." if little else ""))


def _lost_or_won(gain: float) -> str:
    return f"{seconds(gain)} {'lost' if gain < 0 else 'won'}"


def each_buys(choice: Choice, catalogue: Catalogue, chosen: KitSet, rival: Rival | None) -> str:
    """Say item by item what the money buys by which a kit is dearer than a rival.

    Empty for a single item, which the sum says all of, where the rival spends money on other
    items, and where the losses are not known.
    """
    if rival is None or chosen.items != choice.best.items or any(
            catalogue[name].cost > 0 and name not in chosen.items for name in rival.kit.items):
        return ""
    without = slower_without(choice)
    paid = [catalogue[name] for name in chosen.items
            if name not in rival.kit.items and catalogue[name].cost > 0 and name in without]
    if len(paid) < _FEW_ITEMS:
        return ""
    paid.sort(key=lambda item: without[item.name] / item.cost)
    first, *more = [(f"{item.name} ({money(item.cost, choice.currency)})",
                     seconds(without[item.name])) for item in paid]
    return f"Item by item: without {first[0]} the best kit is {first[1]} slower" + "".join(
        f", without {name} {slower}" for name, slower in more) + "."


def clearly_different(result: Result) -> list[bool]:
    """Whether the best kit and each one at a price differ clearly on the drawn days.

    Never where all that one of them lacks rests on the seller's word, or on mass alone.
    """
    grounds = grounds_in(result.job.catalogue, result.job.effects)
    best = result.choice.best.items
    clear = {rival.kit.items: rival.clear and apart_by_test(grounds, best, rival.kit.items)
             for rival in result.rivals}
    return [clear.get(kit.items, False) for kit in result.choice.frontier]


def _in_short(result: Result, names: list[str]) -> str:
    """Names of a few items; of many only those without which the kit is slowest."""
    if len(names) <= _FEW + 1:
        return listing(names)
    without = slower_without(result.choice)
    if not without:
        return f"{len(names)} new items"
    most = sorted(names, key=lambda name: -without.get(name, 0.0))[:_FEW]
    return f"{len(names)} new items, above all {listing(most)}"


def money_parts(result: Result) -> list[Part]:
    """Give the section on money; after a choice made earlier there is only the kit itself."""
    choice = result.choice
    parts: list[Part] = [_basket(result)] if choice.best.items else [
        "You ride your current kit."]
    if len(choice.frontier) > 1:
        parts += [frontier(result), *([_picker(result)] if choice.budget > 0.0 else [])]
    if result.worth:
        parts.append(items_worth(result))
    return parts + _left_out(result)


def kept_kit(result: Result) -> bool:
    """Whether the kit is that of an earlier plan, so that nothing was weighed here."""
    return result.choice.kept is not None


def _left_out(result: Result) -> list[Part]:
    """List what is not in the set, the most tempting first; the tail of a long list is folded."""
    worth = {row.item: row.seconds for row in result.worth}
    rows = sorted(result.choice.left_out, key=lambda row: -worth.get(row[0], 0.0))
    if not rows:
        return []
    if kept_kit(result):
        return [Table(("Left at home", "Why"), rows, "What of the earlier plan's kit is not used, "
                      "and why", ident="left-out")]
    head = Table(("Not chosen", "Why"), rows[:_HEAD], "What is not in the best kit, and why; what "
                 "would save most on its own is listed first", ident="left-out")
    rest = Table(("Not chosen", "Why"), rows[_HEAD:], "What else is not in the best kit, and why")
    return [head, Folded(f"{len(rows) - _HEAD} more", [rest])] if rest.rows else [head]


def _basket(result: Result) -> Table:
    """Set out the best set, item by item."""
    choice = result.choice
    if kept_kit(result):
        return _kept_basket(result)
    best = (f"The best kit for {money(choice.budget, choice.currency)}" if choice.budget > 0.0
            else "The best kit without spending any money")
    worth = {row.item: row for row in result.worth}
    effects = {effect.item: effect for effect in result.job.effects}
    current = current_kit(result.job.catalogue, choice.owned, "Your")
    without = slower_without(choice)
    rows = []
    for name in choice.best.items:
        item, row, effect = result.job.catalogue[name], worth.get(name), effects.get(name)
        rows.append((name, item.place, cost_of(item),
                     cell_range(row.low, row.high) if row else None,
                     cell_seconds(without[name]) if name in without else None,
                     effect.basis if effect else "", caution_of(item)))
    return Table(("Item", "Place", f"Cost, {choice.currency}", "Saves on its own",
                  "The best kit without it is slower by", "Evidence", "Caution"), rows,
                 f"{current if choice.best.items == choice.owned.items else best}: "
                 f"{_counted(result)}. Gains overlap, so "
                 "they do not add up to the whole; ranges are 90 % ranges. The best kit without "
                 "an item costs no more than this one.",
                 ident="basket")


def slower_without(choice: Choice) -> dict[str, float]:
    """Seconds that the best kit without each item takes more, by item; only what has such a kit.

    For no more money.

    Kits on the way to the best at every price count as well: where sets are nearly as fast, their
    own plans may stand in another order than the search has them.
    """
    best = choice.best
    looked_at = [kit for kit in choice.frontier if kit.spend <= best.spend]
    found = {}
    for other in choice.alternatives:
        if other.kit is None or other.item not in best.items:
            continue
        times = [kit.finish_time for kit in looked_at if other.item not in kit.items]
        found[other.item] = min([other.seconds, *(time - best.finish_time for time in times)])
    return found


def _kept_basket(result: Result) -> Table:
    """Set out the kit of an earlier plan: what it cost there, without gains, which are not new."""
    choice, catalogue = result.choice, result.job.catalogue
    effects = {effect.item: effect for effect in result.job.effects}
    rows = [(name, catalogue[name].place, cost_of(catalogue[name]),
             effects[name].basis if name in effects else "", caution_of(catalogue[name]))
            for name in choice.best.items]
    gone = [name for name, _ in choice.left_out if name != OWN_WHEELS]  # the bike's are no item
    but = f", except {listing(gone)}" if gone else ""
    return Table(("Item", "Place", f"Cost in that plan, {choice.currency}", "Evidence", "Caution"),
                 rows, f"The kit of the earlier plan{but}, "
                 f"{money(choice.best.spend, choice.currency)}: {_counted(result)}.",
                 ident="basket")


def _counted(result: Result) -> str:
    """Count the items of the best kit: in all, and of each sort where there are several sorts."""
    items = [result.job.catalogue[name] for name in result.choice.best.items]
    paid = "bought or hired" if kept_kit(result) else "to pay for"
    sorts = ((paid, sum(not item.owned and item.cost > 0 for item in items)),
             ("free", sum(not item.owned and item.cost == 0 for item in items)),
             ("owned", sum(item.owned for item in items)))
    each = [f"{count} {sort}" for sort, count in sorts if count]
    whole = f"{len(items)} item{'' if len(items) == 1 else 's'}"
    return f"{whole}, {listing(each)}" if len(each) > 1 else whole


# --- frontier -------------------------------------------------------------------------------


def frontier(result: Result) -> Chart:
    """Draw money against time; every point is a kit that no cheaper one beats."""
    choice = result.choice
    sets, best = choice.frontier, choice.best
    x = np.array([kit.spend for kit in sets])
    y = np.array([choice.owned.finish_time - kit.finish_time for kit in sets])
    different = np.array(clearly_different(result))
    chosen = np.array([kit.items == best.items for kit in sets])
    top = frontier_top(result)
    saved = choice.owned.finish_time - best.finish_time
    against = current_kit(result.job.catalogue, choice.owned, "the")

    def draw(look: Look) -> Drawing:
        size = 3.6 if len(sets) < _CROWD and not look.small else 2.2
        return plot(look, Axis(0.0, top, f"spent, {choice.currency}"), [Row(
            f"seconds faster than {against}", [
                Line([*x, top], y, "other", steps=True),
                Dots(x[different & ~chosen], y[different & ~chosen], "other", size=size,
                     filled=False),
                Dots(x[~different & ~chosen], y[~different & ~chosen], "other", size=size),
                Dots(x[chosen], y[chosen], "plan", "diamond", 5.0),
                # The line rises ever less: before it there is room above, behind it below.
                Note(best.spend, saved, "\N{NO-BREAK SPACE}best kit", "strong",
                     *(("end", 9.0) if best.spend > 0.5 * top else ("start", -17.0))),
                Upright(choice.budget, "budget")], 190.0, zero=True, low=0.0,
            high=1.12 * float(y.max(initial=1.0)))])
    rows = [(money(kit.spend), clock(kit.finish_time),
             cell_seconds(between(choice.owned.finish_time, kit.finish_time)) if gain > 0 else "–",
             "best kit" if this else "≈" if not apart else
             "clearly slower" if gain < saved else "clearly faster",
             listing(kit.items) or "current kit")
            for kit, gain, apart, this in zip(sets, y, different, chosen, strict=True)]
    return Chart("frontier", "What does more money buy?", draw,
                 Table((f"Spent, {choice.currency}", "Ideal ride", "Saved",
                        "Difference from the best", "Kit"), rows, "Best kit at every price",
                       ident="frontier-table", left=(4,)), _frontier_finding(result, x, y, saved),
                 note="Each point is a kit that no cheaper one beats. Filled: not clearly slower "
                      "nor clearly faster than the best kit within the budget."
                      f"{_few_seconds(choice)}{_sure_and_small(result)}", half=True)


def _few_seconds(choice: Choice) -> str:
    """Say why the best kit is not the fastest one that the money buys."""
    more = choice.fastest.spend - choice.best.spend
    if more <= 0:
        return ""
    return (f" {money(more, choice.currency)} more would save "
            f"{seconds(still_to_save(choice, choice.best))}: up to {seconds(choice.least_gain)} "
            "are given up for a cheaper kit.")


def _sure_and_small(result: Result) -> str:
    """Say why a kit can be clearly slower than the best one though a slower kit is not."""
    best = result.choice.best
    clear = [different for kit, different in zip(
        result.choice.frontier, clearly_different(result), strict=True)
        if kit.spend <= best.spend and kit.items != best.items]
    if all(clear) or not any(clear[clear.index(False):]):
        return ""
    return (" A kit that shares most with the best one can be slower by little and surely: what "
            "both have cancels out.")


def frontier_top(result: Result) -> float:
    """Money at the right end of the picture."""
    return float(max(result.choice.frontier[-1].spend, result.choice.budget)) * 1.04 or 1.0


def _frontier_finding(result: Result, x: NDArray[np.float64], y: NDArray[np.float64],
                      saved: float) -> str:
    """Say what the first half of the gain costs."""
    if saved <= 0.0:
        return "No kit within the budget is faster than the current one."
    half = float(x[np.flatnonzero(y >= 0.5 * saved)[0]])
    first = ("costs nothing" if half == 0.0 else
             f"costs {money(half)} of the {money(result.choice.best.spend)}")
    shown = between(result.choice.owned.finish_time, result.choice.best.finish_time)
    return (f"The best kit within the budget saves {seconds(shown)}; the first half of that "
            f"{first} {result.choice.currency}.".replace("nothing " + result.choice.currency,
                                                         "nothing"))


def frontier_data(result: Result) -> dict[str, object]:
    """Give the kits of the frontier to the script of the page."""
    owned = result.choice.owned
    against = current_kit(result.job.catalogue, owned)
    return {"top": frontier_top(result), "against": against, "sets": [
        {"amount": kit.spend, "spend": money(kit.spend, result.choice.currency),
         "finish": clock(kit.finish_time), "seconds": owned.finish_time - kit.finish_time,
         "saved": seconds(between(owned.finish_time, kit.finish_time)),
         "told": different or kit.items == result.choice.best.items,
         "best": kit.items == result.choice.best.items, "items": _described(result, kit)}
        for kit, different in zip(result.choice.frontier, clearly_different(result), strict=True)]}


def _described(result: Result, kit: KitSet) -> list[str]:
    catalogue = result.job.catalogue
    return [f"{name} ({catalogue[name].place}, {cost_of(catalogue[name])})" for name in kit.items]


def _picker(result: Result) -> Markup:
    choice = result.choice
    return Markup('<div class="pick screen" id="pick" hidden><label for="set">What would this much '
                  'money buy?</label><input type="range" id="set" min="0" max="{}" step="any" '
                  'value="{}"><div id="set-says" aria-live="polite"></div></div>',
                  ).format(f"{frontier_top(result):g}", f"{choice.best.spend:g}")


# --- items ----------------------------------------------------------------------------------


def items_worth(result: Result) -> Chart:
    """Draw what each item saves on its own, with the evidence under it."""
    rows = sorted(result.worth, key=lambda row: (-row.seconds, row.item))
    chosen = set(result.choice.best.items)
    marks = [Mark(row.item, row.seconds, row.low, row.high, leads=row.item in chosen,
                  said=cell_range(row.low, row.high)) for row in rows]
    clear = sum(row.clear for row in rows)
    first = max(rows, key=lambda row: (row.clear, row.low))
    finding = (f"{first.item} saves {seconds(first.low)} even at the low end of its range, more "
               f"than any other tested item does at its own; {clear} of {len(rows)} items "
               f"{'is' if clear == 1 else 'are'} a clear gain." if clear else
               f"None of {len(rows)} items is a clear gain.")
    axis = "seconds saved, each item on its own"
    few = f"{axis}; the {_ON_PAPER} that save most" if len(marks) > _ON_PAPER else axis
    return Chart("items", "What is each item worth, and how sure is that?",
                 lambda look: forest(look, marks, axis), _items_table(result, rows), finding,
                 note="Mark: the expected gain. Line: its 90 % range. A line that crosses zero "
                      "may be no gain at all. Diamonds are in the best kit.",
                 half=True, sheet=lambda look: forest(look, marks[:_ON_PAPER], few))


def _items_table(result: Result, rows: list[ItemWorth]) -> Table:
    effects = {effect.item: effect for effect in result.job.effects}
    catalogue, chosen = result.job.catalogue, set(result.choice.best.items)
    cells = []
    for row in rows:
        item, effect = catalogue[row.item], effects.get(row.item)
        cells.append((row.item, item.place, cost_of(item), f"{row.seconds:.1f}".replace("-", "−"),
                      cell_range(row.low, row.high),
                      _price_per_second(item, row), clear_gain(row.low, row.high, row.grounds),
                      _evidence(effect), "yes" if row.item in chosen else "no"))
    return Table(("Item", "Place", f"Cost, {result.choice.currency}", "Saves, s",
                  "90 % range", f"{result.choice.currency} per s", "Clear gain",
                  "Evidence", "In the kit"), cells,
                 "Each item on its own on top of "
                 f"{current_kit(catalogue, result.choice.owned, 'the')}, on its own best plan",
                 ident="items-table", tools=True)


def _price_per_second(item: Item, row: ItemWorth) -> str:
    if item.cost == 0 or row.seconds <= 0 or row.grounds in ("mass", "none"):
        return "–"
    if row.low <= 0:
        return f"{item.cost / row.high:,.0f} or more" if row.high > 0 else "–"
    return f"{item.cost / row.high:,.0f} to {item.cost / row.low:,.0f}"


def _evidence(effect: Effect | None) -> str:
    if effect is None or not effect.data:
        return "none"
    words = [effect.basis]
    if effect.disagreement > DISAGREE:
        words.append(f"sources disagree (I² {100 * effect.disagreement:.0f} %)")
    return "; ".join([*(word for word in words if word), *effect.warnings])
