"""Files to validated objects; the only place that knows TOML and CSV."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from optimizer.scenario.scenario import read_scenario

__all__ = ["read_scenario"]


def __getattr__(name: str) -> Any:
    """Import what is asked for only then: a command that reads no scenario starts faster."""
    if name == "read_scenario":
        from optimizer.scenario.scenario import read_scenario

        return read_scenario
    raise AttributeError(name)
