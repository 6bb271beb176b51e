"""One case: a job in, documents and a row of the table out; this is what a worker does."""

from __future__ import annotations

import contextlib
import ctypes
import os
import signal
import sys
import threading
from typing import TYPE_CHECKING

from optimizer.errors import KitpaceError
from optimizer.job import run

if TYPE_CHECKING:
    from collections.abc import Iterator

    from optimizer.job import Job, Result

__all__ = ["keep_memory", "plan_case", "too_long", "within"]

# Numbers of the parameters of mallopt(3) in the C library of Linux, and what its own rule comes to.
_TRIM, _MAP = -1, -3
_KEPT, _LARGEST = 64 << 20, 32 << 20  # bytes


def plan_case(job: Job, limit: float,
              left: float | None = None) -> tuple[dict[str, object], dict[str, str]]:
    """Plan a job; returns the figures of its row and the text of its files by name.

    A worker touches no file, so it may be another machine. Raises KitpaceError, also where there
    is no plan within `limit` [s], of which reading the files has left `left` [s].
    """
    keep_memory()
    with within(limit if left is None else left, limit):
        return _planned(job)


def keep_memory() -> None:
    """Let this process keep what it frees for its next arrays, where it was told otherwise.

    The workers of Dask are: they give back all but 64 kB at once, so that each array of a plan
    is asked of the system anew and cleared by it, up to a third of the time of a plan. Without
    that setting the C library learns from what is freed; the values are those it comes to.
    """
    if "MALLOC_TRIM_THRESHOLD_" in os.environ and sys.platform == "linux":
        with contextlib.suppress(OSError, AttributeError):  # of another C library
            set_to = ctypes.CDLL(None).mallopt
            set_to(_TRIM, _KEPT)
            set_to(_MAP, _LARGEST)


def too_long(limit: float) -> KitpaceError:
    """Error of a case that took longer than `limit` [s]."""
    return KitpaceError(f"there is no plan after {limit / 60:g} minutes; --limit allows more")


@contextlib.contextmanager
def within(left: float, limit: float) -> Iterator[None]:
    """Stop the work after `left` [s] of a `limit` [s], where the system has a clock for that.

    Only the main thread of a process can be stopped so: that of a local worker is, a thread of
    a cluster's worker is not.
    """
    if (not hasattr(signal, "setitimer")
            or threading.current_thread() is not threading.main_thread()):
        yield
        return

    def late(_number: int, _frame: object) -> None:
        raise too_long(limit)

    before = signal.signal(signal.SIGALRM, late)
    # Once more each second, should the first error end in a place that expects some.
    signal.setitimer(signal.ITIMER_REAL, max(left, 1e-3), 1.0)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)


def _planned(job: Job) -> tuple[dict[str, object], dict[str, str]]:
    import json

    from optimizer.report.card import card_page
    from optimizer.report.plan_page import plan_page
    from optimizer.report.result_json import result_document

    result = run(job)
    return _figures(result), {
        "report.html": plan_page(result), "card.html": card_page(result),
        "plan.json": json.dumps(result_document(result), ensure_ascii=False, allow_nan=False)}


def _figures(result: Result) -> dict[str, object]:
    from optimizer.report.cautions import day_cautions
    from optimizer.report.stated import stated

    job, plan, best, times = result.job, result.plan, result.choice.best, stated(result)
    return {
        "finish_time": times.finish, "low": times.low, "high": times.high, "gap": plan.gap,
        "mean_power": result.rideable.mean_power, "spend": best.spend, "currency": job.currency,
        "items": best.items, "caution": " ".join(day_cautions(result))}
