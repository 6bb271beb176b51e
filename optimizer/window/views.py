"""Pages of a race that change its files: what each shows, reads back and draws as one types."""

from __future__ import annotations

import os
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from markupsafe import Markup

from optimizer.defaults import LONG_EFFORT, SHORT_EFFORT
from optimizer.errors import InputError
from optimizer.files import as_if, is_file
from optimizer.scenario.edit_toml import with_values
from optimizer.window.forms import Sheet, Tried, control, rows, try_out
from optimizer.window.grids import KINDS, fresh, try_grid

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from optimizer.evidence import Effect
    from optimizer.report.page import Part
    from optimizer.window.folder import Folder
    from optimizer.window.forms import Control, Rows
    from optimizer.window.grids import Kind, TriedGrid

__all__ = ["VIEWS", "View"]

Keys = tuple[tuple[str, ...], ...]


class View:
    """A page over some files of a race.

    `suggested` are the rows of a list that are shown where the file has none, and left out as long
    as nobody types in them; `grids` are the tables below the form.
    """

    key: ClassVar[str]
    suggested: ClassVar[Mapping[str, Sequence[Mapping[str, str]]]] = {}
    grids: ClassVar[tuple[str, ...]] = ()
    caution: ClassVar[str] = ""

    def __init__(self, folder: Folder, race: str) -> None:
        self.folder, self.race = folder, race

    @cached_property
    def scenario(self) -> Sheet:
        """The scenario itself."""
        from optimizer.scenario.scenario import Scenario

        return Sheet(self.folder, "s", self.race, Scenario)

    @property
    def path(self) -> Path:
        """Path of the scenario."""
        return self.folder.path(self.race)

    def sheets(self) -> tuple[Sheet, ...]:
        """Files behind the page."""
        return (self.scenario,)

    def check(self) -> object:
        """Read the files as a plan does. Raises InputError."""
        from optimizer.scenario import read_scenario

        return read_scenario(self.path)

    def controls(self, typed: Mapping[str, str], tried: Tried) -> dict[str, Control | Rows]:
        """Give all that is shown, by the names of the controls."""
        raise NotImplementedError

    def cautions(self) -> str:
        """Say what needs caution."""
        return self.caution

    def page(self) -> str:
        """Name of the page that the work of this view wrote; empty where there is none."""
        from optimizer.window.tasks import page_for

        path = page_for(self.path, self.key)
        return self.folder.name(path) if is_file(path) else ""

    def outdated(self) -> bool:
        """Whether a file changed since that page; a debrief is of its day, and stays."""
        page = self.page()
        return bool(page) and self.key != "debrief" and self.folder.changed_since(
            self.race, self.folder.path(page))

    def live(self) -> Markup:
        """Draw what the files say. Raises InputError where they cannot be read."""
        return Markup("")

    def values(self) -> dict[str, Any]:
        """Give whatever else the template shows."""
        return {}

    # --- tables of their own --------------------------------------------------------------

    def setting(self, kind: Kind) -> tuple[str, ...]:
        """Give the key at which the file names a table."""
        return kind.setting

    def grid_file(self, kind: Kind) -> str:
        """Name of the file of a table; of one to be made where the scenario names none."""
        named = self.scenario.data()
        for key in self.setting(kind):
            named = named.get(key, {}) if isinstance(named, dict) else {}
        if isinstance(named, str) and named:
            return self.beside(named)
        return self.folder.free_name(kind.usual.removesuffix(".csv"), ".csv", beside=self.race)

    def grid_check(self, kind: Kind) -> object:
        """Read a table as a plan does. Raises InputError."""
        raise NotImplementedError

    def grid_try(self, kind: Kind, typed: Mapping[str, str]) -> TriedGrid:
        """Try what was typed into a table, without writing."""
        return try_grid(self.folder, kind, self.grid_file(kind), typed,
                        lambda: self.grid_check(kind))

    def grid_contents(self, kind: Kind, tried: TriedGrid) -> list[tuple[Path, str | bytes]]:
        """Give the files to write: the table and, where it is new, the scenario that names it."""
        path = self.folder.path(self.grid_file(kind))
        contents: list[tuple[Path, str | bytes]] = [(path, tried.data)]
        if is_file(path):
            return contents
        changes: dict[tuple[str, ...], Any] = {self.setting(kind): self._relative(path)}
        if kind.setting[0] == "kit":  # a scenario needs a catalogue wherever it names evidence
            for other in (KINDS["kit"], KINDS["evidence"]):
                beside = self.folder.path(self.grid_file(other))
                if other is not kind and not is_file(beside):
                    contents.append((beside, fresh(other)))
                    changes[self.setting(other)] = self._relative(beside)
        else:
            changes["conditions", "wind"] = None  # one of the two holds
        return [*contents, (self.path, with_values(self.scenario.text(), changes))]

    def _relative(self, path: Path) -> str:
        return self.seen_from(self.folder.name(path))

    # --- the same for all -----------------------------------------------------------------

    def try_out(self, typed: Mapping[str, str]) -> Tried:
        """Try what was typed, without writing."""
        return try_out(self.sheets(), typed, self.check, suggested=self.suggested)

    def drawn(self, tried: Tried) -> Markup:
        """Draw what the files would say; nothing where that cannot be read."""
        with as_if({self.folder.path(name): text.encode() for name, text in tried.texts.items()}):
            try:
                return self.live()
            except InputError:
                return Markup("")

    def beside(self, name: str) -> str:
        """Name in the folder of a file that the scenario names. Raises InputError for outside."""
        path = Path(os.path.normpath(self.path.parent / name))
        if not path.is_relative_to(self.folder.root):
            raise InputError(self.race, "", f'names "{name}", which lies outside of the opened '
                             "folder", "open the folder that holds both")
        return self.folder.name(path)

    def seen_from(self, name: str) -> str:
        """Name of a file of the folder as the scenario names it."""
        return os.path.relpath(self.folder.path(name), self.path.parent).replace(os.sep, "/")

    def offered(self, now: str, *suffixes: str, also: Sequence[tuple[str, str]] = (),
                ) -> tuple[tuple[str, str], ...]:
        """Files of some kind as choices, the one that is named now among them."""
        names = [self.seen_from(name) for name in self.folder.files(*suffixes)]
        known = dict.fromkeys([*([now] if now else []), *names])
        return (*((name, name) for name in known), *also)

    def tables(self, typed: Mapping[str, str], tried: Tried) -> dict[str, Control | Rows]:
        """Give controls that choose tables of kit and evidence of the folder, where it has any."""
        found: dict[str, Control | Rows] = {}
        offered = self.offered("", ".csv", ".xlsx", ".ods")
        taken: set[str] = set()
        for kind in (KINDS["evidence"], KINDS["kit"]):  # evidence has items as well
            shown = control(self.scenario, self.scenario.data(), self.setting(kind), typed, tried)
            fit = [(name, words) for name, words in offered if name not in taken
                   and (name == shown.was or _is_table_of(kind, self.path.parent / name))]
            taken |= {name for name, _ in fit}
            none = [("", "none")] if shown.about.required else []  # others have an empty choice
            if fit:
                found[shown.name] = replace(shown, choices=(*none, *fit))
        return found

    def _controls(self, sheet: Sheet, data: Mapping[str, Any], keys: Keys,
                  typed: Mapping[str, str], tried: Tried) -> dict[str, Control | Rows]:
        return {sheet.key(*path): control(sheet, data, path, typed, tried) for path in keys}


class Rider(View):
    """What the rider can do, with the curve drawn as one types."""

    key = "rider"
    suggested: ClassVar[Mapping[str, Sequence[Mapping[str, str]]]] = {"r:efforts": (
        {"minutes": f"{SHORT_EFFORT.value:g}"}, {"minutes": f"{LONG_EFFORT.value:g}"})}
    caution = ("Efforts to exhaustion are for healthy riders; ask a doctor when in doubt, and stop "
               "when unwell. Figures say what was shown, not what is healthy today.")
    keys: ClassVar[Keys] = (
        ("name",), ("mass_kg",), ("height_cm",), ("level",), ("critical_power_w",),
        ("critical_power_sd_w",), ("w_prime_kj",), ("w_prime_sd_kj",), ("max_power_w",),
        ("endurance_loss_percent",), ("effort_exponent",), ("pedalling_speed_kmh",),
        ("recovery",), ("recovery_percent",), ("reserve_floor_kj",),
        ("long", "share_percent"), ("long", "run_target_min"), ("long", "run_fresh_min"),
        ("environment", "altitude"), ("environment", "heat"), ("environment", "tested_at_m"),
        ("environment", "tested_at_c"))
    of_position: ClassVar[tuple[str, ...]] = ("drag_area_m2", "drag_area_sd_m2", "power_percent",
                                              "longest_min")

    @cached_property
    def rider(self) -> Sheet:
        """The rider's file, which may not be there yet."""
        from optimizer.scenario.rider_file import RiderTable
        from optimizer.scenario.starter import bare_rider

        name = self.beside(str(self.scenario.data().get("rider", "rider.toml")))
        return Sheet(self.folder, "r", name, RiderTable, fresh=bare_rider())

    def sheets(self) -> tuple[Sheet, ...]:
        """Scenario and rider."""
        return self.scenario, self.rider

    def check(self) -> object:
        """Read the rider, fit included."""
        from optimizer.scenario.rider_file import read_ability
        from optimizer.scenario.toml_file import read_toml

        try:
            self.beside(str(read_toml(self.path).data.get("rider", "")))
        except InputError as error:
            raise InputError(str(self.path), "rider", error.problem, error.remedy) from error
        return read_ability(self.folder.path(self.rider.name))

    def positions(self) -> list[str]:
        """Names of the positions, the one for the flat first."""
        found = self.rider.data().get("positions")
        return list(found) if isinstance(found, dict) and found else ["aero", "upright"]

    def controls(self, typed: Mapping[str, str], tried: Tried) -> dict[str, Control | Rows]:
        """Give figures, efforts and positions, and which file the rider is in."""
        sheet, data = self.rider, self.rider.data()
        places = tuple(("positions", name, key) for name in self.positions()
                       for key in self.of_position)
        new = self.seen_from(self.folder.free_name("rider", ".toml", beside=self.race))
        riders = [self.seen_from(name) for name, kind in self.folder.kinds().items()
                  if kind == "rider"]
        now = str(self.scenario.data().get("rider", ""))
        choices = (*((name, name) for name in dict.fromkeys([now, *riders])),
                   *([(new, f"a new rider ({new})")] if now in riders else []))
        return {
            "s:rider": control(self.scenario, self.scenario.data(), ("rider",), typed, tried,
                               choices),
            "r:efforts": rows(sheet, data, "efforts", typed, tried,
                              suggested=self.suggested["r:efforts"]),
            **self._controls(sheet, data, self.keys + places, typed, tried)}

    def values(self) -> dict[str, Any]:
        """Give names of files and positions."""
        return {"rider": self.rider.name, "positions": self.positions(),
                "of_position": self.of_position}

    def live(self) -> Markup:
        """Draw the curve, and say what it means."""
        from optimizer.report.page import Points, fragment
        from optimizer.report.rests_on import READ
        from optimizer.report.rider_page import curve_parts, sentences
        from optimizer.scenario.rider_file import read_ability

        rider, ability = read_ability(self.folder.path(self.rider.name))
        parts: list[Part] = [" ".join(sentences(rider, ability))]
        if ability is not None:
            parts += curve_parts(ability)
            if ability.notes:
                parts += [f"{READ}:", Points(ability.notes)]
        if rider.assumed:
            parts += ["Assumed, because your files do not say:", Points(rider.assumed)]
        return fragment(parts)


class Weather(View):
    """Air and wind, with the wind drawn on the course."""

    key = "weather"
    grids = ("forecast",)
    caution = ("Forecasts change: look again that morning. In gusts, deep wheels and hands on "
               "extensions are a risk; thunder and heat are reasons not to start.")
    keys: ClassVar[Keys] = (
        ("conditions", "wind", "speed_kmh"), ("conditions", "wind", "from_deg"),
        ("conditions", "temperature_c"), ("conditions", "humidity_percent"),
        ("conditions", "pressure_hpa"), ("conditions", "wind_uncertainty_percent"),
        ("conditions", "wind_uncertainty_deg"), ("conditions", "wet"), ("conditions", "start_time"))

    def check(self) -> object:
        """Read course and weather."""
        from optimizer.scenario.scenario import read_course_and_weather

        return read_course_and_weather(self.path)

    def grid_check(self, kind: Kind) -> object:
        """Read the forecast for the scenario's start."""
        from optimizer.scenario.forecast_file import read_forecast
        from optimizer.scenario.weather import weather

        start = self.scenario.data().get("conditions", {}).get("start_time")
        return read_forecast(self.folder.path(self.grid_file(kind)), start, weather())

    def controls(self, typed: Mapping[str, str], tried: Tried) -> dict[str, Control | Rows]:
        """Give the conditions, and which forecast holds."""
        data = self.scenario.data()
        found = self._controls(self.scenario, data, self.keys, typed, tried)
        forecast = data.get("conditions", {}).get("forecast")
        if not isinstance(forecast, list):
            offered = self.offered(forecast or "", ".csv", ".nc", ".grib2", ".grb2")
            found["s:conditions.forecast"] = control(
                self.scenario, data, ("conditions", "forecast"), typed, tried,
                [(name, words) for name, words in offered
                 if name == forecast or self._hourly(name)])
        return found

    def _hourly(self, name: str) -> bool:
        """Whether a file has weather by the hour, as far as its headings say."""
        from optimizer.scenario.forecast_file import has_headings

        path = self.path.parent / name
        return path.suffix.lower() != ".csv" or has_headings(path)

    def live(self) -> Markup:
        """Draw the map with the wind, and say what it does along the course."""
        from optimizer.report.course_map import mapped
        from optimizer.report.course_page import WIND_WORDS, leg_rows
        from optimizer.report.page import Table, fragment
        from optimizer.scenario.scenario import read_course_and_weather

        course, conditions = read_course_and_weather(self.path)
        return fragment([mapped(course, conditions), Table(
            ("Stretch", "km", "ascent, m", "mean grade, %", "head wind, km/h", "cross wind, km/h"),
            leg_rows(course, conditions), "Wind at the rider on each stretch, at the start; "
            f"{WIND_WORDS}")])


class Course(View):
    """The course: how it lies on its track, what was corrected, marks, stretches and corners."""

    key = "course"
    keys: ClassVar[Keys] = (
        ("name",), ("course", "from_km"), ("course", "to_km"), ("course", "reverse"),
        ("course", "laps"), ("course", "piece"), ("course", "flat"), ("course", "smoothing"),
        ("handling", "skill_percent"), ("handling", "braking_mps2"),
        ("handling", "u_turn_kmh"), ("handling", "descent_cap_kmh"))

    def cautions(self) -> str:
        """Say what the page of a course says."""
        from optimizer.report.course_page import CAUTION

        return CAUTION

    def check(self) -> object:
        """Read course and weather."""
        from optimizer.scenario.scenario import read_course_and_weather

        return read_course_and_weather(self.path)

    def controls(self, typed: Mapping[str, str], tried: Tried) -> dict[str, Control | Rows]:
        """Give the track, its part, and the places along it."""
        data = self.scenario.data()
        found = self._controls(self.scenario, data, self.keys, typed, tried)
        table = data.get("course")
        track = table.get("gpx") if isinstance(table, dict) else None
        if not isinstance(track, list):
            found["s:course.gpx"] = control(self.scenario, data, ("course", "gpx"), typed, tried,
                                            self.offered(str(track or ""), ".gpx"))
        found["s:course.keep"] = control(self.scenario, data, ("course", "keep"), typed, tried)
        for name in ("mark", "corner", "stretch"):
            found[f"s:{name}"] = rows(self.scenario, data, name, typed, tried)
        return found

    def values(self) -> dict[str, Any]:
        """Give what was corrected in the track, and what is left as it is."""
        from optimizer.course import MENDING
        from optimizer.scenario.scenario import read_course_and_weather

        table = self.scenario.data().get("course")
        left = table.get("keep", []) if isinstance(table, dict) else []
        try:
            course, _ = read_course_and_weather(self.path)
        except InputError as error:
            return {"corrections": [], "left": [], "mending": MENDING, "warnings": [],
                    "unread": str(error).replace(f"{self.folder.root}/", "")}
        return {"corrections": course.corrections, "left": left, "mending": MENDING, "unread": "",
                "warnings": course.warnings}

    def live(self) -> Markup:
        """Draw the road and the map, and say what the course is."""
        from optimizer.report.course_map import mapped
        from optimizer.report.course_page import profile_chart, sentences
        from optimizer.report.page import fragment
        from optimizer.scenario.scenario import read_course_and_weather

        course, conditions = read_course_and_weather(self.path)
        return fragment([" ".join(sentences(course)), profile_chart(course),
                         mapped(course, conditions)])


class Settings(View):
    """How a plan is computed and shown: its start, its card, the risk that is accepted."""

    key = "settings"
    caution = ("A plan that may run out before the finish is a risk that you choose; the card says "
               "how large it is. Stop when unwell.")

    def names(self) -> list[str]:
        """Give all keys of the table, in its order."""
        from optimizer.scenario.fields import table_at

        return list(table_at(self.scenario.model, "options").model_fields)

    def controls(self, typed: Mapping[str, str], tried: Tried) -> dict[str, Control | Rows]:
        """Give every option of the scenario."""
        keys = tuple(("options", name) for name in self.names())
        return self._controls(self.scenario, self.scenario.data(), keys, typed, tried)

    def values(self) -> dict[str, Any]:
        """Give the keys."""
        return {"names": self.names()}


class Compare(View):
    """Named sets of kit, to be held against each other."""

    key = "compare"
    caution = ("Every time is that of a model. Check the rules of your event, and have fitting "
               "done by a qualified mechanic.")

    def controls(self, typed: Mapping[str, str], tried: Tried) -> dict[str, Control | Rows]:
        """Give the sets."""
        return {"s:set": rows(self.scenario, self.scenario.data(), "set", typed, tried, empty=1)}

    def values(self) -> dict[str, Any]:
        """Give the items to choose from, and the page that was written last."""
        from optimizer.scenario.catalogue_file import read_catalogue

        kit = self.scenario.data().get("kit")
        items: list[str] = []
        if isinstance(kit, dict) and isinstance(kit.get("catalogue"), str):
            try:
                catalogue = read_catalogue(self.folder.path(self.beside(kit["catalogue"])))
                items = [item.name for item in catalogue.items]
            except InputError:
                items = []
        return {"items": items}


class Season(View):
    """A club's season: riders, races with their days, money, stock and loans."""

    key = "season"
    grids = ("kit", "evidence")
    caution = ("Brakes, steering and wheels are for a qualified mechanic; the rules of each event "
               "decide what is allowed. Whoever rides lent kit has it checked, and practises with "
               "it first.")
    keys: ClassVar[Keys] = (("name",), ("currency",), ("budget",), ("least_gain_s",),
                            ("handover_days",), ("resale_counts",))

    @cached_property
    def scenario(self) -> Sheet:
        """The file of the season."""
        from optimizer.scenario.season_file import SeasonFile

        return Sheet(self.folder, "s", self.race, SeasonFile)

    def check(self) -> object:
        """Read the season without its races, which the work reads."""
        from optimizer.scenario.season_file import check_season

        return check_season(self.path)

    def setting(self, kind: Kind) -> tuple[str, ...]:
        """Give the key at the top of the season's file."""
        return kind.setting[1:]

    def grid_check(self, kind: Kind) -> object:
        """Read the catalogue or the evidence, and the season with it."""
        _read_table(self, kind, self.scenario.data().get("pairs"))
        return self.check()

    def page(self) -> str:
        """Name of the page of the season, where there is one."""
        path = self.path.with_name(f"{self.path.stem}-season.html")
        return self.folder.name(path) if is_file(path) else ""

    def controls(self, typed: Mapping[str, str], tried: Tried) -> dict[str, Control | Rows]:
        """Give money and rules, and a list each of riders, races, stock, loans and steps."""
        sheet, data = self.scenario, self.scenario.data()
        kinds = self.folder.kinds()
        files = {kind: [(name, name) for name in (
            self.seen_from(name) for name, what in kinds.items() if what == kind)]
            for kind in ("rider", "race")}
        lists = {
            "rider": rows(sheet, data, "rider", typed, tried, choices={"file": files["rider"]}),
            "race": rows(sheet, data, "race", typed, tried, choices={"scenario": files["race"]},
                         columns=("name", "date", "scenario", "riders", "weight", "until")),
            **{key: rows(sheet, data, key, typed, tried) for key in ("stock", "loan", "money")}}
        return {**{f"s:{key}": found for key, found in lists.items()},
                **self._controls(sheet, data, self.keys, typed, tried),
                **self.tables(typed, tried)}

    def live(self) -> Markup:
        """Draw the calendar: who rides when."""
        from optimizer.report.page import Table, fragment
        from optimizer.scenario.season_file import check_season

        said = check_season(self.path)
        everybody = [rider.name for rider in said.rider]
        races = sorted(said.race, key=lambda race: race.date)
        riding = [race.riders if race.riders is not None else everybody for race in races]
        return fragment([Table(
            ("Rider", *(f"{race.name}, {race.date:%d %b}" for race in races)),
            [(name, *("rides" if name in names else "–" for names in riding))
             for name in everybody], "Who rides what", left=(0, *range(1, len(races) + 1)))])


class Debrief(View):
    """A recorded ride, held against the plan."""

    key = "debrief"
    caution = ("What a ride says of rider and bike is an estimate. Pain, dizziness or a bike that "
               "handles oddly are for a doctor or a mechanic first.")

    def check(self) -> object:
        """Nothing is typed here."""
        return None

    def controls(self, typed: Mapping[str, str], tried: Tried) -> dict[str, Control | Rows]:
        """Give nothing: a ride is dropped."""
        del typed, tried
        return {}


class Kit(View):
    """The bike as it is, the money, what could be bought and what is known of it."""

    key = "kit"
    grids = ("kit", "evidence")
    caution = ("Work on brakes, steering and carbon parts is for a qualified mechanic. Check the "
               "rules of your event before you buy; deep wheels need a practised hand in wind.")
    keys: ClassVar[Keys] = (
        ("budget",), ("currency",), ("bike", "mass_kg"), ("bike", "rolling_resistance"),
        ("bike", "rolling_resistance_sd"), ("bike", "mass_sd_kg"),
        ("bike", "drivetrain_efficiency"), ("bike", "wheel_inertia_kgm2"),
        ("bike", "wheel_radius_m"), ("bike", "crosswind_limit_kmh"))

    def grid_check(self, kind: Kind) -> object:
        """Read the catalogue or the evidence."""
        return _read_table(self, kind, self.scenario.data().get("kit", {}).get("pairs"))

    def controls(self, typed: Mapping[str, str], tried: Tried) -> dict[str, Control | Rows]:
        """Give money and bike, and which tables of the folder are meant, where there are any."""
        return {**self._controls(self.scenario, self.scenario.data(), self.keys, typed, tried),
                **self.tables(typed, tried)}

    def live(self) -> Markup:
        """Say what the evidence comes to for this rider, item by item."""
        from optimizer.report.page import Table, fragment
        from optimizer.scenario import read_scenario

        job = read_scenario(self.path)
        if not job.catalogue.items:
            return fragment([("Nothing could be bought yet: the plan is for your current bike. "
                             "Fill in the tables below, or paste them from a spreadsheet.")])
        known = {effect.item: effect for effect in job.effects}
        rows = []
        for item in job.catalogue.items:
            effect = known.get(item.name)
            rows.append((item.name, item.place, "owned" if item.owned else f"{item.price:,.0f}",
                         "none" if effect is None else _worth(effect)))
        return fragment([Table(
            ("Item", "Place", f"Price, {job.currency}", "Change"), rows,
            "What the evidence comes to for this rider, at no side wind: 90 % ranges",
            left=(0, 1, 3)),
            *job.notes])


def _is_table_of(kind: Kind, path: Path) -> bool:
    """Tell by its headings whether a file is a table of a kind."""
    from optimizer.scenario.tables import read_table

    try:
        table = read_table(path, kind.required, kind.optional, [], synonyms=kind.synonyms,
                           deferred=True)
    except InputError:
        return False
    return set(kind.required) <= set(table.headings)


def _read_table(view: View, kind: Kind, pairs: str | None) -> object:
    """Read a catalogue, with the `pairs` beside it, or evidence, as a plan does."""
    from optimizer.scenario.catalogue_file import read_catalogue
    from optimizer.scenario.evidence_file import read_evidence

    path = view.folder.path(view.grid_file(kind))
    if kind.key == "evidence":
        return read_evidence(path)
    return read_catalogue(path, view.folder.path(view.beside(pairs)) if pairs else None)


def _worth(effect: Effect) -> str:
    """Say what the evidence for an item comes to, each change with its 90 % range."""
    from optimizer.report.uncertain import amount_range

    parts = [(float(effect.drag_area[0]), effect.drag_area_sd, 1.0, "m² CdA"),
             (effect.rolling_resistance, effect.rolling_resistance_sd, 1.0, "Crr"),
             (effect.efficiency, effect.efficiency_sd, 100.0, "% efficiency"),
             (effect.mass, effect.mass_sd, 1000.0, "g")]
    return "; ".join(amount_range(scale * value, scale * sd, unit)
                     for value, sd, scale, unit in parts if value or sd)


VIEWS: dict[str, type[View]] = {view.key: view for view in (
    Course, Rider, Weather, Kit, Settings, Compare, Debrief, Season)}
"""Pages with forms, by the last part of their address."""
