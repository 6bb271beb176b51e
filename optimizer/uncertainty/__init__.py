"""What is not known on the day: what is drawn, how a day is ridden, and what comes of it.

Every range and chance that a person sees comes from here, so that one set of kit has one range on
every screen, and two sets are compared on the same days.
"""

from optimizer.uncertainty.draws import Draws, draw_days
from optimizer.uncertainty.fork import Branch, Fork, fork_in
from optimizer.uncertainty.margin import (
           Kept,
           allowed_as_printed,
           chance_as_printed,
           day_within_risk,
)
from optimizer.uncertainty.measures import FORECAST, MEASURES, Measure, measure_of
from optimizer.uncertainty.riding import (
           Manner,
           Way,
           ability,
           allowed,
           ride_days,
           ride_each_way,
           runs_out,
)
from optimizer.uncertainty.summary import chance_faster, spread

__all__ = ["FORECAST", "MEASURES", "Branch", "Draws", "Fork", "Kept", "Manner", "Measure", "Way",
           "ability", "allowed", "allowed_as_printed", "chance_as_printed", "chance_faster",
           "day_within_risk", "draw_days", "fork_in", "measure_of", "ride_days", "ride_each_way",
           "runs_out", "spread"]
