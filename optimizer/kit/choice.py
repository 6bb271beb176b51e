"""A set of kit, and the choice among sets."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from optimizer.physics import Setup

__all__ = ["Alternative", "Choice", "KitSet"]


@dataclass(frozen=True)
class KitSet:
    """Some items of the catalogue with what they cost and the time of their own best plan.

    `items` are names; `spend` counts what is not owned; `finish_time`, `lower_bound` [s] come
    from a re-optimised plan.
    """

    items: tuple[str, ...]
    spend: float
    setup: Setup
    finish_time: float
    lower_bound: float


@dataclass(frozen=True)
class Alternative:
    """The best set within the budget that decides otherwise about one item.

    `seconds` it is slower than the best set; `kit` is None where there is no such set.
    """

    item: str
    kit: KitSet | None
    seconds: float


@dataclass(frozen=True)
class Choice:
    """The best set within a budget, with everything that was weighed against it.

    Attributes
    ----------
    budget, currency : the money
    owned : the fastest set that costs nothing
    best : the cheapest set that is at most `least_gain` slower than the fastest within the budget
    frontier : sets that no cheaper set beats, by spend, from `owned` up
    proven_gap : s, no set within the budget is faster than `fastest` by more than this
    left_out : item -> why it is not in the best set
    alternatives : for each item the best set without it, if `best` holds it, else with it
    frontier_gap : s, no set at any spend is faster than the frontier by more than this
    sets, planned : how many sets there are, requirements and exclusions apart, and how many were
        planned to rule out the others
    program_gap : s, the same as `proven_gap` by an integer program on its own; inf where there
        are too many items for it
    least_gain : s that `best` may be slower than the fastest set, to be cheaper
    without_changes : the fastest set of what is owned alone, where `owned` has free changes; None
        where it has none
    kept : items of an earlier plan, which this choice keeps to as far as the day allows; None where
        the choice was free. All sets then cost what they cost in that plan
    """

    budget: float
    currency: str
    owned: KitSet
    best: KitSet
    frontier: tuple[KitSet, ...]
    proven_gap: float
    left_out: tuple[tuple[str, str], ...] = ()
    alternatives: tuple[Alternative, ...] = ()
    frontier_gap: float = float("inf")
    sets: float = 0.0
    planned: int = 0
    program_gap: float = float("inf")
    least_gain: float = 0.0
    without_changes: KitSet | None = None
    kept: tuple[str, ...] | None = None

    @property
    def fastest(self) -> KitSet:
        """The fastest set within the budget."""
        return min((self.best, *(kit for kit in self.frontier if kit.spend <= self.budget)),
                   key=lambda kit: kit.finish_time)

    def open_to(self, kit: KitSet) -> float:
        """Seconds by more than which no set within the budget is faster than one."""
        return max(kit.finish_time - self.fastest.finish_time, 0.0) + self.proven_gap

    @property
    def changes_save(self) -> float:
        """Seconds that the free changes of `owned` save."""
        return (0.0 if self.without_changes is None else
                self.without_changes.finish_time - self.owned.finish_time)
