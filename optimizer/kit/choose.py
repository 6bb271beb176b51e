"""Choosing kit: the fastest set for the money, with the proof, and what it was weighed against."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from optimizer.errors import Infeasible
from optimizer.kit.choice import Alternative, Choice, KitSet
from optimizer.kit.crosswind import strongest_crosswind
from optimizer.kit.evaluator import pacing_evaluator
from optimizer.kit.search import EvaluatedSet, Search
from optimizer.kit.set_model import set_model
from optimizer.kit.terms import tabulate

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from optimizer.day import RaceDay
    from optimizer.evidence import Effect
    from optimizer.kit.catalogue import Catalogue
    from optimizer.kit.evaluator import Evaluator
    from optimizer.physics import Setup
    from optimizer.rider import Rider

__all__ = ["TOLERANCE", "choice_of", "choose_kit", "forbidden", "kit_set", "search_for",
           "strongest_crosswind"]

TOLERANCE = 0.01  # s, differences between sets within the budget that are not looked into
_PLANNED = 7  # sets along the frontier that are planned for themselves
ALONG = 1e-4  # of the time, the same along the frontier


def choose_kit(day: RaceDay, baseline: Setup, catalogue: Catalogue, effects: Sequence[Effect],
               budget: float, currency: str, *, rules: Sequence[str] = (),
               evaluator: Evaluator | None = None, twice: bool = False,
               progress: Callable[[str], None] = lambda _words: None) -> Choice:
    """Choose the set that is fastest with a plan of its own, among all that the budget allows.

    Parameters
    ----------
    rules : names of the rule sets in force
    evaluator : of the time of a set; by default the pacing solver
    twice : prove it once more by an integer program, where there are not too many items
        (`Choice.program_gap`); it takes several times as long as the rest
    progress : called with words on what is under way

    The result is proven over the model: bounds on all sets, from the multipliers of a few plans,
    leave none within the budget that is faster by more than `Choice.proven_gap`.

    Raises Infeasible where the budget is negative or no plan meets the limits.
    """
    if evaluator is None:
        evaluator = pacing_evaluator(day, baseline)
    ruled_out = forbidden(catalogue, rules, strongest_crosswind(day.course, day.conditions))
    search = search_for(day.rider, baseline, catalogue, effects, evaluator, ruled_out)
    return choice_of(search, budget, currency, ruled_out, progress, twice=twice)


def choice_of(search: Search, budget: float, currency: str, ruled_out: dict[str, str],
              progress: Callable[[str], None], *, twice: bool = False) -> Choice:
    """Search and prove; `ruled_out` says why what the search may not use is left out."""
    if not 0 <= budget < math.inf:
        raise Infeasible(f"the budget of {budget:g} {currency} is no amount to spend",
                         "give what may be spent, or 0 for what is owned")
    most = float(search.terms.cost.sum())
    progress("sets along money and time")
    search.explore(most)
    frontier_gap = search.prove_front(most)
    progress("proof for the budget")
    gap = search.prove_best(budget)
    by_program = math.inf
    if twice:
        progress("the same by an integer program")
        by_program = search.prove_by_program(budget)
    best = search.fastest(budget)
    search.tighten(search.fastest(0.0).rows, TOLERANCE)
    owned = search.fastest(0.0)
    _plan_own(search, best, owned)
    alternatives, left_out = _weighed(search, best, budget, ruled_out, currency)
    ends = kit_set(search, owned), kit_set(search, best)
    return Choice(
        budget=budget, currency=currency, owned=ends[0], best=ends[1],
        frontier=_still_faster([kit_set(search, known) for known in search.front()], ends),
        proven_gap=gap, left_out=left_out, alternatives=alternatives,
        frontier_gap=frontier_gap,
        sets=math.prod(float(len(search.offer.options(place)))
                       for place in range(len(search.rules.places))),
        planned=len(search.known), program_gap=by_program)


def search_for(rider: Rider, baseline: Setup, catalogue: Catalogue, effects: Sequence[Effect],
               evaluator: Evaluator, ruled_out: dict[str, str]) -> Search:
    """Set up a search over what `ruled_out` leaves of a catalogue."""
    terms = tabulate(baseline, catalogue, effects)
    usable = np.array([name not in ruled_out for name in terms.names], dtype=bool)
    along = max(TOLERANCE, ALONG * evaluator.time(terms.setup(baseline, [])))
    return Search(set_model(terms, baseline, rider.mass), baseline, evaluator, usable, TOLERANCE,
                  along)


def forbidden(catalogue: Catalogue, rules: Sequence[str], crosswind: float) -> dict[str, str]:
    """Items that cannot be used on the day, each with the reason."""
    out = {}
    for item in catalogue.items:
        broken = [name for name in item.forbidden_by if name in rules]
        if broken:
            out[item.name] = f"not allowed by {' and '.join(broken)}"
        elif crosswind > item.crosswind_limit:
            out[item.name] = (f"up to {3.6 * crosswind:.0f} km/h of cross wind are forecast, above "
                              f"its limit of {3.6 * item.crosswind_limit:.0f} km/h")
    return out


def kit_set(search: Search, known: EvaluatedSet) -> KitSet:
    """Return a known set as a result, with the time of its own plan.

    The search compares sets in one wind and with one effort limit; what its bound leaves open
    there is left open of the set's own time as well.
    """
    own = search.evaluator.own_time(known.setup, known.time)
    open_to = max(known.time - search.lower_of(known), 0.0)
    return KitSet(tuple(search.terms.names[row] for row in known.rows), known.spend,
                  known.setup, own, own - open_to)


def _plan_own(search: Search, *sets: EvaluatedSet) -> None:
    """Plan sets, and some along the frontier, for themselves."""
    front = search.front()
    spread = np.unique(np.linspace(0, len(front) - 1, _PLANNED).astype(int))
    for known in (*sets, *(front[k] for k in spread)):
        search.evaluator.plan_own(known.setup)


def _still_faster(frontier: Sequence[KitSet], keep: Sequence[KitSet]) -> tuple[KitSet, ...]:
    """Leave out sets that a cheaper one beats in the end, but for those to `keep`."""
    wanted = {kit.items for kit in keep}
    out: list[KitSet] = []
    for kit in sorted({kit.items: kit for kit in (*frontier, *keep)}.values(),
                      key=lambda kit: (kit.spend, -kit.finish_time)):
        if not out or kit.finish_time < out[-1].finish_time or kit.items in wanted:
            out.append(kit)
    return tuple(out)


def _weighed(search: Search, best: EvaluatedSet, budget: float, ruled_out: dict[str, str],
             currency: str) -> tuple[tuple[Alternative, ...], tuple[tuple[str, str], ...]]:
    """Decide otherwise about each item in turn, and say why what is left out is left out."""
    search.add_bound(best.rows)
    alternatives, left_out = [], []
    for row, (name, cost) in enumerate(zip(search.terms.names, search.terms.cost, strict=True)):
        if name in ruled_out:
            left_out.append((name, ruled_out[name]))
            continue
        inside = row in best.rows
        other = search.best_where(row, held=not inside, budget=budget, near=best)
        seconds = other.time - best.time if other else math.inf
        alternatives.append(Alternative(name, kit_set(search, other) if other else None,
                                        seconds))
        if inside:
            continue
        if cost > budget:
            left_out.append((name, f"costs {cost:g} {currency}, more than the budget"))
        elif other is None:
            left_out.append((name, "no set within the budget can hold it"))
        else:
            left_out.append((name, f"the best set with it is {max(seconds, 0.0):.1f} s slower"))
    return tuple(alternatives), tuple(left_out)
