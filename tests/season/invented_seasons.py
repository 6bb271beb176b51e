"""Random small seasons, and the best of all there are, found by going through every one."""

from __future__ import annotations

import itertools
from datetime import date, timedelta

import numpy as np

from optimizer.day import RaceDay
from optimizer.evidence import Effect
from optimizer.job import Job, Options
from optimizer.kit import Catalogue, Item
from optimizer.kit.bound import Bound, coordinates
from optimizer.kit.choose import search_for
from optimizer.seasons.build import Stock, season_of
from optimizer.seasons.times import EntryTimes
from optimizer.seasons.values import Entry, Money
from tests.kit.invented import BASELINE, RIDER, road, wind

COURSE = road(np.random.default_rng(5), length=10_000.0)
FIRST = date(2031, 5, 3)


class Linear:
    """Time linear in drag: a thousandth of a square metre is a second, times `scale`."""

    def __init__(self, scale=1.0):
        self.scale = scale

    def time(self, setup):
        return 1000.0 + 1e3 * self.scale * float(setup.drag_area_change[0])

    def plan_own(self, *setups):
        pass

    def own_time(self, setup, time):  # noqa: ARG002
        return time

    def bounds(self, setups, half_range, within=np.inf):
        return [self.bound(setup, half_range, within) for setup in setups]

    def bound(self, setup, half_range, within):  # noqa: ARG002
        theta = coordinates(setup, RIDER.mass)
        slope = np.zeros_like(theta)
        slope[0] = 1e3 * self.scale / theta[1]
        flat = np.zeros((len(theta), len(theta)))
        return Bound(self.time(setup), theta, slope, flat, np.zeros_like(theta), 1e12, flat, 1e6,
                     1.0, 0.0)


def job_of(catalogue, effects, course=COURSE, conditions=None, step=400.0):
    return Job("invented", course, conditions or wind(0, 0), RIDER, BASELINE, catalogue, effects,
               0.0, "EUR", options=Options(step=step, draws=40))


def linear_times(season, scales):
    """Times of the entries by linear laws; each entry has its own."""
    out = []
    for entry, scale in zip(season.entries, scales, strict=True):
        job = entry.job
        search = search_for(RIDER, BASELINE, job.catalogue, job.effects, Linear(scale), {})
        out.append(EntryTimes(search, RaceDay(job.course, job.conditions, RIDER)))
    return out


def random_season(rng, *, gain=0.012, course=COURSE, conditions=None):
    """Two riders, up to two races each, five items of three places; one lent, some hired."""
    places = ("wheels", "helmet", "helmet", "clothing", "wheels")
    items, effects = [], []
    for k, place in enumerate(places):
        price = float(rng.integers(2, 12) * 20)
        items.append(Item(f"{place} {k}", place, price, owned=False, hire_price=float(
            rng.integers(1, 5) * 10) if rng.random() < 0.3 else None,
            mass=float(rng.uniform(-0.2, 0.2)), region="front" if k < 3 else ""))
        effects.append(Effect(f"{place} {k}", drag_area=np.array([-gain * rng.uniform(0.1, 1)])))
    job = job_of(Catalogue(tuple(items)), tuple(effects), course, conditions)
    days = [FIRST + timedelta(days=int(day)) for day in rng.choice([0, 0, 1, 7, 14], 4)]
    entries = []
    for rider in ("Ann", "Ben"):
        seen = set()
        for k, day in enumerate(days[:2] if rider == "Ann" else days[2:]):
            if day not in seen:
                seen.add(day)
                entries.append(Entry(rider, f"{rider} {k}", day, day,
                                     float(rng.choice([1.0, 2.0])), job))
    budget = float(rng.integers(3, 20) * 20)
    owns = {"Ann": [items[3].name]} if rng.random() < 0.5 else {}
    stock = {items[0].name: Stock(lent=True, most=1),
             items[1].name: Stock(most=int(rng.integers(0, 3)))}
    return season_of("invented", "EUR", entries, [Money(None, budget)], owns, stock,
                     least_gain=float(rng.choice([0.0, 0.5])), handover=int(rng.integers(0, 2)))


def best_of_all(season, times, time):
    """Least value over all seasons, by going through them; `time(e, rows)` [s]."""
    options = []
    pools = [[season.pool_of(entry, name) for name in there.names]
             for entry, there in zip(season.entries, times, strict=True)]
    in_use = {lent: [[season.in_use(other, entry.first, lent=lent) for other in season.entries]
                     for entry in season.entries]  # by the day of a race, then by who uses
              for lent in (False, True)}
    for e, (entry, there) in enumerate(zip(season.entries, times, strict=True)):
        rules, found = there.search.rules, []
        items = entry.job.catalogue.items
        for chosen in itertools.product([0, 1, 2], repeat=len(items)):  # not, own or bought, hired
            rows = tuple(k for k, how in enumerate(chosen) if how)
            if any(how == 2 and items[k].hire_price is None for k, how in enumerate(chosen)):
                continue
            if rules.feasible(rules.flags([rows]))[0]:
                hired = [k for k in rows if chosen[k] == 2]
                found.append((
                    entry.weight * time(e, rows) + season.least_gain * len(hired),
                    sum(items[k].hire_price for k in hired),
                    frozenset(k for k in rows if chosen[k] == 1)))
        options.append(found)
    best = np.inf
    for picked in itertools.product(*options):
        value, spend = sum(one[0] for one in picked), sum(one[1] for one in picked)
        if value >= best or spend > season.budget:
            continue
        used = {}
        for e, (_, _, kept) in enumerate(picked):
            for k in kept:
                used.setdefault(pools[e][k], []).append(e)
        bought, by_item = {}, {}
        for pool, users in used.items():
            most = max(sum(in_use[not season.pools[pool].rider][e][f] for f in users)
                       for e in users)
            bought[pool] = max(most - season.pools[pool].owned, 0)
            item = season.pools[pool].item
            by_item[item] = by_item.get(item, 0) + bought[pool]
        if any(count > season.pools[pool].most for pool, count in bought.items()):
            continue
        if any(by_item.get(item, 0) > most for item, most in season.stock):
            continue
        spend += sum(season.pools[pool].price * count for pool, count in bought.items())
        if spend <= season.budget + 1e-9:
            best = min(best, value + season.least_gain * sum(bought.values()))
    return best
