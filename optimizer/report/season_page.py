"""The page of `kitpace season`, its tables, its sentences, its JSON and its CSV."""

from __future__ import annotations

import csv
import io
import json
import math
from typing import TYPE_CHECKING

import numpy as np

from optimizer.defaults import NINE_IN_TEN
from optimizer.report.current import LEAST_SAVED, caution_of, grounds_in, spent_on_words
from optimizer.report.page import Chart, Folded, Points, Section, Table, render
from optimizer.report.spreadsheet import harmless
from optimizer.report.svg import Axis, Dots, Line, Mark, Note, Row, Upright, multiples, plot
from optimizer.report.svg.scale import nice_ticks
from optimizer.report.wind_cautions import bike_cautions
from optimizer.report.words import (
    at_most,
    cell_range,
    cell_seconds,
    clock,
    days,
    listing,
    money,
    seconds,
    seconds_range,
)

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date

    from optimizer.kit import Item
    from optimizer.report.svg import Drawing, Look
    from optimizer.seasons import SeasonKit
    from optimizer.seasons.values import Entry, Ride

__all__ = ["IDEAL", "frontier_table", "hire_table", "lead", "lent_table", "matrix",
           "next_table", "purchase_table", "rider_sentences", "season_csv", "season_json",
           "season_page", "stage_table", "test_table"]

_MOST_NEXT, _MOST_TESTS = 8, 8
_LOOSE = "does not belong to any item of the catalogue"  # in a note on evidence
IDEAL = ("Times and savings of each rider are those of the ideal ride, in unweighted seconds; "
         "by the card a ride takes some seconds more.")
_CAUTION = ("Brakes, steering and wheels are for a qualified mechanic. The rules of each event and "
            "its officials decide what may be used. Practise with new, hired or lent kit, and have "
            "wheels and brakes checked after each change of rider, before racing on it.")


def lead(found: SeasonKit) -> list[str]:
    """Say the answer first: money, seconds, proof, what comes back."""
    season = found.season
    weights = {entry.weight for entry in season.entries}
    rides = f"over {len(found.rides)} rides" if len(found.rides) > 1 else "in one ride"
    if len(found.rides) > 1 and weights != {1.0}:
        rides += " (a second counts by the weight of its race)"
    elif weights != {1.0}:
        rides += f", where a second counts {max(weights):g} times"
    against = "against what each rider owns, with the changes that cost nothing"
    if season.budget > 0:
        first = (f"spend {money(found.spend)} of {money(season.budget, season.currency)} and save "
                 f"{_saved(found.saved)} {rides}, {against}.")
    elif found.saved > 0:
        first = (f"no money for kit; sharing what there is saves {seconds(found.saved)} {rides}, "
                 f"{against}.")
    else:
        first = "no money for kit, and sharing what there is saves nothing."
    out = [f"{season.name}: {first}", *filter(None, [_rests_on(found)])]
    if found.measure.of is None:
        use = "spend the money" if season.budget > 0 else "share it"
        each = (f" once {seconds(season.least_gain)} are taken off for each purchase and each hire"
                if season.least_gain > 0 else "")
        dear = (" A cheaper season that saves nearly as much is not looked for: see what each "
                "budget saves." if season.budget > 0 else "")
        out.append(f"In this model no other way to {use} saves more than {at_most(found.gap)} "
                   f"more{each}.{dear}")
    else:
        out.append(f"Race by race it has {found.measure.best_words(found.level)}, of all seasons "
                   f"made of the {found.looked_at:,} kits that were looked at; that is no proof.")
        out += _out_of_reach(found)
    if found.returned > 0:
        out.append(f"If what is bought is sold at the end, {money(found.returned, season.currency)}"
                   f" come back: the season then costs {money(found.spend - found.returned)}.")
    return [*_over_limits(found), *out, *season.notes]


def _rests_on(found: SeasonKit) -> str:
    """Say which money buys what nobody but its seller, or nobody, has tested."""
    season = found.season
    grounds = [grounds_in(entry.job.catalogue, entry.job.effects) for entry in season.entries]
    paid = [(pool.item, pool.price, next(here[pool.item] for here in grounds if pool.item in here))
            for one in found.bought for pool in [season.pools[one.pool]]]
    paid += [(f"{name} (hired)", _entry(found, ride).job.catalogue[name].hire_price or 0.0,
              grounds[ride.entry][name]) for ride in found.rides for name in ride.hired]
    return spent_on_words(paid, season.currency)


def _out_of_reach(found: SeasonKit) -> list[str]:
    """Say which targets no kit beats, and what is done there instead."""
    return [f"{clock(entry.target)} is out of reach for {entry.rider} in {entry.race}: best "
            f"{clock(ride.fastest)} of all kits that were looked at; there seconds decide."
            for ride in found.rides if ride.fastest is not None
            for entry in [_entry(found, ride)]]


def _over_limits(found: SeasonKit) -> list[str]:
    """Say which rides are on a bike's own wheels in more cross wind than they may meet."""
    out = []
    for ride in found.rides:
        entry = _entry(found, ride)
        out += bike_cautions(entry.job, [(f"{entry.rider} in {entry.race}", ride.items)])
    return out


def _saved(value: float, amount: Callable[[float], str] = seconds) -> str:
    return (amount(value) if value > 0.005 else
            f"−{amount(value)}" if value < -0.005 else "nothing")


def _saves_words(saved: float, shown: str) -> str:
    """Say that a ride saves or loses so much."""
    return f"saves {shown}" if saved > 0.005 else (
        f"loses {shown}" if saved < -0.005 else "saves nothing")


def _weighted(found: SeasonKit) -> str:
    """Say of what kind the seconds of a table over all races are."""
    return ("weighted seconds over the season"
            if any(entry.weight != 1.0 for entry in found.season.entries) else
            "seconds over the season")


def _saves(found: SeasonKit) -> str:
    """Head a column of such seconds."""
    return "Saves, weighted" if _weighted(found).startswith("weighted") else "Saves"


def _with_range(saved: float, low: float, high: float) -> str:
    """Give what a ride saves and its range, all in seconds or all in minutes."""
    far = max(abs(saved), abs(low), abs(high))
    if far < 119.5:
        return f"{seconds(saved)} ({seconds_range(low, high)})"

    def text(value: float) -> str:
        minutes, rest = divmod(round(abs(value)), 60)
        size = (f"{minutes} min {rest:02d} s" if 0 < minutes < 60 else
                clock(abs(value)) if minutes else f"{rest} s")
        return f"−{size}" if value < -0.5 else size
    return f"{text(saved)} ({text(low)} to {text(high)})"


def _entry(found: SeasonKit, ride: Ride) -> Entry:
    return found.season.entries[ride.entry]


def _item(found: SeasonKit, name: str) -> Item:
    for entry in found.season.entries:
        for item in entry.job.catalogue.items:
            if item.name == name:
                return item
    raise KeyError(name)


def _race(found: SeasonKit, race: str, day: date) -> str:
    """Name a race, with its day where it has one."""
    return f"{race}, {day.day} {day:%b %Y}" if found.season.dated else race


def purchase_table(found: SeasonKit) -> Table:
    """Set out purchases by the race before which they are needed."""
    season, rows = found.season, []
    for one in found.bought:
        pool = season.pools[one.pool]
        whom = pool.rider or ", ".join(dict.fromkeys(
            _entry(found, ride).rider for ride, _ in _shared_rides(found, pool.item))) or "all"
        rows.append((_race(found, one.race, one.day), pool.item, whom, money(pool.price),
                     cell_seconds(one.saves), money(pool.resale) if pool.resale else "–",
                     caution_of(_item(found, pool.item)) or "–"))
    return Table(("Needed for", "Buy", "For", f"Price, {season.currency}", _saves(found),
                  "Resale", "Caution"), rows,
                 f"What to buy, in the order of the races. {_saves(found)}: {_weighted(found)} "
                 "lost without it and with nothing in its place, by the times of the proof",
                 left=(0, 1, 2, 6))


def _shared_rides(found: SeasonKit, item: str) -> list[tuple[Ride, int]]:
    """Give the rides with a shared item, and the copy of each, in the order of the days."""
    return sorted(((ride, number) for ride in found.rides for name, number in ride.copies
                   if name == item), key=lambda pair: _entry(found, pair[0]).first)


def lent_table(found: SeasonKit) -> Table:
    """Set out who uses which shared item at which race."""
    rows = []
    for item in dict.fromkeys(name for ride in found.rides for name, _ in ride.copies):
        rides = _shared_rides(found, item)
        several = max(number for _, number in rides) > 1
        rows += [(f"{item}, no. {number}" if several else item,
                  _race(found, _entry(found, ride).race, _entry(found, ride).first),
                  _entry(found, ride).rider) for ride, number in rides]
    return Table(("Shared", "Race", "Rider"), rows, "Who uses the shared items, race by race",
                 left=(0, 1, 2))


def hire_table(found: SeasonKit) -> Table:
    """Set out what is hired for which race."""
    rows = []
    for ride in found.rides:
        entry = _entry(found, ride)
        rows += [(_race(found, entry.race, entry.first), entry.rider, name,
                  money(entry.job.catalogue[name].hire_price or 0.0)) for name in ride.hired]
    return Table(("Race", "Rider", "Hire", f"Price, {found.season.currency}"), rows,
                 "What to hire, for one race each", left=(0, 1, 2))


def _kit_of(found: SeasonKit, ride: Ride) -> str:
    """List the kit of a ride, with what is hired and which copy is lent."""
    copies = dict(ride.copies)
    several = {name for other in found.rides for name, number in other.copies if number > 1}
    names = [f"{name} (hired)" if name in ride.hired else
             f"{name} (shared, no. {copies[name]})" if name in several and name in copies else
             f"{name} (shared)" if name in copies else
             f"{name} (lent)" if name in _entry(found, ride).borrowed else name
             for name in ride.items]
    return ", ".join(names) or "as it stands"


def matrix(found: SeasonKit) -> Table:
    """Set out races against riders: what is saved, with its range, and the kit."""
    season = found.season
    riders = list(dict.fromkeys(entry.rider for entry in season.entries))
    cells: dict[tuple[str, str], str] = {}
    for ride in found.rides:
        entry = _entry(found, ride)
        ends = ((ride.saved, ride.low, ride.high) if ride.saved > 0 else
                (-ride.saved, -ride.high, -ride.low))
        saved = _saves_words(ride.saved, _with_range(*ends))
        cells[entry.race, entry.rider] = f"{clock(ride.time)}, {saved}: {_kit_of(found, ride)}"
    races = sorted({(entry.first, entry.race) for entry in season.entries})
    return Table(("Race", *riders), [
        (_race(found, race, day), *(cells.get((race, rider), "–") for rider in riders))
        for day, race in races],
        "Who rides what where: time of the ideal ride on the forecast day, what is saved "
        "against what the rider owns (90 % range over the drawn days), and the kit",
        left=tuple(range(len(riders) + 1)))


def rider_sentences(found: SeasonKit) -> list[str]:
    """Say to each rider what the season is for them."""
    season, out = found.season, []
    for rider in dict.fromkeys(entry.rider for entry in season.entries):
        rides = [ride for ride in found.rides if _entry(found, ride).rider == rider]
        own = [season.pools[one.pool].item for one in found.bought
               if season.pools[one.pool].rider == rider]
        lent = {item for ride in rides for item, _, _ in ride.lends}
        shared = sorted({name for ride in rides for name, _ in ride.copies} - lent)
        where: dict[str, list[str]] = {}
        for ride in rides:
            for name in ride.hired:
                where.setdefault(name, []).append(_entry(found, ride).race)
        hired = [f"{name} for {listing(races)}" for name, races in sorted(where.items())]
        saved = sum(ride.saved for ride in rides)
        words = [f"gets {listing(own)}"] if own else []
        if shared:
            words.append(f"shares {listing(shared)}")
        if hired:
            words.append(f"hires {listing(hired)}")
        words += [f"lends {item} to {whom} in {_entry(found, ride).race}"
                  + (f" (costs {rider} {seconds(cost)} there)" if cost > 0.005 else "")
                  for ride in rides for item, whom, cost in ride.lends]
        words = words or ["gets nothing new"]
        best = max(rides, key=lambda ride: ride.saved)
        races = f"over {len(rides)} races" if len(rides) > 1 else "in one race"
        end = f"and {_saves_words(saved, f'{seconds(saved)} {races}')}"
        if lent:
            end += " against what they own"
        if len(rides) > 1 and best.saved > 0.005:
            race = _entry(found, best).race
            only = all(ride is best or abs(ride.saved) < LEAST_SAVED for ride in rides)
            end += f", all in {race}" if only else f", most in {race} ({seconds(best.saved)})"
        chances = [f"{clock(_entry(found, ride).target)} in {_entry(found, ride).race} on "
                   f"{days(ride.chance)}" for ride in rides if ride.chance is not None]
        beats = f" This beats {listing(chances)}." if chances else ""
        out.append(f"{rider} {', '.join(words)}, {end}.{beats}")
    return out


def frontier_table(found: SeasonKit) -> Table:
    """Set out the best season found at each budget."""
    rows, last = [], set[str]()
    for point in found.frontier:
        here = (*point.bought, *point.hired)
        new = [name for name in here if name not in last]
        gone = sorted(last - set(here))
        last = set(here)
        rows.append((money(round(point.budget)), money(round(point.spend)), _saved(point.saved),
                     at_most(point.gap) if math.isfinite(point.gap) else "–",
                     "yes" if point.chosen else "", ", ".join(new) or "–",
                     ", ".join(gone) or "–"))
    return Table((f"Budget, {found.season.currency}", "Spent",
                  "Saved, weighted" if _weighted(found).startswith("weighted") else "Saved",
                  "Gap", "Chosen", "New in it", "No longer in it"), rows,
                 f"Best season found at each budget, in {_weighted(found)}, with a plan for each "
                 + ("kit. No other season for that money saves more by over the gap, which is "
                    "close for the chosen budget only; proofs compare kits in the wind and under "
                    "the effort limit of the current bike"
                    if found.measure.of is None else
                    "kit; without a proof. The table goes by the time on the forecast day; the "
                    f"chosen season has, race by race, {found.measure.best_words(found.level)}, "
                    "and may save fewer seconds"),
                 left=(5, 6))


def stage_table(found: SeasonKit) -> Table:
    """Set out purchases as the money comes."""
    season, rows = found.season, []
    for stage in found.stages:
        bought = [f"{season.pools[p].item} ({season.pools[p].rider})" if season.pools[p].rider
                  else season.pools[p].item for p in stage.bought]
        hired = [f"{name} for {season.entries[e].rider} in {season.entries[e].race}"
                 for e, name in stage.hired]
        rows.append((money(stage.money), listing(bought) or "nothing", listing(hired) or "nothing",
                     money(round(stage.spend)), _saved(stage.saved)))
    return Table((f"{season.currency} in all", "Buy now", "Hire", "Spent", "Saved"), rows,
                 "As the money comes, if the races were ridden then. What is bought stays; hires "
                 "are paid for the races alone", left=(1, 2))


def next_table(found: SeasonKit) -> Table:
    """Set out the next purchases with more money."""
    season = found.season
    return Table(("With more money", "For", season.currency, _saves(found),
                  f"{season.currency} per s"),
                 [(season.pools[one.pool].item, season.pools[one.pool].rider or "all",
                   money(one.price), cell_seconds(one.seconds), f"{one.price / one.seconds:.1f}")
                  for one in found.next[:_MOST_NEXT]],
                 f"One more purchase on top of the plan, in {_weighted(found)}, most for the money "
                 "first; these gains do not add up", left=(0, 1))


def test_table(found: SeasonKit) -> Table:
    """Set out what to test first."""
    return Table(("Test before buying", "Uncertainty", "Halving it saves"),
                 [(test.item, f"± {cell_seconds(NINE_IN_TEN * test.sd)}", cell_seconds(test.halved))
                  for test in found.tests[:_MOST_TESTS]],
                 f"What a better test is worth, in {_weighted(found)}, by then buying the right "
                 "kit; ± is half of the 90 % range")


def _season_chart(found: SeasonKit) -> Chart:
    """Draw purchases and hires along the days of the season."""
    season = found.season
    races = sorted({(entry.first, entry.race) for entry in season.entries})
    start = races[0][0]
    last = max((races[-1][0] - start).days, 1)
    spent = sorted([((one.day - start).days, season.pools[one.pool].price)
                    for one in found.bought]
                   + [((_entry(found, ride).first - start).days,
                       float(_entry(found, ride).job.catalogue[name].hire_price or 0.0))
                      for ride in found.rides for name in ride.hired])
    days = sorted({day for day, _ in spent})
    total = np.cumsum([sum(amount for day, amount in spent if day == one) for one in days])
    room = 0.08 * last

    def draw(look: Look) -> Drawing:
        edges = [-room, *days, last + room]
        ticks = tuple(((day - start).days, f"{day.day} {day:%b}" if season.dated else str(k))
                      for k, (day, _) in enumerate(races, 1))
        some = ticks if not look.small else ticks[::max(1, len(ticks) // 3)]
        layers: list[Line | Dots | Note | Upright] = [
            Line(edges, [0.0, *total], "plan", steps=True)]
        layers += [Upright((day - start).days, race if not look.small else "")
                   for day, race in races]
        if days:
            layers.append(Dots(days, total, "plan", "diamond", 4.5))
        title = "day of the season" if season.dated else "race"
        return plot(look, Axis(-room, last + room, title, some), [Row(
            f"spent in all, {season.currency}", layers, 150.0, zero=True, low=0.0,
            high=1.15 * max(float(total[-1]) if len(total) else 0.0, season.budget, 1.0))])
    first = found.bought[0] if found.bought else None
    finding = ("Nothing has to be bought." if first is None else
               f"{len(found.bought)} purchases; the first are needed for "
               f"{_race(found, first.race, first.day)}.")
    figures = Table(("Race", f"Spent in all, {season.currency}"), [
        (_race(found, race, day), money(sum(amount for when, amount in spent
                                            if when <= (day - start).days)))
        for day, race in races], "Money spent by each race")
    return Chart("purchases", "What is bought when?", draw, figures, finding,
                 note="Money spent by the day of each race (upright lines); purchases are shown "
                      "on the day on which they are first needed.")


def _gains_chart(found: SeasonKit) -> Chart:
    season = found.season
    riders = list(dict.fromkeys(entry.rider for entry in season.entries))
    races = [race for _, race in sorted({(entry.first, entry.race) for entry in season.entries})]
    cells = {(_entry(found, ride).rider, _entry(found, ride).race): [
        Mark("", ride.saved, ride.low, ride.high, leads=True,
             said=cell_range(ride.low, ride.high))] for ride in found.rides}

    def ticks(low: float, high: float, most: int) -> list[tuple[float, str]]:
        return [(float(tick), f"{tick:g}".replace("-", "−"))
                for tick in nice_ticks(low, high, most)]
    figures = Table(("Rider", "Race", "Saved", "90 % range"), [
        (_entry(found, ride).rider, _entry(found, ride).race, _saved(ride.saved, cell_seconds),
         cell_range(ride.low, ride.high)) for ride in found.rides],
        "What each ride saves", left=(0, 1))
    most = max(found.rides, key=lambda ride: ride.saved)
    entry = _entry(found, most)
    return Chart("gains", "What does each rider gain where?",
                 lambda look: multiples(look, riders, races, cells, ticks, apart=True), figures,
                 (f"{entry.rider} gains most, {seconds(most.saved)} in {entry.race}."
                  if most.saved > 0.005 else "Nobody gains anything."),
                 note="Seconds saved against what each rider owns, with the 90 % range on common "
                      "days; each race has its own scale. A line that crosses zero may be no "
                      "gain at all.")


def _frontier_chart(found: SeasonKit) -> Chart:
    season = found.season
    x = np.array([point.budget for point in found.frontier])
    y = np.maximum.accumulate([point.saved for point in found.frontier])
    chosen = next((point for point in found.frontier if point.chosen), None)
    end = 1.04 * max(float(x[-1]), season.budget, 1.0)

    def draw(look: Look) -> Drawing:
        layers: list[Line | Dots | Note | Upright] = [Line([*x, end], y, "other", steps=True),
                                                      Dots(x, y, "other")]
        if chosen is not None:
            layers += [Dots([chosen.budget], [chosen.saved], "plan", "diamond", 5.0),
                       Note(chosen.budget, chosen.saved, "chosen", "strong",
                            "end" if chosen.budget > 0.5 * end else "start", 11.0)]
        layers.append(Upright(season.budget, "budget"))
        return plot(look, Axis(0.0, end, f"budget, {season.currency}"), [Row(
            f"{_weighted(found).split(' over')[0]} saved", layers, 190.0, zero=True, low=0.0,
            high=1.12 * max(float(y.max(initial=0.0)), 1.0))])
    return Chart("frontier", "What would more or less money save?", draw, frontier_table(found),
                 f"The plan saves {_saved(found.saved)} for "
                 f"{money(found.spend, season.currency)}.",
                 note="Best season found at each budget; the diamond is the one that is chosen.",
                 half=True)


def season_page(found: SeasonKit) -> str:
    """Give the page of a season."""
    riders: list[str] = rider_sentences(found)
    sections = [
        Section("riders", "For each rider", [_gains_chart(found), *riders, IDEAL]),
        Section("season", "What to buy when", [_season_chart(found),
                                               *([purchase_table(found)] if found.bought else []),
                                               *([hire_table(found)]
                                                 if any(ride.hired for ride in found.rides)
                                                 else []),
                                               *([lent_table(found)]
                                                 if any(ride.copies for ride in found.rides)
                                                 else []), _CAUTION]),
        Section("matrix", "Who rides what where", [matrix(found)]),
        Section("money", "More or less money", [
            *([_frontier_chart(found)] if len(found.frontier) > 1 else []),
            *([stage_table(found)] if found.stages else []),
            *([next_table(found)] if found.next else [])])]
    if found.tests:
        sections.append(Section("tests", "What to test first", [test_table(found)]))
    notes = list(dict.fromkeys(note for entry in found.season.entries
                               for note in entry.job.assumptions))
    loose = [note for note in notes if _LOOSE in note]
    kept = [note for note in notes if note not in loose]
    sections.append(Section("assumed", "What is assumed", [
        *([Folded(f"{len(kept)} assumptions", [Points(kept)])] if kept else []),
        *([Folded(f"{len(loose)} test results that belong to no item", [Points(loose)])]
          if loose else [])]))
    return render(f"Kit for {found.season.name}", lead(found), sections, kicker="Season")


def season_json(found: SeasonKit) -> str:
    """Give the season as JSON."""
    season = found.season
    document = {
        "schema": "kitpace-season-1", "name": season.name, "currency": season.currency,
        "by": found.measure.name, "level": found.level, "spend": found.spend,
        "returned": found.returned,
        "saved_s": found.saved, "value": found.value,
        "gap_s": found.gap if math.isfinite(found.gap) else None,
        "kits_looked_at": found.looked_at,
        "rides": [{
            "rider": _entry(found, ride).rider, "race": _entry(found, ride).race,
            "date": _entry(found, ride).first.isoformat(), "weight": _entry(found, ride).weight,
            "items": list(ride.items), "current_items": list(ride.before), "time_s": ride.time,
            "current_time_s": ride.time_before, "saved_s": ride.saved,
            "saved_low_s": ride.low, "saved_high_s": ride.high, "hired": list(ride.hired),
            "copies": dict(ride.copies),
            **({"chance_of_target": ride.chance} if ride.chance is not None else {}),
            "lends": [{"item": item, "to": whom, "costs_s": cost}
                      for item, whom, cost in ride.lends]} for ride in found.rides],
        "purchases": [{
            "item": season.pools[one.pool].item, "rider": season.pools[one.pool].rider or None,
            "first_rider": one.rider, "race": one.race, "date": one.day.isoformat(),
            "price": season.pools[one.pool].price, "resale": season.pools[one.pool].resale,
            "saves_s": one.saves} for one in found.bought],
        "frontier": [{
            "budget": point.budget, "spend": point.spend, "saved_s": point.saved,
            "bought": list(point.bought), "hired": list(point.hired),
            "gap_s": point.gap if math.isfinite(point.gap) else None,
            "chosen": point.chosen} for point in found.frontier],
        "next": [{"item": season.pools[one.pool].item,
                  "rider": season.pools[one.pool].rider or None, "price": one.price,
                  "saves_s": one.seconds} for one in found.next],
        "tests": [{"item": test.item, "sd_s": test.sd, "halving_saves_s": test.halved}
                  for test in found.tests],
        "cautions": _over_limits(found), "notes": list(season.notes)}
    return json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def season_csv(found: SeasonKit) -> str:
    """Give who rides what where as CSV, a row a ride."""
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(["rider", "race", "date", "time_s", "saved_s", "low_s", "high_s", "items",
                   "hired"])
    for ride in found.rides:
        entry = _entry(found, ride)
        rows.writerow([harmless(entry.rider), harmless(entry.race), entry.first.isoformat(),
                       f"{ride.time:.1f}", f"{ride.saved:.1f}", f"{ride.low:.1f}",
                       f"{ride.high:.1f}", harmless("; ".join(ride.items)),
                       harmless("; ".join(ride.hired))])
    return out.getvalue()
