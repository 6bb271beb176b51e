"""Tables of the folder as one edits them: kit, evidence and forecast, a message beside its cell."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence  # noqa: TC003 - of the values below
from dataclasses import dataclass, field
from pathlib import Path  # noqa: TC003 - as above
from typing import TYPE_CHECKING

from optimizer.errors import InputError, InputErrors
from optimizer.evidence.datum import TESTS
from optimizer.files import as_if, is_file
from optimizer.kit.catalogue import PLACES
from optimizer.scenario import catalogue_file, evidence_file, forecast_file
from optimizer.scenario.fields import column_label
from optimizer.scenario.grid import read_grid
from optimizer.scenario.tables import decoded, table_of
from optimizer.window.folder import version

if TYPE_CHECKING:
    from collections.abc import Mapping

    from optimizer.window.folder import Folder

__all__ = ["KINDS", "Cell", "Kind", "Shown", "TriedGrid", "fresh", "shown", "try_grid"]

_MOST_ROWS = 5000
_MOST_DIFFERENCES = 8  # that are told of two versions of a table


@dataclass(frozen=True)
class Kind:
    """A kind of table.

    Attributes
    ----------
    key : in the names of its cells
    title : above it
    required, optional : its columns
    first : optional columns that are shown from the start
    choices : by column, what is usual there
    setting : where the scenario names its file
    usual : name of a new file
    help : how a row is written
    """

    key: str
    title: str
    required: tuple[str, ...]
    optional: tuple[str, ...]
    first: tuple[str, ...]
    setting: tuple[str, str]
    usual: str
    help: str
    synonyms: Mapping[str, str] = field(default_factory=dict)
    choices: Mapping[str, Sequence[str]] = field(default_factory=dict)

    @property
    def columns(self) -> tuple[str, ...]:
        """All columns."""
        return (*self.required, *self.optional)


_YES = ("yes", "no")
KINDS = {kind.key: kind for kind in (
    Kind("kit", "What could be bought, and what you own", catalogue_file.REQUIRED,
         catalogue_file.OPTIONAL, ("owned", "mass_change_g", "note"), ("kit", "catalogue"),
         "kit.csv", "One item per row, with its place on bike or body. Work on brakes and steering "
         "is for a qualified mechanic.", catalogue_file.HEADINGS,
         {"place": PLACES, "owned": _YES, "needs_fitter": _YES}),
    Kind("evidence", "What is known of it", evidence_file.REQUIRED, evidence_file.OPTIONAL,
         ("measured_by", "runs", "uncertainty", "source"), ("kit", "evidence"), "evidence.csv",
         "One test result per row, as its source states it: saves 30 g @ 45 km/h; -0.004 m2 CdA; "
         "saves 15 s / 40 km @ 45 km/h; saves 2 % drag; Crr -0.0004. The uncertainty is one "
         "standard deviation.", evidence_file.HEADINGS,
         {"test": TESTS, "measured_by": ("independent", "seller")}),
    Kind("forecast", "The forecast by the hour", forecast_file.REQUIRED, forecast_file.OPTIONAL,
         ("wind_kmh", "gust_kmh", "temperature_c"), ("conditions", "forecast"), "forecast.csv",
         "One hour per row, such as 09:00 or 2031-06-15T09:00. Say where the wind comes from in "
         "degrees (0 north, 90 east) or as SW.", {}, {}),
)}
"""Tables that the window edits."""


@dataclass(frozen=True)
class Cell:
    """A cell as it is shown."""

    name: str
    column: str
    value: str
    message: str = ""


@dataclass(frozen=True)
class Shown:
    """A table as it is shown.

    Attributes
    ----------
    file : its name in the folder
    columns : name, label, and whether it is one of those shown from the start
    rows : number of the record of each (0 for a new one), its cells, and what is wrong with it
    version : of the file that is shown
    trouble : why it cannot be edited here, or what is wrong with all of it
    editable : whether there is a table to edit
    """

    kind: Kind
    file: str
    columns: tuple[tuple[str, str, bool], ...]
    rows: tuple[tuple[int, tuple[Cell, ...], str], ...]
    version: str
    trouble: str = ""
    editable: bool = True


@dataclass(frozen=True)
class TriedGrid:
    """What was typed into a table, tried: the new content, and what is wrong by row and column.

    `whole` is what is wrong with all of it; `notes` is told and does not hinder; `changed` tells
    that somebody else changed the file meanwhile; `pages` are the numbers of the rows on the page.
    """

    data: bytes
    messages: dict[tuple[int, str], str]
    whole: str = ""
    notes: tuple[str, ...] = ()
    changed: bool = False
    pages: tuple[int, ...] = ()

    @property
    def right(self) -> bool:
        """Whether it may be written."""
        return not (self.messages or self.whole or self.changed)

    def beside(self, kind: Kind) -> dict[str, str]:
        """Give what is wrong by the names of the cells on the page."""
        return {f"{kind.key}.{self.pages[row]}{f'.{column}' if column else ''}": words
                for (row, column), words in self.messages.items()}


def fresh(kind: Kind) -> bytes:
    """Give a table that holds nothing but headings."""
    return (",".join((*kind.required, *kind.first)) + "\n").encode()


def _content(folder: Folder, kind: Kind, name: str) -> bytes:
    return folder.read(name) if is_file(folder.path(name)) else fresh(kind)


def _columns(kind: Kind, data: bytes, path: Path) -> tuple[str, ...]:
    """Name of each column as kitpace reads it; others begin with #. Raises InputError."""
    return table_of(decoded(data, path), path, kind.required, kind.optional, [],
                    synonyms=kind.synonyms).headings


def shown(folder: Folder, kind: Kind, name: str, typed: Mapping[str, str],
          tried: TriedGrid | None = None) -> Shown:
    """Give a table to show: with what was typed, else with what the file says."""
    path = folder.path(name)
    if path.suffix.lower() != ".csv":
        return Shown(kind, name, (), (), "", "is a spreadsheet or a field of a forecast: edit it "
                     "where it was made", editable=False)
    try:
        data = _content(folder, kind, name)
        grid = read_grid(data, path)
        columns = _known(_columns(kind, data, path))
    except InputError as error:
        return Shown(kind, name, (), (), "", str(error).removeprefix(f"{path}: "),
                     editable=False)
    open_now = {*columns, *(kind.first if not is_file(path) else ())}
    order = (*columns, *(column for column in kind.columns if column not in columns))
    lines = [line[1:] for line in _typed(kind, typed)] if tried is not None else [
        (row.number, _by_name(_columns(kind, data, path), row.cells)) for row in grid.rows]
    stale = tried is not None and tried.changed
    rows = []
    for k, (number, cells) in enumerate([*lines, (0, {}), (0, {}), (0, {})][:_MOST_ROWS]):
        rows.append((0 if stale else number, tuple(
            Cell(f"{kind.key}.{k}.{column}", column, cells.get(column, ""),
                 tried.messages.get((k, column), "") if tried else "") for column in order),
            tried.messages.get((k, ""), "") if tried else ""))
    return Shown(kind, name, tuple((column, column_label(column), column in open_now)
                                   for column in order), tuple(rows),
                 version(data) if tried is None or stale else typed.get(f"version {kind.key}", ""),
                 tried.whole if tried else "")


def _known(columns: Sequence[str]) -> tuple[str, ...]:
    return tuple(column for column in columns if column and not column.startswith("#"))


def _by_name(columns: Sequence[str], cells: Sequence[str]) -> dict[str, str]:
    return {column: cell.strip() for column, cell in zip(columns, cells, strict=False)
            if column and not column.startswith("#")}


def _typed(kind: Kind, typed: Mapping[str, str]) -> list[tuple[int, int, dict[str, str]]]:
    """Rows as they were typed, without empty ones: number on the page, record it was, cells."""
    found: dict[int, dict[str, str]] = {}
    for name, text in typed.items():
        match = re.fullmatch(rf"{kind.key}\.(\d{{1,4}})\.([a-z0-9_]+)", name)
        if match:
            found.setdefault(int(match[1]), {})[match[2]] = " ".join(text.split())
    rows = []
    for k in sorted(found):
        number = found[k].pop("record", "0")
        if any(found[k].values()):
            rows.append((k, int(number) if number.isdigit() else 0, found[k]))
    return rows


def try_grid(folder: Folder, kind: Kind, name: str, typed: Mapping[str, str],
             check: Callable[[], object]) -> TriedGrid:
    """Try what was typed into a table, without writing.

    `check` reads the table as a plan does. Raises InputError where the file cannot be read as it
    is.
    """
    path = folder.path(name)
    old = _content(folder, kind, name)
    grid = read_grid(old, path)
    columns = _columns(kind, old, path)
    rows = _typed(kind, typed)
    changed = version(old) != typed.get(f"version {kind.key}", "")
    if changed:
        there = [_by_name(columns, row.cells) for row in grid.rows]
        differ = _differences(kind, there, [cells for *_, cells in rows])
        return TriedGrid(old, {}, whole=f"{name} was changed outside of this page; nothing was "
                         "written. Save again to put these rows in the place of those in the file. "
                         + (f"What differs: {'; '.join(differ)}." if differ else
                            "Both say the same by now."), changed=True)
    further = [column for column in kind.columns if column not in columns and any(
        cells.get(column) for *_, cells in rows)]
    numbers = {row.number: row.cells for row in grid.rows}
    lines = []
    for _, number, cells in rows:
        was = numbers.get(number, ())
        known = [cells[column] if column in cells else _old(was, k)
                 for k, column in enumerate(columns)]
        lines.append((number if number in numbers else 0,
                      [*known, *(cells.get(column, "") for column in further)]))
    pages = tuple(number for number, *_ in rows)
    remarks = {(k, columns[0]): "begins with #: the row would be a remark that nobody reads; "
               "begin with something else" for k, (_, cells) in enumerate(lines)
               if cells[0].startswith("#")}
    if remarks:
        return TriedGrid(old, remarks, pages=pages)
    # Rows that were there come first, in their order; so do they in the file.
    order = sorted(range(len(lines)), key=lambda k: (lines[k][0] == 0, lines[k][0]))
    return _judged(folder, path, grid.with_rows(lines, further), order, pages, check)


def _differences(kind: Kind, there: Sequence[Mapping[str, str]],
                 here: Sequence[Mapping[str, str]]) -> list[str]:
    """Say in what the rows of the file differ from those of the page, some of it if it is much.

    Rows belong together by their first cell, and in the order in which they have the same one.
    """
    first = kind.required[0]

    def by_key(rows: Sequence[Mapping[str, str]]) -> dict[tuple[str, int], Mapping[str, str]]:
        found: dict[tuple[str, int], Mapping[str, str]] = {}
        for row in rows:
            name = row.get(first, "")
            found[name, sum(key[0] == name for key in found)] = row
        return found

    files, pages, said = by_key(there), by_key(here), list[str]()
    for key in dict.fromkeys([*files, *pages]):
        name = f'"{key[0]}"' + (f" (row {key[1] + 1} of it)" if key[1] else "")
        if key not in files:
            said.append(f"{name} is on this page only")
        elif key not in pages:
            said.append(f"{name} is in the file only")
        else:
            one, other = files[key], pages[key]
            said += [f"{column_label(column)} of {name} is {one.get(column) or 'empty'} in the "
                     f"file, {other.get(column) or 'empty'} here" for column in kind.columns
                     if " ".join(one.get(column, "").split()) != other.get(column, "")]
    more = len(said) - _MOST_DIFFERENCES
    return said if more <= 0 else [*said[:_MOST_DIFFERENCES], f"and {more} more"]


def _old(cells: Sequence[str], k: int) -> str:
    return cells[k] if k < len(cells) else ""


def _judged(folder: Folder, path: Path, data: bytes, order: Sequence[int],
            pages: Sequence[int], check: Callable[[], object]) -> TriedGrid:
    """Read the new content as a plan does, and put what is wrong beside its cell."""
    with as_if({path: data}):
        try:
            check()
        except InputErrors as error:
            found: Sequence[InputError] = error.found
        except InputError as error:
            found = (error,)
        else:
            found = ()
    messages: dict[tuple[int, str], str] = {}
    whole, notes = "", []
    at: dict[int, int] = {}
    if found:
        at = {row.number: order[k] for k, row in enumerate(read_grid(data, path).rows)}
    for one in found:
        said = f"{one.problem}; {one.remedy.splitlines()[0]}" if one.remedy else one.problem
        place = re.match(r"row (\d+)(?:, column (.+))?", one.where)
        if one.file != str(path):
            notes.append(str(one).replace(f"{folder.root}/", ""))
        elif place and int(place[1]) in at:
            messages.setdefault((at[int(place[1])], place[2] or ""), said)
        else:
            whole = said
    return TriedGrid(data, messages, whole, tuple(notes), pages=tuple(pages))


