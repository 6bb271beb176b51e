"""Minimum time over a fixed path."""

from optimizer.pacing.plan import Block, Plan, RideablePlan
from optimizer.pacing.problem import PacingProblem, pacing_problem

__all__ = ["Block", "PacingProblem", "Plan", "RideablePlan", "pacing_problem"]
