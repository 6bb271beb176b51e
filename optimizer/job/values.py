"""What goes into the job and what comes out of it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Final

from optimizer import defaults

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    import numpy as np
    from numpy.typing import NDArray

    from optimizer.conditions import Conditions
    from optimizer.course import Course
    from optimizer.day import RaceDay
    from optimizer.evidence import Effect, Grounds
    from optimizer.job.run_after import BikeRun
    from optimizer.kit import Catalogue, Choice, Item
    from optimizer.kit.response import Response
    from optimizer.kit.rivals import Rival
    from optimizer.pacing import Plan, Realism, RideablePlan
    from optimizer.physics import Setup
    from optimizer.rider import Rider
    from optimizer.uncertainty import Fork

__all__ = [
    "BIKE",
    "Earlier",
    "Even",
    "ItemWorth",
    "Job",
    "Options",
    "Result",
    "Risk",
    "Sensitivity",
    "SetSplits",
]

BIKE: Final = "the bike as it stands"
"""Name of the bike beside the items of its kit."""


@dataclass(frozen=True)
class Options:
    """How to compute.

    `step` of the grid [m], None to let the course decide; `start_speed` [m/s], 0 for a
    standing start; `blocks`, lines of the card at most; `power_rounding` of its powers [W], None
    for about 1 % of CP; `empty_risk` the accepted chance to run out before the finish, None for a
    plan for the expected day; `draws` of the
    uncertainty, from `seed`; `least_gain` seconds that a kit may be slower than the fastest, to be
    cheaper.

    Examples
    --------
    >>> Options(blocks=5, empty_risk=0.1).blocks
    5
    """

    step: float | None = None
    start_speed: float = 0.0
    blocks: int = int(defaults.CARD_LINES.value)
    power_rounding: float | None = None
    empty_risk: float | None = None
    draws: int = int(defaults.DRAWS.value)
    seed: int = int(defaults.SEED.value)
    least_gain: float = defaults.LEAST_GAIN.value


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
    notes: tuple[str, ...] = ()
    """How the files were read where they leave something open, for whoever runs the job."""
    asked: tuple[tuple[str, str], ...] = ()
    """What was asked for beside the scenario, as it is typed: `budget`, `wind`, `start_time`,
    `least_gain`, and the names of other files, `rider` and `forecast`."""


@dataclass(frozen=True)
class SetSplits:
    """Arrival of one set of kit at every mark of the course and at the finish.

    `arrival` (m + 1,) s with its 5 and 95 % points `low` and `high`, from common draws.
    """

    name: str
    items: tuple[str, ...]
    spend: float
    arrival: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]


@dataclass(frozen=True)
class ItemWorth:
    """Seconds that one item saves by itself on top of what is owned, with 5 and 95 % points.

    `grounds` say what that rests on.
    """

    item: str
    seconds: float
    low: float
    high: float
    grounds: Grounds = "tested"

    @property
    def clear(self) -> bool:
        """Whether it is a clear gain: somebody tested it, and the range leaves zero out."""
        return self.low > 0.0 and self.grounds == "tested"


@dataclass(frozen=True)
class Sensitivity:
    """What one input does to the finish time.

    `change` in words ("1 km/h more wind"); `seconds` it adds; `uncertainty` in words ("a quarter of
    the wind speed") with the seconds that it makes up or down, nan where no uncertainty is known.
    """

    name: str
    change: str
    seconds: float
    uncertainty: str = ""
    uncertainty_seconds: float = float("nan")


@dataclass(frozen=True)
class Earlier:
    """What an earlier plan for the same day said: SI, wind where the air moves to.

    `wind_east`, `wind_north`: mean of the ride, nan where it tells none; `low`, `high`: 5 and
    95 % points of its finish time [s], nan where it tells none; `start`: when it starts, where it
    says so; `inputs` are its inputs that are one number each, by key, empty where it has none;
    `evidence` what was known of each item, value and standard error by key, None where unsaid.
    """

    name: str
    finish_time: float
    wind_east: float
    wind_north: float
    mean_power: float
    items: tuple[str, ...]
    low: float = float("nan")
    high: float = float("nan")
    start: datetime | None = None
    inputs: Mapping[str, float] = field(default_factory=dict)
    evidence: Mapping[str, Mapping[str, tuple[float, float]]] | None = None


@dataclass(frozen=True)
class Even:
    """The usual ways to ride, for comparison: at one power, and at one speed.

    `power` the highest that can be held throughout [W] with its finish time `power_time` [s];
    `speed_time` of the highest speed held wherever course and power limit allow, nan for none.
    """

    power: float
    power_time: float
    speed_time: float


@dataclass(frozen=True)
class Risk:
    """The chance to run out before the finish, and what keeping it small costs.

    `chance` of the card, `plan_chance` of the fastest plan, each ridden as printed; `margin` part
    of CP and W' that is kept back; `price` seconds that the margin costs, or would cost for
    `other`, the chance [1] that is named for comparison where the rider names none; `safe_power`
    the mean power [W] of the plan that runs out on no more days than `other`, nan where the rider
    names a risk.
    """

    chance: float
    plan_chance: float
    margin: float
    price: float
    other: float
    safe_power: float = float("nan")


@dataclass(frozen=True)
class Result:
    """What the job gives: the choice of kit, the plan for it, and how sure it is.

    `day` has the rider as height and heat leave them; `baseline_plan` is the plan with what is
    owned; `spread` the 5, 50 and 95 % points of the finish time under the uncertainties in wind,
    rider and evidence [s]. The rest is for the report and may be empty: `splits` per set of kit
    (the plan's set first, then what is owned, then the named sets), `rivals`, how the kits that
    were weighed stand to the plan's, `worth` per item, `sensitivities`, `effort_budget_cost`, the
    seconds that it costs to leave something in the legs for a run, `even`, the usual ways to ride
    with the plan's set, `risk` to run out, `fork` a plan with one decision, `response` of the time
    to kit and draws, `realism` how even the ride by the card is, `bike_run` ways to share the
    effort with the run that follows.
    """

    job: Job
    day: RaceDay
    choice: Choice
    plan: Plan
    baseline_plan: Plan
    rideable: RideablePlan
    spread: tuple[float, float, float]
    splits: tuple[SetSplits, ...] = ()
    rivals: tuple[Rival, ...] = ()
    worth: tuple[ItemWorth, ...] = ()
    sensitivities: tuple[Sensitivity, ...] = ()
    effort_budget_cost: float = 0.0
    even: Even | None = None
    risk: Risk | None = None
    fork: Fork | None = None
    response: Response | None = None
    realism: Realism | None = None
    bike_run: tuple[BikeRun, ...] = ()

    @cached_property
    def limited(self) -> tuple[Item, ...]:
        """What of the plan's kit has a limit for cross wind; the bike, on its own wheels."""
        from optimizer.kit import Item
        from optimizer.kit.crosswind import own_wheels

        bike = Item(BIKE, "bike", 0.0, owned=True,
                    crosswind_limit=self.job.baseline.crosswind_limit)
        kit = [self.job.catalogue[name] for name in self.choice.best.items]
        items = [bike, *kit] if own_wheels(kit) else kit
        return tuple(item for item in items if math.isfinite(item.crosswind_limit))

    @cached_property
    def bike_passed(self) -> float:
        """Cross wind [m/s] of the forecast that passes the limit of the bike; 0 if none does."""
        from optimizer.kit.crosswind import bike_passed

        return bike_passed(self.day.course, self.day.conditions,
                           self.job.baseline.crosswind_limit,
                           [self.job.catalogue[name] for name in self.choice.best.items])

    @cached_property
    def limits_passed(self) -> tuple[tuple[str, float, float], ...]:
        """Name, limit [m/s] and chance of each that is `limited`.

        The chance, 0 to 1, is that the cross wind at the rider passes the limit somewhere.
        """
        from optimizer.kit import Catalogue
        from optimizer.kit.crosswind import limit_chances

        mine = {item.name: item.crosswind_limit for item in self.limited}
        return tuple((name, mine[name], chance) for name, chance in limit_chances(
            self.day.course, self.day.conditions, Catalogue(self.limited)))
