"""Tables from spreadsheets: CSV rows with their place, so that an error can name it."""

from __future__ import annotations

import csv
import difflib
import io
import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, overload

from optimizer.errors import InputError
from optimizer.files import read_input

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

__all__ = ["Row", "TextTable", "decoded", "read_rows", "read_table", "read_text", "table_of"]

_LARGEST = 20_000_000  # bytes; a table that people edit has thousands of rows, not millions
_MOST_COLUMNS = 1000
_SPACES = str.maketrans({"\u00a0": " ", "\u202f": " ", "\u2009": " ", "\u2007": " ",
                         "\u200b": "", "\ufeff": ""})
_MINUS = str.maketrans({"\u2212": "-", "\u2013": "-"})
_YES = {"yes", "y", "true", "x", "1", "ja", "oui"}
_NO = {"no", "n", "false", "0", "-", "nein", "non"}


class _Required:
    """Marks a cell that has to be there."""


_REQUIRED: Final = _Required()


@dataclass(frozen=True)
class Row:
    """One row: the file, the row as a spreadsheet counts it (headings are row 1), the cells."""

    file: str
    line: int
    cells: dict[str, str]
    decimal_comma: bool = False

    def error(self, column: str, problem: str, remedy: str) -> InputError:
        """Return an InputError that names this row and the column, for the caller to raise."""
        where = f"row {self.line}, column {column}" if column else f"row {self.line}"
        return InputError(self.file, where, problem, remedy)

    def has(self, column: str) -> bool:
        """Tell whether the cell holds anything."""
        return bool(self.cells.get(column))

    def text(self, column: str, default: str | _Required = _REQUIRED) -> str:
        """Cell as text without outer blanks; `default` where it is empty.

        Raises InputError for an empty cell without default.
        """
        found = self.cells.get(column, "")
        if found:
            return found
        if isinstance(default, _Required):
            raise self.error(column, "is empty", "fill it in")
        return default

    @overload
    def number(self, column: str, default: float | _Required = ..., *, low: float = ...,
               high: float = ...) -> float: ...
    @overload
    def number(self, column: str, default: None, *, low: float = ...,
               high: float = ...) -> float | None: ...
    def number(self, column: str, default: float | _Required | None = _REQUIRED, *,
               low: float = -math.inf, high: float = math.inf) -> float | None:
        """Cell as a number within `low` and `high` (both allowed); `default` where it is empty.

        Decimal points and commas, blanks or apostrophes between thousands; what can be read in
        two ways is refused, as are NaN and infinity.
        """
        found = self.cells.get(column, "")
        if not found:
            if isinstance(default, _Required):
                raise self.error(column, "is empty", "fill in a number")
            return default
        try:
            value = parse_number(found, decimal_comma=self.decimal_comma)
        except ValueError as error:
            raise self.error(column, f'"{found}" {error}', "write a plain number such as 12.5"
                             ) from error
        if not low <= value <= high:
            raise self.error(column, f"{found} is out of range", _range(low, high))
        return value

    def flag(self, column: str, default: bool = False) -> bool:
        """Cell as yes or no; `default` where it is empty."""
        found = self.cells.get(column, "").lower()
        if not found:
            return default
        if found in _YES:
            return True
        if found in _NO:
            return False
        raise self.error(column, f'"{found}" is neither yes nor no', "write yes or no")

    def names(self, column: str) -> tuple[str, ...]:
        """Cell as a list of names between semicolons."""
        parts = (part.strip() for part in self.cells.get(column, "").split(";"))
        return tuple(part for part in parts if part)


@dataclass(frozen=True)
class TextTable:
    """A table as its file spells it.

    `headings` are those of all columns, as names; `separator` is what stands between cells;
    `decimal_comma` tells that numbers are written with one.
    """

    headings: tuple[str, ...]
    separator: str
    decimal_comma: bool
    rows: list[Row]


def _range(low: float, high: float) -> str:
    if high == math.inf:
        return f"it has to be at least {low:g}"
    if low == -math.inf:
        return f"it has to be at most {high:g}"
    return f"it has to be between {low:g} and {high:g}"


def parse_number(text: str, *, decimal_comma: bool = False) -> float:
    """Read a number as people write it; raises ValueError with the reason in words.

    `decimal_comma` says that the file uses decimal commas elsewhere.
    """
    plain = text.translate(_SPACES).translate(_MINUS).strip()
    plain = re.sub(r"(?<=\d)['\u2019 ](?=\d{3}(?:\D|$))", "", plain)
    if "," in plain and "." in plain:
        point = max(plain.rfind(","), plain.rfind("."))
        groups = "." if plain[point] == "," else ","
        if not re.match(rf"[+-]?\d{{1,3}}(?:[{groups}]\d{{3}})+$", plain[:point]):
            raise ValueError("is not a number")
        plain = plain.replace(groups, "").replace(",", ".")
    elif plain.count(",") + plain.count(".") > 1:
        if not re.fullmatch(r"[+-]?\d{1,3}(?:,\d{3}){2,}|[+-]?\d{1,3}(?:\.\d{3}){2,}", plain):
            raise ValueError("is not a number")
        plain = plain.replace(",", "").replace(".", "")
    elif re.fullmatch(r"[+-]?[1-9]\d{0,2}[.,]\d{3}", plain):
        if ("," in plain) != decimal_comma:
            raise ValueError("can be read as thousands or as a fraction")
        plain = plain.replace(",", ".")
    else:
        plain = plain.replace(",", ".")
    if not re.fullmatch(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?", plain, re.ASCII):
        hint = " (did a spreadsheet turn it into a date?)" if re.search(
            r"\d[-./]\d|[A-Za-z]{3}-?\d|\d-?[A-Za-z]{3}", plain) else ""
        raise ValueError(f"is not a number{hint}")
    value = float(plain)
    if not math.isfinite(value):
        raise ValueError("is not a finite number")
    return value


def read_text(path: Path | str, largest: int = _LARGEST) -> str:
    """Read a text file as UTF-8 (with or without BOM; UTF-16 with BOM), or raise InputError."""
    return decoded(read_input(path, largest), path)


def decoded(data: bytes, path: Path | str) -> str:
    """Text of a file's bytes, as `read_text` gives it; `path` is for messages."""
    encoding = "utf-16" if data[:2] in {b"\xff\xfe", b"\xfe\xff"} else "utf-8-sig"
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise InputError(str(path), f"line {line}", "is not UTF-8 text",
                         'save it as "CSV UTF-8" or as UTF-8 text') from error
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise InputError(str(path), f"line {line}", "holds a NUL character",
                         "is it a text file?")
    return text


def read_rows(path: Path | str, required: Sequence[str],
              optional: Sequence[str] = ()) -> list[Row]:
    """Read a CSV table with headings in its first row.

    Commas, semicolons or tabs between the cells, decimal points or commas, with or without
    BOM. Headings in any case and order; blanks in them count as underscores. Empty rows, empty
    trailing columns and rows that start with # are left out, and so are columns whose heading
    starts with #. Any other column that is not in `required` or `optional` is refused, so that
    a slip in a heading does not lose its figures.
    """
    return read_table(path, required, optional).rows


def read_table(path: Path | str, required: Sequence[str],
               optional: Sequence[str] = ()) -> TextTable:
    """Read a table as `read_rows` does, with the way in which its file is written."""
    return table_of(read_text(path), path, required, optional)


def table_of(text: str, path: Path | str, required: Sequence[str],
             optional: Sequence[str] = ()) -> TextTable:
    """Take the text of a table apart as `read_table` does; `path` is for messages."""
    file = str(path)
    separator = _separator(text)
    try:
        records = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator,
                                  strict=True))
    except csv.Error as error:
        raise InputError(file, "", f"is not a table: {error}",
                         "check the quotation marks") from error
    lines = [(number, [cell.translate(_SPACES).strip() for cell in record])
             for number, record in enumerate(records, 1)]
    lines = [(number, cells) for number, cells in lines
             if any(cells) and not cells[0].startswith("#")]
    if not lines:
        raise InputError(file, "", "is empty", f"its headings are {', '.join(required)}")
    columns = _columns(file, lines[0], required, optional)
    comma = separator != "," and any(re.fullmatch(r"[+-]?\d+,\d+", cell)
                                     for _, cells in lines for cell in cells)
    rows = [_row(file, number, cells, columns, comma) for number, cells in lines[1:]]
    return TextTable(tuple(columns), separator, comma, rows)


def _separator(text: str) -> str:
    head = next((line for line in text.splitlines()
                 if line.strip(" ,;\t") and not line.lstrip('" ').startswith("#")), "")
    return max(",;\t", key=head.count)


def _columns(file: str, line: tuple[int, list[str]], required: Sequence[str],
             optional: Sequence[str]) -> list[str]:
    """Name of each column, checked; those to be left out start with #."""
    number, cells = line
    where, known = f"row {number}", [*required, *optional]
    if len(cells) > _MOST_COLUMNS:
        raise InputError(file, where, f"has {len(cells):,} columns", "is it the right file?")
    names = [re.sub(r"[\s-]+", "_", cell.lower()) for cell in cells]
    for cell, name in zip(cells, names, strict=True):
        if name and not name.startswith("#") and name not in known:
            raise InputError(file, f"{where}, column {cell}", "is not a known heading",
                             suggest(name, known) + "; a heading that starts with # is left out")
    doubled = [name for name in names if name in known and names.count(name) > 1]
    if doubled:
        raise InputError(file, f"{where}, column {doubled[0]}", "is there twice", "keep one")
    for name in required:
        if name not in names:
            raise InputError(file, where, f'there is no column "{name}"',
                             f"the columns are {', '.join(known)}")
    return names


def suggest(name: str, known: Iterable[str]) -> str:
    """Return "did you mean ...?" with the nearest known name, or all of them."""
    names = list(known)
    near = difflib.get_close_matches(name, names, 1, 0.5)
    return f'did you mean "{near[0]}"?' if near else f"known are {', '.join(names)}"


def _row(file: str, number: int, cells: list[str], columns: list[str],
         comma: bool) -> Row:
    names = [*columns, *[""] * (len(cells) - len(columns))]
    beyond = [cell for cell, name in zip(cells, names, strict=False) if cell and not name]
    if beyond:
        raise InputError(file, f"row {number}", f'has a cell without a heading: "{beyond[0]}"',
                         "a decimal comma between separating commas? put it in quotation marks, "
                         "or separate the cells with semicolons")
    return Row(file, number, {name: cell for name, cell in zip(columns, cells, strict=False)
                              if name and not name.startswith("#")}, comma)
