"""A season in one TOML: riders, races with their dates, one catalogue, money, stock and loans."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import Field

from optimizer import defaults
from optimizer.errors import InputError
from optimizer.files import is_file
from optimizer.scenario.catalogue_file import read_catalogue
from optimizer.scenario.rider_file import RiderTable
from optimizer.scenario.scenario import KitTable, read_scenario
from optimizer.scenario.tables import parse_clock, suggest, together
from optimizer.scenario.toml_file import TomlFile, check, findings, toml_of
from optimizer.scenario.toml_table import TomlTable
from optimizer.seasons.build import Stock, season_of
from optimizer.seasons.values import Entry, Money, Season

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from pathlib import Path

    from optimizer.kit.catalogue import Item

__all__ = ["SeasonFile", "check_season", "read_season"]

_Name = Annotated[str, Field(min_length=1, max_length=80)]


class RiderEntry(TomlTable):
    """`[[rider]]`: a rider of the club."""

    name: _Name = Field(description="name of the rider")
    file: str = Field(description="the rider's TOML file, relative to this one")
    owns: list[str] = Field(default=[], description="items of the catalogue that the rider has")


class RaceEntry(TomlTable):
    """`[[race]]`: a race, and who rides it."""

    name: _Name = Field(description="name of the race")
    scenario: str = Field(description="a scenario file, relative to this one: course, "
                          "weather, bike")
    date: dt.date = Field(description="day of the race, such as 2031-05-04")
    until: dt.date | None = Field(default=None, description="last day of a race of several days")
    weight: float = Field(default=1.0, gt=0, le=1000, description="how much a second in this race "
                                                                  "counts")
    riders: list[str] | None = Field(default=None, description="who rides; without it everybody")
    targets: dict[str, str] = Field(default={}, description="times to beat by rider, such as 57:30")


class StockEntry(TomlTable):
    """`[[stock]]`: what is particular about an item."""

    item: str = Field(description="name of the item in the catalogue")
    lent: bool = Field(default=False, description="true: riders lend it to each other")
    owned: int = Field(default=0, ge=0, le=100, description="how many the club has already")
    most: int | None = Field(default=None, ge=0, le=100, description="how many can be bought")
    resale: float = Field(default=0.0, ge=0, le=1e9, description="what one can be sold for at the "
                                                                 "end")


class LoanEntry(TomlTable):
    """`[[loan]]`: a rider lends something of their own for one race."""

    item: str = Field(description="name of the item in the catalogue")
    lender: str = Field(description="who owns it")
    borrower: str = Field(description="who rides it")
    race: str = Field(description="in which race")


class MoneyEntry(TomlTable):
    """`[[money]]`: money that comes in steps."""

    in_all: float = Field(ge=0, le=1e9, description="what may have been spent in all")
    since: dt.date | None = Field(default=None, description="from this day on; without it at once")


class SeasonFile(TomlTable):
    """The whole file."""

    name: str = Field(min_length=1, max_length=120, description="name of the season")
    currency: str = Field(default="EUR", min_length=1, max_length=8, description="currency of all "
                                                                                 "prices")
    budget: float | None = Field(default=None, ge=0, le=1e9, description="money for kit, in all")
    catalogue: str | None = Field(default=None, description="a CSV with one item per row, for all "
                                  "races; without it each scenario's own")
    evidence: str | None = Field(default=None, description="a CSV with one test result per row")
    pairs: str | None = Field(default=None, description="a CSV of items whose gains overlap")
    priors: str | None = Field(default=None, description="a TOML file of what to believe of tests")
    rules: list[str] = Field(default=[], description="rule sets that apply: names, or files")
    least_gain_s: float = Field(default=defaults.LEAST_GAIN.value, ge=0, le=600,
                                description="what a purchase or a hire has to save over the season")
    handover_days: int = Field(default=0, ge=0, le=365,
                               description="days that a shared item needs to reach the next rider")
    resale_counts: bool = Field(default=False, description="true: money from resale at the end "
                                "may be spent before")
    rider: list[RiderEntry] = Field(min_length=1, description="the riders, [[rider]]")
    race: list[RaceEntry] = Field(min_length=1, description="the races, [[race]]")
    stock: list[StockEntry] = Field(default=[], description="particular items, [[stock]]")
    loan: list[LoanEntry] = Field(default=[], description="loans that are agreed, [[loan]]")
    money: list[MoneyEntry] = Field(default=[], description="money in steps, [[money]]")


def read_season(path: Path | str, *, budget: float | None = None,
                     least_gain: float | None = None,
                     progress: Callable[[str], None] = lambda _words: None) -> Season:
    """Read a season and every file that it names.

    Parameters
    ----------
    path : TOML file of the season
    budget : money for all of it; None takes what the file says
    least_gain : what a purchase has to save in a race [s]; None takes what the file says
    progress : is called with a few words at each stage

    Returns
    -------
    the season, with a job for each ride

    Raises
    ------
    InputError
        with file and line, what is wrong, and what would be right

    Examples
    --------
    >>> len(read_season("courses/club.toml").entries)
    7
    """
    file, said = _read(path)
    money, loans = _money(said, budget), said.loan
    riders = [rider.name for rider in said.rider]
    kit = _kit(file, said)
    entries = []
    for k, race in enumerate(said.race):
        scenario = file.there(race.scenario, "race", k, "scenario")
        for name in race.riders if race.riders is not None else riders:
            progress(f"reading {race.name} for {name}")
            rider = said.rider[riders.index(name)]
            job = read_scenario(scenario, rider_file=file.beside(rider.file), kit=kit)
            if job.currency != said.currency:
                raise file.error(
                    f"its scenario counts in {job.currency}, the season in {said.currency}",
                    "give all prices in one currency", "race", k, "scenario")
            entries.append(Entry(
                name, race.name, race.date, race.until or race.date, race.weight, job,
                _time(file, race.targets.get(name), k, name),
                tuple(loan.item for loan in loans
                      if loan.borrower == name and loan.race == race.name)))
    _items(file, entries)
    made = season_of(
        said.name, said.currency, entries, money,
        {rider.name: rider.owns for rider in said.rider},
        {one.item: Stock(one.lent, one.owned, one.most, one.resale) for one in said.stock},
        least_gain=said.least_gain_s if least_gain is None else least_gain,
        handover=said.handover_days, resale_counts=said.resale_counts)
    return replace(made, notes=tuple(_other_names(said, entries)))


def check_season(path: Path | str) -> SeasonFile:
    """Read a season without the races and riders that it names, which only have to be there.

    Raises InputError with line and key.
    """
    file, said = _read(path)
    _kit(file, said)
    for k, race in enumerate(said.race):
        file.there(race.scenario, "race", k, "scenario")
    return said


def _read(path: Path | str) -> tuple[TomlFile, SeasonFile]:
    """Read the file, and check its riders and the days of its races."""
    file = toml_of("season", path)
    wrong = [one for _, one in findings(SeasonFile, file)] + _strangers(file)
    wrong += _about_items(file, _catalogue_of(file))
    if wrong:
        raise together(wrong)
    said = check(SeasonFile, file)
    riders = [rider.name for rider in said.rider]
    wrong = []
    for k, rider in enumerate(said.rider):
        if rider.name in riders[:k]:
            wrong.append(file.error(f'the rider "{rider.name}" appears twice', "give each their "
                                    "own name", "rider", k, "name"))
        try:
            file.there(rider.file, "rider", k, "file")
        except InputError as error:
            wrong.append(error)
    wrong += [*_about_money(file, said), *_clashes(file, said, riders),
              *_about_loans(file, said, riders), *_twice_in_stock(file, said)]
    if wrong:
        raise together(wrong)
    return file, said


def _about_money(file: TomlFile, said: SeasonFile) -> list[InputError]:
    """Say what is wrong with the budget and the steps of the money."""
    out = []
    if said.budget is not None and said.money:
        out.append(file.error("is given, and so is [[money]] in steps", "keep one of them",
                              "budget"))
    for k, step in enumerate(said.money[1:], 1):
        before = said.money[k - 1]
        if step.since is None or (before.since is not None and step.since <= before.since):
            out.append(file.error("does not come after the step before it",
                                  "give the steps in the order of their days", "money", k,
                                  "since"))
        if step.in_all < before.in_all:
            out.append(file.error(
                f"{step.in_all:g} is less than the {before.in_all:g} before it",
                "say what may have been spent in all by then", "money", k, "in_all"))
    return out


def _money(said: SeasonFile, budget: float | None) -> list[Money]:
    if budget is not None:
        return [Money(None, budget)]
    return [Money(step.since, step.in_all) for step in said.money] or [
        Money(None, said.budget or 0.0)]


def _clashes(file: TomlFile, said: SeasonFile, riders: Sequence[str]) -> list[InputError]:
    """Say which races cannot be ridden: one name twice, or two on one day by one rider."""
    days: dict[str, list[tuple[dt.date, dt.date, str]]] = {name: [] for name in riders}
    names, out = [race.name for race in said.race], []
    for k, race in enumerate(said.race):
        if race.name in names[:k]:
            out.append(file.error(f'the race "{race.name}" appears twice', "give each its own "
                                  "name", "race", k, "name"))
        if race.until is not None and race.until < race.date:
            out.append(file.error(f"{race.until} is before its first day, {race.date}",
                                  "give the last day", "race", k, "until"))
        first, last = race.date, race.until or race.date
        for name in race.riders if race.riders is not None else dict.fromkeys(riders):
            clash = next((other for other_first, other_last, other in days[name]
                          if first <= other_last and other_first <= last), None)
            if clash is not None:
                out.append(file.error(
                    f"{name} rides {clash} on the same day" if clash != race.name
                    else f"names {name} twice",
                    "leave the rider out of one of them, or change a date", "race", k, "date"))
            days[name].append((first, last, race.name))
    return out


def _about_loans(file: TomlFile, said: SeasonFile, riders: Sequence[str]) -> list[InputError]:
    """Check loans: known names, the borrower's race, and that nobody else needs the item then."""
    races = {race.name: race for race in said.race}
    gone: dict[tuple[str, str], list[tuple[dt.date, dt.date, str]]] = {}
    out = []
    for k, loan in enumerate(said.loan):
        unknown = [file.error(f'there is no {what} "{name}"', suggest(name, there), "loan", k, key)
                   for key, what, name, there in (("lender", "rider", loan.lender, riders),
                                                  ("borrower", "rider", loan.borrower, riders),
                                                  ("race", "race", loan.race, races))
                   if name not in there]
        out += unknown
        if unknown:
            continue
        race = races[loan.race]
        first = race.date
        last = (race.until or race.date) + dt.timedelta(days=said.handover_days)
        if not _rides(loan.borrower, race):
            out.append(file.error(f"{loan.borrower} does not ride {race.name}",
                                  "name a race of the borrower", "loan", k, "race"))
        if loan.item not in said.rider[riders.index(loan.lender)].owns:
            out.append(file.error(f'{loan.lender} does not own "{loan.item}"',
                                  "add it to what the lender owns", "loan", k, "item"))
        taken = gone.setdefault((loan.lender, loan.item), [])
        taken_by = [(other.date, other.until or other.date, f"{loan.lender} in {other.name}")
                    for other in said.race if _rides(loan.lender, other)] + taken
        who = next((who for other_first, other_last, who in taken_by
                    if first <= other_last and other_first <= last), None)
        if who is not None:
            out.append(file.error(f'"{loan.item}" is with {who} on the same day',
                                  "lend it for a race on another day, or buy or hire a second one",
                                  "loan", k, "race"))
        taken.append((first, last, f"{loan.borrower} in {race.name}"))
    return out


def _rides(name: str, race: RaceEntry) -> bool:
    return race.riders is None or name in race.riders


def _twice_in_stock(file: TomlFile, said: SeasonFile) -> list[InputError]:
    items = [one.item for one in said.stock]
    return [file.error(f'"{item}" appears twice', "keep one of them", "stock", k, "item")
            for k, item in enumerate(items) if item in items[:k]]


def _kit(file: TomlFile, said: SeasonFile) -> KitTable | None:
    """Catalogue and evidence for all races, by absolute paths."""
    if said.catalogue is None:
        for key in ("evidence", "pairs", "priors"):
            if getattr(said, key) is not None:
                raise file.error("belongs to a catalogue", 'add catalogue = "kit.csv"', key)
        return None
    named = {key: str(file.there(name, key).absolute())
             for key in ("catalogue", "evidence", "pairs", "priors")
             if (name := getattr(said, key)) is not None}
    rules = [str(file.there(name, "rules", k).absolute()) if name.endswith(".toml") else name
             for k, name in enumerate(said.rules)]
    return KitTable(rules=rules, **named)


def _items(file: TomlFile, entries: Sequence[Entry]) -> None:
    """Check that what is owned, kept in stock or lent is in the catalogue."""
    known = {item.name: item for entry in entries for item in entry.job.catalogue.items}
    if wrong := _about_items(file, known):
        raise together(wrong)


def _other_names(said: SeasonFile, entries: Sequence[Entry]) -> list[str]:
    """Name riders whose own file calls them otherwise."""
    unnamed = RiderTable.model_fields["name"].default
    files = {rider.name: rider.file for rider in said.rider}
    names = {entry.rider: entry.job.rider.name for entry in entries}
    return [f'{files[name]} calls {name} "{other}": check that it is the right file.'
            for name, other in names.items() if other != unnamed and not _same_name(name, other)]


def _same_name(one: str, other: str) -> bool:
    """Tell whether one name may be a part of the other: a first name, or initials."""
    first, second = ([word.strip(".,").casefold() for word in name.split()]
                     for name in (one, other))
    short, long = sorted((first, second), key=len)
    return all(any(word == known or (len(word) == 1 and known.startswith(word)) for known in long)
               for word in short)


def _tables(file: TomlFile, key: str) -> list[tuple[int, dict[str, Any]]]:
    """Give the tables of a list, as the file has them: what is no table is found elsewhere."""
    found = file.data.get(key)
    return [(k, one) for k, one in enumerate(found if isinstance(found, list) else [])
            if isinstance(one, dict)]


def _texts(value: Any) -> list[tuple[int, str]]:
    return [(k, one) for k, one in enumerate(value if isinstance(value, list) else [])
            if isinstance(one, str)]


def _strangers(file: TomlFile) -> list[InputError]:
    """Riders of races and of targets who are not among the riders."""
    riders = [one["name"] for _, one in _tables(file, "rider") if isinstance(one.get("name"), str)]
    out = []
    for k, race in _tables(file, "race"):
        targets = race.get("targets")
        named = [("riders", name) for _, name in _texts(race.get("riders"))]
        named += [("targets", name) for name in targets] if isinstance(targets, dict) else []
        out += [file.error(f'there is no rider "{name}"', suggest(name, riders), "race", k, place)
                for place, name in named if name not in riders]
    return out


def _catalogue_of(file: TomlFile) -> dict[str, Item]:
    """Items of the season's catalogue by name; none where it can't be read, which is said later."""
    name = file.data.get("catalogue")
    if not isinstance(name, str) or not is_file(file.beside(name)):
        return {}
    try:
        return {item.name: item for item in read_catalogue(file.beside(name), notes=[]).items}
    except InputError:
        return {}


def _about_items(file: TomlFile, known: Mapping[str, Item]) -> list[InputError]:
    """Say what is owned, in stock or lent and not in the catalogue, and what stock can't be."""
    if not known:
        return []
    places: list[tuple[tuple[str | int, ...], Any]] = [
        (("rider", k, "owns", n), name) for k, rider in _tables(file, "rider")
        for n, name in _texts(rider.get("owns"))]
    places += [((key, k, "item"), one.get("item")) for key in ("stock", "loan")
               for k, one in _tables(file, key)]
    out = [file.error(f'there is no item "{name}" in the catalogue', suggest(name, known), *key)
           for key, name in places if isinstance(name, str) and name not in known]
    for k, one in _tables(file, "stock"):
        item, resale = known.get(str(one.get("item"))), one.get("resale", 0)
        if item is None:
            continue
        if isinstance(resale, int | float) and not item.owned and resale > item.price:
            out.append(file.error(
                f"{resale:g} is more than its price, {item.price:g}",
                "give what one brings at the end: at most its price", "stock", k, "resale"))
        if one.get("most") == 0 and not one.get("owned") and item.hire_price is None:
            out.append(file.error(
                "is 0, so that nobody can have it", "leave the item out of the catalogue, or say "
                "how many can be bought", "stock", k, "most"))
    return out


def _time(file: TomlFile, text: str | None, race: int, rider: str) -> float:
    """Read a target such as 57:30 or 1:02:00 [s]; 0 for none."""
    try:
        return 0.0 if text is None else parse_clock(text)
    except ValueError as error:
        raise file.error(f'"{text}" {error}', "write m:ss or h:mm:ss", "race", race, "targets",
                         rider) from error
