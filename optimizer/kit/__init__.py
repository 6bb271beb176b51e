"""Choosing kit under a budget."""

from optimizer.kit.catalogue import PLACES, Catalogue, Item, PairFactor, RuleSet
from optimizer.kit.choice import Alternative, Choice, KitSet
from optimizer.kit.choose import choose_kit
from optimizer.kit.terms import setup_of

__all__ = ["PLACES", "Alternative", "Catalogue", "Choice", "Item", "KitSet", "PairFactor",
           "RuleSet", "choose_kit", "setup_of"]
