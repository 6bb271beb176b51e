"""Other kit, weather and rider, tried in the page: the controls, the picture, what is said."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
from markupsafe import Markup

from optimizer.defaults import ZERO_CELSIUS
from optimizer.report.along import kilometre_axis, posts
from optimizer.report.cautions import hot_from
from optimizer.report.current import cost_of, current_kit
from optimizer.report.page import Chart, Table, asset
from optimizer.report.stated import stated
from optimizer.report.strip import power_rows
from optimizer.report.svg import Line, Row, plot
from optimizer.report.try_data import TEMPERATURES, try_data
from optimizer.report.weather import steady
from optimizer.report.wind_cautions import NEAR_GALE, strongest_wind

if TYPE_CHECKING:
    from optimizer.job import Result
    from optimizer.report.page import Part
    from optimizer.report.svg import Drawing, Look

__all__ = ["try_it", "try_it_data", "try_it_scripts"]

_HOW = ("Choose kit, weather or rider: the page plans the whole ride anew on this course and says "
        "what changes. Nothing leaves the page. Positions, and what is kept back to be safe, stay "
        "those of the plan.")
_FILES: Final = {"scenario": "scenario.toml", "rider": "rider.toml", "catalogue": "kit.csv"}
"""As `kitpace new` calls them, for a plan that was read from no files."""
_FURTHER: Final = 1.3  # times the highest power of the plan, up to where the picture reaches


def try_it(result: Result) -> list[Part]:
    """Give the section with the controls; its answers are filled in by the page."""
    bar = Markup('<div id="try-bar"><div id="try-says" aria-live="polite"><p>This needs scripts.'
                 '</p></div><p id="try-works" role="status"></p></div>')
    return [_HOW, bar, _form(result), _picture(result),
            Markup('<div id="try-splits"></div><div id="try-card"></div>'
                   '<p class="aside" id="try-check"></p>')]


def try_it_scripts() -> list[str]:
    """Texts of the scripts, in their order."""
    return [asset(name) for name in ("replan.js", "try_plan.js", "try_it.js")]


def try_it_data(result: Result) -> dict[str, Any]:
    """Give what the scripts work on, and what they say."""
    job = result.job
    marks = [(mark.name, mark.distance) for mark in job.course.marks
             if 0 < mark.distance < job.course.length]
    return {"planner": try_data(result), "currency": result.choice.currency,
            "budget": result.choice.budget, "owned": list(result.choice.owned.items),
            "best": list(result.choice.best.items),
            "marks": [*marks, ("Finish", job.course.length)],
            "files": {**_FILES, **dict(job.sources)}, "asked": dict(job.asked),
            "coldest": TEMPERATURES[0], "hot": hot_from(result.job.rider, TEMPERATURES),
            "nearGale": NEAR_GALE, "strongest": strongest_wind(result),
            "finish": stated(result).finish}


# --- controls ---------------------------------------------------------------------------------


def _form(result: Result) -> Markup:
    air, rider = result.job.conditions, result.job.rider
    mean = steady(result)
    east, north = float(mean.wind_east[0, 0]), float(mean.wind_north[0, 0])
    source = float(np.degrees(np.arctan2(-east, -north)) % 360.0)
    places = Markup("").join(_place(result, place) for place in result.job.catalogue.places)
    changing = ("; its mean over the ride, about which it changes as forecast"
                if len(air.wind_time) > 1 else "")
    cp, kilojoules = rider.critical_power, rider.w_prime / 1000.0
    highest = min(1.4 * cp, 0.98 * rider.max_power)
    return Markup(
        '<form id="try-form" class="try"><fieldset><legend>Kit</legend><div class="places">{kit}'
        '</div></fieldset><div class="beside"><fieldset><legend>Weather: wind at {height} m, as in '
        "a forecast{changing}; air at the start</legend>{wind}{air}</fieldset><fieldset>"
        "<legend>Rider, as tested</legend>{rider}</fieldset></div>"
        '<p class="tools"><button type="button" id="try-plan">As in the plan</button>'
        '<button type="button" id="try-owned"{kept}>With {current}</button></p></form>'
    ).format(
        current=current_kit(result.job.catalogue, result.choice.owned),
        kept=Markup("") if result.choice.kept is None else Markup(" hidden"),
        kit=places, height=f"{air.wind_height:.0f}", changing=changing,
        wind=Markup("").join([
            _slider("try-speed", "Speed", (0, 60, 0.5), 3.6 * float(np.hypot(east, north)),
                    "km/h"),
            _slider("try-from", "From", (0, 359, 1), source, "°")]),
        air=_slider("try-warm", "Temperature", (TEMPERATURES[0], TEMPERATURES[-1], 1),
                    air.temperature - ZERO_CELSIUS, "°C"),
        rider=Markup("").join([
            _slider("try-power", "Critical power", (round(0.6 * cp), round(highest), 1), cp, "W"),
            _slider("try-reserve", "Reserve (W′)", (round(0.4 * kilojoules), round(2 * kilojoules),
                                                   0.5), kilojoules, "kJ"),
            _slider("try-mass", "Mass", (round(0.7 * rider.mass), round(1.4 * rider.mass), 0.5),
                    rider.mass, "kg")]))


def _slider(ident: str, label: str, span: tuple[float, float, float], value: float,
            unit: str) -> Markup:
    """Slider with its label; `span` is low, high, step."""
    low, high, step = span
    near = min(max(low + round((value - low) / step) * step, low), high)
    return Markup('<p><label for="{i}">{label}</label> <input type="range" id="{i}" min="{low}" '
                  'max="{high}" step="{step}" value="{value}" data-unit="{unit}"> '
                  '<output id="{i}-says" for="{i}">{text} {unit}</output></p>').format(
        i=ident, label=label, low=f"{low:g}", high=f"{high:g}", step=f"{step:g}",
        value=f"{near:g}", text=f"{near:g}", unit=unit)


def _place(result: Result, place: str) -> Markup:
    """One place on bike or body with what can go there."""
    chosen = set(result.choice.best.items)
    options = Markup("").join(
        Markup('<option value="{}"{}>{}, {}</option>').format(
            k, Markup(" selected") if item.name in chosen else "", item.name, cost_of(item))
        for k, item in enumerate(result.job.catalogue.items) if item.place == place)
    return Markup('<label>{}<select data-place="{}"><option value="">as it stands</option>{}'
                  "</select></label>").format(place, place, options)


# --- the picture ------------------------------------------------------------------------------


def _picture(result: Result) -> Chart:
    """Draw the power of the plan; the page lays that of the try over it."""
    plan, course = result.plan, result.job.course
    high = _FURTHER * float(plan.power.max())
    rows = [Row("power, W", [Line(plan.distance / 1000.0, plan.power, "plan thin", "the plan",
                                  steps=True)], 110.0, low=0.0, high=high)]

    def draw(look: Look) -> Drawing:
        return plot(look, kilometre_axis(course), rows, posts=posts(course))

    return Chart("try-strip", "Where would you ride harder, where easier?", draw,
                 Table(("Stretch", "km", "the plan, W"), power_rows(result),
                       "Mean power of the plan; a try adds its own"),
                 "Full line: the plan. Dashed line, once you move a control: the try.",
                 kilometres=course.length / 1000.0)
