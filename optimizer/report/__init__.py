"""From a result to what people see."""

from __future__ import annotations

from typing import TYPE_CHECKING

from optimizer.files import write_atomic
from optimizer.report.card import write_card

if TYPE_CHECKING:
    from pathlib import Path

    from optimizer.job import Result

__all__ = ["write_card", "write_report"]


def write_report(result: Result, path: Path | str, *, change: str = "") -> Path:
    """Write the report of a plan as one HTML file that needs no network; gives its path.

    `change` is a sentence on what differs from an earlier plan.
    """
    from optimizer.report.plan_page import plan_page

    return write_atomic(path, plan_page(result, change=change))
