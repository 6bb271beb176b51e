"""A catalogue in arrays: what each item adds, and what overlapping items lose."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimizer.evidence import Effect
from optimizer.kit.combinations import Combinations, Overlap
from optimizer.physics import Setup

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from optimizer.kit.catalogue import Catalogue

__all__ = ["Terms", "setup_of", "tabulate"]


@dataclass(frozen=True)
class Terms:
    """What n items change against the baseline, at m yaw angles.

    Attributes
    ----------
    names : of the items, in the order of the catalogue
    yaw : (m,) rad
    drag : (n, m) m²
    drag_sd : (n,) m²
    rolling, rolling_sd, efficiency, efficiency_sd, mass, mass_sd, inertia : (n,) SI
    cost : (n,) money
    cornering : (n,) factor on corner speeds
    crosswind : (n,) m/s
    combinations : what may be together, and what overlaps
    """

    names: tuple[str, ...]
    yaw: NDArray[np.float64]
    drag: NDArray[np.float64]
    drag_sd: NDArray[np.float64]
    rolling: NDArray[np.float64]
    rolling_sd: NDArray[np.float64]
    efficiency: NDArray[np.float64]
    efficiency_sd: NDArray[np.float64]
    mass: NDArray[np.float64]
    mass_sd: NDArray[np.float64]
    inertia: NDArray[np.float64]
    cost: NDArray[np.float64]
    cornering: NDArray[np.float64]
    crosswind: NDArray[np.float64]
    combinations: Combinations

    def rows(self, names: Iterable[str]) -> list[int]:
        """Row numbers of items, increasing."""
        place = {name: row for row, name in enumerate(self.names)}
        return sorted(place[name] for name in names)

    def setup(self, baseline: Setup, rows: Sequence[int]) -> Setup:
        """Baseline with the items of `rows`."""
        chosen = list(rows)
        drag = np.interp(self.yaw, baseline.yaw, baseline.drag_area_change)
        drag = drag + self.drag[chosen].sum(axis=0)
        for over in self.combinations.counted(chosen):
            drag = drag + over.loss
        return Setup(
            name=" + ".join(self.names[row] for row in chosen) or baseline.name,
            mass=baseline.mass + float(self.mass[chosen].sum()),
            rolling_resistance=baseline.rolling_resistance + float(self.rolling[chosen].sum()),
            drivetrain_efficiency=(baseline.drivetrain_efficiency
                                   + float(self.efficiency[chosen].sum())),
            wheel_inertia=baseline.wheel_inertia + float(self.inertia[chosen].sum()),
            wheel_radius=baseline.wheel_radius, yaw=self.yaw, drag_area_change=drag,
            bearing=baseline.bearing,
            cornering_factor=baseline.cornering_factor * float(self.cornering[chosen].prod()),
            crosswind_limit=float(self.crosswind[chosen].min(initial=baseline.crosswind_limit)),
            rolling_resistance_sd=baseline.rolling_resistance_sd, mass_sd=baseline.mass_sd)


def tabulate(baseline: Setup, catalogue: Catalogue, effects: Sequence[Effect],
             filled: Sequence[str] = ()) -> Terms:
    """Arrays of a catalogue; an item without an effect in `effects` changes mass only.

    A mass change in the evidence takes the place of the one in the catalogue.

    Parameters
    ----------
    baseline : bike as it stands
    catalogue : items that could be had
    effects : what each item does
    filled : places that may not stay as they are

    Returns
    -------
    arrays by item, SI
    """
    known = {effect.item: effect for effect in effects}
    found = [known.get(item.name, Effect(item.name)) for item in catalogue.items]
    # One yaw table for all sets, so that their drag is a plain sum.
    yaw = np.unique(np.concatenate([[0.0], baseline.yaw, *(effect.yaw for effect in found)]))
    drag = np.array([np.interp(yaw, effect.yaw, effect.drag_area) for effect in found])
    drag = drag.reshape(len(found), len(yaw))  # also where there is no item
    items = catalogue.items

    def column(values: Iterable[float]) -> NDArray[np.float64]:
        return np.array(list(values), dtype=float)

    return Terms(
        names=tuple(item.name for item in items), yaw=yaw, drag=drag,
        drag_sd=column(effect.drag_area_sd for effect in found),
        rolling=column(effect.rolling_resistance for effect in found),
        rolling_sd=column(effect.rolling_resistance_sd for effect in found),
        efficiency=column(effect.efficiency for effect in found),
        efficiency_sd=column(effect.efficiency_sd for effect in found),
        mass=column(effect.mass or item.mass for item, effect in zip(items, found, strict=True)),
        mass_sd=column(effect.mass_sd for effect in found),
        inertia=column(item.wheel_inertia for item in items),
        cost=column(item.cost for item in items),
        cornering=column(item.cornering_factor for item in items),
        crosswind=column(item.crosswind_limit for item in items),
        combinations=_combinations(catalogue, drag, filled))


def setup_of(baseline: Setup, catalogue: Catalogue, effects: Sequence[Effect],
             items: Iterable[str]) -> Setup:
    """Baseline with items of the catalogue, gains that overlap counted as such.

    Parameters
    ----------
    baseline : bike as it stands
    catalogue : items and the factors of pairs
    effects : what each item does
    items : names of those in the set

    Returns
    -------
    the bike with them: masses [kg], CdA [m²] against yaw, Crr, efficiency
    """
    terms = tabulate(baseline, catalogue, effects)
    return terms.setup(baseline, terms.rows(items))


def _combinations(catalogue: Catalogue, drag: NDArray[np.float64],
                  filled: Sequence[str]) -> Combinations:
    items = catalogue.items
    row = {item.name: k for k, item in enumerate(items)}
    return Combinations(
        count=len(items),
        places=tuple(np.array([k for k, item in enumerate(items) if item.place == place])
                     for place in catalogue.places),
        requires=tuple((k, row[name]) for k, item in enumerate(items) for name in item.requires),
        excludes=tuple((k, row[name]) for k, item in enumerate(items) for name in item.excludes),
        overlaps=_overlaps(catalogue, drag), regions=_regions(catalogue, drag),
        filled=tuple(catalogue.places.index(place) for place in filled))


def _overlaps(catalogue: Catalogue, drag: NDArray[np.float64]) -> tuple[Overlap, ...]:
    """Losses by discounted item: of two gains the smaller one (in the mean over yaw) pays.

    Where several partners would take from it, the loss grows from the largest down, so that
    in any set the discounted item loses exactly what the partner that takes most would take.
    """
    gain = np.maximum(-drag, 0.0)
    size = _size(drag)
    losses: dict[int, list[tuple[float, int, NDArray[np.float64]]]] = {}
    found: list[Overlap] = []
    for (i, j), factor in _factors(catalogue).items():
        discounted, partner = (i, j) if (size[i], -i) < (size[j], -j) else (j, i)
        loss = factor * np.minimum(gain[discounted], gain[partner])
        if not loss.any():
            continue
        if factor < 0:
            found.append(Overlap(discounted, (partner,), loss))
        else:
            losses.setdefault(discounted, []).append((-float(loss.mean()), partner, loss))
    for discounted, ranked in losses.items():
        ranked.sort(key=lambda entry: entry[:2])
        for rank, (_, _, loss) in enumerate(ranked):
            below = ranked[rank + 1][2] if rank + 1 < len(ranked) else np.zeros_like(loss)
            if (loss != below).any():
                partners = tuple(partner for _, partner, _ in ranked[:rank + 1])
                found.append(Overlap(discounted, partners, loss - below))
    return tuple(found)


def _size(drag: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) gain of items in the mean over yaw [m²]."""
    return np.asarray(np.maximum(-drag, 0.0).mean(axis=1))


def _regions(catalogue: Catalogue, drag: NDArray[np.float64]) -> tuple[tuple[int, ...], ...]:
    """Items by region, in the order in which `_overlaps` lets the later ones pay."""
    size = _size(drag)
    order = sorted(range(len(catalogue.items)), key=lambda row: (-size[row], row))
    names = sorted({item.region for item in catalogue.items} - {""})
    return tuple(tuple(row for row in order if catalogue.items[row].region == name)
                 for name in names)


def _factors(catalogue: Catalogue) -> dict[tuple[int, int], float]:
    """Factor of each pair of row numbers that can be in one set."""
    items, region = catalogue.items, dict(catalogue.region_factors)
    named = {frozenset((pair.first, pair.second)): pair.factor for pair in catalogue.pairs}
    found = {}
    for i, first in enumerate(items):
        for j in range(i + 1, len(items)):
            second = items[j]
            if first.place == second.place:
                continue
            shared = first.region == second.region != ""
            factor = named.get(frozenset((first.name, second.name)),
                               region.get(first.region, catalogue.region_factor) if shared else 0.0)
            if factor:
                found[i, j] = factor
    return found
