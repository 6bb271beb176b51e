"""What a key of a file is to people: label, unit, help, limits, default, and where that is from.

All of it follows from the pydantic tables and from `optimizer.defaults`; only labels that do not
follow from the name of a key are kept here.
"""

from __future__ import annotations

import types
import typing
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Literal

import annotated_types as bounds
from pydantic import BaseModel
from pydantic.fields import FieldInfo

from optimizer.course import SURFACES, TERRAINS
from optimizer.scenario.toml_table import parts_of
from optimizer.scenario.units import unit_of

__all__ = ["Described", "Kind", "column_label", "described", "fields_of", "table_at"]

Kind = Literal["number", "whole", "flag", "choice", "moment", "day", "text", "names", "table",
               "tables"]


# By table and key, where the key does not say it.
_LABELS = {
    ("Scenario", "name"): "Name of the race", ("Scenario", "budget"): "Budget for kit",
    ("Scenario", "rider"): "Rider's file",
    ("CourseTable", "gpx"): "Track", ("CourseTable", "from_km"): "Starts on the track at",
    ("CourseTable", "to_km"): "Ends on the track at",
    ("CourseTable", "reverse"): "Ridden the other way round",
    ("CourseTable", "piece"): "Piece of the track", ("CourseTable", "flat"): "Taken as flat",
    ("CourseTable", "smoothing"): "Smoothing of the heights",
    ("CourseTable", "features"): "Table of surfaces and places",
    ("CourseTable", "heights"): "Terrain model", ("CourseTable", "keep"): "Left as in the track",
    ("HandlingTable", "skill_percent"): "Grip used in corners",
    ("HandlingTable", "braking_mps2"): "Braking",
    ("HandlingTable", "u_turn_kmh"): "Speed round a U-turn",
    ("HandlingTable", "descent_cap_kmh"): "Highest speed wanted",
    ("MarkTable", "km"): "At", ("CornerTable", "km"): "At", ("CornerTable", "mark"): "Or at mark",
    ("StretchTable", "from_km"): "From", ("StretchTable", "to_km"): "To",
    ("StretchTable", "wind_left_percent"): "Wind that reaches the road",
    ("StretchTable", "speed_cap_kmh"): "Speed limit",
    ("WindTable", "speed_kmh"): "Wind", ("WindTable", "from_deg"): "Wind comes from",
    ("ConditionsTable", "temperature_c"): "Temperature",
    ("ConditionsTable", "pressure_hpa"): "Air pressure",
    ("ConditionsTable", "wind_uncertainty_percent"): "Uncertainty of the wind speed",
    ("ConditionsTable", "wind_uncertainty_deg"): "Uncertainty of its direction",
    ("ConditionsTable", "wet"): "Wet road", ("ConditionsTable", "start_time"): "Start",
    ("ConditionsTable", "forecast"): "Forecast by the hour",
    ("BikeTable", "mass_kg"): "Bike, kit and bottles",
    ("BikeTable", "rolling_resistance"): "Rolling resistance (Crr)",
    ("BikeTable", "rolling_resistance_sd"): "Uncertainty of Crr",
    ("BikeTable", "mass_sd_kg"): "Uncertainty of all mass",
    ("BikeTable", "wheel_inertia_kgm2"): "Inertia of both wheels",
    ("BikeTable", "crosswind_limit_kmh"): "Cross wind limit",
    ("OptionsTable", "start"): "Start", ("OptionsTable", "start_speed_kmh"): "Speed at the start",
    ("OptionsTable", "blocks"): "Lines of the card, at most",
    ("OptionsTable", "power_rounding_w"): "Powers rounded to",
    ("OptionsTable", "empty_risk_percent"): "Accepted chance to run out",
    ("OptionsTable", "least_gain_s"): "A cheaper kit may be slower by",
    ("OptionsTable", "draws"): "Days drawn", ("OptionsTable", "step_m"): "Step",
    ("KitTable", "catalogue"): "Table of kit", ("KitTable", "evidence"): "Table of evidence",
    ("SeasonFile", "name"): "Name of the season",
    ("SeasonFile", "budget"): "Budget for kit, in all",
    ("SeasonFile", "catalogue"): "Table of kit", ("SeasonFile", "evidence"): "Table of evidence",
    ("SeasonFile", "least_gain_s"): "A purchase has to save",
    ("SeasonFile", "handover_days"): "To hand on a lent thing takes",
    ("SeasonFile", "resale_counts"): "Resale may be spent before",
    ("RiderEntry", "file"): "Rider's file", ("RiderEntry", "owns"): "Owns (items; between ;)",
    ("RaceEntry", "scenario"): "Scenario", ("RaceEntry", "date"): "Day",
    ("RaceEntry", "until"): "Last day", ("RaceEntry", "riders"): "Riders (empty: all; between ;)",
    ("StockEntry", "lent"): "Lent", ("StockEntry", "owned"): "The club has",
    ("StockEntry", "most"): "Can be bought, at most", ("StockEntry", "resale"): "Resale of one",
    ("MoneyEntry", "since"): "From",
    ("RiderTable", "name"): "Name", ("RiderTable", "mass_kg"): "Body mass",
    ("RiderTable", "critical_power_w"): "Critical power",
    ("RiderTable", "critical_power_sd_w"): "Uncertainty of critical power",
    ("RiderTable", "w_prime_kj"): "W', work above critical power",
    ("RiderTable", "w_prime_sd_kj"): "Uncertainty of W'",
    ("RiderTable", "max_power_w"): "Highest power wanted",
    ("RiderTable", "effort_exponent_sd"): "Uncertainty of the exponent",
    ("RiderTable", "pedalling_speed_kmh"): "Pedalling up to",
    ("RiderTable", "efforts_csv"): "Table of efforts",
    ("EffortTable", "minutes"): "Duration", ("EffortTable", "power_w"): "Mean power",
    ("PositionTable", "drag_area_m2"): "Drag area (CdA)",
    ("PositionTable", "drag_area_sd_m2"): "Uncertainty of CdA",
    ("PositionTable", "power_percent"): "Critical power in it",
    ("LongTable", "share_percent"): "Share of what could be held",
    ("LongTable", "run_target_min"): "Run to follow, hoped for",
    ("LongTable", "run_fresh_min"): "The same run, fresh",
}
_OTHER_UNITS = {("SeasonFile", "least_gain_s"): "s", ("SeasonFile", "handover_days"): "days",
                ("EffortTable", "minutes"): "min", ("MarkTable", "km"): "km",
                ("CornerTable", "km"): "km"}

_CHOICES = {("StretchTable", "surface"): tuple(SURFACES),
            ("StretchTable", "terrain"): tuple(TERRAINS)}


@dataclass(frozen=True)
class Described:
    """A key of a file, as a form shows it.

    Attributes
    ----------
    label, unit, help : words; unit and help may be empty
    kind : of its value
    low, high : limits, None where there is none; `above` and `below` leave them out
    default : what holds without the key; None where that is estimated or nothing
    required : whether the file needs the key
    choices : all that a "choice" may be
    source : where the default is from
    """

    key: str
    label: str
    unit: str
    help: str
    kind: Kind
    low: float | None
    high: float | None
    above: bool
    default: Any
    required: bool
    choices: tuple[str, ...]
    source: str

    @property
    def limits(self) -> str:
        """Limits in words; empty where there are none."""
        low = None if self.low is None else f"{'above' if self.above else 'from'} {self.low:g}"
        high = None if self.high is None else f"to {self.high:g}"
        return " ".join(part for part in (low, high, self.unit) if part) if low or high else ""


def fields_of(model: type[BaseModel]) -> tuple[Described, ...]:
    """Describe all keys of a table, in its order."""
    return tuple(described(model, key) for key in model.model_fields)


def described(model: type[BaseModel], key: str) -> Described:
    """Describe one key of a table."""
    at = (model.__name__.lstrip("_"), key)
    info = model.model_fields[key]
    parts = list(parts_of(info.annotation))
    inner = [part for part in parts if isinstance(part, FieldInfo)]
    unit = unit_of(key)
    limits = [limit for each in (info, *inner) for limit in each.metadata]
    known: Any = next((extra["from"] for each in (info, *inner) if isinstance(
        extra := each.json_schema_extra, dict) and "from" in extra), None)
    choices = _CHOICES.get(at) or tuple(
        str(value) for part in parts if typing.get_origin(part) is Literal
        for value in typing.get_args(part))
    low, high = _limit(limits, bounds.Ge, bounds.Gt), _limit(limits, bounds.Le, bounds.Lt)
    return Described(
        key=key, label=_LABELS.get(at) or _words(key.rpartition("_")[0] if unit else key),
        unit=_OTHER_UNITS.get(at) or unit,
        help=info.description or next((each.description for each in inner if each.description),
                                      ""),
        kind="choice" if choices else _kind(parts),
        low=low, high=high, above=any(isinstance(limit, bounds.Gt) for limit in limits),
        default=_default(info) if known is None else known.value, required=info.is_required(),
        choices=choices, source=known.source if known else "")


def column_label(name: str) -> str:
    """Say what a column of a table is, with its unit: "Mass change, g"."""
    unit, words = unit_of(name), name.rpartition("_")[0]
    return f"{_words(words)}, {unit}" if unit and words else _words(name)


def table_at(model: type[BaseModel], *path: str | int) -> type[BaseModel]:
    """Give the table that a path of keys leads to; numbers count entries of lists.

    Raises KeyError where it leads to none.
    """
    here = model
    skip = False
    for part in path:
        if isinstance(part, int) or skip:
            skip = False
            continue
        info = here.model_fields[part]
        tables = [kind for kind in parts_of(info.annotation)
                  if isinstance(kind, type) and issubclass(kind, BaseModel)]
        if not tables:
            raise KeyError(part)
        here = tables[0]
        skip = any(typing.get_origin(kind) is dict for kind in parts_of(info.annotation))
    return here


def _kind(parts: list[Any]) -> Kind:
    """Tell how a value is typed; where text and a list are allowed it is text."""
    plain = [part for part in parts if part is not types.NoneType]
    if any(isinstance(part, type) and issubclass(part, BaseModel) for part in plain):
        return "tables" if any(typing.get_origin(part) is list for part in plain) else "table"
    for kind, name in ((bool, "flag"), (datetime, "moment"), (date, "day"), (float, "number"),
                       (int, "whole")):
        if kind in plain:
            return typing.cast("Kind", name)
    union = typing.get_origin(plain[0]) in {typing.Union, types.UnionType}
    meant = typing.get_args(plain[0]) if union else plain[:1]
    only_list = all(typing.get_origin(part) is list for part in meant
                    if part is not types.NoneType)
    return "names" if only_list else "text"


def _limit(limits: list[Any], *kinds: type) -> float | None:
    for limit in limits:
        if isinstance(limit, kinds):
            return float(getattr(limit, type(limit).__name__.lower()))
    return None


def _default(info: FieldInfo) -> Any:
    value = None if info.is_required() else info.get_default()
    return None if isinstance(value, BaseModel | list | dict) else value


def _words(key: str) -> str:
    text = key.replace("_", " ")
    return text[:1].upper() + text[1:]
