"""The choice under uncertainty and what comes of it: what to buy, in which order, what to test.

All of it rests on common draws (`optimizer.uncertainty`), so that two sets are compared on the same
days, and on the response of all sets to them (`optimizer.kit.response`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimizer.kit.choose import choice_of, forbidden, kit_set, search_for, strongest_crosswind
from optimizer.kit.evaluator import pacing_evaluator
from optimizer.kit.response import Response, propose, response, score
from optimizer.uncertainty import chance_as_printed, chance_faster, day_within_risk, draw_days

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from optimizer.day import RaceDay
    from optimizer.evidence import Effect
    from optimizer.kit.catalogue import Catalogue
    from optimizer.kit.choice import Choice, KitSet
    from optimizer.kit.evaluator import PacingEvaluator
    from optimizer.kit.response import Criterion
    from optimizer.kit.search import EvaluatedSet, Search
    from optimizer.pacing import Plan
    from optimizer.physics import Setup

__all__ = ["KitDecision", "Purchase", "Rival", "Stage", "TestWorth", "decide_kit", "share_budget",
           "unit_loss"]

_SURE = 0.9  # chance from which one set counts as faster than another
_PROPOSAL_DRAWS = 120  # in the mixed-integer program; all draws say what it is worth
_TAILS = (0.0, 0.5, 0.9)


@dataclass(frozen=True)
class Rival:
    """A set in the draws: mean, 5, 50 and 95 % points [s], and how it stands to the chosen one.

    `behind` are the 5, 50 and 95 % points of what it loses on the chosen set on the same day [s];
    `chance` that the chosen set is faster.
    """

    kit: KitSet
    mean: float
    low: float
    middle: float
    high: float
    behind: tuple[float, float, float]
    chance: float


@dataclass(frozen=True)
class Purchase:
    """One more item (with what it needs) on top of what is owned.

    `seconds` it saves with a plan of its own, 5 and 95 % points `low` and `high`.
    """

    items: tuple[str, ...]
    spend: float
    seconds: float
    low: float
    high: float

    @property
    def price_per_second(self) -> float:
        """Money for a second."""
        return self.spend / self.seconds if self.seconds > 0 else math.inf


@dataclass(frozen=True)
class Stage:
    """What to buy when the money has come to `money` in all; nothing is bought twice or in vain.

    `regret` [s] is what the set of this stage is slower than the best that the same money could
    buy if no other stage mattered.
    """

    money: float
    bought: tuple[str, ...]
    kit: KitSet
    regret: float


@dataclass(frozen=True)
class TestWorth:
    """What a test of one item before buying is worth: its effect's standard error and the gain [s].

    `halved` for a test that leaves half of the uncertainty, `perfect` for one that leaves none;
    `money` is what the frontier asks for the seconds of `halved`.
    """

    item: str
    uncertainty: float
    halved: float
    perfect: float
    money: float


@dataclass(frozen=True)
class KitDecision:
    """The choice with all that is known about its uncertainty.

    Attributes
    ----------
    choice : by the expected inputs
    by, level, target : the criterion
    chosen : the set that the criterion asks for, and its value `score` (seconds, or a chance)
    spread : 5 and 95 % points of its time [s]
    rivals : sets of the frontier within the budget and those that draws propose, best first
    equal : the cheapest set that cannot be told apart from the chosen one, if it is cheaper
    purchases : single purchases from what is owned, most seconds for the money first
    stages : purchases in order as the money comes
    tests : items whose test is worth something, most first
    plan : for the chosen set; `emptying` the chance that it empties the reserve as printed
    safe, safe_emptying : the plan that holds that chance under the limit
    """

    choice: Choice
    by: Criterion
    level: float
    target: float
    chosen: KitSet
    score: float
    spread: tuple[float, float]
    rivals: tuple[Rival, ...]
    equal: Rival | None
    purchases: tuple[Purchase, ...]
    stages: tuple[Stage, ...]
    tests: tuple[TestWorth, ...]
    plan: Plan
    emptying: float
    safe: Plan
    safe_emptying: float


def decide_kit(day: RaceDay, baseline: Setup, catalogue: Catalogue, effects: Sequence[Effect],
               budget: float, currency: str, *,
               by: Criterion = "mean", level: float = 0.9, target: float = 0.0,
               count: int = 400, seed: int = 1, risk: float = 0.1,
               stages: Sequence[float] = (), rules: Sequence[str] = (),
               evaluator: PacingEvaluator | None = None, twice: bool = False,
               progress: Callable[[str], None] = lambda _words: None) -> KitDecision:
    """Choose kit, and weigh the choice under uncertainty.

    Parameters
    ----------
    by, level, target : criterion over the draws; `level` of the quantile or of the worst draws,
        `target` a time [s]
    count, seed : of the draws
    risk : accepted chance to empty the reserve
    stages : money in all at each stage, rising
    twice : as `choose_kit` has it
    """
    if evaluator is None:
        evaluator = pacing_evaluator(day, baseline)
    ruled_out = forbidden(catalogue, rules, strongest_crosswind(day.course, day.conditions))
    search = search_for(day.rider, baseline, catalogue, effects, evaluator, ruled_out)
    choice = choice_of(search, budget, currency, ruled_out, progress, twice=twice)
    progress("the same days for all sets")
    best = search.fastest(budget)
    plan = evaluator.own_plan(best.setup)
    draws = draw_days(day, baseline, effects, count, seed)
    answer = response(plan, day, best.setup, best.rows, draws, effects, search.model)
    few = _first(answer, min(_PROPOSAL_DRAWS, count))
    proposals = [] if by == "mean" and not _uncertain(effects) else [
        propose(search.offer, few, budget, tail)
        for tail in dict.fromkeys((*_TAILS, level))]
    pool = [best, *(known for known in search.front()
                    if known.spend <= budget + 1e-9 and known.rows != best.rows)]
    pool += [search.tighten(rows, 0.05) for rows in dict.fromkeys(proposals)
             if rows not in {known.rows for known in pool}]
    times = _times(search, answer, pool)
    scores = score(times, by, level, target)
    first = min(range(len(pool)), key=lambda k: (scores[k], pool[k].time, pool[k].spend))
    forecast = next(k for k, known in enumerate(pool) if known.rows == best.rows)
    if by == "mean" and not _clearly_less(times[first], times[forecast]):
        first = forecast
    chosen = pool[first]
    rivals = [_rival(search, known, times[k], times[first]) for k, known in enumerate(pool)
              if k != first]
    equal = min((rival for rival in rivals if rival.kit.spend < chosen.spend - 1e-9
                 and rival.chance < _SURE), key=lambda rival: rival.kit.spend, default=None)
    low, high = np.percentile(times[first], [5.0, 95.0])
    order = sorted(range(len(rivals)), key=lambda k: rivals[k].mean)
    progress("what to buy next, and what to test")
    owned = search.fastest(0.0)
    tests = _tests(search, choice, answer)
    if chosen.rows != best.rows:
        plan = evaluator.own_plan(chosen.setup)
        evaluator.plan_own(chosen.setup)
    emptying = chance_as_printed(plan, day, draws)
    safe = day_within_risk(day, chosen.setup, draws, risk, plan)
    return KitDecision(
        choice=choice, by=by, level=level, target=target, chosen=kit_set(search, chosen),
        score=float(-scores[first] if by == "target" else scores[first]),
        spread=(float(low), float(high)), rivals=tuple(rivals[k] for k in order), equal=equal,
        purchases=_purchases(search, answer, owned), stages=_stages(search, catalogue, stages),
        tests=tests, plan=plan, emptying=emptying,
        safe=plan if safe.day is day else safe.plan, safe_emptying=safe.chance)


def _uncertain(effects: Sequence[Effect]) -> bool:
    """Whether any effect has a standard error."""
    return any(effect.drag_area_sd or effect.rolling_resistance_sd or effect.efficiency_sd
               or effect.mass_sd for effect in effects)


def _first(answer: Response, count: int) -> Response:
    return Response(answer.base[:count], answer.item[:count], answer.overlap[:count],
                    answer.uncertainty, answer.still)


def _times(search: Search, answer: Response, pool: Sequence[EvaluatedSet]) -> NDArray[np.float64]:
    """(s, k) times of known sets in all draws."""
    chosen = search.rules.flags([known.rows for known in pool])
    return answer.times(chosen, search.rules.overlapping(chosen),
                        np.array([known.time for known in pool]))


def _clearly_less(first: NDArray[np.float64], second: NDArray[np.float64]) -> bool:
    """Whether the mean over common draws is less by more than two of its standard errors."""
    apart = second - first
    return float(apart.mean()) > 2.0 * float(apart.std()) / math.sqrt(len(apart))


def _rival(search: Search, known: EvaluatedSet, times: NDArray[np.float64],
           chosen: NDArray[np.float64]) -> Rival:
    low, middle, high = (float(x) for x in np.percentile(times, [5, 50, 95]))
    behind = tuple(float(x) for x in np.percentile(times - chosen, [5, 50, 95]))
    return Rival(kit_set(search, known), float(times.mean()), low, middle, high,
                 (behind[0], behind[1], behind[2]), chance_faster(chosen, times))


def _purchases(search: Search, answer: Response, owned: EvaluatedSet) -> tuple[Purchase, ...]:
    """Each item that costs something, alone with what it requires, on top of what is owned."""
    names, cost = search.terms.names, search.terms.cost
    found = []
    for k in np.flatnonzero((cost > 0) & search.offer.usable):
        needed = search.rules.needed(int(k))
        usable = search.offer.usable & (cost <= 0)
        usable[needed] = True
        if not search.offer.usable[needed].all():
            continue
        known = search.best_among(usable, cost, float(cost[needed].sum()), owned)
        if int(k) not in known.rows or known.time >= owned.time:
            continue
        times = _times(search, answer, [known, owned])
        low, high = np.percentile(times[1] - times[0], [5, 95])
        bought = tuple(names[r] for r in known.rows if cost[r] > 0)
        found.append(Purchase(bought, known.spend, owned.time - known.time, float(low),
                              float(high)))
    return tuple(sorted(dict.fromkeys(found), key=lambda p: (p.price_per_second, p.items)))


def _stages(search: Search, catalogue: Catalogue,
            money: Sequence[float]) -> tuple[Stage, ...]:
    """Purchases in order: from the last stage back, or from the first on, what is faster in all.

    Back: what the last stage buys is all that earlier ones may buy. On: what is bought stays.
    Hired items do not stay, so everything counts at its price.
    """
    if not money:
        return ()
    items = catalogue.items
    price = np.array([0.0 if item.owned else item.price for item in items])
    everything = search.offer.usable.copy()
    near = {m: search.fastest(m) for m in money}
    free = [search.best_among(everything, price, m, near[m]) for m in money]

    back: list[EvaluatedSet] = [free[-1]]
    for m in reversed(money[:-1]):
        usable = everything & (price <= 0)
        usable[list(back[0].rows)] = True
        back.insert(0, search.best_among(usable, price, m, near[m]))
    on: list[EvaluatedSet] = []
    held = np.zeros(len(items), dtype=bool)
    for m in money:
        spent = float(price[held].sum())
        left = np.where(held, 0.0, price)
        on.append(search.best_among(everything, left, m - spent, near[m]))
        held[[r for r in on[-1].rows if price[r] > 0]] = True
    best = min((back, on), key=lambda plan: sum(known.time for known in plan))
    out, had = [], set[int]()
    for m, known, alone in zip(money, best, free, strict=True):
        new = [r for r in known.rows if price[r] > 0 and r not in had]
        had.update(new)
        out.append(Stage(m, tuple(items[r].name for r in new), kit_set(search, known),
                         max(known.time - alone.time, 0.0)))
    return tuple(out)


def _tests(search: Search, choice: Choice, answer: Response) -> tuple[TestWorth, ...]:
    """Say what it would be worth to know an item better before the money is spent.

    The best set with the item and the best without differ by `seconds`; a test that takes the
    standard error from s to s' moves that difference with standard deviation √(s² - s'²), and
    is worth that times the unit normal loss (Raiffa and Schlaifer 1961, chapter 5).
    """
    price = _price_of_a_second(choice)
    decided = {other.item: other for other in choice.alternatives}
    found = []
    for row, name in enumerate(search.terms.names):
        other, uncertainty = decided.get(name), float(answer.uncertainty[row])
        if other is None or other.kit is None or uncertainty <= 0:
            continue
        halved, perfect = (spread * unit_loss(max(other.seconds, 0.0) / spread)
                           for spread in (uncertainty * math.sqrt(0.75), uncertainty))
        if perfect > 0.05:
            found.append(TestWorth(name, uncertainty, halved, perfect, halved * price))
    return tuple(sorted(found, key=lambda test: (-test.halved, test.item)))


def unit_loss(distance: float) -> float:
    """Give φ(z) - z (1 - Φ(z)), the mean of how far a standard normal lies beyond z."""
    density = math.exp(-0.5 * distance**2) / math.sqrt(2 * math.pi)
    return density - distance * 0.5 * math.erfc(distance / math.sqrt(2))


def _price_of_a_second(choice: Choice) -> float:
    """Money that the frontier asks for a second, over the last third of the budget."""
    sets = [kit for kit in choice.frontier if kit.spend <= choice.budget]
    last = sets[-1]
    first = next((kit for kit in reversed(sets) if kit.spend <= last.spend * 2 / 3), last)
    saved = first.finish_time - last.finish_time
    return (last.spend - first.spend) / saved if saved > 0 else 0.0


def share_budget(frontiers: Sequence[Sequence[KitSet]], budget: float) -> list[KitSet]:
    """Share one budget among riders: a set of each frontier, with the least sum of times.

    Exact: the best sums of the first riders at every spend, rider by rider.
    """
    sums: list[tuple[float, float, tuple[KitSet, ...]]] = [(0.0, 0.0, ())]
    for frontier in frontiers:
        longer = sorted(((spend + kit.spend, time + kit.finish_time, (*sets, kit))
                         for spend, time, sets in sums for kit in frontier
                         if spend + kit.spend <= budget + 1e-9), key=lambda row: row[:2])
        sums, best = [], math.inf
        for row in longer:
            if row[1] < best - 1e-9:
                best = row[1]
                sums.append(row)
    return list(sums[-1][2])
