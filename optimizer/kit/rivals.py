"""How other kits stand to the chosen one on the same drawn days, and what the last money buys."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimizer.uncertainty import chance_faster

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from optimizer.kit.choice import Choice, KitSet
    from optimizer.kit.response import Response
    from optimizer.kit.terms import Terms

__all__ = ["EVEN", "Rival", "equal_rival", "likely_rival", "rivals_of", "weighed_kits"]

_SURE = 0.9  # chance from which one kit counts as clearly faster than another
EVEN = 0.6  # chance below which it may as well be the other way round


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

    @property
    def clear(self) -> bool:
        """Whether it is clearly slower, or clearly faster, than the chosen one."""
        return not 1.0 - _SURE < self.chance < _SURE


def weighed_kits(choice: Choice) -> list[KitSet]:
    """Give the kits that a choice by the forecast weighed: at every price, and item by item.

    Parameters
    ----------
    choice : with its frontier and alternatives

    Returns
    -------
    kits, each once
    """
    return [*choice.frontier, *(other.kit for other in choice.alternatives if other.kit)]


def rivals_of(chosen: KitSet, kits: Iterable[KitSet], answer: Response,
              terms: Terms) -> tuple[Rival, ...]:
    """Ride kits and the chosen one on the same days; fastest in the mean first.

    Parameters
    ----------
    chosen, kits : with the times of their own plans on the forecast day [s]
    answer : of all sets to the draws
    terms : of the catalogue

    Returns
    -------
    how each of `kits` stands to the chosen one, which is not among them
    """
    others = list({kit.items: kit for kit in kits if kit.items != chosen.items}.values())
    rules = terms.combinations
    flags = rules.flags([terms.rows(kit.items) for kit in (chosen, *others)])
    first, *times = answer.times(flags, rules.overlapping(flags), np.array(
        [kit.finish_time for kit in (chosen, *others)]))
    out = []
    for kit, drawn in zip(others, times, strict=True):
        low, middle, high = (float(x) for x in np.percentile(drawn, [5, 50, 95]))
        behind = tuple(float(x) for x in np.percentile(drawn - first, [5, 50, 95]))
        out.append(Rival(kit, float(drawn.mean()), low, middle, high,
                         (behind[0], behind[1], behind[2]), chance_faster(first, drawn)))
    return tuple(sorted(out, key=lambda rival: rival.mean))


def equal_rival(chosen: KitSet, rivals: Sequence[Rival], least_gain: float) -> Rival | None:
    """Cheapest kit that may as well be the faster one, or loses no more than that.

    Parameters
    ----------
    chosen : kit
    rivals : of it, on the same days
    least_gain : s that are given up for a cheaper kit

    Returns
    -------
    the rival, None where there is none
    """
    return next((rival for rival in _cheaper(chosen, rivals)
                 if rival.chance < EVEN or rival.behind[1] <= least_gain), None)


def likely_rival(chosen: KitSet, rivals: Sequence[Rival]) -> Rival | None:
    """Cheapest kit that the chosen one is likely, but not sure, to beat.

    Parameters
    ----------
    chosen : kit
    rivals : of it, on the same days

    Returns
    -------
    the rival, None where there is none
    """
    return next((rival for rival in _cheaper(chosen, rivals) if rival.chance < _SURE), None)


def _cheaper(chosen: KitSet, rivals: Sequence[Rival]) -> list[Rival]:
    return sorted((rival for rival in rivals if rival.kit.spend < chosen.spend - 1e-9),
                  key=lambda rival: rival.kit.spend)
