"""`kitpace batch`: many riders, courses and forecasts in one go."""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import TYPE_CHECKING

import click

from optimizer.cli import _outputs
from optimizer.cli._numbers import Number, TellingAll, WholeNumber
from optimizer.cli._terminal import progress_line, reading_notes, say, table
from optimizer.errors import InputError, KitpaceError
from optimizer.files import is_file, write_atomic

if TYPE_CHECKING:
    from collections.abc import Iterator
    from contextlib import AbstractContextManager

    from optimizer.batch.outcome import Outcome
    from optimizer.batch.run import Pools

__all__ = ["command"]


class _CasesFailedError(KitpaceError):
    """Some cases have no plan; the highest exit code among them is the batch's."""


@click.command("batch", cls=TellingAll)
@click.argument("batch_file", metavar="BATCH", type=click.Path())
@click.option("--out", metavar="FOLDER", type=click.Path(),
              help="Where the results go; a folder beside BATCH by default.")
@click.option("--workers", metavar="N", type=WholeNumber(1, 256),
              help="Processes on this machine; one for each core by default.")
@click.option("--cluster", "address", metavar="ADDRESS",
              help="Compute on a Dask scheduler instead, such as tcp://host:8786.")
@click.option("--limit", metavar="MINUTES", type=Number(0.01, 1440, "min"), default=30.0,
              show_default=True, help="The longest that one case may take, reading included.")
@click.option("--again", is_flag=True, help="Plan finished cases anew as well.")
@_outputs.overwrite_option
def command(batch_file: str, out: str | None, workers: int | None, address: str | None,
            limit: float, again: bool, overwrite: bool) -> None:
    """Plan every case of BATCH: a TOML file of lists to combine, or a CSV with one case per row.

    Run it again after a stop, or after you corrected a file: finished cases with the same inputs
    are kept. If a case fails, the others go on, and the exit code says that one failed.

    \b
    Examples:
      kitpace batch courses/squad.toml --out reports/squad
      kitpace batch squad.csv --workers 2
    """  # noqa: D301 - click reads the \b
    folder = Path(out) if out else _outputs.beside(batch_file, "-results")
    if is_file(folder):
        raise InputError(str(folder), "", "is a file", "name a folder for the results")
    if address and workers:
        raise InputError("--workers", "", "does not go with --cluster",
                         "leave it out: the cluster has its own workers")
    from optimizer.batch import run_batch
    from optimizer.batch.home import claim
    from optimizer.batch.table import cautions, summary, table_csv, table_page
    from optimizer.scenario.batch_file import read_batch

    notes: list[str] = []
    batch = read_batch(batch_file, notes)
    named = {path for case in batch.cases for path in (case.scenario, case.rider, case.forecast)}
    _outputs.check_run([_outputs.page("--out", folder / "index.html"),
                        _outputs.table("--out", folder / "table.csv", "batch")],
                       (batch_file, *sorted(filter(None, named))), overwrite=overwrite)
    claim(folder, Path(batch_file), overwrite=overwrite)
    with _executors(address, workers) as (pools, count), progress_line("Planning") as progress:
        total, done = len(batch.cases), 0

        def show_case(outcome: Outcome) -> None:
            nonlocal done
            done += 1
            progress(f"{done} of {total}, last {outcome.case}")

        outcomes = run_batch(batch, folder, pools, min(count, total), again=again,
                             limit=60.0 * limit, progress=show_case)
    index = write_atomic(folder / "index.html", table_page(batch.name, outcomes))
    write_atomic(folder / "table.csv", "\ufeff" + table_csv(outcomes))
    say(summary(outcomes))
    for caution in cautions(outcomes):
        say(caution)
    reading_notes(notes)
    _table(outcomes)
    say()
    say(f"Index: {index}")
    _raise_failures(outcomes)


@contextlib.contextmanager
def _executors(address: str | None, workers: int | None) -> Iterator[tuple[Pools, int]]:
    """Where cases are computed, and how many at once."""
    from optimizer.batch.workers import cluster, cores, processes

    if address is None:
        yield processes, workers or cores()
        return
    with cluster(address) as (executor, threads):
        def same(_count: int) -> AbstractContextManager[object]:
            return contextlib.nullcontext(executor)

        yield same, threads  # type: ignore[misc] # the executor outlives every use of it


def _table(outcomes: tuple[Outcome, ...]) -> None:
    from optimizer.report.words import clock, money, watts

    table(("Case", "Time", "90 % range", "Mean power", "Spent"), [
        (one.case, "none", "", "", "") if one.failure else
        (one.case, clock(one.finish_time), f"{clock(one.low)} to {clock(one.high)}",
         watts(one.mean_power), money(one.spend, one.currency)) for one in outcomes])


def _raise_failures(outcomes: tuple[Outcome, ...]) -> None:
    failed = [one for one in outcomes if one.failure]
    if not failed:
        return
    error = _CasesFailedError("these cases have no plan:\n" + "\n".join(
        f"- {one.case}: {one.failure}" for one in failed))
    error.exit_code = max(one.exit_code for one in failed)
    raise error
