"""Any currency of an aero test to one honest figure."""

from optimizer.evidence.effect import Effect

__all__ = ["Effect"]
