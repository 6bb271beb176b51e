"""What to buy and what not: the best set, the frontier, and every item with its evidence."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from markupsafe import Markup

from optimizer.report.page import Chart, Folded, Table
from optimizer.report.words import clock, listing, money, seconds, span

if TYPE_CHECKING:
    from optimizer.evidence import Effect
    from optimizer.job import ItemWorth, Result
    from optimizer.kit import Item, KitSet
    from optimizer.report.page import Part

_NINE_IN_TEN, _ONE_SIDE = 1.645, 1.282  # standard normal: 95 % and 90 % points
_FEW = 3  # items that the first screen names
_HEAD = 6  # rows of a long list that are always shown
_CROWD = 40  # sets of the frontier, from which on their marks are small
_ON_PAPER = 16  # rows of the forest plot that fit on paper

__all__ = ["advice", "frontier", "frontier_data", "last_money", "ledger", "money_parts",
           "told_apart"]


def advice(result: Result) -> Markup:
    """Say what to spend, on what, and what it saves."""
    choice, catalogue = result.choice, result.job.catalogue
    best, owned = choice.best, choice.owned
    saved = owned.finish_time - best.finish_time
    new = [name for name in best.items if name not in owned.items]
    if not catalogue.items:
        return Markup("No kit to choose from was named.")
    if not new:
        return Markup("Spend <strong>nothing</strong>: nothing within {} is faster than your "
                      "current kit.").format(money(choice.budget, choice.currency))
    if best.spend == 0:
        return Markup("Nothing to buy: use {}, <strong>{}</strong> faster than your current "
                      "kit.").format(_in_short(result, new), seconds(saved))
    return Markup("Spend <strong>{}</strong> of {} on {}: <strong>{}</strong> faster than your "
                  "current kit.").format(
        money(best.spend), money(choice.budget, choice.currency), _in_short(result, new),
        seconds(saved))


def last_money(result: Result) -> Markup:
    """Say how much of the money buys no clear gain."""
    best = result.choice.best
    alike = [kit for kit, told in zip(result.choice.frontier, told_apart(result), strict=True)
             if not told and kit.spend < best.spend]
    if not alike:
        return Markup("")
    least = min(alike, key=lambda kit: kit.spend)
    return Markup(' The last {} buy <a href="#frontier">no clear gain</a>: {} slower without '
                  "them.").format(
        money(best.spend - least.spend, result.choice.currency),
        seconds(least.finish_time - best.finish_time))


def told_apart(result: Result) -> list[bool]:
    """Whether the evidence tells each set of the frontier from the best one, nine times in ten.

    To first order: the items that two sets do not share bring the doubt of their own gain each,
    independent of each other; what they share brings none.
    """
    doubt = {row.item: (row.high - row.low) / (2 * _NINE_IN_TEN) for row in result.worth}
    best = result.choice.best
    told = []
    for kit in result.choice.frontier:
        apart = set(kit.items) ^ set(best.items)
        sd = math.hypot(*(doubt.get(name, 0.0) for name in apart))
        told.append(bool(apart) and abs(kit.finish_time - best.finish_time) > _ONE_SIDE * sd)
    return told


def _in_short(result: Result, names: list[str]) -> str:
    """Names of a few items; of many only those that save most."""
    if len(names) <= _FEW + 1:
        return listing(names)
    if not result.worth:
        return f"{len(names)} items"
    worth = {row.item: row.seconds for row in result.worth}
    most = sorted(names, key=lambda name: -worth.get(name, 0.0))[:_FEW]
    return f"{len(names)} items, above all {listing(most)}"


def money_parts(result: Result) -> list[Part]:
    """Give the section on money."""
    choice = result.choice
    parts: list[Part] = [_basket(result)]
    if len(choice.frontier) > 1:
        parts += [frontier(result), _picker(result)]
    if result.worth:
        parts.append(ledger(result))
    return parts + _left_out(result)


def _left_out(result: Result) -> list[Part]:
    """List what is not in the set, the most tempting first; the tail of a long list is folded."""
    worth = {row.item: row.seconds for row in result.worth}
    rows = sorted(result.choice.left_out, key=lambda row: -worth.get(row[0], 0.0))
    if not rows:
        return []
    head = Table(("Left out", "Why"), rows[:_HEAD], "What is not in the best set, and why; what "
                 "would save most by itself stands first", ident="left-out")
    rest = Table(("Left out", "Why"), rows[_HEAD:], "What else is not in the best set, and why")
    return [head, Folded(f"{len(rows) - _HEAD} more", [rest])] if rest.rows else [head]


def _basket(result: Result) -> Table:
    """Set out the best set, item by item."""
    choice = result.choice
    worth = {row.item: row for row in result.worth}
    effects = {effect.item: effect for effect in result.job.effects}
    without = {other.item: other.seconds for other in choice.alternatives
               if other.kit is not None}
    rows = []
    for name in choice.best.items:
        item, row, effect = result.job.catalogue[name], worth.get(name), effects.get(name)
        rows.append((name, item.place, _price(item), span(row.low, row.high) if row else None,
                     seconds(without[name]) if name in without else None,
                     effect.basis if effect else "", _caution(item)))
    return Table(("Item", "Place", f"Cost, {choice.currency}", "Saves by itself",
                  "The best set without it is slower by", "Rests on", "Mind"), rows,
                 f"The best set for {money(choice.budget, choice.currency)}. Gains overlap, so "
                 "they do not add up to the whole; each range holds the gain nine times in ten.",
                 ident="basket")


def _price(item: Item) -> str:
    if item.owned:
        return "owned"
    return f"{money(item.cost)} to hire" if item.hired else money(item.cost)


def _caution(item: Item) -> str:
    """Say what a person has to mind about an item."""
    words = ["for a qualified mechanic"] if item.needs_fitter else []
    words += [item.caution.rstrip(".")] if item.caution else []
    if math.isfinite(item.crosswind_limit):
        words.append(f"not in cross wind above {3.6 * item.crosswind_limit:.0f} km/h at the rider")
    text = "; ".join(words)
    return text[:1].upper() + text[1:]


# --- frontier -------------------------------------------------------------------------------


def frontier(result: Result) -> Chart:
    """Draw money against time; every point is a set."""
    choice = result.choice
    sets = choice.frontier
    x = np.array([kit.spend for kit in sets])
    y = np.array([choice.owned.finish_time - kit.finish_time for kit in sets])
    top = float(max(x[-1], choice.budget)) * 1.04
    chosen = [kit.items == choice.best.items for kit in sets]
    told = told_apart(result)
    small = 10 if len(sets) < _CROWD else 5
    data = [
        {"type": "scatter", "mode": "lines", "x": [*x, top], "y": [*y, y[-1]],
         "line": {"color": "@other", "width": 1.2, "shape": "hv"}, "hoverinfo": "skip"},
        {"type": "scatter", "mode": "markers", "x": x, "y": y,
         "text": [f"{money(kit.spend, choice.currency)}: {clock(kit.finish_time)}" for kit in sets],
         "hovertemplate": "%{text}<extra></extra>",
         "marker": {"size": [15 if this else small for this in chosen], "line": {
             "color": ["@plan" if this else "@other" for this in chosen], "width": 1.6},
             "color": ["@plan" if this else "@paper" if apart else "@other"
                       for this, apart in zip(chosen, told, strict=True)],
             "opacity": 1, "symbol": ["diamond" if this else "circle" for this in chosen]}},
    ]
    annotations = [{
        "x": choice.best.spend, "y": choice.owned.finish_time - choice.best.finish_time,
        "text": "best set", "showarrow": False, "yshift": 18, "font": {"color": "@plan"}}]
    if choice.budget <= top:
        annotations.append({"x": choice.budget, "y": 0.02, "yref": "paper", "text": "budget ",
                            "showarrow": False, "xanchor": "right", "yanchor": "bottom",
                            "font": {"color": "@quiet"}})
    annotations.append({
        "x": 0, "y": 1, "xref": "paper", "yref": "paper", "xanchor": "left", "yanchor": "bottom",
        "text": "s saved against what is owned", "showarrow": False, "font": {"color": "@quiet"}})
    layout = {
        "height": 330, "annotations": annotations, "margin": {"l": 44, "r": 12, "t": 26, "b": 44},
        "meta": {"print": (330, 150)},
        "xaxis": {"title": f"spent, {choice.currency}", "range": [-0.02 * top, top],
                  "tickformat": ","},
        "yaxis": {"rangemode": "tozero"},
        "shapes": [{"type": "line", "xref": "x", "yref": "paper", "x0": choice.budget,
                    "x1": choice.budget, "y0": 0, "y1": 1,
                    "line": {"color": "@quiet", "dash": "dash", "width": 1}}]}
    rows = [(money(kit.spend), clock(kit.finish_time), seconds(gain) if gain > 0 else "–",
             "yes" if told else "≈", listing(kit.items) or "as owned")
            for kit, gain, told in zip(sets, y, told_apart(result), strict=True)]
    return Chart("frontier", "What does more money buy?", {"data": data, "layout": layout},
                 Table((f"Spent, {choice.currency}", "Finish", "Saved", "Told from the best",
                        "Set"), rows, "Sets that no cheaper set beats", ident="frontier-table",
                       left=(4,)),
                 note="Each point is a set that no cheaper one beats. Choose a point, here or "
                      "with the slider below, to see what is in it. The evidence cannot tell the "
                      "filled points from the best set.")


def frontier_data(result: Result) -> list[dict[str, object]]:
    """Give the sets of the frontier to the script of the page."""
    owned = result.choice.owned
    return [{"spend": money(kit.spend, result.choice.currency), "finish": clock(kit.finish_time),
             "saved": seconds(owned.finish_time - kit.finish_time), "told": told,
             "items": _described(result, kit)}
            for kit, told in zip(result.choice.frontier, told_apart(result), strict=True)]


def _described(result: Result, kit: KitSet) -> list[str]:
    catalogue = result.job.catalogue
    return [f"{name} ({catalogue[name].place}, {_price(catalogue[name])})" for name in kit.items]


def _picker(result: Result) -> Markup:
    choice = result.choice
    best = next((k for k, kit in enumerate(choice.frontier) if kit.items == choice.best.items), 0)
    return Markup('<div class="screen pick"><label for="set">A set of the frontier, by what it '
                  'costs</label><input type="range" id="set" min="0" max="{}" step="1" '
                  'value="{}"><div id="set-says" aria-live="polite"></div></div>',
                  ).format(len(choice.frontier) - 1, best)


# --- ledger ---------------------------------------------------------------------------------


def ledger(result: Result) -> Chart:
    """Draw as a forest plot what each item saves by itself, with the evidence under it."""
    rows = sorted(result.worth, key=lambda row: (-row.seconds, row.item))
    chosen = set(result.choice.best.items)
    y = list(range(len(rows)))
    low, high = min(0.0, *(row.low for row in rows)), max(0.0, *(row.high for row in rows))
    room = 0.04 * (high - low)
    inside = [row.item in chosen for row in rows]
    data = [{"type": "scatter", "mode": "lines", "hoverinfo": "skip",
             "x": [v for row in rows for v in (row.low, row.high, None)],
             "y": [v for k in y for v in (k, k, None)], "line": {"color": "@ink", "width": 1.2}},
            {"type": "scatter", "mode": "markers", "x": [row.seconds for row in rows], "y": y,
             "text": [f"{row.item}: {span(row.low, row.high)}" for row in rows],
             "hovertemplate": "%{text}<extra></extra>",
             "marker": {"size": 10, "opacity": 1,
                        "symbol": ["diamond" if this else "circle" for this in inside],
                        "color": ["@plan" if this else "@paper" for this in inside],
                        "line": {"width": 1.6,
                                 "color": ["@plan" if this else "@other" for this in inside]}}}]
    layout = {
        "height": 70 + 21 * len(rows),
        "meta": {"print": (330, 60 + 14 * len(rows)) if len(rows) <= _ON_PAPER else (0, 0)},
        "margin": {"l": 190, "r": 12, "t": 8, "b": 44},
        "xaxis": {"title": "s saved by itself", "zeroline": True, "zerolinecolor": "@ink",
                  "zerolinewidth": 1, "range": [low - room, high + room]},
        "yaxis": {"tickvals": y, "ticktext": [_shortened(row.item) for row in rows],
                  "range": [len(rows) - 0.4, -0.6], "ticks": "", "showline": False,
                  "tickfont": {"color": "@ink"}, "automargin": True}}
    return Chart("ledger", "What is each item worth, and how sure is that?",
                 {"data": data, "layout": layout}, _ledger_table(result, rows),
                 note="Mark: the expected gain. Line: where it lies nine times in ten. A line that "
                      "crosses zero may be no gain at all. Filled diamonds are in the best set.")


def _shortened(name: str, most: int = 30) -> str:
    return name if len(name) <= most else name[:most - 1].rstrip() + "…"


def _ledger_table(result: Result, rows: list[ItemWorth]) -> Table:
    effects = {effect.item: effect for effect in result.job.effects}
    catalogue, chosen = result.job.catalogue, set(result.choice.best.items)
    cells = []
    for row in rows:
        item, effect = catalogue[row.item], effects.get(row.item)
        cells.append((row.item, item.place, _price(item), f"{row.seconds:.1f}".replace("-", "−"),
                      span(row.low, row.high), _price_per_second(item, row), _verdict(row),
                      _evidence(effect), "yes" if row.item in chosen else "no"))
    return Table(("Item", "Place", f"Cost, {result.choice.currency}", "Saves, s",
                  "nine times in ten", f"{result.choice.currency} per s", "Told from nothing",
                  "Evidence", "In the set"), cells,
                 "Each item by itself on top of what is owned, on its own best plan",
                 ident="ledger-table", tools=True)


def _price_per_second(item: Item, row: ItemWorth) -> str:
    if item.cost == 0 or row.seconds <= 0:
        return "–"
    if row.low <= 0:
        return f"{item.cost / row.high:,.0f} or more" if row.high > 0 else "–"
    return f"{item.cost / row.high:,.0f} to {item.cost / row.low:,.0f}"


def _verdict(row: ItemWorth) -> str:
    """Whether the gain can be told from nothing; '≈' is the sign that it can not."""
    if row.low > 0:
        return "yes"
    return "no: slower" if row.high < 0 else "≈"


def _evidence(effect: Effect | None) -> str:
    if effect is None or not effect.data:
        return "none"
    words = [effect.basis]
    if effect.disagreement > 0.5:
        words.append(f"sources disagree (I² {100 * effect.disagreement:.0f} %)")
    return "; ".join([*(word for word in words if word), *effect.warnings])
