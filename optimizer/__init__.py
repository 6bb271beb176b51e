"""kitpace: pacing and equipment choice for time trials, with a certified bound.

The names in the order of the job: read what there is, plan, show. Their types stand in
`__init__.pyi`; nothing is imported here before it is asked for, so that the command line starts
at once.
"""

from __future__ import annotations

import importlib
from typing import Any

__version__ = "0.2.0"

# In the order of the job.
_HOMES = {
    "read_course": "optimizer.scenario.track_file",
    "weather": "optimizer.scenario.weather",
    "read_rider": "optimizer.scenario.rider_file",
    "Setup": "optimizer.physics",
    "read_catalogue": "optimizer.scenario.catalogue_file",
    "read_evidence": "optimizer.scenario.evidence_file",
    "Options": "optimizer.job",
    "plan": "optimizer.job",
    "read_scenario": "optimizer.scenario.scenario",
    "run": "optimizer.job",
    "splits": "optimizer.job.frames",
    "frontier": "optimizer.job.frames",
    "profile": "optimizer.job.frames",
    "worth": "optimizer.job.frames",
    "read_season": "optimizer.scenario.season_file",
    "run_season": "optimizer.seasons",
    "season": "optimizer.seasons.frames",
    "write_report": "optimizer.report",
    "InputError": "optimizer.errors",
    "Infeasible": "optimizer.errors",
}


def __getattr__(name: str) -> Any:
    """Import a public name when it is asked for."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    return sorted([*_HOMES, "__version__"])
