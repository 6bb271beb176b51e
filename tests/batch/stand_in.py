"""Stand-ins for the work of one case: quick, and wrong in the ways that work can go wrong."""

from __future__ import annotations

import os
import signal
import time

from optimizer.errors import Infeasible

FIGURES = {"finish_time": 3600.0, "low": 3500.0, "high": 3700.0, "gap": 0.01,
           "mean_power": 250.0, "spend": 0.0, "currency": "EUR", "items": ("Disc",)}


def answer(job, limit, left):
    assert limit == 1800.0
    assert 1700.0 < left < 1800.0  # reading counts
    if job.budget == 13:
        os._exit(9)  # as the system ends a process when memory runs out
    if job.budget == 17:
        raise Infeasible("the brook is in flood")
    if job.budget == 19:
        raise ZeroDivisionError("a defect")
    time.sleep(0.05)
    return ({**FIGURES, "finish_time": 3600.0 + job.budget},
            {"report.html": f"<p>{job.name}</p>", "card.html": "<p>card</p>", "plan.json": "{}"})


def hang(job, *_limits):
    """As code that no signal reaches: the first case answers, the others never end."""
    if job.budget:
        signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGALRM})
        time.sleep(600)
    return answer(job, 1800.0, 1790.0)
