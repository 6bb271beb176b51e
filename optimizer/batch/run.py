"""Run a batch: spread what is left to do over workers, and write each result as it comes."""

from __future__ import annotations

import time
from concurrent.futures import FIRST_COMPLETED, CancelledError, Future, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from optimizer.batch.case import plan_case, too_long, within
from optimizer.batch.outcome import Outcome, digest, folder_of, read_record, write_record
from optimizer.errors import KitpaceError
from optimizer.files import write_atomic
from optimizer.scenario import read_scenario

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from contextlib import AbstractContextManager
    from pathlib import Path

    from optimizer.batch.workers import Cluster, LocalPool
    from optimizer.job import Job
    from optimizer.scenario.batch_file import Batch, Case

    Pools = Callable[[int], AbstractContextManager[LocalPool | Cluster]]

__all__ = ["run_batch"]

_DIED = "its process died twice, as it does when memory runs out"
_DROPPED = "the cluster lost it: the scheduler ended or dropped it"
_LOOK = 2.0  # s between two looks at what is under way
_GRACE = 20.0  # s after its limit in which a case may stop by itself


class _Ready(NamedTuple):
    """A case that was read: what to plan, the hash of what it follows from, its limit [s].

    `left` [s] is what reading has left of the limit.
    """

    case: Case
    job: Job
    inputs: str
    limit: float
    left: float


class _LostError(KitpaceError):
    """No worker is left."""


_Answer = Future[tuple[dict[str, object], dict[str, str]]]


def run_batch(batch: Batch, folder: Path, pools: Pools, workers: int, *, again: bool = False,
              limit: float = 1800.0,
              progress: Callable[[Outcome], None] = lambda _outcome: None) -> tuple[Outcome, ...]:
    """Plan every case into a folder of its own; outcomes in the order of the batch.

    A case whose record is there with the same inputs is not planned again, unless `again`. A
    case that fails is an outcome with its message and is tried again by the next run.

    Parameters
    ----------
    pools : gives an executor of so many workers; called anew should a worker's death break it
    workers : how many cases are under way at once
    limit : s, the longest that a case may take
    progress : called with each outcome as it comes
    """
    done: dict[str, Outcome] = {}
    lost: list[_LostError] = []

    def finish(outcome: Outcome) -> None:
        done[outcome.case] = outcome
        progress(outcome)

    def ready() -> Iterator[_Ready]:
        for case in batch.cases:
            found = _prepare(case, folder, limit, again=again, lost=lost[-1] if lost else None)
            if isinstance(found, Outcome):
                finish(found)
            else:
                yield found

    for one, answer in _spread(ready(), pools, workers, lost):
        finish(_outcome_of(one, answer, folder))
    return tuple(done[case.name] for case in batch.cases)


def _prepare(case: Case, folder: Path, limit: float, *, again: bool,
             lost: _LostError | None) -> _Ready | Outcome:
    """Read a case that is to be planned, or give its outcome at once."""
    begun = Outcome(case.name, f"cases/{folder_of(case)}", weather=case.weather)
    started = time.monotonic()
    try:
        with within(limit, limit):
            inputs = digest(case)
            if not again and (kept := read_record(folder, begun, inputs)):
                return kept
            if lost:
                return _failed(begun, lost)
            job = read_scenario(case.scenario, budget=case.budget, wind=case.wind,
                                start_time=case.start_time, rider_file=case.rider,
                                forecast_file=case.forecast)
    except Exception as error:  # noqa: BLE001 - one case must not lose the others
        return _failed(begun, error)
    return _Ready(case, job, inputs, limit, limit - (time.monotonic() - started))


def _spread(ready: Iterable[_Ready], pools: Pools, workers: int,
            lost: list[_LostError]) -> Iterator[tuple[_Ready, _Answer]]:
    """Yield each case with its settled future, with no more than `workers` under way.

    Where a worker dies, its pool takes every case down that was under way; each of them is then
    tried alone, so that only the one that kills its worker is lost. Where nobody computes any
    more, `lost` says so, and every case that is left ends with it.
    """
    waiting, suspects = iter(ready), list[_Ready]()
    more = True
    while more:
        with pools(workers) as pool:
            under_way: dict[_Answer, tuple[_Ready, float]] = {}
            broken = False
            while not broken:
                while len(under_way) < workers and (one := next(waiting, None)) is not None:
                    under_way[_submit(pool, one)] = one, _latest(one)
                if not under_way:
                    more = False
                    break
                for one, future in _completed(pool, under_way, lost):
                    if isinstance(_error_of(future), BrokenProcessPool):
                        broken = True
                        suspects.append(one)
                    else:
                        yield one, future
            suspects += [one for one, _ in under_way.values()]
        for one in suspects:
            with pools(1) as pool:
                alone = {_submit(pool, one): (one, _latest(one))}
                completed = _completed(pool, alone, lost)
            yield from completed
        suspects.clear()


def _latest(one: _Ready) -> float:
    """Moment after which a case that was handed over just now is no longer waited for."""
    return time.monotonic() + max(one.left, 0.0) + _GRACE


def _completed(pool: LocalPool | Cluster, under_way: dict[_Answer, tuple[_Ready, float]],
               lost: list[_LostError]) -> list[tuple[_Ready, _Answer]]:
    """Take out what is settled, waiting for the first; and what never will be, with its error.

    A case stops by itself at its limit, unless it hangs where nothing can stop it, or its worker
    does: then a local pool is ended, and a cluster's is not waited for.
    """
    while True:
        done = wait(under_way, timeout=_LOOK, return_when=FIRST_COMPLETED).done
        if done:
            return [(under_way.pop(future)[0], future) for future in done]
        words = getattr(pool, "trouble", str)()
        if words:
            lost.append(_LostError(words))
            out = [(one, _with_error(lost[-1])) for one, _ in under_way.values()]
            under_way.clear()
            return out
        late = [future for future, (_, until) in under_way.items() if time.monotonic() > until]
        if late:
            out = [(one, _with_error(too_long(one.limit)))
                   for one in (under_way.pop(future)[0] for future in late)]
            for future in late:
                future.cancel()
            getattr(pool, "stop", str)()
            return out


def _submit(pool: LocalPool | Cluster, one: _Ready) -> _Answer:
    """Hand a case over; a pool that is broken already says so in the future, as it does later."""
    try:
        return pool.submit(plan_case, one.job, one.limit, one.left)
    except Exception as error:  # noqa: BLE001 - also whatever a cluster that is gone may raise
        return _with_error(error)


def _with_error(error: Exception) -> _Answer:
    future: _Answer = Future()
    future.set_exception(error)
    return future


def _error_of(future: _Answer) -> BaseException | None:
    try:
        return future.exception()
    except CancelledError as error:
        return error


def _outcome_of(one: _Ready, answer: _Answer, folder: Path) -> Outcome:
    """Write what a worker found, its record last."""
    begun = Outcome(one.case.name, f"cases/{folder_of(one.case)}", course=one.job.name,
                    rider=one.job.rider.name, weather=one.case.weather)
    try:
        figures, texts = answer.result()
        for name, text in texts.items():
            write_atomic(folder / begun.folder / name, text)
        outcome = replace(begun, **figures)  # type: ignore[arg-type] # named by plan_case
        write_record(folder, outcome, one.inputs, texts)
    except Exception as error:  # noqa: BLE001 - whatever a worker or a full disk may raise
        return _failed(begun, error)
    return outcome


def _failed(begun: Outcome, error: Exception) -> Outcome:
    if isinstance(error, KitpaceError):
        return replace(begun, failure=str(error), exit_code=error.exit_code)
    if isinstance(error, BrokenProcessPool) or type(error).__name__ == "KilledWorker":
        return replace(begun, failure=_DIED, exit_code=1)
    if isinstance(error, CancelledError):
        return replace(begun, failure=_DROPPED, exit_code=1)
    return replace(begun, failure=f"unforeseen: {type(error).__name__}: {error}", exit_code=1)
