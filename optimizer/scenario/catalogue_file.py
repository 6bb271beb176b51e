"""The kit catalogue: one row an item, and a second table for the pairs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from optimizer.errors import InputError
from optimizer.kit.catalogue import PLACES, Catalogue, Item, PairFactor
from optimizer.scenario.tables import read_rows, suggest

if TYPE_CHECKING:
    from collections.abc import Collection
    from pathlib import Path

    from optimizer.scenario.tables import Row

__all__ = ["read_catalogue"]

REQUIRED = ("item", "place", "price")
OPTIONAL = ("owned", "hire_price", "mass_change_g", "wheel_inertia_change_kgm2", "region",
            "requires", "excludes", "needs_fitter", "caution", "forbidden_by",
            "crosswind_limit_kmh", "cornering_percent", "note")

_DEAREST = 1e9  # in any currency
MOST_ITEMS = 1000
_CAUTION = "to be fitted or checked by a qualified mechanic"


def read_catalogue(path: Path | str, pairs: Path | str | None = None) -> Catalogue:
    """Read a catalogue and, where `pairs` names one, the table of pairs.

    Columns of the catalogue: `item`, `place` (one of `optimizer.kit.PLACES`, or "other: name"),
    `price`, `owned` (yes/no), `hire_price`, `mass_change_g`, `wheel_inertia_change_kgm2`,
    `region` (flow region), `requires` and `excludes` (items, separated by semicolons),
    `needs_fitter` (yes/no), `caution`, `forbidden_by` (rule sets), `crosswind_limit_kmh`,
    `cornering_percent` (of the usual corner speed, 100 where it changes nothing), `note`.

    Columns of the pairs: `first`, `second`, `factor` (share of the smaller gain that is lost);
    a row with the same region in both columns sets the factor of that region.

    Raises InputError with row and column.
    """
    rows = read_rows(path, required=REQUIRED, optional=OPTIONAL)
    if len(rows) > MOST_ITEMS:
        raise InputError(str(path), f"row {rows[MOST_ITEMS].line}",
                         f"is beyond the {MOST_ITEMS:,} items that can be chosen from",
                         "leave out what is out of the question")
    items: list[Item] = []
    names: dict[str, None] = {}
    for row in rows:
        item = _item(row)
        if item.name in names:
            raise row.error("item", f'"{item.name}" is there twice', "give each item its own name")
        items.append(item)
        names[item.name] = None
    for row, item in zip(rows, items, strict=True):
        _check_names(row, "requires", item, item.requires, names)
        _check_names(row, "excludes", item, item.excludes, names)
    if pairs is None:
        return Catalogue(tuple(items))
    return _with_pairs(tuple(items), pairs)


def _check_names(row: Row, column: str, item: Item, wanted: tuple[str, ...],
                 names: Collection[str]) -> None:
    for name in wanted:
        if name == item.name:
            raise row.error(column, "an item cannot name itself", "leave it out")
        if name not in names:
            raise row.error(column, f'there is no item "{name}"', suggest(name, names))


def _with_pairs(items: tuple[Item, ...], path: Path | str) -> Catalogue:
    names = {item.name: None for item in items}
    regions = {item.region for item in items if item.region}
    pairs: dict[frozenset[str], PairFactor] = {}
    by_region: dict[str, float] = {}
    for row in read_rows(path, required=("first", "second", "factor")):
        first, second = row.text("first"), row.text("second")
        factor = row.number("factor", low=-1.0, high=1.0)
        if first == second and first in regions:
            by_region[first] = factor
            continue
        for column, name in (("first", first), ("second", second)):
            if name not in names:
                raise row.error(column, f'there is no item "{name}"',
                                suggest(name, [*names, *sorted(regions)]))
        pair = frozenset((first, second))
        if len(pair) < 2 or pair in pairs:
            raise row.error("first", f'the pair "{first}" and "{second}" is there twice'
                            if pair in pairs else "a pair needs two items",
                            "keep one row for each pair")
        pairs[pair] = PairFactor(first, second, factor)
    return Catalogue(items, tuple(pairs.values()), tuple(sorted(by_region.items())))


def _item(row: Row) -> Item:
    name, place = row.text("item"), row.text("place")
    if ";" in name:
        raise row.error("item", f'"{name}" holds a semicolon', "semicolons separate items")
    if place not in PLACES and not place.startswith("other: "):
        raise row.error("place", f'"{place}" is not a known place',
                        f'{suggest(place, PLACES)}; for any other place write "other: {place}"')
    owned = row.flag("owned")
    needs_fitter = row.flag("needs_fitter")
    return Item(
        name=name, place=place, owned=owned,
        price=row.number("price", 0.0, low=0.0, high=_DEAREST) if owned else
        row.number("price", low=0.0, high=_DEAREST),
        hire_price=row.number("hire_price", None, low=0.0, high=_DEAREST),
        mass=row.number("mass_change_g", 0.0, low=-20_000.0, high=20_000.0) / 1000,
        wheel_inertia=row.number("wheel_inertia_change_kgm2", 0.0, low=-0.3, high=0.5),
        region=row.text("region", ""),
        requires=row.names("requires"), excludes=row.names("excludes"),
        needs_fitter=needs_fitter,
        caution=row.text("caution", _CAUTION if needs_fitter else ""),
        forbidden_by=row.names("forbidden_by"),
        crosswind_limit=row.number("crosswind_limit_kmh", float("inf"), low=0.0,
                                   high=300.0) / 3.6,
        cornering_factor=row.number("cornering_percent", 100.0, low=20.0, high=150.0) / 100,
        note=row.text("note", ""))
