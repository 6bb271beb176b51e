"""Invented riders, roads and catalogues for the tests of the kit choice."""

from __future__ import annotations

import itertools

import numpy as np

from optimizer.conditions import Conditions
from optimizer.course import Corner, Course
from optimizer.evidence import Effect
from optimizer.kit import Catalogue, Item, PairFactor
from optimizer.physics import Setup
from optimizer.rider import Position, Rider

RIDER = Rider("invented", mass=74.0, critical_power=275.0, w_prime=18_000.0, max_power=800.0,
              positions=(Position("aero", 0.25),), critical_power_sd=5.0, drag_area_sd=0.004)
BASELINE = Setup("as it is", mass=9.0, rolling_resistance=0.0042)
PLACES = ("wheels", "tyres", "helmet", "clothing", "cables", "cockpit", "bottles", "shoes",
          "chain", "saddle", "gloves", "socks")


def road(rng: np.random.Generator, length: float = 20_000.0, turns: int = 1) -> Course:
    """A rolling out-and-back road with dead turns."""
    distance = np.linspace(0.0, length, int(length / 50) + 1)
    waves = rng.uniform(800, 6000, 3)
    elevation = sum(rng.uniform(0, 0.012) * wave / (2 * np.pi)
                    * np.sin(2 * np.pi * distance / wave + rng.uniform(0, 6)) for wave in waves)
    places = length * np.arange(1, turns + 1) / (turns + 1)
    limit = np.full(len(distance), np.inf)
    for place in places:
        limit = np.minimum(limit, np.sqrt(4.0**2 + 2 * 2.5 * np.abs(distance - place)))
    limit[limit > 25] = np.inf
    n = len(distance) - 1
    heading = np.where(np.searchsorted(places, distance[:-1], side="right") % 2 == 0, 0.3, 3.44)
    return Course(
        "invented", distance, np.zeros(n + 1), np.zeros(n + 1), np.asarray(elevation), heading,
        np.ones(n), limit, np.full(n, 0.03), np.ones(n),
        corners=tuple(Corner("turn", float(place), 5.0, 3.14, 4.0, u_turn=True)
                      for place in places))


def wind(speed: float, towards: float) -> Conditions:
    return Conditions(wind_east=np.array([[speed * np.sin(towards)]]),
                      wind_north=np.array([[speed * np.cos(towards)]]))


def catalogue(rng: np.random.Generator, per_place: tuple[int, ...], *,
              crossed: float = 0.3) -> tuple[Catalogue, tuple[Effect, ...]]:
    """Items with invented gains and prices; `crossed` of the places have to do with others."""
    items, effects = [], []
    for place, count in zip(PLACES, per_place, strict=False):
        for k in range(count):
            name = f"{place} {k}"
            strong = rng.uniform(0.1, 1.0)
            price = 0.0 if rng.random() < 0.1 else float(np.round(rng.uniform(0.3, 1.6)
                                                                  * strong * 600, -1) + 5)
            rolling = -0.0006 * strong * rng.random() if place == "tyres" else 0.0
            driven = 0.008 * strong if place == "chain" else 0.0
            plain = place in {"tyres", "chain"}
            gain = 0.0 if plain else -0.012 * strong * rng.uniform(0.2, 1.2)
            with_yaw = rng.random() < 0.3
            items.append(Item(
                name, place, price, owned=price == 0.0,
                mass=float(rng.uniform(-0.25, 0.25)),
                wheel_inertia=float(rng.uniform(-0.02, 0.02)) if place == "wheels" else 0.0,
                region=str(rng.choice(["front", "rear", ""])),
                cornering_factor=float(rng.choice([1.0, 0.97, 1.03])) if place == "tyres"
                else 1.0))
            effects.append(Effect(
                name, yaw=np.radians([0.0, 10.0]) if with_yaw else np.zeros(1),
                drag_area=gain * np.array([1.0, rng.uniform(0.8, 1.8)]) if with_yaw
                else np.array([gain]), drag_area_sd=abs(gain) * 0.3 + 1e-4,
                rolling_resistance=rolling, rolling_resistance_sd=abs(rolling) * 0.2,
                efficiency=driven, efficiency_sd=driven * 0.2))
    items, pairs = _cross(rng, items, crossed)
    return Catalogue(tuple(items), tuple(pairs)), tuple(effects)


def _cross(rng: np.random.Generator, items: list[Item],
           share: float) -> tuple[list[Item], list[PairFactor]]:
    """Some requirements, exclusions and pair factors between places."""
    from dataclasses import replace

    pairs, out = [], list(items)
    for k, item in enumerate(items):
        others = [other for other in items if other.place != item.place]
        if not others or rng.random() > share:
            continue
        other = others[rng.integers(len(others))]
        kind = rng.integers(3)
        if kind == 0:
            out[k] = replace(out[k], requires=(other.name,))
        elif kind == 1:
            out[k] = replace(out[k], excludes=(other.name,))
        elif not any({item.name, other.name} == {p.first, p.second} for p in pairs):
            pairs.append(PairFactor(item.name, other.name, float(rng.uniform(-0.3, 0.6))))
    return out, pairs


def every_set(wanted: Catalogue) -> list[tuple[str, ...]]:
    """All sets that places, requirements and exclusions allow."""
    choices = [[None, *(item for item in wanted.items if item.place == place)]
               for place in wanted.places]
    found = []
    for picked in itertools.product(*choices):
        chosen = [item for item in picked if item is not None]
        names = {item.name for item in chosen}
        if all(names.issuperset(item.requires) and names.isdisjoint(item.excludes)
               for item in chosen):
            found.append(tuple(item.name for item in chosen))
    return found


def sets_of(wanted: Catalogue, terms) -> np.ndarray:
    """(s, n) all sets of a catalogue, by the rows of its terms."""
    return terms.combinations.flags([terms.rows(names) for names in every_set(wanted)])


def as_sets(chosen: np.ndarray) -> set[tuple[int, ...]]:
    """Sets (s, n) as row numbers."""
    return {tuple(int(k) for k in np.flatnonzero(row)) for row in chosen}
