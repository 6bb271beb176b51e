"""Recorded rides: field tests and debriefs."""

from optimizer.ride.ride import Ride

__all__ = ["Ride"]
