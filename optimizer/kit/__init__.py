"""Choosing kit under a budget."""

from optimizer.kit.catalogue import Catalogue, Item, PairFactor
from optimizer.kit.choice import Choice, KitSet

__all__ = ["Catalogue", "Choice", "Item", "KitSet", "PairFactor"]
