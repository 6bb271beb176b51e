"""Minimum time over a fixed path."""

from optimizer.pacing.blocks import constant_power, constant_speed, figure_unit, rideable
from optimizer.pacing.plan import Block, Plan, RideablePlan
from optimizer.pacing.planner import bounded_twice, continuous_time, grid, plan_ride, problem_on
from optimizer.pacing.prepare import meeting, prepared_day, race_day, with_pedalling
from optimizer.pacing.problem import PacingProblem, pacing_problem
from optimizer.pacing.realism import Realism, realism
from optimizer.pacing.sensitivity import Sensitivities, sensitivities
from optimizer.pacing.simulate import (
    SimulatedRide,
    Variation,
    simulate,
    simulate_each,
    simulate_many,
)
from optimizer.pacing.solver import solve
from optimizer.pacing.terrain import recognisable_places

__all__ = [
           "Block",
           "PacingProblem",
           "Plan",
           "Realism",
           "RideablePlan",
           "Sensitivities",
           "SimulatedRide",
           "Variation",
           "bounded_twice",
           "constant_power",
           "constant_speed",
           "continuous_time",
           "figure_unit",
           "grid",
           "meeting",
           "pacing_problem",
           "plan_ride",
           "prepared_day",
           "problem_on",
           "race_day",
           "realism",
           "recognisable_places",
           "rideable",
           "sensitivities",
           "simulate",
           "simulate_each", "simulate_many",
           "solve",
           "with_pedalling",
]
