"""The race day: course, weather and rider as that day leaves them, for every set of kit alike."""

from optimizer.day.race_day import Pedalling, RaceDay

__all__ = ["Pedalling", "RaceDay"]
