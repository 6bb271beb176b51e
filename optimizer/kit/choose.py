"""Choosing kit: the fastest set for the money, with the proof, and what it was weighed against."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from optimizer.errors import Infeasible
from optimizer.kit.choice import Alternative, Choice, KitSet
from optimizer.kit.crosswind import OWN_WHEELS, other_wheels, strongest_crosswind
from optimizer.kit.evaluator import pacing_evaluator
from optimizer.kit.search import EvaluatedSet, Search
from optimizer.kit.set_model import set_model
from optimizer.kit.terms import tabulate

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from optimizer.day import RaceDay
    from optimizer.evidence import Effect
    from optimizer.kit.catalogue import Catalogue
    from optimizer.kit.evaluator import Evaluator
    from optimizer.physics import Setup
    from optimizer.rider import Rider

__all__ = ["TOLERANCE", "choice_of", "choose_kit", "compared", "decided_otherwise",
           "forbidden", "kit_set", "reason", "search_for", "search_on"]

TOLERANCE = 0.01  # s, differences between sets within the budget that are not looked into
_PLANNED = 7  # sets along the frontier that are planned for themselves
ALONG = 5e-5  # of the time, the same along the frontier
_SAME = 0.005  # s, less is shown as none


def choose_kit(day: RaceDay, baseline: Setup, catalogue: Catalogue, effects: Sequence[Effect],
               budget: float, currency: str, *, rules: Sequence[str] = (),
               evaluator: Evaluator | None = None, twice: bool = False, least_gain: float = 0.0,
               progress: Callable[[str], None] = lambda _words: None) -> Choice:
    """Choose the cheapest set that is nearly as fast as the fastest one that the budget allows.

    The fastest is proven over the model: bounds on all sets, from the multipliers of a few plans,
    leave none within the budget that is faster by more than `Choice.proven_gap`. The chosen one is
    `least_gain` slower at most, and no cheaper one is as near.

    Parameters
    ----------
    day : course, weather and rider
    baseline : bike as it stands
    catalogue : items, what they cost and exclude
    effects : what each item does
    budget, currency : money
    rules : names of the rule sets in force
    least_gain : s that a set may be slower than the fastest, to be cheaper
    evaluator : of the time of a set; by default the pacing solver
    twice : prove it once more by an integer program, where there are not too many items
        (`Choice.program_gap`); it takes several times as long as the rest
    progress : called with words on what is under way

    Returns
    -------
    the best set, the best at every price, and how far each is proven [s]

    Raises
    ------
    Infeasible
        where the budget is negative or no plan meets the limits
    """
    search, ruled_out = search_on(day, baseline, catalogue, effects, rules,
                                  evaluator or pacing_evaluator(day, baseline))
    return choice_of(search, catalogue, budget, currency, ruled_out, progress, twice=twice,
                     least_gain=least_gain)


def choice_of(search: Search, catalogue: Catalogue, budget: float, currency: str,
              ruled_out: dict[str, str], progress: Callable[[str], None], *,
              twice: bool = False, least_gain: float = 0.0) -> Choice:
    """Search and prove.

    Parameters
    ----------
    search : of the kit
    catalogue : items that it may choose from
    budget : money that may be spent
    currency : name of the money
    ruled_out : item -> why the search may not use it
    progress : called with words on what is under way
    twice : prove it once more by an integer program
    least_gain : s that a set may be slower than the fastest, to be cheaper

    Returns
    -------
    best set, the best at every price, and how far each is proven [s]

    Raises
    ------
    Infeasible
        for a budget that is no amount
    """
    if not 0 <= budget < math.inf:
        raise Infeasible(f"the budget of {budget:g} {currency} is not an amount that can be spent",
                         "give what may be spent, or 0 for your current kit")
    most = float(search.terms.cost.sum())
    progress("sets along money and time")
    search.explore(most)
    progress("proof of the best kit at every price")
    frontier_gap = search.prove_front(most)
    progress("proof for the budget")
    gap = search.prove_best(budget)
    by_program = math.inf
    if twice:
        progress("the same by an integer program")
        by_program = search.prove_by_program(budget)
    best, fastest = search.prove_cheapest(budget, least_gain), search.fastest(budget)
    search.tighten(search.fastest(0.0).rows, TOLERANCE)
    owned = search.fastest(0.0)
    progress("plans of kits for themselves")
    bare = _without_changes(search, catalogue, owned)
    _plan_own(search, best, fastest, owned, *([bare] if bare else []))
    progress("each item decided otherwise")
    alternatives, left_out = _weighed(search, best, budget, ruled_out, currency)
    ends = tuple(kit_set(search, known) for known in (owned, best, fastest))
    return Choice(
        budget=budget, currency=currency, owned=ends[0], best=ends[1],
        frontier=_still_faster([kit_set(search, known) for known in search.front()], ends),
        proven_gap=gap, left_out=left_out, alternatives=alternatives,
        frontier_gap=frontier_gap,
        sets=math.prod(float(len(search.offer.options(place)))
                       for place in range(len(search.rules.places))),
        planned=len(search.known), program_gap=by_program,
        least_gain=least_gain,
        without_changes=kit_set(search, bare) if bare else None)


def _without_changes(search: Search, catalogue: Catalogue,
                     owned: EvaluatedSet) -> EvaluatedSet | None:
    """Find the fastest set of owned items; None where the one for no money is of these."""
    mine = np.array([item.owned for item in catalogue.items], dtype=bool)
    if mine[list(owned.rows)].all():
        return None
    return search.best_among(search.offer.usable & mine, search.terms.cost, 0.0, owned)


def search_on(day: RaceDay, baseline: Setup, catalogue: Catalogue, effects: Sequence[Effect],
              rules: Sequence[str], evaluator: Evaluator) -> tuple[Search, dict[str, str]]:
    """Set up a search over what the rules and the day's wind allow.

    Parameters
    ----------
    day : course, weather and rider of the race day
    baseline : bike as it stands
    catalogue : items that could be had
    effects : what each item does
    rules : names of the rule sets in force
    evaluator : of the time of a set

    Returns
    -------
    the search, and item -> why it may not be used
    """
    ruled_out = forbidden(day, baseline, catalogue, rules)
    return search_for(day.rider, baseline, catalogue, effects, evaluator, ruled_out), ruled_out


def search_for(rider: Rider, baseline: Setup, catalogue: Catalogue, effects: Sequence[Effect],
               evaluator: Evaluator, ruled_out: dict[str, str],
               unsure: Iterable[str] = ()) -> Search:
    """Set up a search over what is left of a catalogue.

    Parameters
    ----------
    rider : who rides
    baseline : bike as it stands
    catalogue : items that could be had
    effects : what each item does
    evaluator : of the time of a set
    ruled_out : item -> why it may not be used
    unsure : items that may be with somebody else, so that no place has to be filled with them

    Returns
    -------
    a search with one bound
    """
    out = {*ruled_out, *unsure}
    filled = other_wheels(catalogue, out) if OWN_WHEELS in ruled_out else ()
    terms = tabulate(baseline, catalogue, effects, filled)
    usable = np.array([name not in ruled_out for name in terms.names], dtype=bool)
    along = max(TOLERANCE, ALONG * evaluator.time(terms.setup(baseline, [])))
    model = set_model(terms, baseline, rider.mass)
    there = np.array([name not in out for name in terms.names], dtype=bool) & (terms.cost == 0)
    return Search(model, baseline, evaluator, usable, there, TOLERANCE, along)


def forbidden(day: RaceDay, baseline: Setup, catalogue: Catalogue,
              rules: Sequence[str]) -> dict[str, str]:
    """Items that cannot be used on the day, by a rule or for the cross wind.

    Under `OWN_WHEELS` also those of the bike, where other wheels are there at no cost.

    Parameters
    ----------
    day : course, weather and rider of the race day
    baseline : bike as it stands
    catalogue : items that could be had
    rules : names of the rule sets in force

    Returns
    -------
    item -> reason
    """
    crosswind = strongest_crosswind(day.course, day.conditions)
    out = {}
    for item in catalogue.items:
        broken = [name for name in item.forbidden_by if name in rules]
        if broken:
            out[item.name] = f"not allowed by {' and '.join(broken)}"
        elif crosswind > item.crosswind_limit:
            out[item.name] = _too_windy(crosswind, "its limit", item.crosswind_limit)
    if crosswind > baseline.crosswind_limit and other_wheels(catalogue, out):
        out[OWN_WHEELS] = _too_windy(crosswind, "their limit", baseline.crosswind_limit)
    return out


def _too_windy(crosswind: float, limit: str, speed: float) -> str:
    return (f"up to {3.6 * crosswind:.0f} km/h of cross wind are forecast, above {limit} of "
            f"{3.6 * speed:.0f} km/h")


def kit_set(search: Search, known: EvaluatedSet) -> KitSet:
    """Give a known set as a result, with the time of its own plan.

    The search compares sets in one wind and with one effort limit; what its bound leaves open
    there is left open of the set's own time as well.

    Parameters
    ----------
    search : of the kit
    known : evaluated set

    Returns
    -------
    the set with time and lower bound [s]
    """
    own = search.evaluator.own_time(known.setup, known.time)
    open_to = max(search.value(known) - search.lower_of(known), 0.0)
    return KitSet(tuple(search.terms.names[row] for row in known.rows), known.spend,
                  known.setup, own, own - open_to)


def _plan_own(search: Search, *sets: EvaluatedSet) -> None:
    """Plan sets, and some along the frontier, for themselves."""
    front = search.front()
    spread = np.unique(np.linspace(0, len(front) - 1, _PLANNED).astype(int))
    search.evaluator.plan_own(*((known.setup, known.time) for known in (
        *sets, *(front[k] for k in spread))))


def _still_faster(frontier: Sequence[KitSet], keep: Sequence[KitSet]) -> tuple[KitSet, ...]:
    """Leave out sets that a cheaper one beats in the end, but for those to `keep`.

    And those that cost and take what one of these does.
    """
    wanted = {kit.items for kit in keep}
    frontier = [kit for kit in frontier if kit.items in wanted or not any(
        abs(kit.spend - one.spend) < 1e-9 and abs(kit.finish_time - one.finish_time) < _SAME
        for one in keep)]
    out: list[KitSet] = []
    for kit in sorted({kit.items: kit for kit in (*frontier, *keep)}.values(),
                      key=lambda kit: (kit.spend, -kit.finish_time)):
        if not out or kit.finish_time < out[-1].finish_time or kit.items in wanted:
            out.append(kit)
    return tuple(out)


def decided_otherwise(search: Search, chosen: EvaluatedSet, budget: float,
                      without: float) -> dict[int, EvaluatedSet | None]:
    """Best set that decides otherwise about each usable item: without it, or with it.

    Parameters
    ----------
    search : of the kit
    chosen : evaluated set
    budget, without : money that may be spent on a set with another item, and without one

    Returns
    -------
    set by row of the item; None where there is no such set within the budget
    """
    rows = [int(row) for row in np.flatnonzero(search.offer.usable)]
    return dict(zip(rows, search.best_where_each(
        [(row, False, without) if row in chosen.rows else (row, True, budget)
         for row in rows], near=chosen), strict=True))


def _weighed(search: Search, best: EvaluatedSet, budget: float, ruled_out: dict[str, str],
             currency: str) -> tuple[tuple[Alternative, ...], tuple[tuple[str, str], ...]]:
    """Decide otherwise about each item in turn, and say why what is left out is left out."""
    others = decided_otherwise(search, best, budget, best.spend)
    chosen, alternatives, left_out = kit_set(search, best), [], []
    for row, name in enumerate(search.terms.names):
        if name in ruled_out:
            left_out.append((name, ruled_out[name]))
            continue
        other = others[row]
        kit = kit_set(search, other) if other else None
        seconds = kit.finish_time - chosen.finish_time if kit else math.inf
        alternatives.append(Alternative(name, kit, seconds))
        if row not in best.rows:
            left_out.append((name, reason(
                search, row, other, budget, currency,
                compared(best, other, seconds, currency) if other else "")))
    left_out += [(name, why) for name, why in ruled_out.items() if name == OWN_WHEELS]
    return tuple(alternatives), tuple(left_out)


def reason(search: Search, row: int, other: EvaluatedSet | None, budget: float, currency: str,
           loss: str) -> str:
    """Say why an item is left out.

    Parameters
    ----------
    search : of the kit
    row : of the item
    other : best set with the item, None where there is none
    budget : money that may be spent
    currency : name of the money
    loss : how the other compares

    Returns
    -------
    end of a sentence on the item
    """
    cost = float(search.terms.cost[row])
    if cost > budget:
        return f"costs {cost:,g} {currency}, more than the budget"
    if other is None:
        return "no kit within the budget can have it"
    return f"the best kit with it {loss}"


def compared(chosen: EvaluatedSet, other: EvaluatedSet, seconds: float, currency: str) -> str:
    """Say how a set compares with the chosen one.

    Parameters
    ----------
    chosen, other : evaluated sets
    seconds : s that the other takes more
    currency : name of the money

    Returns
    -------
    end of a sentence on the other set
    """
    if seconds >= 0.0:
        return f"is {_lasting(seconds)} slower"
    more = other.spend - chosen.spend
    if more <= 1e-9:  # within what the proof leaves open
        return "is as fast"
    if seconds > -0.1:
        return f"is as fast, but costs {more:,g} {currency} more"
    return f"is only {_lasting(-seconds)} faster for {more:,g} {currency} more: not worth it"


def _lasting(seconds: float) -> str:
    """Write an amount of seconds; from two minutes on in minutes."""
    if seconds >= 119.5:
        minutes, rest = divmod(round(seconds), 60)
        return f"{minutes} min {rest:02d} s"
    return f"{seconds:.1f} s" if seconds < 9.95 else f"{seconds:.0f} s"
