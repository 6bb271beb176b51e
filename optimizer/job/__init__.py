"""The whole job: what goes in, what comes out, and the sequence between."""

from optimizer.job.plans import plan_for
from optimizer.job.run import effects_for, on_the_day, plan, run
from optimizer.job.values import (
    Earlier,
    Even,
    ItemWorth,
    Job,
    Options,
    Result,
    Sensitivity,
    SetSplits,
    Trial,
)

__all__ = [
    "Earlier",
    "Even",
    "ItemWorth",
    "Job",
    "Options",
    "Result",
    "Sensitivity",
    "SetSplits",
    "Trial",
    "effects_for",
    "on_the_day",
    "plan",
    "plan_for",
    "run",
]
