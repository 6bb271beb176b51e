"""What a person knows about a course, from a table: surfaces, terrain, shelter, limits, marks."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from optimizer.course import SURFACES, TERRAINS, Features, Limit, Mark, Stretch
from optimizer.errors import InputError
from optimizer.files import read_input
from optimizer.scenario.grid import new_table, read_grid
from optimizer.scenario.tables import decoded, read_rows, suggest, table_of

if TYPE_CHECKING:
    from optimizer.scenario.tables import Row

__all__ = ["read_features", "with_surface"]

_LARGEST = 20_000_000  # bytes
_REQUIRED, _OPTIONAL = ("what", "from_km"), ("to_km", "value", "name")

_CLASSES = {"surface": SURFACES, "terrain": TERRAINS}
_RANGES = {"surface": (0.3, 12.0), "terrain": (1e-5, 3.0)}
_KINDS = ("surface", "terrain", "shelter", "speed", "corner", "mark")


def read_features(path: Path | str, notes: list[str] | None = None) -> Features:
    """Read a table with a row for each stretch or place.

    Columns: `what`, `from_km`, `to_km`, `value`, `name`. By `what`:

    - surface: a class such as "cobbles", or a factor on Crr
    - terrain: a class such as "open", or a roughness length [m]
    - shelter: percent of the open wind that reaches the road
    - speed: a cap [km/h] over a stretch
    - corner: a speed [km/h] at one place, `from_km` or the `name` of a waypoint
    - mark: a named place at `from_km`

    `notes` takes which columns are not used. Raises InputError for what cannot be read, with row
    and column.
    """
    stretches: list[Stretch] = []
    limits: list[Limit] = []
    marks: list[Mark] = []
    for row in read_rows(path, required=_REQUIRED, optional=_OPTIONAL,
                         notes=[] if notes is None else notes):
        what = row.text("what").lower()
        if what == "corner":
            place = row.number("from_km", None, low=0, high=2000)
            name = row.text("name", "") if place is not None else row.text("name")
            limits.append(Limit(name, None if place is None else 1000 * place,
                                row.number("value", low=3, high=130) / 3.6))
        elif what == "mark":
            marks.append(Mark(row.text("name"), 1000 * row.number("from_km", low=0, high=2000)))
        elif what in _KINDS:
            stretches.append(_stretch(row, what))
        else:
            raise row.error("what", f'"{what}" is not known', suggest(what, _KINDS))
    return Features(tuple(stretches), tuple(limits), tuple(marks))


def _stretch(row: Row, what: str) -> Stretch:
    start = row.number("from_km", low=0, high=2000)
    end = row.number("to_km", low=0, high=2000)
    if end <= start:
        raise row.error("to_km", f"{end:g} km is not after {start:g} km", "swap the two")
    if what in _CLASSES:
        value = _classed(row, what)
    elif what == "shelter":
        value = row.number("value", low=0, high=100) / 100
    else:
        value = row.number("value", low=3, high=130) / 3.6
    return Stretch(1000 * start, 1000 * end, what, value)


def _classed(row: Row, what: str) -> float:
    known = _CLASSES[what]
    text = row.text("value").lower()
    if text in known:
        return known[text]
    if not any(c.isdigit() for c in text):
        raise row.error("value", f'"{text}" is not a known {what}', suggest(text, known))
    low, high = _RANGES[what]
    return row.number("value", low=low, high=high)


def with_surface(path: Path | str, start: float, end: float, factor: float, note: str) -> bytes:
    """Give the bytes of a table of features with one more surface, from `start` to `end` [m].

    The table may be there already; its lines stay as they are. `note` goes in the column
    `name`. Raises InputError for a table that cannot be read, or that lacks a column.
    """
    cells = {"what": "surface", "from_km": f"{start / 1000:.3f}", "to_km": f"{end / 1000:.3f}",
             "value": f"{factor:.2f}", "name": note}
    old = read_input(path, _LARGEST) if Path(path).exists() else b""
    text = decoded(old, path)
    if not text.strip():
        return new_table(cells)
    table = table_of(text, path, _REQUIRED, _OPTIONAL, [])
    lacking = [name for name in cells if name not in table.headings and name != "name"]
    if lacking:
        raise InputError(str(path), "", f'has no column "{lacking[0]}"',
                         f"its columns are {', '.join(cells)}")
    if table.decimal_comma:
        cells = {name: cell.replace(".", ",") if name != "name" else cell
                 for name, cell in cells.items()}
    return read_grid(old, path, table.separator).with_row(
        [cells.get(name, "") for name in table.headings])
