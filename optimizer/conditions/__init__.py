"""Air and wind along the course, by place and time."""

from optimizer.conditions.conditions import Conditions, starting_at
from optimizer.conditions.draws import (
    WindDraws,
    draw_wind,
    spread_density,
    spread_wind,
)
from optimizer.conditions.members import AirDepartures, Members, with_members

__all__ = ["AirDepartures", "Conditions", "Members", "WindDraws", "draw_wind",
           "spread_density", "spread_wind", "starting_at", "with_members"]
