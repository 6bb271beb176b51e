"""What can be bought, borrowed or used, and what goes with what."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Catalogue", "Item", "PairFactor"]


@dataclass(frozen=True)
class Item:
    """One thing that takes one place on bike or body.

    Attributes
    ----------
    name, place : an item fills its place; a place holds one item or stays as it is
    price : money to buy; 0 for what is owned
    hire_price : money to hire for the day, None if it is not to be had
    mass, wheel_inertia : change against the baseline [kg, kg m²]
    region : flow region; items in one region share their gains
    requires, excludes : names of items
    needs_fitter : fitting or adjusting it is for a qualified mechanic; `caution` says why
    forbidden_by : names of rule sets that do not allow it
    crosswind_limit : m/s at the rider
    cornering_factor : factor on corner speeds
    """

    name: str
    place: str
    price: float
    owned: bool = False
    hire_price: float | None = None
    mass: float = 0.0
    wheel_inertia: float = 0.0
    region: str = ""
    requires: tuple[str, ...] = ()
    excludes: tuple[str, ...] = ()
    needs_fitter: bool = False
    caution: str = ""
    forbidden_by: tuple[str, ...] = ()
    crosswind_limit: float = float("inf")
    cornering_factor: float = 1.0
    note: str = ""


@dataclass(frozen=True)
class PairFactor:
    """Two items together give `factor` times the smaller of their two drag gains less or more.

    The pair's drag change is a + b + factor * min(|a|, |b|) for two gains: 0.2 takes a fifth
    of the smaller gain away.
    """

    first: str
    second: str
    factor: float


@dataclass(frozen=True)
class Catalogue:
    """All items, with the pairs that do not simply add up."""

    items: tuple[Item, ...]
    pairs: tuple[PairFactor, ...] = ()

    @property
    def places(self) -> tuple[str, ...]:
        """Places in the order in which they first appear."""
        return tuple(dict.fromkeys(item.place for item in self.items))

    def __getitem__(self, name: str) -> Item:
        for item in self.items:
            if item.name == name:
                return item
        raise KeyError(name)
