"""Air and wind along the course, by place and time."""

from optimizer.conditions.conditions import Conditions

__all__ = ["Conditions"]
