"""Minimum time over a fixed path."""

from optimizer.pacing.plan import Block, Plan, RideablePlan
from optimizer.pacing.planner import grid, plan_ride
from optimizer.pacing.problem import PacingProblem, pacing_problem
from optimizer.pacing.sensitivity import Sensitivities, sensitivities
from optimizer.pacing.simulate import Ride, Variation, simulate, simulate_many
from optimizer.pacing.solver import solve

__all__ = ["Block", "PacingProblem", "Plan", "Ride", "RideablePlan", "Sensitivities",
           "Variation", "grid", "pacing_problem", "plan_ride", "sensitivities", "simulate",
           "simulate_many", "solve"]
