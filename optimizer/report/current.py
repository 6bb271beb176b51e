"""What counts as the current kit: what is owned, and changes that cost nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING

from optimizer.report.words import listing

if TYPE_CHECKING:
    from optimizer.kit import Catalogue, KitSet

__all__ = ["current_kit", "free_changes", "free_words"]


def free_changes(catalogue: Catalogue, current: KitSet) -> list[str]:
    """Name the items of the current kit that are not owned but cost nothing."""
    return [name for name in current.items
            if not catalogue[name].owned and catalogue[name].cost == 0]


def current_kit(catalogue: Catalogue, current: KitSet) -> str:
    """Say what a gain is measured against."""
    return ("your current kit with free changes" if free_changes(catalogue, current) else
            "your current kit")


def free_words(catalogue: Catalogue, current: KitSet, chosen: KitSet) -> str:
    """Advise the free changes of the chosen kit, and say which the current kit counts with.

    Empty where there are none.
    """
    free = free_changes(catalogue, current)
    if not free:
        return ""
    advised = free_changes(catalogue, chosen)
    advice = f"Change for free: {listing(advised)}. " if advised else ""
    counted = ("these" if len(free) > 1 else "that") if free == advised else listing(free)
    return f"{advice}The time with your current kit counts with {counted} already."
