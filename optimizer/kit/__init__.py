"""Choosing kit under a budget."""

from optimizer.kit.catalogue import PLACES, Catalogue, Item, PairFactor, RuleSet
from optimizer.kit.choice import Choice, KitSet
from optimizer.kit.terms import setup_of

__all__ = ["PLACES", "Catalogue", "Choice", "Item", "KitSet", "PairFactor", "RuleSet", "setup_of"]
