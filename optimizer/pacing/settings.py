"""Rows, tolerances and constants of the pacing program, for a solver that is written elsewhere.

The page of the report plans by itself; what it has to know stands in the modules that use it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from optimizer.pacing.convex import convex_program
from optimizer.pacing.interior_point import SETTINGS as METHOD
from optimizer.pacing.planner import SETTINGS as ROUNDS
from optimizer.pacing.problem import COASTING_POWER, FASTEST
from optimizer.pacing.simulate import SETTINGS as RIDING
from optimizer.pacing.solver import SETTINGS as POLISH
from optimizer.physics.road_load import GRAVITY, YAW_CELLS
from optimizer.rider.power_duration import HALF_HOUR

if TYPE_CHECKING:
    from optimizer.pacing.problem import PacingProblem

__all__ = ["solver_settings"]


def solver_settings(problem: PacingProblem) -> dict[str, Any]:
    """Give settings by name, SI.

    Parameters
    ----------
    problem : whose rows count

    Returns
    -------
    constants by name; `rows` are the names of the program's rows in their order, `sizes` what is a
    large value in each; of rows in joules as a share of W', which may be another one there
    """
    rows = convex_program(problem).rows
    return {**METHOD, **POLISH, **ROUNDS, **RIDING, "fastest": FASTEST,
            "coasting_power": COASTING_POWER, "gravity": GRAVITY, "yaw_cells": YAW_CELLS,
            "half_hour": HALF_HOUR, "rows": [row.name for row in rows],
            "sizes": [row.size / (problem.w_prime if row.unit == "J" else 1.0) for row in rows],
            "in_joules": [row.unit == "J" for row in rows]}
