"""What the commands say on a terminal: sentences first, then one table, 80 columns."""

from __future__ import annotations

import contextlib
import os
import sys
import textwrap
import threading
import time
from typing import TYPE_CHECKING

import click

from optimizer.side_by_side import resting_at_forks

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from optimizer.report.page import Table

__all__ = ["WIDTH", "progress_line", "reading_notes", "say", "show", "table"]

WIDTH = 80
_BEGUN = time.perf_counter()
_FIRST_LINE, _NEXT_LINE = 10.0, 30.0  # s of work before it is said what is under way


def _safe(text: object) -> str:
    """Text without control characters, so that a name from a file cannot steer the terminal."""
    return "".join(c if c.isprintable() or c == "\n" else " " for c in str(text))


def say(*sentences: object) -> None:
    """Print sentences as one paragraph on stdout, wrapped; a newline in one starts a line."""
    paragraph = " ".join(_safe(sentence) for sentence in sentences)
    for line in paragraph.split("\n"):
        click.echo(textwrap.fill(line, WIDTH, break_long_words=False, break_on_hyphens=False))


def reading_notes(words: Sequence[str], most: int | None = None, rest: str = "") -> None:
    """Say on stdout how files were read where they leave something open; nothing without words.

    `most` of them, all by default; `rest` says where the others stand.
    """
    if not words:
        return
    click.echo()
    click.echo("How the files were read:")
    for line in words[:most]:
        click.echo(textwrap.fill(_safe(line), WIDTH, initial_indent="- ", subsequent_indent="  ",
                                 break_long_words=False, break_on_hyphens=False))
    if most is not None and len(words) > most:
        say(f"- and {len(words) - most} more: {rest}")


def table(headings: Sequence[object], rows: Iterable[Sequence[object]], caption: str = "",
          left: Sequence[int] = (0,)) -> None:
    """Print a table on stdout; columns are set to the right except those in `left`.

    On a terminal with rich, in aligned plain text when piped. Text columns are wrapped to keep
    within 80 columns; a heading may hold newlines.
    """
    cells = [[_safe(cell) for cell in row] for row in rows]
    heads = [_safe(heading) for heading in headings]
    click.echo()
    if caption:
        click.echo(textwrap.fill(_safe(caption), WIDTH))
    if sys.stdout.isatty():
        _rich_table(heads, cells, left)
    else:
        _plain_table(heads, cells, left)


def show(shown: Table) -> None:
    """Print a table of a page."""
    table(shown.headings, shown.rows, shown.caption, shown.left)


def _rich_table(heads: list[str], cells: list[list[str]], left: Sequence[int]) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    out = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False)
    for k, head in enumerate(heads):
        out.add_column(Text(head), justify="left" if k in left else "right",
                       overflow="fold", no_wrap=k not in left)
    for row in cells:
        out.add_row(*(Text(cell) for cell in row))
    Console(width=WIDTH, highlight=False).print(out)


def _plain_table(heads: list[str], cells: list[list[str]], left: Sequence[int]) -> None:
    widths = _widths(heads, cells, left)
    lines = [heads, ["-" * width for width in widths], *cells]
    for row in lines:
        wrapped = [_wrap(cell, width) for cell, width in zip(row, widths, strict=True)]
        for k in range(max(len(cell) for cell in wrapped)):
            parts = [cell[k] if k < len(cell) else "" for cell in wrapped]
            click.echo("  ".join(
                part.ljust(width) if j in left else part.rjust(width)
                for j, (part, width) in enumerate(zip(parts, widths, strict=True))).rstrip())


def _wrap(cell: str, width: int) -> list[str]:
    return [part for line in cell.split("\n") for part in textwrap.wrap(line, width) or [""]]


def _widths(heads: list[str], cells: list[list[str]], left: Sequence[int]) -> list[int]:
    """Natural widths, with the widest text columns narrowed until the table fits."""
    widths = [max(max((len(line) for line in row[k].split("\n")), default=0)
                  for row in [heads, *cells]) for k in range(len(heads))]
    while sum(widths) + 2 * (len(widths) - 1) > WIDTH:
        widest = max((k for k in range(len(widths)) if k in left), key=widths.__getitem__,
                     default=None)
        if widest is None or widths[widest] <= 8:
            break
        widths[widest] -= 1
    return [max(width, 1) for width in widths]


@contextlib.contextmanager
def progress_line(label: str, *, timings: bool = False) -> Iterator[Callable[[str], None]]:
    """Show on stderr what is under way: at once on a terminal, else in a line now and then.

    Yields a function that changes the words behind the label. With `timings` it is said at the end
    how long each of them stood.
    """
    stages = [("start", _BEGUN, 0.0)]

    def stage(words: str) -> None:
        stages.append((words, time.perf_counter(), time.process_time()))
        change(words)

    before = _children()[0]
    with _changing_line(label) as change:
        yield stage if timings else change
    if timings:
        _say_timings(stages, before)


def _say_timings(stages: list[tuple[str, float, float]], before: float) -> None:
    """Say on stderr how long each stage took; each has words and when it began on both clocks.

    Ended child processes had taken `before` seconds when the first one began.
    """
    ends = [*stages[1:], ("", time.perf_counter(), time.process_time())]
    total: dict[str, list[float]] = {}
    for (words, wall, own), (_, wall_end, own_end) in zip(stages, ends, strict=True):
        sums = total.setdefault(words, [0.0, 0.0])
        sums[0] += wall_end - wall
        sums[1] += own_end - own
    after, peak = _children()
    if after > before:
        total["meanwhile, in a second process"] = [0.0, after - before]
    total["in all"] = [sum(column) for column in zip(*total.values(), strict=True)]
    click.echo("Seconds by stage: passed, and of the processor", err=True)
    for words, (wall, own) in total.items():
        click.echo(f"{wall:8.2f} {own:8.2f}  {_safe(words)}", err=True)
    if own_peak := _peak():
        click.echo(f"{own_peak:8.0f} MB of memory at most", err=True)
    if after > before:
        click.echo(f"{peak:8.0f} MB in the second process, most of it shared with the first",
                   err=True)


def _peak() -> float:
    """Most memory of this process so far [MB]; 0 where the system does not say."""
    try:
        import resource
    except ImportError:
        return 0.0
    return _mega(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)


def _children() -> tuple[float, float]:
    """Seconds of the processor, and most memory [MB], of child processes that have ended."""
    try:
        import resource
    except ImportError:
        return 0.0, 0.0
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime, _mega(used.ru_maxrss)


def _mega(maxrss: int) -> float:
    return maxrss / (2**20 if sys.platform == "darwin" else 2**10)


@contextlib.contextmanager
def _changing_line(label: str) -> Iterator[Callable[[str], None]]:
    """Yield a function that changes the words behind a label on stderr."""
    if not sys.stderr.isatty() or os.environ.get("TERM") == "dumb":
        with _lines(label) as change:
            yield change
        return
    from rich.console import Console

    with (Console(stderr=True).status(_safe(label)) as status,
          resting_at_forks(status.stop, status.start)):
        yield lambda words: status.update(f"{_safe(label)}: {_safe(words)}")


@contextlib.contextmanager
def _lines(label: str) -> Iterator[Callable[[str], None]]:
    """Say after a while, and then now and then, what is under way; short runs say nothing."""
    speaker = _Speaker(label)
    speaker.start()
    try:
        with resting_at_forks(speaker.stop, speaker.start):
            yield speaker.change
    finally:
        speaker.stop()


class _Speaker:
    """A thread that says now and then what is under way; it can be ended and begun again."""

    def __init__(self, label: str) -> None:
        self._label, self._words = label, ""
        self._begun = time.monotonic()
        self._next = self._begun + _FIRST_LINE
        self._done = threading.Event()

    def change(self, words: str) -> None:
        self._words = words

    def start(self) -> None:
        self._done.clear()
        self._thread = threading.Thread(target=self._speak, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        self._done.set()
        self._thread.join()

    def _speak(self) -> None:
        while not self._done.wait(max(self._next - time.monotonic(), 0.0)):
            what = f"{self._label}: {self._words}" if self._words else self._label
            with contextlib.suppress(OSError, ValueError):  # nobody listens
                click.echo(_safe(f"{what} ({time.monotonic() - self._begun:.0f} s so far)"),
                           err=True)
            self._next = time.monotonic() + _NEXT_LINE
