"""A table of text as its file spells it, edited row by row: what is not touched stays as it is.

Comments, blank lines, separators, quotation marks, encoding and columns that kitpace does not read
are kept; a row is written anew only where one of its cells changed.
"""

from __future__ import annotations

import codecs
import csv
import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

from optimizer.errors import InputError
from optimizer.scenario.tables import decoded, separator_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

__all__ = ["Grid", "GridRow", "new_table", "read_grid"]


@dataclass(frozen=True)
class GridRow:
    """A record of the file: its number as messages count, its cells, and how it is written."""

    number: int
    cells: tuple[str, ...]
    raw: str

    @property
    def counts(self) -> bool:
        """Whether it is read, or a comment or blank."""
        return any(cell.strip() for cell in self.cells) and not (
            self.cells[0].lstrip().startswith("#"))


@dataclass(frozen=True)
class Grid:
    """A table as it is written; `records` are all of the file, the headings among them."""

    records: tuple[GridRow, ...]
    separator: str
    end: str
    mark: bytes
    encoding: str

    @property
    def headings(self) -> tuple[str, ...]:
        """Headings as they are spelled."""
        return self._head.cells

    @property
    def rows(self) -> tuple[GridRow, ...]:
        """Rows that are read, in their order."""
        return tuple(record for record in self.records
                     if record.counts and record.number > self._head.number)

    @property
    def _head(self) -> GridRow:
        return next(record for record in self.records if record.counts)

    def with_rows(self, rows: Sequence[tuple[int, Sequence[str]]],
                  headings: Sequence[str] = ()) -> bytes:
        """Give the bytes of the file with other rows.

        Parameters
        ----------
        rows : number of the record that a row was (0 for a new one), and its cells; records that
            are not named are left out, new rows stand behind the others
        headings : further ones, behind those that are there
        """
        known = dict(rows)
        kept: list[str] = []
        last = 0
        for record in self.records:
            if record.number == self._head.number:
                kept.append(self._line([*record.cells, *headings]) if headings else record.raw)
            elif not record.counts or record.number < self._head.number:
                kept.append(record.raw)
                continue
            elif record.number in known:
                kept.append(self._as_written(record, known[record.number]))
            else:
                continue
            last = len(kept)
        new = [self._line(_trimmed(cells)) for number, cells in rows if number == 0]
        kept[last - 1] = kept[last - 1].rstrip("\r\n") + self.end
        return self.mark + "".join([*kept[:last], *new, *kept[last:]]).encode(self.encoding)

    def with_row(self, cells: Sequence[str]) -> bytes:
        """Give the bytes of the file with one row more at its end."""
        text = "".join(record.raw for record in self.records)
        ended = not text or text.endswith(self.end[-1])
        whole = f"{text}{'' if ended else self.end}{self._line(cells)}"
        return self.mark + whole.encode(self.encoding)

    def _as_written(self, record: GridRow, cells: Sequence[str]) -> str:
        width = max(len(record.cells), len(_trimmed(cells)))
        one, other = ([*row, *[""] * width][:width] for row in (record.cells, cells))
        same = [cell.strip() for cell in one] == [cell.strip() for cell in other]
        return record.raw if same else self._line(other)

    def _line(self, cells: Sequence[str]) -> str:
        out = io.StringIO()
        csv.writer(out, delimiter=self.separator, lineterminator=self.end).writerow(cells)
        return out.getvalue()


def _trimmed(cells: Sequence[str]) -> list[str]:
    """Cells without the empty ones at the end; one is left."""
    out = list(cells)
    while len(out) > 1 and not out[-1]:
        out.pop()
    return out


def new_table(cells: Mapping[str, str]) -> bytes:
    """Give the bytes of a table of one row, by heading."""
    head = Grid((), ",", "\n", b"", "utf-8").with_row([*cells])
    return read_grid(head, "").with_row([*cells.values()])


def read_grid(data: bytes, path: Path | str, separator: str = "") -> Grid:
    """Take a table apart without understanding it. Raises InputError for what is no table."""
    text = decoded(data, path)
    separator = separator or separator_of(text)
    lines = io.StringIO(text, newline="").readlines()
    reader = csv.reader(lines, delimiter=separator, strict=True)
    records, at = [], 0
    try:
        for number, cells in enumerate(reader, 1):
            end_of = reader.line_num
            records.append(GridRow(number, tuple(cells) or ("",), "".join(lines[at:end_of])))
            at = end_of
    except csv.Error as error:
        raise InputError(str(path), "", f"is not a table: {error}",
                         "check the quotation marks") from error
    if not any(record.counts for record in records):
        raise InputError(str(path), "", "is empty", "write its headings in the first row")
    mark, encoding = next(((mark, name) for mark, name in (
        (codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be"),
        (codecs.BOM_UTF8, "utf-8")) if data.startswith(mark)), (b"", "utf-8"))
    end = "\r\n" if "\r\n" in text else "\n" if "\n" in text or "\r" not in text else "\r"
    return Grid(tuple(records), separator, end, mark, encoding)
