"""The whole job: what goes in, what comes out, and the sequence between."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from optimizer.conditions import Conditions
    from optimizer.course import Course
    from optimizer.evidence import Effect
    from optimizer.kit import Catalogue, Choice
    from optimizer.pacing import Plan, RideablePlan
    from optimizer.physics import Setup
    from optimizer.rider import Rider

__all__ = ["Job", "Options", "Result"]


@dataclass(frozen=True)
class Options:
    """How to compute.

    `step` of the grid [m], None to let the course decide; `start_speed` [m/s], 0 for a
    standing start; `blocks` at most in the rideable plan; `power_rounding` of its powers [W];
    `empty_risk` the accepted chance to empty the reserve before the finish; `draws` of the
    uncertainty, from `seed`.
    """

    step: float | None = None
    start_speed: float = 0.0
    blocks: int = 12
    power_rounding: float = 5.0
    empty_risk: float = 0.1
    draws: int = 400
    seed: int = 1


@dataclass(frozen=True)
class Job:
    """Everything that a scenario holds, read and checked, in SI."""

    name: str
    course: Course
    conditions: Conditions
    rider: Rider
    baseline: Setup
    catalogue: Catalogue
    effects: tuple[Effect, ...]
    budget: float
    currency: str
    options: Options = field(default_factory=Options)
    rules: tuple[str, ...] = ()
    named_sets: tuple[tuple[str, tuple[str, ...]], ...] = ()
    assumptions: tuple[str, ...] = ()
    sources: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Result:
    """What the job gives: the choice of kit, the plan for it, and how sure it is.

    `baseline_plan` is the plan with what is owned; `spread` the 5, 50 and 95 % points of the
    finish time under the doubts in wind, rider and evidence [s].
    """

    job: Job
    choice: Choice
    plan: Plan
    baseline_plan: Plan
    rideable: RideablePlan
    spread: tuple[float, float, float]
