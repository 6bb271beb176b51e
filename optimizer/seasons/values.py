"""What goes into the kit of a season and what comes out of it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING

from optimizer import defaults

if TYPE_CHECKING:
    from optimizer.job import Job
    from optimizer.uncertainty import Measure

__all__ = ["Bought", "Entry", "Money", "NextPurchase", "Point", "Pool", "Ride", "Season",
           "SeasonKit", "Stage", "TestFirst"]


@dataclass(frozen=True)
class Entry:
    """One rider in one race.

    Attributes
    ----------
    rider, race : names
    first, last : days on which the kit is needed
    weight : what a second of this race counts
    job : course, conditions, rider, bike, catalogue and evidence of this ride
    target : time to beat [s], where the chance of that is the objective
    borrowed : items that are there for this race by a loan of its own
    own : items that the rider has already or that cost nothing, whoever else may use them
    """

    rider: str
    race: str
    first: date
    last: date
    weight: float
    job: Job
    target: float = 0.0
    borrowed: tuple[str, ...] = ()
    own: tuple[str, ...] = ()


@dataclass(frozen=True)
class Pool:
    """Copies of one item that the same entries may use, each copy by one at a time.

    Attributes
    ----------
    item : name in the catalogues of the entries
    rider : whose they are; "" for what is lent among all riders
    price : of a new copy
    resale : what one bought brings at the end of the season
    owned : copies that are there already
    most : copies that can be bought besides
    """

    item: str
    rider: str
    price: float
    resale: float = 0.0
    owned: int = 0
    most: int = 1


@dataclass(frozen=True)
class Money:
    """What may have been spent in all until more comes: from a day on, None from the start."""

    since: date | None
    in_all: float


@dataclass(frozen=True)
class Season:
    """Riders, races, what there is and what can be had.

    Attributes
    ----------
    entries : who rides where
    pools : an item of an entry's catalogue without a pool cannot be bought or lent, but hired
    money : rising, in the order of their days
    stock : item and how many of it can be bought, over all pools
    handover : days that a lent thing takes from one rider to the next
    resale_counts : whether money that comes back at the end may be spent before
    least_gain : s, what each purchase and each hire has to save; it is counted against it
    dated : whether the days are those of a calendar, and not only an order
    notes : what is odd about its files
    """

    name: str
    currency: str
    entries: tuple[Entry, ...]
    pools: tuple[Pool, ...]
    money: tuple[Money, ...]
    stock: tuple[tuple[str, int], ...] = ()
    handover: int = 0
    resale_counts: bool = False
    least_gain: float = defaults.LEAST_GAIN.value
    dated: bool = True
    notes: tuple[str, ...] = ()

    @property
    def budget(self) -> float:
        """Money in all."""
        return self.money[-1].in_all

    def pool_of(self, entry: Entry, item: str) -> int | None:
        """Find the number of the pool from which an entry takes an item."""
        return next((k for k, pool in enumerate(self.pools)
                     if pool.item == item and pool.rider in {"", entry.rider}), None)

    def apart(self) -> Season:
        """Season in which nobody spends or shares: each rider has what is their own."""
        own = dict.fromkeys((item, entry.rider) for entry in self.entries for item in entry.own)
        return replace(self, money=(Money(None, 0.0),), stock=(), pools=tuple(
            Pool(item, rider, 0.0, owned=len(self.entries), most=0) for item, rider in own))

    def in_use(self, entry: Entry, day: date, *, lent: bool) -> bool:
        """Whether what an entry uses is away on a day; what is `lent` takes days to hand over."""
        return entry.first <= day <= entry.last + timedelta(days=self.handover * lent)

    def step_at(self, day: date) -> int:
        """Find the number of the last amount of money that is there on a day, -1 for none."""
        return max((k for k, money in enumerate(self.money)
                    if money.since is None or money.since <= day), default=-1)


@dataclass(frozen=True)
class Ride:
    """What an entry rides, and what that saves.

    Attributes
    ----------
    entry : number of the entry
    items, before : the kit, and the current one: the best of what the rider has, with the changes
        that cost nothing
    time, time_before : on the forecast day, each with a plan of its own [s]
    low, high : 5 and 95 % points of what is saved on common drawn days [s]
    hired : those of `items` that are hired for the race
    copies : of those that are lent among riders the number of the copy, from 1
    lends : items of `before` that others have for the race, who, and what that costs here [s]
    chance : to beat the entry's target on common drawn days, where that is the objective
    fastest : s on the forecast day, of the kits that were looked at, where none of them has a
        chance to beat the target
    """

    entry: int
    items: tuple[str, ...]
    before: tuple[str, ...]
    time: float
    time_before: float
    low: float
    high: float
    hired: tuple[str, ...] = ()
    copies: tuple[tuple[str, int], ...] = ()
    lends: tuple[tuple[str, str, float], ...] = ()
    chance: float | None = None
    fastest: float | None = None

    @property
    def saved(self) -> float:
        """Seconds saved on the forecast day."""
        return self.time_before - self.time


@dataclass(frozen=True)
class Bought:
    """A purchase: its pool, who rides it first and when, the step of the money that pays it.

    `saves` are the weighted seconds that the season would lose without it and nothing in its place.
    """

    pool: int
    rider: str
    step: int
    day: date
    race: str
    saves: float


@dataclass(frozen=True)
class NextPurchase:
    """One more thing on top of the plan: its pool, its price, the weighted seconds it saves."""

    pool: int
    price: float
    seconds: float


@dataclass(frozen=True)
class TestFirst:
    """An item whose test is worth something before money is spent on it.

    `sd` of what it saves over the season, `halved` what a test wins that halves it [s].
    """

    item: str
    sd: float
    halved: float


@dataclass(frozen=True)
class Point:
    """Best season found at one budget, by the seconds of the forecast days, or the chosen one.

    `saved` are weighted seconds by a plan of its own for each kit; `bought` and `hired` are what
    is paid for, in words; `gap` [s] by which another season with this money may be better over the
    model, inf where that is not known.
    """

    budget: float
    spend: float
    saved: float
    bought: tuple[str, ...]
    hired: tuple[str, ...]
    chosen: bool
    gap: float = math.inf


@dataclass(frozen=True)
class Stage:
    """What to buy when the money has come to `money` in all, on top of what was bought before.

    `bought` are pools, `hired` entries with the item that is hired if the races are ridden now;
    `spend` all purchases so far and these hires, `saved` weighted seconds.
    """

    money: float
    bought: tuple[int, ...]
    hired: tuple[tuple[int, str], ...]
    spend: float
    saved: float


@dataclass(frozen=True)
class SeasonKit:
    """A plan of purchases, hires and rides for a season.

    Attributes
    ----------
    measure, level : what was chosen by
    rides : in the order of the entries
    bought : in the order of their days
    spend : purchases and hires
    returned : resale of what was bought
    value : of the objective; by the forecast the weighted times and what is counted against
        purchases and hires [s]
    gap : s, over the model no season's value is less by more than this; inf where by draws
    frontier : by budget, rising
    next : purchases with more money, most seconds for it first
    tests : what to test first
    stages : purchases as the money comes
    rounds, looked_at : programs of the proof; kits with a time
    """

    season: Season
    measure: Measure
    level: float
    rides: tuple[Ride, ...]
    bought: tuple[Bought, ...]
    spend: float
    returned: float
    value: float
    gap: float
    frontier: tuple[Point, ...]
    next: tuple[NextPurchase, ...]
    tests: tuple[TestFirst, ...]
    stages: tuple[Stage, ...]
    rounds: int
    looked_at: int

    @property
    def saved(self) -> float:
        """Weighted seconds saved on the forecast days."""
        return sum(self.season.entries[ride.entry].weight * ride.saved for ride in self.rides)
