"""From any unit of an aero test to one figure with its uncertainty."""

from optimizer.evidence.datum import Datum, Figure
from optimizer.evidence.effect import Effect, Grounds
from optimizer.evidence.pool import pool_effects
from optimizer.evidence.reference import Reference

__all__ = ["Datum", "Effect", "Figure", "Grounds", "Reference", "pool_effects"]
