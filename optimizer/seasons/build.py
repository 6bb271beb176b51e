"""A season from what its files say: pools of copies, and entries that know what they have."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING

from optimizer.errors import InputError
from optimizer.seasons.values import Entry, Money, Pool, Season

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from optimizer.job import Job

__all__ = ["Stock", "season_of", "season_of_scenarios"]

_FIRST = date(2000, 1, 1)  # where races have an order and no date


@dataclass(frozen=True)
class Stock:
    """What there is of an item beside what riders own, and how it is had.

    `lent` among all riders; `owned` by the club; `most` that can be bought, None without a limit;
    `resale` of one at the end.
    """

    lent: bool = False
    owned: int = 0
    most: int | None = None
    resale: float = 0.0


def season_of(name: str, currency: str, entries: Sequence[Entry], money: Sequence[Money],
              owns: Mapping[str, Sequence[str]], stock: Mapping[str, Stock], *,
              least_gain: float, handover: int = 0, resale_counts: bool = False) -> Season:
    """Put a season together.

    Parameters
    ----------
    name, currency : of the season and of its money
    entries : a rider in a race each
    money : and from when it is there
    owns : items by rider, beside those that a catalogue lists as owned
    stock : what is lent or limited, by item
    least_gain : s that a purchase has to save
    handover : days that a lent thing needs between riders
    resale_counts : whether what comes back can be spent

    Returns
    -------
    the season

    Raises
    ------
    InputError
        where two entries of one rider, or two of a lent thing, ask other prices
    """
    pools: dict[tuple[str, str], Pool] = {}
    asked: dict[tuple[str, str], str] = {}
    riders = tuple(dict.fromkeys(entry.rider for entry in entries))
    ready = []
    for entry in entries:
        items, own = [], []
        for item in entry.job.catalogue.items:
            held = stock.get(item.name, Stock())
            mine = item.owned or item.name in owns.get(entry.rider, ())
            rider = "" if held.lent else entry.rider
            key = item.name, rider
            price = 0.0 if item.owned else item.price
            if key not in pools:
                owned = (held.owned + sum(item.name in owns.get(one, ()) for one in riders)
                         if held.lent else int(mine))
                free = len(riders) if held.lent else 1 - owned
                most = free if held.most is None else min(held.most, free)
                pools[key] = Pool(item.name, rider, price, held.resale, owned, max(most, 0))
                asked[key] = entry.race
            elif pools[key].price != price:
                raise InputError(
                    entry.job.name, item.name, f"costs {price:g} here and {pools[key].price:g} in "
                    f"{asked[key]}", "an item that one rider uses in several races needs one price")
            if mine or (price == 0 and held.most is None):
                own.append(item.name)
            # What is there costs this ride nothing.
            items.append(replace(item, owned=pools[key].owned > 0 or item.name in entry.borrowed))
        ready.append(replace(entry, own=tuple(own), job=replace(entry.job, catalogue=replace(
            entry.job.catalogue, items=tuple(items)))))
    return Season(name, currency, tuple(ready), tuple(pools.values()), tuple(money),
                  tuple((item, held.most) for item, held in stock.items()
                        if held.most is not None), handover, resale_counts, least_gain)


def season_of_scenarios(name: str, jobs: Sequence[tuple[str, Job]], budget: float,
                        least_gain: float) -> Season:
    """Season of scenarios of which each is a race of its own, one after the other; nothing is lent.

    `jobs` with the name of their rider; what one rider buys serves in all of their races.

    Parameters
    ----------
    name : of the season
    jobs : with the name of their rider; what one rider buys serves in all of their races
    budget : money for all
    least_gain : s that a purchase has to save

    Returns
    -------
    the season
    """
    races, seen = [], dict[str, int]()
    for k, (rider, job) in enumerate(jobs):
        seen[job.name] = seen.get(job.name, 0) + 1
        race = job.name if seen[job.name] == 1 else f"{job.name} ({seen[job.name]})"
        day = _FIRST + timedelta(weeks=k)
        races.append(Entry(rider, race, day, day, 1.0, job))
    made = season_of(name, jobs[0][1].currency, races, [Money(None, budget)], {}, {},
                     least_gain=least_gain)
    return replace(made, dated=False)
