"""The batch: what is left to do, spread over workers; each result written as it comes."""

from __future__ import annotations

from concurrent.futures import FIRST_COMPLETED, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from optimizer.batch.case import plan_case
from optimizer.batch.outcome import Outcome, digest, folder_of, read_record, write_record
from optimizer.errors import KitpaceError
from optimizer.files import write_atomic
from optimizer.scenario import read_scenario

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from concurrent.futures import Executor, Future
    from contextlib import AbstractContextManager
    from pathlib import Path

    from optimizer.job import Job
    from optimizer.scenario.batch_file import Batch, Case

    Pools = Callable[[int], AbstractContextManager[Executor]]

__all__ = ["run_batch"]

_DIED = "its process died twice, as it does when memory runs out"


class _Ready(NamedTuple):
    """A case that was read: what to plan, and the hash of what it follows from."""

    case: Case
    job: Job
    inputs: str


def run_batch(batch: Batch, folder: Path, pools: Pools, workers: int, *, again: bool = False,
              limit: float = 1800.0,
              tell: Callable[[Outcome], None] = lambda _outcome: None) -> tuple[Outcome, ...]:
    """Plan every case into a folder of its own; outcomes in the order of the batch.

    A case whose record is there with the same inputs is not planned again, unless `again`. A
    case that fails is an outcome with its message and is tried again by the next run.

    Parameters
    ----------
    pools : gives an executor of so many workers; called anew should a worker's death break it
    workers : how many cases are under way at once
    limit : s, the longest that a case may take
    tell : called with each outcome as it comes
    """
    done: dict[str, Outcome] = {}

    def finish(outcome: Outcome) -> None:
        done[outcome.case] = outcome
        tell(outcome)

    def ready() -> Iterator[_Ready]:
        for case in batch.cases:
            found = _prepare(case, folder, again=again)
            if isinstance(found, Outcome):
                finish(found)
            else:
                yield found

    for one, answer in _spread(ready(), pools, workers, limit):
        finish(_settle(one, answer, folder))
    return tuple(done[case.name] for case in batch.cases)


def _prepare(case: Case, folder: Path, *, again: bool) -> _Ready | Outcome:
    """Read a case that is to be planned, or tell at once what became of it."""
    begun = Outcome(case.name, f"cases/{folder_of(case)}", weather=case.weather)
    try:
        inputs = digest(case)
        if not again and (kept := read_record(folder / begun.folder, inputs)):
            return kept
        job = read_scenario(case.scenario, budget=case.budget, wind=case.wind,
                            start_time=case.start_time, rider_file=case.rider,
                            forecast_file=case.forecast)
    except Exception as error:  # noqa: BLE001 - one case must not lose the others
        return _failed(begun, error)
    return _Ready(case, job, inputs)


def _spread(ready: Iterable[_Ready], pools: Pools, workers: int, limit: float,
            ) -> Iterator[tuple[_Ready, Future[tuple[dict[str, object], dict[str, str]]]]]:
    """Yield each case with its settled future, with no more than `workers` under way.

    Where a worker dies, its pool takes every case down that was under way; each of them is then
    tried alone, so that only the one that kills its worker is lost.
    """
    waiting, suspects = iter(ready), list[_Ready]()
    more = True
    while more:
        broken = False
        with pools(workers) as pool:
            under_way: dict[Future[tuple[dict[str, object], dict[str, str]]], _Ready] = {}
            while not broken:
                while len(under_way) < workers and (one := next(waiting, None)) is not None:
                    under_way[_submit(pool, one, limit)] = one
                if not under_way:
                    more = False
                    break
                for future in wait(under_way, return_when=FIRST_COMPLETED).done:
                    one = under_way.pop(future)
                    if isinstance(future.exception(), BrokenProcessPool):
                        broken = True
                        suspects.append(one)
                    else:
                        yield one, future
            suspects += under_way.values()
        for one in suspects:
            with pools(1) as pool:
                future = _submit(pool, one, limit)
                wait([future])
            yield one, future
        suspects.clear()


def _submit(pool: Executor, one: _Ready, limit: float,
            ) -> Future[tuple[dict[str, object], dict[str, str]]]:
    """Hand a case over; a pool that is broken already says so in the future, as it does later."""
    from concurrent.futures import Future

    try:
        return pool.submit(plan_case, one.job, limit)
    except BrokenProcessPool as error:
        future: Future[tuple[dict[str, object], dict[str, str]]] = Future()
        future.set_exception(error)
        return future


def _settle(one: _Ready, answer: Future[tuple[dict[str, object], dict[str, str]]],
            folder: Path) -> Outcome:
    """Write what a worker found, its record last."""
    begun = Outcome(one.case.name, f"cases/{folder_of(one.case)}", course=one.job.name,
                    rider=one.job.rider.name, weather=one.case.weather)
    try:
        figures, texts = answer.result()
        for name, text in texts.items():
            write_atomic(folder / begun.folder / name, text)
        outcome = replace(begun, **figures)  # type: ignore[arg-type] # named by plan_case
        write_record(folder / begun.folder, outcome, one.inputs)
    except Exception as error:  # noqa: BLE001 - whatever a worker or a full disk may raise
        return _failed(begun, error)
    return outcome


def _failed(begun: Outcome, error: Exception) -> Outcome:
    if isinstance(error, KitpaceError):
        return replace(begun, failure=str(error), exit_code=error.exit_code)
    if isinstance(error, BrokenProcessPool):
        return replace(begun, failure=_DIED, exit_code=1)
    return replace(begun, failure=f"unforeseen: {type(error).__name__}: {error}", exit_code=1)
