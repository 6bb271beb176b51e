"""What the rider can do: power against duration, reserve, positions."""

from optimizer.rider.rider import Position, Rider

__all__ = ["Position", "Rider"]
