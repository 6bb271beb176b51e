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
    """Write the report of a plan as one HTML file that needs no network.

    Parameters
    ----------
    result : of `run` or `plan`
    path : of the page
    change : a sentence on what differs from an earlier plan

    Returns
    -------
    the path

    Examples
    --------
    >>> import optimizer, pathlib, tempfile
    >>> result = optimizer.run(optimizer.read_scenario("courses/petrel-flats/scenario.toml"))
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     optimizer.write_report(result, pathlib.Path(folder, "report.html")).name
    'report.html'
    """
    from optimizer.report.plan_page import plan_page

    return write_atomic(path, plan_page(result, change=change))
