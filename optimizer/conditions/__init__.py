"""Air and wind along the course, by place and time."""

from optimizer.conditions.conditions import Conditions, starting_at
from optimizer.conditions.draws import WindDraws, draw_conditions, draw_wind, spread_wind

__all__ = ["Conditions", "WindDraws", "draw_conditions", "draw_wind", "spread_wind", "starting_at"]
