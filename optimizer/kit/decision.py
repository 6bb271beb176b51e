"""The choice under uncertainty and what comes of it: what to buy, in which order, what to test.

All of it uses common draws (`optimizer.uncertainty`), so that two sets are compared on the same
days, and on the response of all sets to them (`optimizer.kit.response`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimizer.defaults import NINE_IN_TEN
from optimizer.kit.alone import evidence_sd, seconds_saved
from optimizer.kit.choose import (
    choice_of,
    compared,
    decided_otherwise,
    kit_set,
    reason,
    search_on,
)
from optimizer.kit.crosswind import OWN_WHEELS
from optimizer.kit.evaluator import pacing_evaluator
from optimizer.kit.response import Response, propose, response
from optimizer.kit.rivals import Rival, equal_rival, likely_rival, rivals_of, weighed_kits
from optimizer.pacing import sensitivities
from optimizer.uncertainty import FORECAST, draw_days, measure_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from numpy.typing import NDArray

    from optimizer.day import RaceDay
    from optimizer.evidence import Effect
    from optimizer.kit.catalogue import Catalogue
    from optimizer.kit.choice import Choice, KitSet
    from optimizer.kit.evaluator import PacingEvaluator
    from optimizer.kit.search import EvaluatedSet, Search
    from optimizer.pacing import Plan
    from optimizer.physics import Setup
    from optimizer.uncertainty import Measure

__all__ = ["KitDecision", "Otherwise", "Purchase", "Rival", "Stage", "TestWorth", "decide_kit",
           "unit_loss"]

_LEAST_CHANCE = 0.005  # to beat a target, that more money has to win: a day in 100, rounded
_SWITCHES = 6  # of the chosen set to a better one that decides otherwise about an item
_PROPOSAL_DRAWS = 120  # in the mixed-integer program; all draws say what it is worth
_LEAST_WORTH = 0.5  # of the currency, of a test: less is shown as 0
_TAILS = (0.0, 0.5, 0.9)


@dataclass(frozen=True)
class Purchase:
    """One more item (with what it needs) on top of what is owned.

    `seconds` it saves, by the slopes of the plan with what is owned, and the 90 % range `low` to
    `high` that its evidence leaves; `hired` are those of the items that are hired.
    """

    items: tuple[str, ...]
    spend: float
    seconds: float
    low: float
    high: float
    hired: tuple[str, ...] = ()

    @property
    def price_per_second(self) -> float:
        """Money for a second."""
        return self.spend / self.seconds if self.seconds > 0 else math.inf


@dataclass(frozen=True)
class Stage:
    """What to buy when the money has come to `money` in all; nothing is bought twice or in vain.

    The race may come after any stage. What is `bought` stays; what is `hired` is paid for the race
    day alone, so that it is not paid if more money comes before. `dropped` is what the stage
    before would have ridden and this one does not; `spend` all purchases so far and these hires.
    `regret` [s] is what the set of this stage is slower than the best that the same money could
    buy if no other stage mattered.
    """

    money: float
    bought: tuple[str, ...]
    hired: tuple[str, ...]
    dropped: tuple[str, ...]
    kit: KitSet
    spend: float
    regret: float


@dataclass(frozen=True)
class Otherwise:
    """The best set found that decides otherwise about one item of the catalogue.

    `loss` on the chosen set by the measure: seconds, or a part of the chance to beat the target;
    `kit` is None where no set within the budget does, or for an item of the chosen set, none that
    costs no more.
    """

    item: str
    kit: KitSet | None
    loss: float


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
    choice : for the forecast day, with its proof
    measure, level, target : what is chosen by
    chosen : the set that the measure asks for, and its value `score` (seconds, or a chance)
    spread : 5 and 95 % points of its time [s]
    rivals : sets of the frontier within the budget and those that draws propose, best first
    alternatives : for each item that could be had, the best set that decides otherwise about it
    left_out : item and why it is not in the chosen set
    equal : the cheapest set that may as well be faster than the chosen one, if it is cheaper
    likely : the cheapest set that the chosen one is likely, but not sure, to beat
    purchases : single purchases from what is owned, most seconds for the money first
    stages : purchases in order as the money comes
    tests : items whose test is worth something, most first
    """

    choice: Choice
    measure: Measure
    level: float
    target: float
    chosen: KitSet
    score: float
    spread: tuple[float, float]
    rivals: tuple[Rival, ...]
    alternatives: tuple[Otherwise, ...]
    left_out: tuple[tuple[str, str], ...]
    equal: Rival | None
    likely: Rival | None
    purchases: tuple[Purchase, ...]
    stages: tuple[Stage, ...]
    tests: tuple[TestWorth, ...]


def decide_kit(day: RaceDay, baseline: Setup, catalogue: Catalogue, effects: Sequence[Effect],
               budget: float, currency: str, *,
               by: str = FORECAST, level: float = 0.9, target: float = 0.0,
               count: int = 400, seed: int = 1, least_gain: float = 0.0,
               stages: Sequence[float] = (), rules: Sequence[str] = (),
               evaluator: PacingEvaluator | None = None, twice: bool = False,
               progress: Callable[[str], None] = lambda _words: None) -> KitDecision:
    """Choose kit, and weigh the choice under uncertainty.

    Parameters
    ----------
    day : course, weather and rider
    baseline : bike as it stands
    catalogue, effects : items, and what each does
    budget, currency : money
    by, level, target : name of a measure (`optimizer.uncertainty.measures`), `level` of the
        quantile or of the worst draws, time to beat [s]. "forecast" is what `choose_kit` chooses
        by, with its proof; by the others the best of the sets that were looked at is taken
    count, seed : of the draws
    stages : money in all at each stage, rising
    rules, evaluator, progress : as `choose_kit` has them
    least_gain, twice : as `choose_kit` has them

    Returns
    -------
    the choice, its rivals, what to buy in which order, and what to test first

    Raises
    ------
    Infeasible
        where the budget is negative or no plan meets the limits
    """
    measure = measure_of(by)
    if evaluator is None:
        evaluator = pacing_evaluator(day, baseline)
    search, ruled_out = search_on(day, baseline, catalogue, effects, rules, evaluator)
    choice = choice_of(search, catalogue, budget, currency, ruled_out, progress, twice=twice,
                       least_gain=least_gain)
    progress("the same days for all kits")
    best = search.evaluate(search.terms.rows(choice.best.items))
    plan = evaluator.own_plan(best.setup)
    draws = draw_days(day, baseline, effects, count, seed)
    answer = response(plan, day, best.setup, best.rows, draws, effects, search.model)
    field = _Field(search, answer, measure, level, target, least_gain)
    field.add([best, *(known for known in search.front() if known.spend <= budget + 1e-9)])
    if measure.of and _uncertain(effects):
        few = _first(answer, min(_PROPOSAL_DRAWS, count))
        field.add([search.tighten(propose(search.offer, few, budget, tail) or search.start, 0.05)
                   for tail in dict.fromkeys((*_TAILS, level))])
    chosen = field.best() if measure.of else best
    for _ in range(1 + _SWITCHES if measure.of else 0):
        field.add(filter(None, decided_otherwise(search, chosen, budget, budget).values()))
        if field.best().rows == chosen.rows:
            break
        chosen = field.best()
    others = decided_otherwise(search, chosen, budget, chosen.spend)
    field.add(filter(None, others.values()))
    if chosen.rows != best.rows:
        evaluator.plan_own((chosen.setup, chosen.time))
    kit = kit_set(search, chosen)
    rivals = rivals_of(kit, [other for other in (
        [kit_set(search, known) for known in field.sets.values()] if measure.of
        else weighed_kits(choice)) if other.spend <= budget + 1e-9], answer, search.terms)
    low, high = np.percentile(field.times[chosen.rows], [5.0, 95.0])
    progress("what to buy next, and what to test")
    owned = search.fastest(0.0)
    alternatives, left_out = _otherwise(field, chosen, others, ruled_out, budget, currency)
    tests = _tests(search, choice, kit, alternatives, answer)
    return KitDecision(
        choice=choice, measure=measure, level=level, target=target, chosen=kit,
        score=field.score(chosen) if measure.of else kit.finish_time,
        spread=(float(low), float(high)), rivals=rivals, alternatives=alternatives,
        left_out=left_out, equal=equal_rival(kit, rivals, least_gain),
        likely=likely_rival(kit, rivals),
        purchases=_purchases(search, catalogue, effects, evaluator.own_plan(owned.setup), owned),
        stages=_stages(search, catalogue, stages, least_gain),
        tests=tests)


class _Field:
    """Sets that were looked at, with their times on common draws and what the measure says."""

    def __init__(self, search: Search, answer: Response, measure: Measure, level: float,
                 target: float, least_gain: float) -> None:
        self.search, self.answer = search, answer
        self.measure, self.level, self.target = measure, level, target
        self.least_gain = least_gain
        self.sets: dict[tuple[int, ...], EvaluatedSet] = {}
        self.own: dict[tuple[int, ...], float] = {}  # s on the forecast day, by plans of their own
        self.times: dict[tuple[int, ...], NDArray[np.float64]] = {}

    def add(self, some: Iterable[EvaluatedSet]) -> None:
        """Ride sets in all draws, those that are new."""
        new = list({known.rows: known for known in some if known.rows not in self.sets}.values())
        if new:
            self.sets.update((known.rows, known) for known in new)
            own = [self.search.evaluator.own_time(known.setup, known.time) for known in new]
            chosen = self.search.rules.flags([known.rows for known in new])
            drawn = self.answer.times(chosen, self.search.rules.overlapping(chosen), np.array(own))
            for known, time, times in zip(new, own, drawn, strict=True):
                self.own[known.rows], self.times[known.rows] = time, times

    def score(self, known: EvaluatedSet) -> float:
        """Seconds, or the chance to beat the target."""
        if self.measure.of is None:
            return self.own[known.rows]
        found = self._of(self.times[known.rows])
        return -found if self.measure.chance else found

    def _of(self, times: NDArray[np.float64]) -> float:
        return float(self.measure.value(times[None], self.level, self.target)[0])

    def loss(self, known: EvaluatedSet, chosen: EvaluatedSet) -> float:
        """Say by how much a set is worse: seconds, or a part of the chance."""
        worse = self.score(known) - self.score(chosen)
        return -worse if self.measure.chance else worse

    def _value(self, known: EvaluatedSet) -> float:
        """Less is better: seconds, or minus the chance."""
        return -self.score(known) if self.measure.chance else self.score(known)

    def _with_gain(self, known: EvaluatedSet) -> float:
        """Value of a set if it won what more money has to: seconds every day, and some chance."""
        value = self._of(self.times[known.rows] - self.least_gain)
        return value - _LEAST_CHANCE if self.measure.chance and self.least_gain > 0 else value

    def best(self) -> EvaluatedSet:
        """Cheapest set that is nearly as good as the best by the measure; the best of equals."""
        most = min(map(self._value, self.sets.values()))
        return min((known for known in self.sets.values() if self._with_gain(known) <= most),
                   key=lambda known: (known.spend, self._value(known), known.time, known.rows))


def _otherwise(field: _Field, chosen: EvaluatedSet, others: dict[int, EvaluatedSet | None],
               ruled_out: dict[str, str], budget: float, currency: str,
               ) -> tuple[tuple[Otherwise, ...], tuple[tuple[str, str], ...]]:
    """Say of each item what deciding otherwise loses, and of what is left out why."""
    search = field.search
    alternatives, left_out = [], []
    for row, name in enumerate(search.terms.names):
        if name in ruled_out:
            left_out.append((name, ruled_out[name]))
            continue
        other = others[row]
        loss = field.loss(other, chosen) if other else math.inf
        alternatives.append(Otherwise(name, kit_set(search, other) if other else None, loss))
        if row not in chosen.rows:
            words = "" if other is None else (_chances(loss) if field.measure.chance else
                                              compared(chosen, other, loss, currency))
            left_out.append((name, reason(search, row, other, budget, currency, words)))
    left_out += [(name, why) for name, why in ruled_out.items() if name == OWN_WHEELS]
    return tuple(alternatives), tuple(left_out)


def _chances(fewer: float) -> str:
    """Say how a set stands that beats the target with a chance that is less by `fewer`."""
    count = round(100 * abs(fewer))
    if count == 0:
        return "beats the target on as many days"
    days = f"{count} {'day' if count == 1 else 'days'} in 100"
    return (f"beats the target on {days} fewer" if fewer > 0 else
            f"beats the target on only {days} more: not worth its price")


def _uncertain(effects: Sequence[Effect]) -> bool:
    """Whether any effect has a standard error."""
    return any(effect.drag_area_sd or effect.rolling_resistance_sd or effect.efficiency_sd
               or effect.mass_sd for effect in effects)


def _first(answer: Response, count: int) -> Response:
    return Response(answer.base[:count], answer.item[:count], answer.overlap[:count],
                    answer.uncertainty, answer.still)


def _purchases(search: Search, catalogue: Catalogue, effects: Sequence[Effect], plan: Plan,
               owned: EvaluatedSet) -> tuple[Purchase, ...]:
    """Each item that costs something, alone with what it requires, on top of what is owned.

    `plan` is that with what is owned.
    """
    names, cost = search.terms.names, search.terms.cost
    known_effects = {effect.item: effect for effect in effects}
    slope = sensitivities(plan)
    found = []
    for k in np.flatnonzero((cost > 0) & search.offer.usable):
        needed = search.rules.needed(int(k))
        usable = search.offer.usable & (cost <= 0)
        usable[needed] = True
        if not search.offer.usable[needed].all():
            continue
        known = search.best_among(usable, cost, float(cost[needed].sum()), owned)
        seconds = seconds_saved(slope, owned.setup, known.setup)
        if int(k) not in known.rows or seconds <= 0.0:
            continue
        new = [names[r] for r in known.rows if r not in owned.rows]
        sd = evidence_sd(slope, [known_effects[name] for name in new if name in known_effects])
        found.append(Purchase(
            tuple(names[r] for r in known.rows if cost[r] > 0), known.spend, seconds,
            seconds - NINE_IN_TEN * sd, seconds + NINE_IN_TEN * sd,
            tuple(name for name in new if catalogue[name].hired)))
    return tuple(sorted(dict.fromkeys(found), key=lambda p: (p.price_per_second, p.items)))


def _stages(search: Search, catalogue: Catalogue, money: Sequence[float],
            least_gain: float) -> tuple[Stage, ...]:
    """Purchases in order: from the last stage back, or from the first on, what is faster in all.

    Back: what the last stage buys is all that earlier ones may buy. On: what is bought stays.
    Either may hire at every stage.
    """
    if not money:
        return ()
    items, cost = catalogue.items, search.terms.cost
    hired = np.array([item.hired for item in items], dtype=bool)
    everything = search.offer.usable.copy()
    near = {m: search.cheapest(m, least_gain) for m in money}

    back: list[EvaluatedSet] = [near[money[-1]]]
    for m in reversed(money[:-1]):
        usable = everything & ((cost <= 0) | hired)
        usable[list(back[0].rows)] = True
        back.insert(0, search.best_among(usable, cost, m, near[m]))
    on: list[EvaluatedSet] = []
    held = np.zeros(len(items), dtype=bool)
    for m in money:
        left = np.where(held, 0.0, cost)
        on.append(search.best_among(everything, left, m - float(cost[held].sum()), near[m]))
        held[[r for r in on[-1].rows if cost[r] > 0 and not hired[r]]] = True
    best = min((back, on), key=lambda plan: sum(known.time for known in plan))
    out, had, before = [], set[int](), set[int]()
    for m, known in zip(money, best, strict=True):
        new = [r for r in known.rows if cost[r] > 0 and not hired[r] and r not in had]
        today = [r for r in known.rows if hired[r]]
        had.update(new)
        dropped = sorted(before - set(known.rows))
        before = set(known.rows)
        names = [tuple(items[r].name for r in rows) for rows in (new, today, dropped)]
        out.append(Stage(m, names[0], names[1], names[2], kit_set(search, known),
                         float(cost[[*had, *today]].sum()),
                         max(known.time - near[m].time, 0.0)))
    return tuple(out)


def _tests(search: Search, choice: Choice, chosen: KitSet, alternatives: Sequence[Otherwise],
           answer: Response) -> tuple[TestWorth, ...]:
    """Say what it would be worth to know an item better before the money is spent.

    The best set with the item and the best without differ by `seconds`; a test that takes the
    standard error from s to s' moves that difference with standard deviation √(s² - s'²), and
    is worth that times the unit normal loss (Raiffa and Schlaifer 1961, chapter 5).
    """
    price = _price_of_a_second(choice)
    decided = {other.item: other for other in alternatives}
    found = []
    for row, name in enumerate(search.terms.names):
        other, uncertainty = decided.get(name), float(answer.uncertainty[row])
        if other is None or other.kit is None or uncertainty <= 0:
            continue
        if search.terms.cost[row] <= 0:  # owned, or for nothing: there is nothing to buy
            continue
        behind = max(other.kit.finish_time - chosen.finish_time, 0.0)
        halved, perfect = (spread * unit_loss(behind / spread)
                           for spread in (uncertainty * math.sqrt(0.75), uncertainty))
        if perfect > 0.05 and halved * price >= _LEAST_WORTH:
            found.append(TestWorth(name, uncertainty, halved, perfect, halved * price))
    return tuple(sorted(found, key=lambda test: (-test.halved, test.item)))


def unit_loss(distance: float) -> float:
    """Mean of how far a standard normal lies beyond z (Raiffa and Schlaifer 1961, chapter 5).

    Parameters
    ----------
    distance : z, in standard deviations

    Returns
    -------
    φ(z) - z (1 - Φ(z))
    """
    density = math.exp(-0.5 * distance**2) / math.sqrt(2 * math.pi)
    return density - distance * 0.5 * math.erfc(distance / math.sqrt(2))


def _price_of_a_second(choice: Choice) -> float:
    """Money that the frontier asks for a second, over the last third of the budget."""
    sets = [kit for kit in choice.frontier if kit.spend <= choice.budget]
    last = sets[-1]
    first = next((kit for kit in reversed(sets) if kit.spend <= last.spend * 2 / 3), last)
    saved = first.finish_time - last.finish_time
    return (last.spend - first.spend) / saved if saved > 0 else 0.0
