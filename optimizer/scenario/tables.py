"""Tables as people keep them: rows with their place, so that an error can name it."""

from __future__ import annotations

import csv
import difflib
import io
import math
import re
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final, TypeVar, overload

from optimizer.errors import InputError, InputErrors
from optimizer.files import read_input
from optimizer.scenario.spreadsheet_file import is_spreadsheet, read_sheet
from optimizer.scenario.units import parse_quantity, unit_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence
    from pathlib import Path

__all__ = ["Row", "TextTable", "belonging", "decoded", "each_row", "headings_of", "plain_name",
           "read_rows", "read_table", "read_text", "separator_of", "table_of", "together"]

_Value = TypeVar("_Value")

_LARGEST = 20_000_000  # bytes; a table that people edit has thousands of rows, not millions
_MOST_COLUMNS = 1000
_SPACES = str.maketrans({"\u00a0": " ", "\u202f": " ", "\u2009": " ", "\u2007": " ",
                         "\u200b": "", "\ufeff": ""})
_MINUS = str.maketrans({"\u2212": "-", "\u2013": "-"})
_SIGN = (r"[€£$¥]|(?!JAN|FEB|MAR|APR|MAY|JUN|JUL|AUG|SEP|OCT|NOV|DEC)[A-Z]{3}|[Ee]uros?|kr"
         r"|S?Fr\.?")
_MONEY = re.compile(rf"(?P<before>{_SIGN})?\s*"
                    r"(?P<amount>\d[\d.,'’ ]*(?:[.,][-–]+)?)\s*"
                    rf"(?P<behind>{_SIGN})?")
_ABOUT = re.compile(r"(?:(?:about|around|approximately|approx|circa|ca)\b\.?|[~≈])\s*(?=\S)",
                    re.IGNORECASE)
_FREE = {"free", "for free", "free of charge", "nothing", "gratis"}
_MASS = re.compile(r"(?P<amount>.*\d[.,]?)\s*(?P<unit>[Kk]?[Gg])\.?")
_CURRENCIES = {"€": "EUR", "eur": "EUR", "euro": "EUR", "euros": "EUR", "£": "GBP",
               "$": "$", "¥": "¥", "fr.": "CHF", "fr": "CHF", "sfr.": "CHF"}
_LONGEST_HEADING = 200  # characters
_LONGEST_TITLE = 10  # rows
_NEAR = 0.75  # likeness from which an unknown heading is a slip in a known one
_YES = {"yes", "y", "true", "x", "1", "ja", "oui"}
_NO = {"no", "n", "false", "0", "-", "nein", "non"}


class _Required:
    """Marks a cell that has to be there."""


_REQUIRED: Final = _Required()


@dataclass(frozen=True)
class Row:
    """One row of a table.

    Attributes
    ----------
    file, line : where it is, as a spreadsheet counts rows (headings are row 1)
    cells : by heading
    decimal_comma : whether numbers of the file have one
    wrong : takes what is wrong with the row, so that all of it can be told at once; None to
        raise the first
    notes : takes how cells were understood where they are not written plainly
    """

    file: str
    line: int
    cells: dict[str, str]
    decimal_comma: bool = False
    wrong: list[InputError] | None = None
    notes: list[str] = field(default_factory=list)

    def error(self, column: str, problem: str, remedy: str) -> InputError:
        """Return an InputError that names this row and the column, for the caller to raise."""
        where = f"row {self.line}, column {column}" if column else f"row {self.line}"
        return InputError(self.file, where, problem, remedy)

    def refuse(self, column: str, problem: str, remedy: str) -> None:
        """Raise an error about a cell, or keep it for later and go on."""
        self.keep(self.error(column, problem, remedy))

    def keep(self, error: InputError) -> None:
        """Raise an error about this row, or keep it for later and go on."""
        if self.wrong is None:
            raise error
        self.wrong.append(error)

    def note(self, column: str, words: str) -> None:
        """Say how a cell was understood."""
        self.notes.append(f"row {self.line}, column {column}: {words}")

    def note_once(self, words: str, key: str = "") -> None:
        """Say how cells of a kind were understood; once for all that begin with `key`."""
        if not any(said.startswith(key or words) for said in self.notes):
            self.notes.append(words)

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
            self.refuse(column, "is empty", "fill it in")
            return ""
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
                self.refuse(column, "is empty", "fill in a number")
                return _stand_in(low)
            return default
        if about := _ABOUT.match(found):
            self.note(column, f'"{found}" read without "{about[0].strip()}"')
            return replace(self, cells={column: found[about.end():]}).number(
                column, low=low, high=high)
        try:
            value = parse_quantity(found, unit_of(column), decimal_comma=self.decimal_comma)
        except ValueError as error:
            self.refuse(column, f'"{found}" {error}', "write a plain number such as 12.5")
            return _stand_in(low)
        if not low <= value <= high:
            self.refuse(column, f"{found} is out of range", _range(low, high))
            return _stand_in(low)
        return value

    def grams(self, column: str, *, most: float) -> float:
        """Cell as a mass [g] of at most `most` either way, with "g" or "kg" or without; 0 if empty.

        A unit that is written out counts, and how it was read is said once.
        """
        found = self.cells.get(column, "")
        match = _MASS.fullmatch(found)
        if not match:
            return self.number(column, 0.0, low=-most, high=most)
        scale = 1000.0 if match["unit"].lower() == "kg" else 1.0
        value = scale * replace(self, cells={column: match["amount"]}).number(
            column, low=-most / scale, high=most / scale)
        self.note_once(f'masses such as "{found}" are read as {value:+.0f} g', "masses such as")
        return value

    def money(self, column: str, *, high: float) -> float:
        """Cell as an amount of money, at least 0; with a sign or code of the currency or without.

        Three digits behind the last separator are thousands where a sign says that it is money,
        since no price has tenths of a cent. "free" is 0; "about" is left out, and that is said.
        """
        found = self.cells.get(column, "")
        if found.lower() in _FREE:
            self.note_once(f'prices such as "{found}" are read as 0', f'prices such as "{found}"')
            return 0.0
        if about := _ABOUT.match(found):
            self.note(column, f'"{found}" read without "{about[0].strip()}"')
            return replace(self, cells={column: found[about.end():]}).money(column, high=high)
        match = _MONEY.fullmatch(found)
        sign = match and (match["before"] or match["behind"])
        if not match or not sign:
            return self.number(column, low=0.0, high=high)
        digits = re.sub(r"[.,](?=\d{3}$)", "", match["amount"]) if re.fullmatch(
            r"[1-9]\d{0,2}[.,]\d{3}", match["amount"]) else match["amount"]
        digits = re.sub(r"[.,][-–]+$", "", digits)
        value = replace(self, cells={column: digits}).number(column, low=0.0, high=high)
        said = f"read as {value:,.2f} {sign.strip()}"
        if digits == match["amount"]:
            self.note_once(f'prices such as "{found}" are {said}', "prices such as")
        else:
            self.note(column, f'"{found}" {said}')
        return value

    def currency(self, column: str) -> str:
        """Code of the currency that a cell names, or its sign; empty where it names none."""
        match = _MONEY.fullmatch(_ABOUT.sub("", self.cells.get(column, "")))
        sign = ((match["before"] or match["behind"] or "") if match else "").strip()
        return _CURRENCIES.get(sign.lower(), sign.upper())

    def flag(self, column: str, default: bool = False) -> bool:
        """Cell as yes or no; `default` where it is empty."""
        found = self.cells.get(column, "").lower()
        if not found:
            return default
        if found not in _YES | _NO:
            self.refuse(column, f'"{found}" is neither yes nor no', "write yes or no")
        return found in _YES

    def names(self, column: str) -> tuple[str, ...]:
        """Cell as a list of names between semicolons."""
        parts = (part.strip() for part in self.cells.get(column, "").split(";"))
        return tuple(part for part in parts if part)


@dataclass(frozen=True)
class TextTable:
    """A table as its file spells it.

    `headings` are those of all columns, as names, and `spelt` as they stand there; `separator` is
    what stands between cells; `decimal_comma` tells that numbers are written with one;
    `wrong` is what its headings get wrong, where that was not raised.
    """

    headings: tuple[str, ...]
    separator: str
    decimal_comma: bool
    rows: list[Row]
    wrong: tuple[InputError, ...] = ()
    spelt: tuple[str, ...] = ()


_NO_LIMIT = 1e9  # money and the like: larger limits only keep nonsense out


def _range(low: float, high: float) -> str:
    if high >= _NO_LIMIT:
        return f"it has to be at least {low:g}"
    if low == -math.inf:
        return f"it has to be at most {high:g}"
    return f"it has to be between {low:g} and {high:g}"


def _stand_in(low: float) -> float:
    """Give a number in place of one that is refused, in a row that is not used."""
    return low if math.isfinite(low) else 0.0


def parse_clock(text: str) -> float:
    """Read m:ss or h:mm:ss [s]; raises ValueError with the reason in words."""
    match = re.fullmatch(r"\s*(?:(\d{1,2}):)?(\d{1,3}):([0-5]\d)\s*", text, re.ASCII)
    if not match or (match[1] and int(match[2]) > 59):
        raise ValueError("is not a time")
    return float(sum(60**k * int(part or 0) for k, part in enumerate(reversed(match.groups()))))


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
        raise ValueError(f"is not a number{_of_a_date(plain)}")
    value = float(plain)
    if not math.isfinite(value):
        raise ValueError("is not a finite number")
    return value


def _of_a_date(text: str) -> str:
    """Say what a date may have been before a spreadsheet made it one; empty for no date."""
    if day := re.fullmatch(r"\d{4}-(\d\d)-(\d\d)", text):
        month, number = int(day[1]), int(day[2])
        return (f" (did a spreadsheet turn {number}.{month} or {number}-{month} into a date? "
                "format the cell as text)")
    if re.search(r"\d[-./]\d|[A-Za-z]{3}-?\d|\d-?[A-Za-z]{3}", text):
        return " (did a spreadsheet turn it into a date?)"
    return ""


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
        raise InputError(str(path), f"line {line}", "contains a NUL character",
                         "check that it is a text file")
    return text


def read_rows(path: Path | str, required: Sequence[str], optional: Sequence[str] = (),
              notes: list[str] | None = None, *,
              synonyms: Mapping[str, str] | None = None) -> list[Row]:
    """Read a table with headings in its first row: CSV, or a sheet of a spreadsheet (.xlsx, .ods).

    CSV: commas, semicolons or tabs between the cells, decimal points or commas, with or without
    BOM. A spreadsheet: "club.xlsx", or "club.xlsx#Kit" for one of several sheets. Headings in
    any case and order; blanks in them count as underscores, and `synonyms` of them are taken.
    Empty rows, empty trailing columns and rows that start with # are left out, and so are
    columns with an unknown heading, which `notes` says; without `notes` nobody would hear of
    them, so that they are refused, and so is a heading that is nearly a known one: a slip does
    not lose its figures.
    """
    return read_table(path, required, optional, notes, synonyms=synonyms).rows


def read_table(path: Path | str, required: Sequence[str], optional: Sequence[str] = (),
               notes: list[str] | None = None, *,
               synonyms: Mapping[str, str] | None = None,
               deferred: bool = False) -> TextTable:
    """Read a table as `read_rows` does, with the way in which its file is written.

    With `deferred`, slips in headings are kept in `wrong` of the table, for `each_row` to raise
    them with what is wrong in the rows.
    """
    if is_spreadsheet(path):
        file, records = read_sheet(path, belonging(required, synonyms), notes)
        return _table(file, records, ",", required, optional, notes, synonyms, deferred=deferred)
    return table_of(read_text(path), path, required, optional, notes, synonyms=synonyms,
                    deferred=deferred)


def belonging(required: Sequence[str],
              synonyms: Mapping[str, str] | None = None) -> Callable[[str], bool]:
    """Give a function that tells whether a table needs a heading."""
    names = {*required, *(old for old, new in (synonyms or {}).items() if new in required)}
    return lambda heading: _plain(heading) in names


def table_of(text: str, path: Path | str, required: Sequence[str], optional: Sequence[str] = (),
             notes: list[str] | None = None, *,
             synonyms: Mapping[str, str] | None = None, deferred: bool = False) -> TextTable:
    """Take the text of a table apart as `read_table` does; `path` is for messages."""
    try:
        separator = _separator_below_title(text, required, synonyms or {})
        records = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator,
                                  strict=True))
    except csv.Error as error:
        raise InputError(str(path), "", f"is not a table: {error}",
                         "check the quotation marks") from error
    return _table(str(path), records, separator, required, optional, notes, synonyms,
                  deferred=deferred)


def _table(file: str, records: Sequence[Sequence[str]], separator: str, required: Sequence[str],
           optional: Sequence[str], notes: list[str] | None,
           synonyms: Mapping[str, str] | None, *, deferred: bool = False) -> TextTable:
    lines = [(number, [cell.translate(_SPACES).strip() for cell in record])
             for number, record in enumerate(records, 1)]
    lines = [(number, cells) for number, cells in lines
             if any(cells) and not cells[0].startswith("#")]
    if not lines:
        raise InputError(file, "", "is empty",
                         f"write its headings in the first row: {', '.join(required or optional)}")
    lines = lines[_headings_at(lines, required, synonyms or {}, notes):]
    columns, slips = _columns(file, lines[0], required, optional, synonyms or {}, notes)
    if slips and not deferred:
        raise together(slips)
    comma = separator != "," and any(re.fullmatch(r"[+-]?\d+,\d+", cell)
                                     for _, cells in lines for cell in cells)
    rows, wrong = [], list[InputError]()
    for number, cells in lines[1:]:
        try:
            rows.append(_row(file, number, cells, columns, comma))
        except InputError as error:
            wrong.append(error)
    if wrong:
        raise together([*slips, *wrong])
    return TextTable(tuple(columns), separator, comma, rows, tuple(slips), tuple(lines[0][1]))


def each_row(table: TextTable, read: Callable[[Row], _Value], sample: Mapping[str, str],
             notes: list[str] | None = None) -> list[_Value]:
    """Read every row, and raise all that is wrong with them at once.

    `sample` is a right row by heading, for the message; what `read` notes goes to `notes`.
    Raises InputError for one mistake, InputErrors for several.
    """
    found, wrong = [], list(table.wrong)
    for row in table.rows:
        kept = replace(row, wrong=[], notes=[] if notes is None else notes)
        try:
            value = read(kept)
        except InputError as error:
            kept.keep(error)
        else:
            found.append(value)
        # A column that a slip hides is no fault of its rows.
        wrong += [one for one in kept.wrong or () if not table.wrong
                  or one.where.partition(", column ")[2] in table.headings]
    if wrong:
        raise together(wrong, _right_row(table, sample))
    return found


def _right_row(table: TextTable, sample: Mapping[str, str]) -> str:
    """Show a right row under the headings of the file, cell by cell, written as the file is.

    Under headings of its own where the file's are none that it knows.
    """
    comma = table.separator != "," and (table.decimal_comma or any(
        re.search(r"\d,\d{1,2}(?!\d)", cell) for row in table.rows for cell in row.cells.values()))
    cells = [sample.get(name, "") for name in table.headings]
    if not any(cells):
        head, line = (table.separator.join(part) for part in (sample.keys(), sample.values()))
        return f"a right row: {line}\n    under the headings: {head}"
    cells = [cell.replace(".", ",") if comma and re.fullmatch(r"\d+\.\d+", cell) else cell
             for cell in cells]
    last = max((k for k, name in enumerate(table.spelt) if name), default=0) + 1
    head, line = (table.separator.join(part[:last]) for part in (table.spelt, tuple(cells)))
    return f"a right row: {line}\n    under the headings: {head}"


def together(wrong: Sequence[InputError], sample: str = "") -> InputError:
    """One error of several, in the order of their rows."""
    if len(wrong) > 1:
        return InputErrors(sorted(wrong, key=_row_number), sample)
    one = wrong[0]
    return InputError(one.file, one.where, one.problem,
                      f"{one.remedy}\n  {sample}" if sample else one.remedy)


def _row_number(error: InputError) -> int:
    found = re.match(r"(?:row|line) (\d+)", error.where)
    return int(found[1]) if found else 0


def separator_of(text: str) -> str:
    """Tell what stands between the cells of a table: comma, semicolon or tab."""
    head = next((line for line in text.splitlines()
                 if line.strip(" ,;\t") and not line.lstrip('" ').startswith("#")), "")
    return max(",;\t", key=head.count)


def _separator_below_title(text: str, required: Sequence[str],
                           synonyms: Mapping[str, str]) -> str:
    """Tell the separator by the row of headings, which may stand below a title."""
    begun = [line for line in text.splitlines() if line.strip(" ,;\t")][:_LONGEST_TITLE]
    for line in begun if required else ():
        for separator in ",;\t":
            cells = next(csv.reader([line], delimiter=separator))
            if set(required) <= set(_with_synonyms(cells, required, synonyms, None)):
                return separator
    return separator_of(text)


def headings_of(path: Path | str) -> list[str]:
    """Names in the first row of a CSV, those to be left out not among them."""
    text = read_text(path)
    try:
        rows = csv.reader(io.StringIO(text, newline=""), delimiter=separator_of(text))
        cells = next((row for row in rows if any(row) and not row[0].startswith("#")), [])
    except csv.Error as error:
        raise InputError(str(path), "row 1", f"is not a row of headings: {error}",
                         "write the headings in its first row") from error
    names = dict.fromkeys(map(_plain, cells))
    return [name for name in names if name and not name.startswith("#")]


def _plain(heading: str) -> str:
    """Heading as a name; without what stands in brackets, which is a remark."""
    text = heading.translate(_SPACES).strip(" ?!:.").lower()
    if len(text) <= _LONGEST_HEADING:
        text = re.sub(r"\s*[(\[][^)\]]*[)\]]$", "", text)
    return re.sub(r"[\s-]+", "_", text)


def _columns(file: str, line: tuple[int, list[str]], required: Sequence[str],
             optional: Sequence[str], synonyms: Mapping[str, str],
             notes: list[str] | None) -> tuple[list[str], list[InputError]]:
    """Name of each column; those to be left out are empty or start with #. And what is wrong."""
    number, cells = line
    where, known = f"row {number}", [*required, *optional]
    if len(cells) > _MOST_COLUMNS:
        raise InputError(file, where, f"has {len(cells):,} columns", "is it the right file?")
    names = _with_synonyms(cells, known, synonyms, notes)
    wrong = [InputError(file, f"{where}, column {name}", "appears twice", "keep one of them")
             for name in dict.fromkeys(names) if name in known and names.count(name) > 1]
    unknown = [k for k, name in enumerate(names)
               if name and not name.startswith("#") and name not in known]
    wrong += [InputError(file, f"{where}, column {cells[k]}", "is not a known heading",
                         suggest(names[k], known) +
                         "; put # before a heading to leave its column out")
              for k in unknown if notes is None or _is_slip(names[k], names, required, known)]
    ignored = ", ".join(cells[k] for k in unknown[:12]) + (" ..." if len(unknown) > 12 else "")
    if not wrong:
        other = f"; not known: {ignored}" if ignored else ""
        wrong = [InputError(file, where, f'there is no column "{name}"{other}',
                            f"the columns are {', '.join(known)}")
                 for name in required if name not in names]
    if unknown and notes is not None and not wrong:
        notes.append(f"not used: the column{'s' if len(unknown) > 1 else ''} {ignored}")
    return [f"#{name}" if k in unknown else name for k, name in enumerate(names)], wrong


def _headings_at(lines: Sequence[tuple[int, list[str]]], required: Sequence[str],
                 synonyms: Mapping[str, str], notes: list[str] | None) -> int:
    """Find the row of headings below a title; the first row where none has all that are needed."""
    if notes is None or not required:
        return 0
    known = {k: len({*required} & {*_with_synonyms(cells, required, synonyms, None)})
             for k, (_, cells) in enumerate(lines[:_LONGEST_TITLE])}
    # Where none has all of them, the row that has most is meant, and what is missing is told of it.
    found = max(known, key=lambda k: (known[k], -k))
    if found and known[found] == len(required):
        notes.append(f"the headings are those of row {lines[found][0]}")
    return found


def _with_synonyms(cells: Sequence[str], known: Sequence[str], synonyms: Mapping[str, str],
                   notes: list[str] | None) -> list[str]:
    """Names of the headings, with the known one for a word that means it."""
    names, read = [_plain(cell) for cell in cells], []
    for k, (cell, name) in enumerate(zip(cells, names, strict=True)):
        other = synonyms.get(name, "")
        if name not in known and other in known and other not in names:
            names[k] = other
            read.append(f'"{cell}" as {other}')
    if read and notes is not None:
        notes.append(f"columns read: {', '.join(read)}")
    return names


def _is_slip(name: str, names: Sequence[str], required: Sequence[str],
             known: Sequence[str]) -> bool:
    """Tell whether an unknown heading is nearly one that is not there."""
    near = [*difflib.get_close_matches(name, known, 3, _NEAR),
            *difflib.get_close_matches(name, required, 1, 0.5)]
    return any(one not in names for one in near)


def plain_name(name: str) -> str:
    """Name of an item without case, blanks and hyphens, by which people mean the same."""
    return "".join(c for c in name.casefold() if c.isalnum()) or name


def suggest(name: str, known: Iterable[str]) -> str:
    """Return "did you mean ...?" with the nearest known name, or all of them."""
    names = list(dict.fromkeys(known))
    near = difflib.get_close_matches(name, names, 1, 0.5)
    return f'did you mean "{near[0]}"?' if near else f"known are {', '.join(names)}"


def _row(file: str, number: int, cells: list[str], columns: list[str],
         comma: bool) -> Row:
    names = [*columns, *[""] * (len(cells) - len(columns))]
    beyond = [cell for cell, name in zip(cells, names, strict=False) if cell and not name]
    if beyond:
        raise InputError(file, f"row {number}", f'has a cell without a heading: "{beyond[0]}"',
                         "if it is a decimal comma among separating commas, put the number in "
                         "quotation marks, "
                         "or separate the cells with semicolons")
    return Row(file, number, {name: cell for name, cell in zip(columns, cells, strict=False)
                              if name and not name.startswith("#")}, comma)
