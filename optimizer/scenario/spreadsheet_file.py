"""Sheets of a spreadsheet file (.xlsx, .ods) as rows of text, read as CSV is."""

from __future__ import annotations

import datetime as dt
import io
import re
import zipfile
import zlib
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from optimizer.errors import InputError
from optimizer.files import is_file, read_input

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

__all__ = ["is_spreadsheet", "read_sheet", "with_sheet_row", "without_sheet"]

_ENDINGS: Final = (".xlsx", ".ods")
_LARGEST: Final = 20_000_000  # bytes of the file
_UNPACKED: Final = 200_000_000  # bytes of all its parts
_MOST_PARTS: Final = 2000
_MOST_ROWS, _MOST_COLUMNS, _MOST_CELLS = 100_000, 1000, 2_000_000
_CHUNK: Final = 1 << 20


def without_sheet(path: Path | str) -> tuple[Path, str]:
    """File and sheet of a name such as "club.xlsx#Kit"; no sheet where none is named."""
    text = str(path)
    name, mark, sheet = text.rpartition("#")
    if mark and name.lower().endswith(_ENDINGS) and not is_file(text):
        return Path(name), sheet.strip()
    return Path(text), ""


def is_spreadsheet(path: Path | str) -> bool:
    """Tell by its name whether a file is a spreadsheet."""
    return without_sheet(path)[0].suffix.lower() in _ENDINGS


def read_sheet(path: Path | str, belongs: Callable[[str], bool],
               notes: list[str] | None = None) -> tuple[str, list[list[str]]]:
    """Read one sheet: the named one, the only one, or the only one with a heading that belongs.

    Formulas count by the values that the spreadsheet last saved; nothing is calculated. Numbers
    come with a decimal point, dates as YYYY-MM-DD, yes and no as such.

    Parameters
    ----------
    belongs : tells of the text of a cell whether it is one of the headings looked for
    notes : takes which sheet was read, where there are several

    Returns
    -------
    The name of file and sheet for messages, and the rows of the sheet from its first.

    Raises InputError for what is no spreadsheet, is larger unpacked than tables are, has no such
    sheet, or where the reader, an optional package, is not installed.
    """
    file, wanted = without_sheet(path)
    data = read_input(file, _LARGEST)
    _check_archive(str(file), data)
    sheets = _sheets(str(file), data)
    name = _chosen(str(file), wanted, sheets, belongs)
    if len(sheets) > 1 and not wanted and notes is not None:
        notes.append(f'the sheet "{name}" of {len(sheets)} was read')
    where = f'{file}, sheet "{name}"' if len(sheets) > 1 else str(file)
    return where, sheets[name]


def _chosen(file: str, wanted: str, sheets: dict[str, list[list[str]]],
            belongs: Callable[[str], bool]) -> str:
    """Name of the sheet that is meant."""
    listed = ", ".join(f'"{name}"' for name in sheets)
    if wanted:
        for name in sheets:
            if name.strip().lower() == wanted.lower():
                return name
        raise InputError(file, "", f'has no sheet "{wanted}"', f"its sheets are {listed}")
    if len(sheets) == 1:
        return next(iter(sheets))
    score = {name: max((sum(map(belongs, row)) for row in rows[:20]), default=0)
             for name, rows in sheets.items()}
    best = max(score.values(), default=0)
    found = [name for name, count in score.items() if count == best > 0]
    if len(found) != 1:
        raise InputError(file, "",
                         f"has {len(sheets)} sheets, and it is not clear which one is meant",
                         f'name one behind #, such as "{Path(file).name}#{next(iter(sheets))}"; '
                         f"its sheets are {listed}")
    return found[0]


def _sheets(file: str, data: bytes) -> dict[str, list[list[str]]]:
    try:
        import python_calamine
    except ImportError as error:
        raise InputError(file, "", "needs a reader of spreadsheets that is not installed",
                         'install it with: pip install "kitpace[spreadsheet]", or save the sheet '
                         "as CSV UTF-8") from error
    try:
        with python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(data)) as book:
            return {name: [[_text(cell) for cell in row] for row in
                           book.get_sheet_by_name(name).to_python(skip_empty_area=False)]
                    for name in book.sheet_names}
    except (KeyboardInterrupt, SystemExit):
        raise
    except BaseException as error:  # a panic of the reader is no Exception
        raise InputError(file, "", f"cannot be read as a spreadsheet: {error}",
                         "open and save it again, or save the sheet as CSV UTF-8") from error


def _text(cell: Any) -> str:
    """Cell as a person would type it into a CSV."""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        text = repr(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
        # A number is a number: three decimals are not to be taken for thousands.
        return f"{text}0" if re.fullmatch(r"[+-]?[1-9]\d{0,2}\.\d{3}", text) else text
    if isinstance(cell, dt.datetime):
        return (cell.date().isoformat() if cell.time() == dt.time()
                else cell.isoformat(timespec="minutes"))
    return str(cell)


# --- what is refused before it is unpacked ------------------------------------------------------


def _check_archive(file: str, data: bytes) -> None:
    """Refuse what would unpack to more than a table that people keep.

    Parts of an archive are never read beyond the size that they state.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = archive.infolist()
            if len(parts) > _MOST_PARTS or sum(part.file_size for part in parts) > _UNPACKED:
                raise InputError(file, "", f"unpacks to more than {_UNPACKED / 1e6:.0f} MB",
                                 "is it the right file?")
            for part in parts:
                if part.filename.lower().endswith((".xml", ".rels", ".bin")):
                    _check_part(file, part.filename, archive)
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, OSError,
            ValueError) as error:
        raise InputError(file, "", "is not a spreadsheet, or is damaged or locked",
                         "open and save it again as .xlsx or .ods without a password") from error


_XLSX_CELL = re.compile(rb'<(?:\w+:)?c\s[^>]{0,200}?\br="([A-Za-z]{1,4})(\d{1,9})"')
_ODS_REPEAT = re.compile(rb"<(/?)table:(table-row|table-cell|covered-table-cell|table)\b"
                         rb"([^>]{0,4000}?)(/?)>")
_REPEATED = re.compile(rb'number-(?:rows|columns)-repeated="(\d{1,12})"')


def _check_part(file: str, name: str, archive: zipfile.ZipFile) -> None:
    """Refuse a part with entities, or whose cells reach further than any table does."""
    text = b"".join(_chunks(archive, name))
    if re.search(rb"<!(?:DOCTYPE|ENTITY)", text[:4096].replace(b"\0", b"")):
        raise InputError(file, "", "contains a document type or entities",
                         "save it again with a spreadsheet program")
    rows, columns = _ods_reach(text) if name == "content.xml" else _reach(text)
    if rows > _MOST_ROWS or columns > _MOST_COLUMNS or rows * columns > _MOST_CELLS:
        raise InputError(file, "", f"has a sheet of {rows:,} rows and {columns:,} columns",
                         "delete what lies far from the table, or copy the table to a new sheet")


def _chunks(archive: zipfile.ZipFile, name: str) -> Iterator[bytes]:
    left = _UNPACKED
    with archive.open(name) as part:
        while (chunk := part.read(_CHUNK)) and left > 0:
            left -= len(chunk)
            yield chunk


def _reach(text: bytes) -> tuple[int, int]:
    """Last row and column that hold a cell in a sheet of .xlsx."""
    rows = columns = 0
    for letters, digits in _XLSX_CELL.findall(text):
        column = 0
        for letter in letters.upper():
            column = 26 * column + letter - 64
        rows, columns = max(rows, int(digits)), max(columns, column)
    for digits in re.findall(rb'<(?:\w+:)?row\s[^>]{0,200}?\br="(\d{1,9})"', text):
        rows = max(rows, int(digits))
    return rows, columns


def _ods_reach(text: bytes) -> tuple[int, int]:
    """Last row and column that hold anything in the sheets of .ods, with what is repeated."""
    most_rows = most_columns = rows = columns = last = 0
    times, filled = 1, False
    for found in _ODS_REPEAT.finditer(text):
        closing, what, attributes, empty = found.groups()
        many = _REPEATED.search(attributes)
        count = int(many[1]) if many else 1
        if what == b"table":
            rows = 0
        elif what == b"table-row" and not closing:
            times, filled, columns, last = count, False, 0, 0
            rows += times if empty else 0
        elif what == b"table-row":
            rows += times
            if filled:
                most_rows, most_columns = max(most_rows, rows), max(most_columns, last)
        elif not closing:
            columns += count
            if not empty or b"value" in attributes:
                filled, last = True, columns
    return most_rows, most_columns


# --- a row more -----------------------------------------------------------------------------------

_MAIN: Final = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_LINKS: Final = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
_ROW: Final = re.compile(r"<((?:\w+:)?)row\b([^>]*?)(?:/>|>.*?</\1row>)", re.DOTALL)
_END: Final = re.compile(r"</((?:\w+:)?)sheetData>")


def with_sheet_row(path: Path | str, belongs: Callable[[str], bool],
                   cells: Sequence[str]) -> bytes:
    """Give the bytes of a workbook with one row more below the last that says anything.

    Only the sheet gains a row of text and numbers: every other part, formulas and their values
    included, stays as it is (ECMA-376 part 1, section 18.3.1.73; OpenDocument 1.2 part 1,
    sections 9.1.3 and 9.1.4).

    Parameters
    ----------
    path, belongs : as of `read_sheet`
    cells : text of the row from the first column on; numbers as numbers

    Raises InputError for what `read_sheet` refuses.
    """
    file, wanted = without_sheet(path)
    data = read_input(file, _LARGEST)
    _check_archive(str(file), data)
    sheets = _sheets(str(file), data)
    name = _chosen(str(file), wanted, sheets, belongs)
    last = max((k for k, row in enumerate(sheets[name], 1) if any(cell.strip() for cell in row)),
               default=0)
    open_document = file.suffix.lower() == ".ods"
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        part = "content.xml" if open_document else _part_of(old, name)
        for info in old.infolist():
            content = old.read(info)
            if info.filename == part:
                text = content.decode("utf-8")
                content = (_longer_ods(str(file), text, name, last, cells) if open_document else
                           _longer(str(file), text, last + 1, cells)).encode()
            new.writestr(info, content, compress_type=info.compress_type)
    return out.getvalue()


def _part_of(archive: zipfile.ZipFile, name: str) -> str:
    """Part of the archive that holds a sheet."""
    from defusedxml.ElementTree import fromstring

    book = fromstring(archive.read("xl/workbook.xml"))
    link = next(sheet.get(_LINKS) for sheet in book.iter(f"{_MAIN}sheet")
                if sheet.get("name") == name)
    links = fromstring(archive.read("xl/_rels/workbook.xml.rels"))
    target = next(str(one.get("Target")) for one in links if one.get("Id") == link)
    return target.lstrip("/") if target.startswith("/") else f"xl/{target}"


def _longer(file: str, text: str, number: int, cells: Sequence[str]) -> str:
    """Sheet with a row of that number, in the place of an empty one."""
    end = _END.search(text)
    if end is None:
        raise InputError(file, "", "has a sheet without rows", "give it headings first")
    tag = end[1]
    at, gone = end.start(), end.start()
    for row in _ROW.finditer(text, 0, end.start()):
        known = re.search(r'\br="(\d+)"', row[2])
        if known is None:
            raise InputError(file, "", "has rows without numbers", "open and save it again")
        if int(known[1]) >= number:
            at = row.start()
            gone = row.end() if int(known[1]) == number else at
            break
    made = "".join(_made_cell(tag, f"{_letters(k)}{number}", cell)
                   for k, cell in enumerate(cells) if cell)
    text = f'{text[:at]}<{tag}row r="{number}">{made}</{tag}row>{text[gone:]}'
    # Where the used part of the sheet ends, at least here.
    return re.sub(r'(<(?:\w+:)?dimension ref="[A-Z]+\d+:[A-Z]+)(\d+)"',
                  lambda found: f'{found[1]}{max(int(found[2]), number)}"', text, count=1)


def _made_cell(tag: str, place: str, text: str) -> str:
    from xml.sax.saxutils import escape

    if re.fullmatch(r"-?\d{1,15}(\.\d{1,15})?", text):
        return f'<{tag}c r="{place}"><{tag}v>{text}</{tag}v></{tag}c>'
    return (f'<{tag}c r="{place}" t="inlineStr"><{tag}is><{tag}t xml:space="preserve">'
            f"{escape(text)}</{tag}t></{tag}is></{tag}c>")


def _letters(column: int) -> str:
    """Letters of a column, counted from 0: A to Z, then AA."""
    text = ""
    while column >= 0:
        text, column = chr(65 + column % 26) + text, column // 26 - 1
    return text


_ODS_SHEET: Final = re.compile(r'<table:table\s(?:[^>]*?\s)?table:name="([^"]*)"[^>]*>')
_ODS_ROW: Final = re.compile(
    r"<table:table-row(?=[\s/>])([^>]*?)(?:/>|>.*?</table:table-row>)", re.DOTALL)
_ODS_ROWS: Final = re.compile(r'(\btable:number-rows-repeated=")(\d{1,12})(?=")')


def _longer_ods(file: str, text: str, sheet: str, last: int, cells: Sequence[str]) -> str:
    """Content of .ods with a row behind number `last` of a sheet, in the place of an empty one."""
    from xml.sax.saxutils import unescape

    begin = next((found.end() for found in _ODS_SHEET.finditer(text) if unescape(
        found[1], {"&quot;": '"', "&apos;": "'"}) == sheet), None)
    at, number = None, 0
    if begin is not None:
        made = f"<table:table-row>{''.join(map(_made_ods_cell, cells))}</table:table-row>"
        for row in _ODS_ROW.finditer(text, begin, text.find("</table:table>", begin)):
            many = _ODS_ROWS.search(row[1])
            count = int(many[2]) if many else 1
            if number >= last:  # the first of the empty rows
                fewer = _ODS_ROWS.sub(rf"\g<1>{count - 1}", row[0], count=1) if count > 1 else ""
                return f"{text[:row.start()]}{made}{fewer}{text[row.end():]}"
            number, at = number + count, row.end()
    if at is None:
        raise InputError(file, "", "has a sheet without rows", "give it headings first")
    return f"{text[:at]}{made}{text[at:]}"


def _made_ods_cell(text: str) -> str:
    from xml.sax.saxutils import escape

    if not text:
        return "<table:table-cell/>"
    kind = (f'"float" office:value="{text}"' if re.fullmatch(r"-?\d{1,15}(\.\d{1,15})?", text)
            else '"string"')
    return (f"<table:table-cell office:value-type={kind}><text:p>{escape(text)}</text:p>"
            "</table:table-cell>")
