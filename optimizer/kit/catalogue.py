"""What can be bought, borrowed or used, and what goes with what."""

from __future__ import annotations

from dataclasses import dataclass, replace

__all__ = ["PLACES", "REGION_FACTOR", "Catalogue", "Item", "PairFactor", "RuleSet"]

REGION_FACTOR = 0.25
"""Share of the smaller of two drag gains that is lost where both are in one flow region and
nothing is known about the pair. An assumption: no published figure was found."""

PLACES = (
    "frame", "fork", "cockpit", "arm rests", "cables", "brakes", "wheels", "front wheel",
    "rear wheel", "tyres", "front tyre", "rear tyre", "inner tubes", "drivetrain", "chain",
    "chainrings", "cranks", "pulleys", "bearings", "pedals", "saddle", "seat post", "bottles",
    "storage", "computer mount", "number plate", "lights", "helmet", "visor", "clothing",
    "base layer", "gloves", "socks", "shoes", "overshoes", "body", "position")
"""Places on bike and body with a name of their own; any other is written "other: name"."""


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

    @property
    def cost(self) -> float:
        """Money to have it on the day: nothing if owned, else the cheaper of buying and hiring."""
        if self.owned:
            return 0.0
        return self.price if self.hire_price is None else min(self.price, self.hire_price)

    @property
    def hired(self) -> bool:
        """Whether hiring is the cheaper way to have it."""
        return not self.owned and self.hire_price is not None and self.hire_price < self.price


@dataclass(frozen=True)
class PairFactor:
    """Two items together give `factor` times the smaller of their two drag gains less or more.

    The pair's drag change is a + b + factor * min(|a|, |b|) for two gains: 0.2 takes a fifth
    of the smaller gain away. Where more than two overlap, an item loses once, to the partner
    with a larger gain that takes most from it; negative factors add up.
    """

    first: str
    second: str
    factor: float


@dataclass(frozen=True)
class Catalogue:
    """All items, with the pairs that do not simply add up.

    `region_factors` are factors for any two items of a region that are not named as a pair;
    `region_factor` holds for the regions without one.
    """

    items: tuple[Item, ...]
    pairs: tuple[PairFactor, ...] = ()
    region_factors: tuple[tuple[str, float], ...] = ()
    region_factor: float = REGION_FACTOR

    @property
    def places(self) -> tuple[str, ...]:
        """Places in the order in which they first appear."""
        return tuple(dict.fromkeys(item.place for item in self.items))

    def __getitem__(self, name: str) -> Item:
        for item in self.items:
            if item.name == name:
                return item
        raise KeyError(name)


@dataclass(frozen=True)
class RuleSet:
    """What the rules of a kind of event do not allow, as the user wrote it down.

    `items` and `places` are names with the reason. The event's own rules and its officials
    decide; this only keeps the choice from proposing what is known to be refused.
    """

    name: str
    items: tuple[tuple[str, str], ...] = ()
    places: tuple[tuple[str, str], ...] = ()
    note: str = ""

    def apply(self, catalogue: Catalogue) -> Catalogue:
        """Mark what these rules forbid."""
        items, places = dict(self.items), dict(self.places)
        return replace(catalogue, items=tuple(
            replace(item, forbidden_by=(*item.forbidden_by, self.name))
            if (item.name in items or item.place in places) and self.name not in item.forbidden_by
            else item for item in catalogue.items))
