"""The kit of a season from start to end: choose, say who rides what, and how sure the gains are."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from optimizer.errors import Infeasible
from optimizer.evidence import Effect
from optimizer.job.plans import draws_of
from optimizer.kit.alone import evidence_sd
from optimizer.kit.decision import unit_loss
from optimizer.kit.response import response
from optimizer.pacing import sensitivities
from optimizer.seasons.program import by_columns
from optimizer.seasons.solve import solve_season
from optimizer.seasons.values import Bought, NextPurchase, Point, Ride, SeasonKit, Stage, TestFirst
from optimizer.uncertainty import FORECAST, draw_days, measure_of, ride_days

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from optimizer.pacing import Plan
    from optimizer.seasons.program import Columns, Decision
    from optimizer.seasons.solve import Solver
    from optimizer.seasons.times import EntryTimes
    from optimizer.seasons.values import Season
    from optimizer.uncertainty import Measure

__all__ = ["run_season"]

_BUDGETS = 10  # along the frontier
_ROUNDS = 4  # of looking for purchases on top of the best season over drawn days
_LEAST_TEST = 0.05  # s, what a test has to be worth to be named


def run_season(season: Season, *, by: str = FORECAST, level: float = 0.9,
               stages: Sequence[float] = (), tolerance: float | None = None,
               times: Sequence[EntryTimes] | None = None,
               progress: Callable[[str], None] = lambda _words: None) -> SeasonKit:
    """Choose the kit of a season.

    Parameters
    ----------
    season : riders, races, kit and money
    by, level : name of a measure (`optimizer.uncertainty.measures`). "forecast" counts weighted
        times on the forecast days, with a proof; the others are taken over drawn days race by
        race, a chance by the targets of the entries, and the best season made of all kits that
        were looked at is chosen
    stages : money in all, rising; each buys on top of what the one before has bought
    tolerance : s, where the search ends
    times : of the entries [s], where they are known already
    progress : is called with a few words at each stage

    Returns
    -------
    what to buy, to hire and to ride, with what it saves and a gap

    Raises
    ------
    Infeasible
        where the budget is negative or an entry has no plan

    Examples
    --------
    >>> from optimizer import read_season
    >>> found = run_season(read_season("courses/club.toml"))
    >>> found.spend <= found.season.budget
    True
    """
    measure = measure_of(by)
    if not all(0 <= money.in_all < math.inf for money in season.money):
        raise Infeasible("the budget is not an amount that can be spent", "give 0 or more")
    solver, best, gap = solve_season(season, tolerance=tolerance, times=times, progress=progress)
    progress("the current kit")
    before = solver.at(season.apart())
    shared = solver.improve(solver.best(0.0), 0.0)
    fastest: Decision | None = None
    scores: Columns = []
    if measure.of:
        progress("the same days for all kits")
        fastest = best
        best, scores = _by_draws(solver, best, measure, level)
        gap = math.inf
    progress("best kit at every budget")
    own = _OwnPlans(solver.times)
    frontier = _frontier(solver, before, shared, best, gap, own, fastest)
    progress("how sure the gains are")
    plans = [(own.plan(e, rows), own.plan(e, old)) for e, (rows, old) in enumerate(zip(
        best.sets, before.sets, strict=True))]
    rides = _rides(solver, best, before, plans)
    if measure.chance:
        rides = _with_chances(solver, rides, best, scores)
    bought = _bought(season, solver, best)
    return SeasonKit(
        season=season, measure=measure, level=level, rides=rides, bought=bought,
        spend=_spend(season, best), returned=sum(season.pools[one.pool].resale for one in bought),
        value=best.value, gap=gap, frontier=frontier, next=_next(solver, best),
        tests=_tests(solver, best, plans), stages=_stages(solver, before, stages, own),
        rounds=solver.rounds, looked_at=sum(map(len, solver.columns)))


def _spend(season: Season, best: Decision) -> float:
    return (sum(season.pools[p].price * count for (p, _), count in best.bought.items())
            + sum(float(season.entries[e].job.catalogue.items[row].hire_price or 0.0)
                  for e, rows in enumerate(best.hired) for row in rows))


class _OwnPlans:
    """Plans of their own for the kits of the entries, each made once."""

    def __init__(self, times: Sequence[EntryTimes]) -> None:
        self._times = times
        self._known: dict[tuple[int, tuple[int, ...]], Plan] = {}

    def plan(self, e: int, rows: tuple[int, ...]) -> Plan:
        """Plan of an entry with a kit, in the wind and with the limit that it meets itself."""
        if (e, rows) not in self._known:
            search = self._times[e].search
            self._known[e, rows] = search.evaluator.own_plan(  # type: ignore[attr-defined]
                search.evaluate(rows).setup)
        return self._known[e, rows]

    def saved(self, solver: Solver, decision: Decision, before: Decision) -> float:
        """Weighted seconds that a season saves on another."""
        return float(sum(
            w * (self.plan(e, old).finish_time - self.plan(e, rows).finish_time)
            for e, (w, rows, old) in enumerate(zip(solver.weights, decision.sets, before.sets,
                                                   strict=True))))


def _frontier(solver: Solver, before: Decision, shared: Decision, best: Decision, gap: float,
              own: _OwnPlans, fastest: Decision | None) -> tuple[Point, ...]:
    """Best season found at each of some budgets, rising; what a smaller one buys better stays.

    `best` is the chosen season with its gap; `fastest` the best by seconds for the same money,
    where another measure has chosen.
    """
    season = solver.season
    whole = season.budget
    everything = sum(pool.price * pool.most for pool in season.pools)
    top = min(2.0 * whole if whole > 0 else everything, everything)
    found = [(0.0, shared)] if whole > 0 else []
    if fastest is not None and (fastest.sets, fastest.bought, fastest.hired) != (
            best.sets, best.bought, best.hired):
        found.append((whole, fastest))
    found.append((whole, best))
    if len(season.money) == 1:
        for budget in np.linspace(0.0, top, _BUDGETS + 1)[1:]:
            if not math.isclose(budget, whole):
                wider = replace(season, money=(replace(season.money[0], in_all=float(budget)),))
                found.append((float(budget), solver.at(wider)))
    out: list[Point] = []

    def open_at(budget: float, decision: Decision) -> float:
        if decision is best or fastest is not None or len(season.money) > 1:
            return gap if decision is best else math.inf
        there = replace(season, money=(replace(season.money[0], in_all=budget),))
        return max(decision.value - solver.floor(there, decision), 0.0)

    for budget, decision in sorted(found, key=lambda pair: pair[0]):
        saved, spend = own.saved(solver, decision, before), _spend(season, decision)
        names = tuple(f"{season.pools[p].item}" + (
            f" ({season.pools[p].rider})" if season.pools[p].rider else "")
            for p, _ in decision.bought if season.pools[p].price > 0)
        hired = tuple(f"{solver.times[e].names[row]} (hired, {season.entries[e].rider}, "
                      f"{season.entries[e].race})"
                      for e, rows in enumerate(decision.hired) for row in sorted(rows))
        most = max((point.saved for point in out), default=-math.inf)
        if saved > most + 1e-6 or decision is best:
            out.append(Point(budget, spend, saved, names, hired, decision is best,
                             open_at(budget, decision)))
    return tuple(out)


def _stages(solver: Solver, before: Decision, money: Sequence[float],
            own: _OwnPlans) -> tuple[Stage, ...]:
    """Buy at each stage the best on top of what is there; hires are paid for the races alone."""
    season, out, spent = solver.season, [], 0.0
    for amount in money:
        here = replace(season, money=(replace(season.money[0], in_all=amount - spent),))
        decision = solver.at(here)
        bought = {p: count for (p, _), count in decision.bought.items()
                  if season.pools[p].price > 0}
        hires = _spend(season, replace(decision, bought={}))
        pools = [replace(pool, owned=pool.owned + bought.get(p, 0),
                         most=pool.most - bought.get(p, 0))
                 for p, pool in enumerate(season.pools)]
        spent += sum(season.pools[p].price * count for p, count in bought.items())
        season = replace(season, pools=tuple(pools))
        out.append(Stage(amount, tuple(bought), tuple(
            (e, solver.times[e].names[row]) for e, rows in enumerate(decision.hired)
            for row in sorted(rows)), spent + hires,
            own.saved(solver, decision, before)))
    return tuple(out)


def _rides(solver: Solver, best: Decision, before: Decision,
           plans: Sequence[tuple[Plan, Plan]]) -> tuple[Ride, ...]:
    season, copies = solver.season, _copies(solver, best)
    out = []
    for e, (entry, there, rows, old, (plan, current)) in enumerate(zip(
            season.entries, solver.times, best.sets, before.sets, plans, strict=True)):
        draws = draws_of(entry.job, there.day)
        names, old_names = (tuple(there.names[row] for row in some) for some in (rows, old))
        time, time_before = (ride_days(one, there.day, draws, entry.job.effects, items).time[-1]
                             for one, items in ((plan, names), (current, old_names)))
        low, high = np.percentile(time_before - time, [5.0, 95.0])
        out.append(Ride(
            e, names, old_names, plan.finish_time, current.finish_time, float(low), float(high),
            tuple(there.names[row] for row in rows if row in best.hired[e]),
            tuple((there.names[row], number) for row, number in sorted(copies[e].items())),
            tuple(_lends(solver, best, e, old_names, copies))))
    return tuple(out)


def _with_chances(solver: Solver, rides: Sequence[Ride], best: Decision,
                  scores: Columns) -> tuple[Ride, ...]:
    """Rides with the chance of each to beat its target, as the choice has counted it."""
    return tuple(replace(
        ride, chance=-scores[ride.entry][best.sets[ride.entry]],
        fastest=None if any(scores[ride.entry].values()) else min(
            solver.columns[ride.entry][rows] for rows in scores[ride.entry])) for ride in rides)


def _lends(solver: Solver, best: Decision, e: int, before: Sequence[str],
           copies: Sequence[dict[int, int]]) -> Iterator[tuple[str, str, float]]:
    """Say what of an entry's current kit is with others on its days, and the seconds it costs."""
    season, here, names = solver.season, solver.season.entries[e], solver.times[e].names
    for item in before:
        pool, row = season.pool_of(here, item), names.index(item)
        if pool is None or season.pools[pool].rider or row in best.sets[e]:
            continue
        users = list(dict.fromkeys(
            entry.rider for entry, there, some in zip(season.entries, solver.times, copies,
                                                      strict=True)
            if season.in_use(entry, here.first, lent=True)
            and item in {there.names[k] for k in some}))
        if users:
            gain = _with(solver, best, e, item) / float(solver.weights[e])
            yield item, ", ".join(users), max(gain, 0.0)


def _copies(solver: Solver, best: Decision) -> list[dict[int, int]]:
    """Give each entry the number of the copy that it uses, of what is shared.

    It is the lowest at hand. Days of use are intervals, so that as many copies as are in use at
    one time are enough.
    """
    season = solver.season
    out: list[dict[int, int]] = [{} for _ in season.entries]
    order = sorted(range(len(season.entries)), key=lambda e: season.entries[e].first)
    for pool in season.pools:
        if pool.rider:
            continue
        for e in order:
            entry = season.entries[e]
            row = next((row for row, name in enumerate(solver.times[e].names)
                        if name == pool.item), None)
            if row is None or row not in best.sets[e] or row in best.hired[e]:
                continue
            away = {out[f][r] for f in order for r in out[f]
                    if solver.times[f].names[r] == pool.item
                    and season.in_use(season.entries[f], entry.first, lent=True)}
            out[e][row] = next(k for k in range(1, len(order) + 1) if k not in away)
    return out


def _bought(season: Season, solver: Solver, best: Decision) -> tuple[Bought, ...]:
    """Purchases by the day before which they are needed."""
    out = []
    for (p, step), count in best.bought.items():
        pool = season.pools[p]
        if pool.price <= 0:
            continue
        users = sorted((entry.first, entry.race, entry.rider) for e, entry in enumerate(
            season.entries) if season.pool_of(entry, pool.item) == p
            and season.step_at(entry.first) >= step
            and any(solver.times[e].names[row] == pool.item and row not in best.hired[e]
                    for row in best.sets[e]))
        saves = sum(_without(solver, best, e, pool.item) for e, entry in enumerate(season.entries)
                    if season.pool_of(entry, pool.item) == p)
        day, race, rider = users[0] if users else (season.entries[0].first, "", pool.rider)
        out += [Bought(p, pool.rider or rider, step, day, race, saves)] * count
    return tuple(sorted(out, key=lambda one: (one.day, one.rider, season.pools[one.pool].item)))


def _without(solver: Solver, best: Decision, e: int, item: str) -> float:
    """Weighted seconds that an entry loses without an item, and nothing in its place."""
    there, rows = solver.times[e], best.sets[e]
    left = [row for row in rows if there.names[row] != item]
    if len(left) == len(rows):
        return 0.0
    kept = there.search.rules.repair(there.search.rules.flags([left]))[0]
    return float(solver.weights[e]) * (there.time(tuple(np.flatnonzero(kept).tolist()))
                                       - there.time(rows))


def _gain(solver: Solver, best: Decision, p: int) -> float:
    """Weighted seconds that one more thing saves its riders, each race by itself.

    Of what is lent only one rider a day has it.
    """
    season, pool = solver.season, solver.season.pools[p]
    by_day: dict[object, float] = {}
    for e, entry in enumerate(season.entries):
        if season.pool_of(entry, pool.item) == p and pool.item in solver.times[e].names:
            key = entry.first if not pool.rider else (e, entry.first)
            by_day[key] = max(by_day.get(key, 0.0), _with(solver, best, e, pool.item))
    return sum(by_day.values())


def _with(solver: Solver, best: Decision, e: int, item: str) -> float:
    """Weighted seconds that an entry wins with an item in place of what is there; 0 if it can't."""
    there, rows = solver.times[e], best.sets[e]
    row, rules = there.names.index(item), there.search.rules
    if row in rows or not there.search.offer.usable[row]:
        return 0.0
    kept = {k for k in rows if rules.place_of[k] != rules.place_of[row]} | {row}
    kept |= set(rules.needed(row)) & set(rows)
    if not rules.feasible(rules.flags([sorted(kept)]))[0]:
        return 0.0
    return float(solver.weights[e]) * (there.time(rows) - there.time(tuple(sorted(kept))))


def _next(solver: Solver, best: Decision) -> tuple[NextPurchase, ...]:
    """Rank what to buy next with more money, most seconds for it first."""
    season, found = solver.season, []
    had = {p for p, _ in best.bought}
    for p, pool in enumerate(season.pools):
        if pool.most > 0 and pool.price > 0 and p not in had:
            seconds = _gain(solver, best, p)
            if seconds > season.least_gain:
                found.append(NextPurchase(p, pool.price, seconds))
    return tuple(sorted(found, key=lambda one: (one.price / one.seconds, one.pool)))


def _tests(solver: Solver, best: Decision,
           plans: Sequence[tuple[Plan, Plan]]) -> tuple[TestFirst, ...]:
    """Say what a better test of an item is worth before the money is spent.

    At what a second costs at the margin, buying it is better or worse by some seconds; a test that
    halves the standard error moves that with √(3/4) of it, and is worth that times the unit normal
    loss (Raiffa and Schlaifer 1961, chapter 5). Errors of one item are the same in every race.
    """
    season = solver.season
    money = sum(solver.money)
    slopes = [sensitivities(plan) for plan, _ in plans]
    had = {p for p, _ in best.bought}
    found = []
    for item in dict.fromkeys(pool.item for pool in season.pools):
        sd, margin = 0.0, math.inf
        for p, pool in enumerate(season.pools):
            if pool.item != item or pool.most < 1 or pool.price <= 0:
                continue
            for e, entry in enumerate(season.entries):
                if season.pool_of(entry, item) == p:
                    effect = next((one for one in entry.job.effects if one.item == item),
                                  Effect(item))
                    sd += float(solver.weights[e]) * evidence_sd(slopes[e], [effect])
            gain = (sum(_without(solver, best, e, item) for e, entry in enumerate(season.entries)
                        if season.pool_of(entry, item) == p) if p in had
                    else _gain(solver, best, p))
            margin = min(margin, abs(gain - money * pool.price))
        if sd > 0 and math.isfinite(margin):
            halved = sd * math.sqrt(0.75) * unit_loss(margin / (sd * math.sqrt(0.75)))
            if halved > _LEAST_TEST:
                found.append(TestFirst(item, sd, halved))
    return tuple(sorted(found, key=lambda test: (-test.halved, test.item)))


def _by_draws(solver: Solver, best: Decision, measure: Measure,
              level: float) -> tuple[Decision, Columns]:
    """Best season by a measure over drawn days, made of the kits that have a time, with its values.

    Each purchase on top of a season that is found gets a time too. Of seasons with the same chances
    it is the fastest, purchases counted, on the forecast days: so where no kit beats a target, its
    rider still has the best that is there.
    """
    season, answers = solver.season, []
    for entry, there, rows in zip(season.entries, solver.times, best.sets, strict=True):
        search, job, day = there.search, entry.job, there.day
        setup = search.evaluate(rows).setup
        plan = search.evaluator.own_plan(setup)  # type: ignore[attr-defined]
        draws = draw_days(day, job.baseline, job.effects, job.options.draws, job.options.seed)
        answers.append(response(plan, day, setup, rows, draws, job.effects, search.model))
    for _ in range(_ROUNDS):
        last = best
        columns: Columns = []
        for entry, there, answer, known in zip(season.entries, solver.times, answers,
                                               solver.columns, strict=True):
            rules = there.search.rules
            chosen = rules.flags(list(known))
            times = answer.times(chosen, rules.overlapping(chosen), np.array(list(known.values())))
            scores = measure.value(times, level, entry.target)
            columns.append(dict(zip(known, map(float, scores), strict=True)))
        best = _best_of(solver, columns, measure)
        if best.sets == last.sets:
            break
        _next(solver, best)
    return best, columns


def _best_of(solver: Solver, columns: Columns, measure: Measure) -> Decision:
    """Best season by the values of kits; of those with the same chances the fastest."""
    season = solver.season
    if not measure.chance:
        return by_columns(season, solver.times, columns, 1e-4)
    likeliest = by_columns(replace(season, least_gain=0.0), solver.times, columns, 1e-4)
    seconds = [{rows: known[rows] for rows in some}
               for known, some in zip(solver.columns, columns, strict=True)]
    found = by_columns(season, solver.times, seconds, 1e-4, among=(columns, likeliest.value))
    return replace(found, value=likeliest.value)
