"""The evidence table: a CSV with a datum a row."""

from __future__ import annotations

import codecs
import csv
import io
import math
import re
from pathlib import Path
from typing import TYPE_CHECKING, cast

from optimizer.errors import InputError
from optimizer.evidence.datum import TESTS, Datum, Measurer, TestKind
from optimizer.evidence.figures import read_figure, read_uncertainty
from optimizer.evidence.quantities import tidy
from optimizer.files import read_input
from optimizer.scenario.tables import decoded, parse_number, read_rows, table_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from optimizer.scenario.tables import Row

__all__ = ["check_item", "read_evidence", "with_row"]

_REQUIRED = ("item", "figure", "test")
_OPTIONAL = ("baseline", "yaw_deg", "air_density_kgm3", "measured_by", "runs", "uncertainty",
             "note", "source")
_MOST = 5000  # rows


def read_evidence(path: Path | str) -> list[Datum]:
    """Read and check an evidence table; every row in SI.

    Raises InputError with row and column for a figure that cannot be read in one way only,
    for a repeated row, and for one item against two baselines.
    """
    return _checked(read_rows(path, required=_REQUIRED, optional=_OPTIONAL))


def _checked(rows: Sequence[Row]) -> list[Datum]:
    if len(rows) > _MOST:
        raise rows[_MOST].error("", f"is beyond the {_MOST:,} results that are pooled",
                                "leave out what is about other items")
    seen: dict[tuple[str, ...], int] = {}
    names: dict[str, str] = {}
    baselines: dict[str, tuple[str, int]] = {}
    data = []
    for row in rows:
        cells = tuple(row.text(column, "").lower() for column in (*_REQUIRED, *_OPTIONAL))
        if cells in seen:
            raise row.error("", f"repeats row {seen[cells]}",
                            "delete one; two equal results are told apart by source or note")
        seen[cells] = row.line
        name = row.text("item")
        datum = _datum(row, names.setdefault(" ".join(name.lower().split()), name))
        first, line = baselines.setdefault(datum.item, (datum.baseline, row.line))
        if first.lower() != datum.baseline.lower():
            raise row.error("baseline", f'"{datum.baseline}", but row {line} has "{first}" for '
                            "the same item", "one baseline an item: give the other a name")
        data.append(datum)
    return data


def _datum(row: Row, item: str) -> Datum:
    where = f"row {row.line}, column figure"
    figure = read_figure(row.text("figure"), row.file, where)
    uncertainty = None
    if row.has("uncertainty"):
        if figure.uncertainty is not None:
            raise row.error("uncertainty", "is stated twice, here and in the figure", "keep one")
        uncertainty = read_uncertainty(row.text("uncertainty"), figure, row.file,
                                       f"row {row.line}, column uncertainty")
    test = _test(row)
    if test == "tunnel without rider" and figure.quantity in {"drag_share", "power_share"}:
        raise row.error("figure", f'"{figure.text}": of the bike alone, whose drag is not known',
                        "state the change in g, N, W or m2")
    runs = row.number("runs", None, low=1, high=100_000)
    if runs is not None and runs != int(runs):
        raise row.error("runs", f"{runs:g} is not a whole number", "count the runs")
    return Datum(
        item=item, figure=figure, test=test, baseline=row.text("baseline", ""),
        measured_by=_measured_by(row), yaw=_yaw(row),
        air_density=row.number("air_density_kgm3", None, low=0.5, high=1.6),
        runs=None if runs is None else int(runs), uncertainty=uncertainty,
        note=row.text("note", ""), source=row.text("source", ""),
        place=f"{row.file}, row {row.line}")


def _test(row: Row) -> TestKind:
    said = " ".join(row.text("test").lower().replace("_", " ").replace("-", " ").split())
    if said not in TESTS:
        raise row.error("test", f'"{said}" is not a kind of test', "one of: " + ", ".join(TESTS))
    return said


def _measured_by(row: Row) -> Measurer:
    said = row.text("measured_by", "").lower()
    if said not in {"", "independent", "seller"}:
        raise row.error("measured_by", f'"{said}"', "independent, seller, or leave it empty")
    return cast("Measurer", said)


def _yaw(row: Row) -> tuple[float, float] | None:
    said = tidy(row.text("yaw_deg", "")).rstrip("°").strip()
    if not said:
        return None
    parts = re.split(r"\s*(?:-|to|\.\.)\s*", said.removeprefix("-"))
    try:
        angles = [abs(parse_number(part, decimal_comma=row.decimal_comma)) for part in parts]
    except ValueError as error:
        raise row.error("yaw_deg", f'"{said}" {error}', "write 10 or 0-15") from error
    low, high = angles[0], angles[-1]
    if len(angles) > 2 or low > high or high > 60:
        raise row.error("yaw_deg", f'"{said}" is no angle or range',
                        "write 10 or 0-15, up to 60 degrees")
    return math.radians(low), math.radians(high)


# --- a row more -----------------------------------------------------------------------------

_LARGEST = 20_000_000  # bytes


def check_item(path: Path | str, item: str, baseline: str) -> None:
    """Tell before any work whether a table would take a result of `item` against `baseline`.

    Raises InputError for a table that cannot be read, or has the item against another baseline.
    """
    if not Path(path).exists():
        return
    text = decoded(read_input(path, _LARGEST), path)
    if not text.strip():
        return
    known = table_of(text, path, _REQUIRED, _OPTIONAL)
    for datum in _checked(known.rows):
        if (_same(datum.item, item) and "baseline" in known.headings
                and not _same(datum.baseline, baseline)):
            raise InputError(str(path), datum.place.rpartition(", ")[2],
                             f'has "{item}" against "{datum.baseline}", not "{baseline}"',
                             "one baseline an item: name the setups as the table does, or write "
                             "the row to another table")


def with_row(path: Path | str, cells: Mapping[str, str]) -> tuple[bytes, tuple[str, ...]]:
    """Give the bytes of an evidence table with one row more; nothing of the old is changed.

    The row is written as the table is: its columns, separator, decimal sign, ends of lines and
    encoding. A table that is not there begins with headings.

    Parameters
    ----------
    cells : text of each column of the row, numbers with a decimal point

    Returns
    -------
    The bytes, and the columns with a text in `cells` that the table does not have.

    Raises InputError for a table that cannot be read, or that holds the same result already.
    """
    old = read_input(path, _LARGEST) if Path(path).exists() else b""
    text = decoded(old, path)
    if not text.strip():
        return _line(list(cells), ",", "\n").encode() + _line(
            list(cells.values()), ",", "\n").encode(), ()
    table = table_of(text, path, _REQUIRED, _OPTIONAL)
    earlier = _checked(table.rows)
    end = "\r\n" if "\r\n" in text else "\n" if "\n" in text or "\r" not in text else "\r"
    said = dict(cells)
    if "uncertainty" not in table.headings and said.get("uncertainty"):
        size, _, unit = said.pop("uncertainty").rpartition(" ")
        said["figure"] = f"{said['figure'].removesuffix(f' {unit}')} ± {size} {unit}"
    if table.decimal_comma or (table.separator != "," and re.search(r"\d,\d", text)
                               and not re.search(r"\d\.\d", text)):
        said = {name: re.sub(r"(?<=\d)\.(?=\d)", ",", cell) for name, cell in said.items()}
    row = _line([said.get(name, "") for name in table.headings], table.separator, end)
    new = f"{text}{'' if text.endswith(end[-1]) else end}{row}"
    rows = table_of(new, path, _REQUIRED, _OPTIONAL).rows
    datum = _datum(rows[-1], rows[-1].text("item"))
    for one in earlier:
        if (_same(one.item, datum.item) and _same(one.baseline, datum.baseline)
                and one.test == datum.test and one.figure.quantity == datum.figure.quantity
                and math.isclose(one.figure.value, datum.figure.value, rel_tol=1e-9)
                and one.note == datum.note):
            raise InputError(str(path), one.place.rpartition(", ")[2], "holds this result already",
                             "a result counts once; the table is as it was")
    _checked(rows)
    left_out = tuple(name for name, cell in said.items() if cell and name not in table.headings)
    return _encoded(new, old), left_out


def _same(one: str, other: str) -> bool:
    return " ".join(one.lower().split()) == " ".join(other.lower().split())


def _line(cells: Sequence[str], separator: str, end: str) -> str:
    out = io.StringIO()
    csv.writer(out, delimiter=separator, lineterminator=end).writerow(cells)
    return out.getvalue()


def _encoded(text: str, old: bytes) -> bytes:
    """Encode text as the old bytes were."""
    for mark, encoding in ((codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be"),
                           (codecs.BOM_UTF8, "utf-8")):
        if old.startswith(mark):
            return mark + text.encode(encoding)
    return text.encode("utf-8")
