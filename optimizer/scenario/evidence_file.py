"""The evidence table: a CSV with one test result per row."""

from __future__ import annotations

import difflib
import math
import re
from pathlib import Path
from typing import TYPE_CHECKING

from optimizer.errors import InputError
from optimizer.evidence.constant_force import one_figure_each
from optimizer.evidence.datum import TESTS, Datum, Figure, Measurer, TestKind
from optimizer.evidence.figures import read_figure, read_uncertainty
from optimizer.evidence.quantities import tidy
from optimizer.files import as_if, read_input
from optimizer.scenario.grid import new_table, read_grid
from optimizer.scenario.spreadsheet_file import is_spreadsheet, with_sheet_row, without_sheet
from optimizer.scenario.tables import (
    belonging,
    decoded,
    each_row,
    parse_number,
    plain_name,
    read_table,
    table_of,
)

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from optimizer.scenario.tables import Row, TextTable

__all__ = ["check_item", "read_evidence", "with_row"]

REQUIRED = ("item", "figure", "test")
OPTIONAL = ("baseline", "yaw_deg", "air_density_kgm3", "measured_by", "runs", "uncertainty",
             "note", "source")
# What people head such columns with, where the unit is not in question.
HEADINGS = {"name": "item", "part": "item", "product": "item", "kit": "item", "claim": "figure",
             "result": "figure", "saving": "figure", "saves": "figure", "gain": "figure",
             "kind_of_test": "test", "kind": "test",
             "method": "test", "tested": "test", "yaw": "yaw_deg",
             "against": "baseline", "compared_with": "baseline", "by": "measured_by",
             "tester": "measured_by", "error": "uncertainty", "±": "uncertainty",
             "+/_": "uncertainty", "sd": "uncertainty", "notes": "note", "comment": "note",
             "comments": "note", "remarks": "note", "reference": "source"}
_SAMPLE = {"item": "Aero helmet", "figure": "saves 30 g @ 45 km/h", "test": "tunnel with rider",
           "baseline": "Road helmet", "yaw_deg": "0-15",
           "measured_by": "independent", "uncertainty": "4 g", "runs": "4"}
_MOST = 5000  # rows

# Other words for a kind of test, and who then measured, where the row does not say.
_TESTS: dict[str, tuple[TestKind, Measurer]] = {
    "wind tunnel with rider": ("tunnel with rider", ""),
    "wind tunnel without rider": ("tunnel without rider", ""),
    "tunnel w/ rider": ("tunnel with rider", ""), "tunnel w/o rider": ("tunnel without rider", ""),
    "tunnel, rider": ("tunnel with rider", ""), "tunnel, no rider": ("tunnel without rider", ""),
    "tunnel no rider": ("tunnel without rider", ""), "bike only": ("tunnel without rider", ""),
    "track": ("velodrome", ""), "indoor track": ("velodrome", ""), "velo": ("velodrome", ""),
    "field test": ("field", ""), "road": ("field", ""), "road test": ("field", ""),
    "outdoor": ("field", ""), "outdoors": ("field", ""), "roll down": ("field", ""),
    "coast down": ("field", ""), "loop": ("field", ""),
    "my own test": ("field", "independent"), "own test": ("field", "independent"),
    "my test": ("field", "independent"), "my own": ("field", "independent"),
    "own": ("field", "independent"), "our own test": ("field", "independent"),
    "cfd": ("computed", ""), "calculated": ("computed", ""), "simulation": ("computed", ""),
    "simulated": ("computed", ""), "drum": ("bench", ""), "drum test": ("bench", ""),
    "roller": ("bench", ""), "rig": ("bench", ""), "rig test": ("bench", ""),
    "test bench": ("bench", ""), "bench test": ("bench", ""),
    "magazine": ("rule of thumb", "independent"), "magazine test": ("rule of thumb", "independent"),
    "article": ("rule of thumb", "independent"), "forum": ("rule of thumb", ""),
    "internet": ("rule of thumb", ""), "friend": ("rule of thumb", ""),
    "guess": ("rule of thumb", ""), "estimate": ("rule of thumb", "estimate"),
    "seller": ("rule of thumb", "seller"), "shop": ("rule of thumb", "seller"),
    "maker": ("rule of thumb", "seller"), "manufacturer": ("rule of thumb", "seller"),
    "claim": ("rule of thumb", "seller"), "advert": ("rule of thumb", "seller"),
    "leaflet": ("rule of thumb", "seller"), "website": ("rule of thumb", "seller")}
_TUNNELS = {"tunnel", "wind tunnel", "windtunnel"}
_MEASURERS: dict[str, Measurer] = {
    "independent": "independent", "seller": "seller", "estimate": "estimate",
    "estimated": "estimate", "magazine": "independent",
    "me": "independent", "myself": "independent", "own": "independent", "us": "independent",
    "my own test": "independent", "club": "independent", "coach": "independent",
    "university": "independent", "laboratory": "independent", "lab": "independent",
    "shop": "seller", "maker": "seller", "manufacturer": "seller", "leaflet": "seller",
    "advert": "seller", "website": "seller", "unknown": "", "?": "", "-": ""}


def read_evidence(path: Path | str, notes: list[str] | None = None) -> list[Datum]:
    """Read and check an evidence table; every row in SI.

    Figures are read as people write them where that is clear. Several watts of one source that are
    one force at every speed count once.

    Parameters
    ----------
    path : of the table (CSV)
    notes : takes what was understood beyond the text

    Returns
    -------
    its rows

    Raises
    ------
    InputError
        with row and column, for every figure that cannot be read in one way only, for a repeated
        row, and for one item against two baselines

    Examples
    --------
    >>> import optimizer
    >>> rows = optimizer.read_evidence("courses/petrel-flats/evidence.csv")
    >>> len({row.item for row in rows}) > 5
    True
    """
    said = [] if notes is None else notes
    table = read_table(path, REQUIRED, OPTIONAL, said, synonyms=HEADINGS, deferred=True)
    data, merged = one_figure_each(_checked(table, said))
    said[:0] = merged  # they change what counts, and so come first
    return data


def _checked(table: TextTable, notes: list[str] | None = None) -> list[Datum]:
    """Read all rows, each checked by itself and against those before it."""
    if len(table.rows) > _MOST:
        raise table.rows[_MOST].error("", f"is beyond the {_MOST:,} results that can be combined",
                                      "leave out results about other items")
    seen: dict[tuple[str, ...], int] = {}
    names: dict[str, str] = {}
    baselines: dict[str, tuple[str, int]] = {}

    def read(row: Row) -> Datum:
        cells = tuple(row.text(column, "").lower() for column in (*REQUIRED, *OPTIONAL))
        if cells in seen:
            raise row.error("", f"repeats row {seen[cells]}",
                            "delete one; two equal results need different sources or notes")
        seen[cells] = row.line
        name = row.text("item")
        known = names.setdefault(plain_name(name), name)
        if known.casefold() != name.casefold():
            row.note_once(f'"{name}" and "{known}" are taken as one item')
        datum = _datum(row, known)
        first, line = baselines.setdefault(datum.item, (datum.baseline, row.line))
        if name and first.lower() != datum.baseline.lower():
            row.refuse("baseline", f'"{datum.baseline}", but row {line} has "{first}" for '
                       "the same item",
                       "keep one baseline for each item: give the item another name for the "
                       "second")
        return datum

    return each_row(table, read, _SAMPLE, notes)


def _datum(row: Row, item: str) -> Datum:
    figure = _figure(row)
    uncertainty = None
    if row.has("uncertainty") and figure is not None:
        if figure.uncertainty is not None:
            row.refuse("uncertainty", "is stated twice, here and in the figure", "keep one")
        try:
            uncertainty = read_uncertainty(row.text("uncertainty"), figure, row.file,
                                           f"row {row.line}, column uncertainty")
        except InputError as error:
            row.keep(error)
    measurer = _measured_by(row)
    test, by = _test(row, figure)
    if (figure is not None and test == "tunnel without rider"
            and figure.counts.of_whole):
        row.refuse("figure", f'"{figure.text}" is a share of the bike alone, whose drag is not '
                             'known',
                   "state the change in g, N, W or m2")
    if figure is not None and test == "bench" and figure.acts_on == "drag_area":
        row.refuse("test", f'a bench measures tyres and drivetrains, and "{figure.text}" is read '
                   "as drag of air", 'write "2 W rolling @ 45 km/h", "2 W drivetrain @ 45 km/h", '
                   '"Crr -0.0004" or "efficiency +0.5 %"')
    runs = row.number("runs", None, low=1, high=100_000)
    if runs is not None and runs != int(runs):
        row.refuse("runs", f"{runs:g} is not a whole number", "count the runs")
    return Datum(
        item=item, figure=figure or Figure("power", 0.0), test=test,
        baseline=row.text("baseline", ""),
        measured_by=measurer or by, yaw=_yaw(row),
        air_density=row.number("air_density_kgm3", None, low=0.5, high=1.6),
        runs=None if runs is None else int(runs), uncertainty=uncertainty,
        note=row.text("note", ""), source=row.text("source", ""),
        place=f"{row.file}, row {row.line}")


def _figure(row: Row) -> Figure | None:
    text = row.text("figure")
    if not text:
        return None
    try:
        figure = read_figure(text, row.file, f"row {row.line}, column figure")
    except InputError as error:
        row.keep(error)
        return None
    bare = "".join(text.split()).replace(",", ".").lower()
    if figure.read_as in {"", text}:
        return figure
    if bare == "".join(figure.read_as.removeprefix("saves ").split()).lower():
        row.note_once('figures without "saves" or "costs" are read as savings')
    else:
        row.note("figure", f'"{text}" read as {figure.read_as}')
    return figure


def _test(row: Row, figure: Figure | None) -> tuple[TestKind, Measurer]:
    """Kind of test, and who measured if the words for the test say so."""
    text = row.text("test", "")
    said = " ".join(text.lower().replace("_", " ").replace("-", " ").strip(" .").split())
    if said in TESTS:
        return said, ""
    kinds = "one of: " + ", ".join(TESTS)
    if not said:
        row.refuse("test", "is empty", f'{kinds}; write "rule of thumb" where nobody knows')
        return "rule of thumb", ""
    if said in _TUNNELS:
        share = figure is not None and figure.counts.of_whole
        kind: TestKind = "tunnel with rider" if share else "tunnel without rider"
        row.note_once(f'"{text}" read as {kind}' + (
            ", for a percentage, which needs one" if share else
            ", the more cautious of the two; write tunnel with rider if there was one"))
        return kind, ""
    if said not in _TESTS:
        near = difflib.get_close_matches(said, [*TESTS, *_TESTS], 1, 0.7)
        row.refuse("test", f'"{text}" is not a kind of test',
                   (f'did you mean "{near[0]}"? ' if near else "") + kinds)
        return "rule of thumb", ""
    kind, by = _TESTS[said]
    row.note_once(f'test "{text}" read as {kind}' + (f", {by}" if by else ""))
    return kind, by


def _measured_by(row: Row) -> Measurer:
    text = row.text("measured_by", "")
    said = " ".join(text.lower().split())
    if not said:
        return ""
    if said not in _MEASURERS:
        row.refuse("measured_by", f'"{text}" is not understood',
                   "write independent, seller, estimate (nobody measured), "
                   "or leave it empty; the column source says who it was")
        return ""
    if said != _MEASURERS[said]:
        row.note_once(f'measured by "{text}" read as {_MEASURERS[said] or "not stated"}')
    return _MEASURERS[said]


def _yaw(row: Row) -> tuple[float, float] | None:
    said = re.sub(r"\s*(?:°|deg(?:rees)?)(?=\s|$|-)", "", tidy(row.text("yaw_deg", "")).lower()
                  ).strip()
    if not said:
        return None
    parts = re.split(r"\s*(?:-|to|\.\.)\s*", said.removeprefix("-"))
    try:
        angles = [abs(parse_number(part, decimal_comma=row.decimal_comma)) for part in parts]
    except ValueError as error:
        row.refuse("yaw_deg", f'"{said}" {error}', "write 10 or 0-15")
        return None
    low, high = angles[0], angles[-1]
    if len(angles) > 2 or low > high or high > 60:
        row.refuse("yaw_deg", f'"{said}" is not an angle or a range',
                   "write 10 or 0-15, up to 60 degrees")
        return None
    return math.radians(low), math.radians(high)


# --- a row more -----------------------------------------------------------------------------

_LARGEST = 20_000_000  # bytes


def check_item(path: Path | str, item: str, baseline: str) -> None:
    """Tell before any work whether a table would take a result of `item` against `baseline`.

    Raises InputError for a table that cannot be read, or has the item against another baseline.
    """
    if is_spreadsheet(path):
        known = _sheet(path)
    else:
        if not Path(path).exists():
            return
        text = decoded(read_input(path, _LARGEST), path)
        if not text.strip():
            return
        known = table_of(text, path, REQUIRED, OPTIONAL, [], synonyms=HEADINGS)
    for datum in _checked(known):
        if (_same(datum.item, item) and "baseline" in known.headings
                and not _same(datum.baseline, baseline)):
            raise InputError(str(path), datum.place.rpartition(", ")[2],
                             f'has "{item}" against "{datum.baseline}", not "{baseline}"',
                             "an item has one baseline: name the setups as the table does, or "
                             "write "
                             "the row to another table")


def with_row(path: Path | str, cells: Mapping[str, str]) -> tuple[bytes, tuple[str, ...]]:
    """Give the bytes of an evidence table with one row more; nothing of the old is changed.

    The row is written as the table is: its columns, separator, decimal sign, ends of lines and
    encoding. A table that is not there begins with headings. In a workbook (.xlsx) the row goes
    below the last of its sheet.

    Parameters
    ----------
    cells : text of each column of the row, numbers with a decimal point

    Returns
    -------
    The bytes, and the columns with a text in `cells` that the table does not have.

    Raises InputError for a table that cannot be read, or that holds the same result already.
    """
    if is_spreadsheet(path):
        return _with_sheet_row(path, cells)
    old = read_input(path, _LARGEST) if Path(path).exists() else b""
    text = decoded(old, path)
    if not text.strip():
        return new_table(cells), ()
    table = table_of(text, path, REQUIRED, OPTIONAL, [], synonyms=HEADINGS)
    earlier = _checked(table)
    said = _within(table, cells)
    if table.decimal_comma or (table.separator != "," and re.search(r"\d,\d", text)
                               and not re.search(r"\d\.\d", text)):
        said = {name: re.sub(r"(?<=\d)\.(?=\d)", ",", cell) for name, cell in said.items()}
    new = read_grid(old, path, table.separator).with_row(
        [said.get(name, "") for name in table.headings])
    whole = table_of(decoded(new, path), path, REQUIRED, OPTIONAL, [], synonyms=HEADINGS)
    _refuse_twice(path, earlier, whole)
    _checked(whole)
    left_out = tuple(name for name, cell in said.items() if cell and name not in table.headings)
    return new, left_out


def _with_sheet_row(path: Path | str, cells: Mapping[str, str]) -> tuple[bytes, tuple[str, ...]]:
    """Do the same in a workbook."""
    table = _sheet(path)
    earlier, said = _checked(table), _within(table, cells)
    new = with_sheet_row(path, belonging(REQUIRED, HEADINGS),
                         [said.get(name, "") for name in table.headings])
    with as_if({without_sheet(path)[0]: new}):
        whole = _sheet(path)
    _refuse_twice(path, earlier, whole)
    _checked(whole)
    return new, tuple(name for name, cell in said.items()
                      if cell and name not in table.headings)


def _sheet(path: Path | str) -> TextTable:
    return read_table(path, REQUIRED, OPTIONAL, [], synonyms=HEADINGS)


def _within(table: TextTable, cells: Mapping[str, str]) -> dict[str, str]:
    """Cells for the columns of a table: an uncertainty goes to the figure where it has none."""
    said = dict(cells)
    if "uncertainty" not in table.headings and said.get("uncertainty"):
        size, _, unit = said.pop("uncertainty").rpartition(" ")
        said["figure"] = f"{said['figure'].removesuffix(f' {unit}')} ± {size} {unit}"
    return said


def _refuse_twice(path: Path | str, earlier: Sequence[Datum], whole: TextTable) -> None:
    """Refuse a last row that says what one before it says."""
    datum = _datum(whole.rows[-1], whole.rows[-1].text("item"))
    for one in earlier:
        if (_same(one.item, datum.item) and _same(one.baseline, datum.baseline)
                and one.test == datum.test and one.figure.quantity == datum.figure.quantity
                and math.isclose(one.figure.value, datum.figure.value, rel_tol=1e-9)
                and one.note == datum.note):
            raise InputError(str(path), one.place.rpartition(", ")[2], "has this result already",
                             "a result counts once; the table was left unchanged")


def _same(one: str, other: str) -> bool:
    return " ".join(one.lower().split()) == " ".join(other.lower().split())
