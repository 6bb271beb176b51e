"""One case: a job in, documents and a row of the table out; this is what a worker does."""

from __future__ import annotations

from typing import TYPE_CHECKING

from optimizer.job import run

if TYPE_CHECKING:
    from optimizer.job import Job, Result

__all__ = ["plan_case"]


def plan_case(job: Job) -> tuple[dict[str, object], dict[str, str]]:
    """Plan a job; returns the figures of its row and the text of its files by name.

    A worker touches no file, so it may be another machine. Raises KitpaceError.
    """
    import json

    from optimizer.report.card import card_page
    from optimizer.report.plan_page import plan_page
    from optimizer.report.result_json import result_document

    result = run(job)
    return _figures(result), {
        "report.html": plan_page(result), "card.html": card_page(result),
        "plan.json": json.dumps(result_document(result), ensure_ascii=False, allow_nan=False)}


def _figures(result: Result) -> dict[str, object]:
    job, plan, best = result.job, result.plan, result.choice.best
    low, _, high = result.spread
    return {
        "finish_time": plan.finish_time, "low": low, "high": high, "gap": plan.gap,
        "mean_power": plan.mean_power, "spend": best.spend, "currency": job.currency,
        "items": best.items}
