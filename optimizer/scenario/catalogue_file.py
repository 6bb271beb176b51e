"""The kit catalogue: one row per item, and a second table for pairs that overlap."""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING

from optimizer.errors import InputError
from optimizer.kit.catalogue import PLACES, Catalogue, Item, PairFactor
from optimizer.scenario.tables import each_row, read_rows, read_table, suggest

if TYPE_CHECKING:
    from collections.abc import Collection
    from pathlib import Path

    from optimizer.scenario.tables import Row

__all__ = ["read_catalogue"]

REQUIRED = ("item", "place", "price")
OPTIONAL = ("owned", "hire_price", "mass_change_g", "wheel_inertia_change_kgm2", "region",
            "requires", "excludes", "needs_fitter", "caution", "forbidden_by",
            "crosswind_limit_kmh", "cornering_percent", "note")

# What people head such columns with, where the unit is not in question.
HEADINGS = {"name": "item", "part": "item", "product": "item", "kit": "item", "where": "place",
             "slot": "place",
             "cost": "price", "price_eur": "price", "price_gbp": "price", "price_€": "price",
             "price_£": "price", "have_it": "owned", "own": "owned", "hire": "hire_price",
             "rent": "hire_price", "needs": "requires", "not_with": "excludes",
             "notes": "note", "comment": "note", "comments": "note", "remarks": "note",
             "warning": "caution"}
_SAMPLE = {"item": "Aero helmet", "place": "helmet", "price": "240.00", "owned": "no"}
# Other words for places: none of them says which of several is meant, so they are hints only.
_PLACE_WORDS = {
    "stem": ("cockpit",), "bar": ("cockpit",), "bars": ("cockpit",), "handlebar": ("cockpit",),
    "handlebars": ("cockpit",), "extensions": ("cockpit", "arm rests"),
    "arms": ("arm rests", "clothing"), "elbows": ("arm rests",), "pads": ("arm rests",),
    "hands": ("gloves",), "feet": ("shoes", "overshoes", "socks"), "foot": ("shoes", "overshoes"),
    "legs": ("body", "clothing", "socks"), "calves": ("socks",), "head": ("helmet", "visor"),
    "face": ("visor",), "eyes": ("visor",), "suit": ("clothing",), "skinsuit": ("clothing",),
    "jersey": ("clothing",), "shorts": ("clothing",), "torso": ("clothing", "base layer"),
    "back": ("clothing", "position"), "vest": ("base layer",), "booties": ("overshoes",),
    "wheel": ("front wheel", "rear wheel", "wheels"), "front": ("front wheel", "front tyre"),
    "rear": ("rear wheel", "rear tyre"), "disc": ("rear wheel",), "tire": ("tyres",),
    "tires": ("tyres",), "tyre": ("front tyre", "rear tyre", "tyres"), "rubber": ("tyres",),
    "tube": ("inner tubes", "frame"), "tubes": ("inner tubes",), "gears": ("drivetrain",),
    "derailleur": ("pulleys", "drivetrain"), "jockey wheels": ("pulleys",),
    "chainring": ("chainrings",), "crank": ("cranks",), "hose": ("cables",), "hoses": ("cables",),
    "wires": ("cables",), "bottle": ("bottles",), "cage": ("bottles",), "drink": ("bottles",),
    "box": ("storage",), "bag": ("storage",), "computer": ("computer mount",),
    "number": ("number plate",), "race number": ("number plate",), "light": ("lights",),
    "seatpost": ("seat post",), "seat": ("saddle", "seat post"), "fit": ("position",),
    "fitting": ("position",), "skin": ("body",), "shaving": ("body",), "bike": ("frame",),
    "brake": ("brakes",), "bottom bracket": ("bearings",), "cleats": ("pedals", "shoes")}

_DEAREST = 1e9  # in any currency
MOST_ITEMS = 1000
_CAUTION = "to be fitted or checked by a qualified mechanic"


def read_catalogue(path: Path | str, pairs: Path | str | None = None,
                   notes: list[str] | None = None, *, currency: str = "") -> Catalogue:
    """Read a catalogue and, where `pairs` names one, the table of pairs.

    Columns of the catalogue: `item`, `place` (one of `optimizer.kit.PLACES`, or "other: name"),
    `price`, `owned` (yes/no), `hire_price`, `mass_change_g`, `wheel_inertia_change_kgm2`,
    `region` (flow region), `requires` and `excludes` (items, separated by semicolons),
    `needs_fitter` (yes/no), `caution`, `forbidden_by` (rule sets), `crosswind_limit_kmh`,
    `cornering_percent` (of the usual corner speed, 100 where it changes nothing), `note`.
    Prices may have the sign of their currency, which has to be `currency` where that is given.

    Columns of the pairs: `first`, `second`, `factor` (share of the smaller gain that is lost);
    a row with the same region in both columns sets the factor of that region.

    Parameters
    ----------
    path, pairs : of the two tables (CSV)
    notes : takes what was understood beyond the text
    currency : of the prices, where they bear a sign

    Returns
    -------
    the items with what they cost, in SI

    Raises
    ------
    InputError
        with row and column, for all that is wrong

    Examples
    --------
    >>> import optimizer
    >>> kit = optimizer.read_catalogue("courses/petrel-flats/kit.csv")
    >>> any(item.owned for item in kit.items)
    True
    """
    said = [] if notes is None else notes
    table = read_table(path, REQUIRED, OPTIONAL, said, synonyms=HEADINGS, deferred=True)
    if len(table.rows) > MOST_ITEMS:
        raise InputError(str(path), f"row {table.rows[MOST_ITEMS].line}",
                         f"is beyond the {MOST_ITEMS:,} items that can be chosen from",
                         "leave out what is out of the question")
    names = {row.cells.get("item", ""): None for row in table.rows}
    seen: dict[str, int] = {}

    def read(row: Row) -> Item:
        item = _item(row, currency)
        if item.name and seen.setdefault(item.name, row.line) != row.line:
            row.refuse("item", f'"{item.name}" appears twice, first in row {seen[item.name]}',
                       "give each item its own name")
        _check_names(row, "requires", item, item.requires, names)
        _check_names(row, "excludes", item, item.excludes, names)
        return item

    items = tuple(each_row(table, read, _SAMPLE, said))
    return Catalogue(items) if pairs is None else _with_pairs(items, pairs, said)


def _check_names(row: Row, column: str, item: Item, wanted: tuple[str, ...],
                 names: Collection[str]) -> None:
    for name in wanted:
        if name == item.name:
            row.refuse(column, "an item cannot name itself", "leave it out")
        elif name not in names:
            row.refuse(column, f'there is no item "{name}"', suggest(name, names))


def _with_pairs(items: tuple[Item, ...], path: Path | str, notes: list[str]) -> Catalogue:
    names = {item.name: None for item in items}
    regions = {item.region for item in items if item.region}
    pairs: dict[frozenset[str], PairFactor] = {}
    by_region: dict[str, float] = {}
    for row in read_rows(path, required=("first", "second", "factor"), notes=notes):
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
            raise row.error("first", f'the pair "{first}" and "{second}" appears twice'
                            if pair in pairs else "a pair needs two items",
                            "keep one row for each pair")
        pairs[pair] = PairFactor(first, second, factor)
    return Catalogue(items, tuple(pairs.values()), tuple(sorted(by_region.items())))


def _item(row: Row, currency: str) -> Item:
    name, place = row.text("item"), row.text("place")
    if ";" in name:
        row.refuse("item", f'"{name}" contains a semicolon', "semicolons separate items")
    owned = row.flag("owned")
    needs_fitter = row.flag("needs_fitter")
    return Item(
        name=name, place=_place(row, place), owned=owned,
        price=_price(row, "price", currency, 0.0) if owned else _price(row, "price", currency),
        hire_price=_price(row, "hire_price", currency) if row.has("hire_price") else None,
        mass=row.grams("mass_change_g", most=20_000.0) / 1000,
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


def _place(row: Row, place: str) -> str:
    """Place of an item; what is not one is refused with those that may be meant."""
    plain = " ".join(place.lower().split())
    if plain in PLACES or place.startswith("other: ") or not place:
        return plain if plain in PLACES else place
    meant = _PLACE_WORDS.get(plain) or tuple(difflib.get_close_matches(plain, PLACES, 2, 0.6))
    listed = '" or "'.join(meant)
    hint = f'did you mean "{listed}"? ' if meant else ""
    row.refuse("place", f'"{place}" is not a known place',
               f'{hint}For any other place write "other: {place}"\n  known places are '
               + ", ".join(PLACES))
    return place


def _price(row: Row, column: str, currency: str, default: float | None = None) -> float:
    named = row.currency(column)
    same = {currency, "$" if currency.endswith(("USD", "AUD", "CAD", "NZD")) else currency}
    if named and currency and named not in same:
        row.refuse(column, f"is in {named}, and the scenario counts in {currency}",
                   "give all prices in one currency")
    return row.money(column, high=_DEAREST) if default is None or row.has(column) else default
