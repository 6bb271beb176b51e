"""Many plans at once, on local processes or a cluster; a batch can be resumed after a stop."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from optimizer.batch.run import run_batch

__all__ = ["run_batch"]


def __getattr__(name: str) -> Any:
    """Import what is asked for only then: a worker process starts with this package."""
    if name == "run_batch":
        from optimizer.batch.run import run_batch

        return run_batch
    raise AttributeError(name)
