"""The whole job: what goes in, what comes out, and the sequence between."""

from optimizer.job.plans import day_of
from optimizer.job.run import effects_for, plan, run
from optimizer.job.values import (
    Earlier,
    Even,
    ItemWorth,
    Job,
    Options,
    Result,
    Sensitivity,
    SetSplits,
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
    "day_of",
    "effects_for",
    "plan",
    "run",
]
