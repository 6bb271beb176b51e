"""The evidence table: a CSV with a datum a row."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, cast

from optimizer.evidence.datum import TESTS, Datum, Measurer, TestKind
from optimizer.evidence.figures import read_figure, read_uncertainty
from optimizer.evidence.quantities import tidy
from optimizer.scenario.tables import parse_number, read_rows

if TYPE_CHECKING:
    from pathlib import Path

    from optimizer.scenario.tables import Row

__all__ = ["read_evidence"]

_REQUIRED = ("item", "figure", "test")
_OPTIONAL = ("baseline", "yaw_deg", "air_density_kgm3", "measured_by", "runs", "uncertainty",
             "note", "source")


def read_evidence(path: Path | str) -> list[Datum]:
    """Read and check an evidence table; every row in SI.

    Raises InputError with row and column for a figure that cannot be read in one way only,
    for a repeated row, and for one item against two baselines.
    """
    rows = read_rows(path, required=_REQUIRED, optional=_OPTIONAL)
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
    if test == "tunnel without rider" and figure.currency in {"drag_share", "power_share"}:
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
