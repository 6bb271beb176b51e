"""What a plan is based on: every input, assumption, correction, version and seed; and cautions."""

from __future__ import annotations

import math
from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING

import numpy as np

from optimizer import __version__
from optimizer.conditions.grid import sample
from optimizer.defaults import NINE_IN_TEN, ZERO_CELSIUS
from optimizer.report.current import current_kit
from optimizer.report.page import Folded, Points, Table
from optimizer.report.stated import proven_with
from optimizer.report.uncertain import shown_half
from optimizer.report.weather import wind_met
from optimizer.report.words import ascent, at_most, compass, kilometres, money, seconds
from optimizer.rider.recovery import RECOVERY

if TYPE_CHECKING:
    from optimizer.job import Job, Result
    from optimizer.kit import Choice
    from optimizer.report.page import Part

__all__ = ["CAUTIONS", "READ", "rests_on"]

CAUTIONS = (
    ("Traffic law, marshals and the rules of the event come before any figure on this page; "
     "check the rules about kit with the organiser."),
    ("Speeds in corners and on descents are limits of a model that knows nothing of gravel, "
     "traffic, wet paint or your brakes. Ride by what you see."),
    ("Work on brakes, steering, cables and carbon parts belongs to a qualified mechanic, and "
     "every new position and part is tried in training before it is raced."),
    ("Deep wheels and aero bars take hands from the brakes and steer in gusts; leave them at "
     "home when the wind is more than you have practised in."),
    ("A hard effort, above all in heat, is not for everyone: ask a doctor if in doubt, drink, "
     "and stop when you feel unwell."),
)

_CHANGES = 0.5  # K on the way, from which the page says so

READ = "How your files were read"
"""Heading over all that was understood beyond the text of the files."""


def rests_on(result: Result) -> list[Part]:
    """Give the section on inputs and cautions."""
    job = result.job
    assumed = [*job.rider.assumed, *job.assumptions, *result.day.cautions]
    parts: list[Part] = ["Before you ride:", Points(CAUTIONS)]
    if assumed:
        parts += ["Assumed, because your files do not say:", Points(assumed)]
    if warnings := [*job.rider.warnings, *job.course.warnings, *result.plan.notes]:
        parts += ["Warnings about the data and the computation:", Points(warnings)]
    parts += [
        Folded("The rider", [_rider(result)]),
        Folded("Course and corrections", _course(job)),
        Folded("Air and wind", [_conditions(result)]),
        Folded("Bike and kit", [_kit(result)]),
        *([Folded(READ, [Points(job.notes)])] if job.notes else []),
        Folded("How it was computed", [_computation(result), _sources(job)]),
    ]
    return parts


def _pm(value: float, sd: float, digits: int, unit: str) -> str:
    uncertainty = f" ± {NINE_IN_TEN * sd:.{digits}f}" if sd > 0 else ""
    return f"{value:.{digits}f}{uncertainty} {unit}"


def _rider(result: Result) -> Table:
    rider = result.day.expected
    rows = [("Mass with clothes and drink", f"{rider.mass:.1f} kg"),
            ("Critical power (CP)", _pm(rider.critical_power, rider.critical_power_sd, 0, "W")),
            *_power_on_the_way(result),
            ("Work capacity above CP (W′)",
             _pm(rider.w_prime / 1000, rider.w_prime_sd / 1000, 1, "kJ")),
            ("Highest power asked for", f"{rider.max_power:.0f} W"),
            ("Reserve", RECOVERY[rider.recovery].format(share=rider.recovery_share)),
            ("Least reserve anywhere", f"{rider.reserve_floor / 1000:.1f} kJ")]
    if result.realism is not None:
        rows.append(("Effort limit for this duration: power-mean at most",
                     (f"{result.realism.limit:.0f} W in the positions ridden, with exponent "
                     f"{rider.effort_exponent:g}")))
    rows.append(("Pedals up to", f"{3.6 * rider.pedalling_speed:.0f} km/h"))
    if result.day.kept < 1.0:
        rows.append(("Kept back for the accepted risk to run out",
                     f"{100 * (1 - result.day.kept):.1f} % of CP and W′"))
    rows += [(f"Drag area CdA, {position.name}",
              _pm(position.drag_area, rider.drag_area_sd, 3, "m²")
              + ("" if position.power_share == 1 else
                 f"; {100 * position.power_share:.0f} % of CP in it"))
             for position in rider.positions]
    return Table(("What", "Value"), rows, f"{rider.name}; ± is half of the 90 % range")


def _power_on_the_way(result: Result) -> list[tuple[str, str]]:
    """Say what height and heat leave of CP where the rider is, by place and hour."""
    plan, day = result.plan, result.day
    if day.left is None:
        return []
    p = plan.problem
    share = np.array([position.power_share for position in day.rider.positions])
    power = p.critical_power / share[p.position] / day.kept
    least = int(np.argmin(power))
    return [("CP on the way, by height and by the heat of the hour",
             (f"{power[0]:.0f} W at the start, least {power[least]:.0f} W at km "
              f"{plan.distance[least] / 1000:.0f}, {power[-1]:.0f} W at the finish; "
              f"tested {result.job.rider.critical_power:.0f} W"))]


def _warmth(result: Result) -> str:
    """Temperature at the start, and between which it lies where and when the plan rides."""
    air, plan = result.job.conditions, result.plan
    there = air.temperature + sample(air, air.temperature_change, plan.distance, plan.time)
    start = f"{air.temperature - ZERO_CELSIUS:.0f} °C"
    if np.ptp(there) < _CHANGES:
        return start
    return (f"{start} at the start, {there.min() - ZERO_CELSIUS:.0f} to "
            f"{there.max() - ZERO_CELSIUS:.0f} °C on the way")


def _course(job: Job) -> list[Part]:
    course = job.course
    rows = [("Length", kilometres(course.length, 2)), ("Ascent", ascent(course.ascent)),
            *([("Uncertainty of the smoothed elevation, by its noise",
                shown_half(course.elevation_sd, "m"))] if course.elevation_sd else []),
            ("Corners that may limit speed", str(len(course.corners)))]
    parts: list[Part] = [Table(("What", "Value"), rows, course.name)]
    if course.corrections:
        parts.append(Table(("Corrected", "How often", "Effect"), [
            (c.what, c.count, c.effect) for c in course.corrections],
            "Errors in the track that were corrected"))
    return parts


def _conditions(result: Result) -> Table:
    air = result.job.conditions
    east, north = wind_met(result)
    speed = 3.6 * np.hypot(east, north)
    source = compass(float(east.mean()), float(north.mean()))
    wind = (f"{speed.min():.0f} to {speed.max():.0f} km/h, mostly from {source}"
            if np.ptp(speed) > 0.5 else f"{speed.mean():.0f} km/h from {source}")
    rows = [("Temperature", _warmth(result)),
            ("Pressure at the place", f"{air.pressure / 100:.0f} hPa"),
            ("Relative humidity", f"{100 * air.humidity:.0f} %"),
            (f"Wind at {air.wind_height:.0f} m, where and when the plan rides",
             wind if speed.max() > 0.5 else "none"),
            ("The wind may differ from that by (90 % range)",
             (f"± {100 * NINE_IN_TEN * air.speed_sd:.0f} % of its speed, "
              f"± {math.degrees(NINE_IN_TEN * air.direction_sd):.0f}°")),
            ("Road", "wet" if air.wet else "dry"),
            ("Start", air.start_time.isoformat(sep=" ", timespec="minutes")
             if air.start_time else "not stated")]
    return Table(("What", "Value"), rows, "As forecast")


def _kit(result: Result) -> Table:
    owned, best = result.choice.owned.setup, result.choice.best.setup
    current = current_kit(result.job.catalogue, result.choice.owned, "")
    rows = [("Mass of bike and kit", f"{owned.mass:.2f} kg", f"{best.mass:.2f} kg"),
            ("Crr of the tyres on smooth asphalt", f"{owned.rolling_resistance:.4f}",
             f"{best.rolling_resistance:.4f}"),
            ("Change of CdA at no yaw, m²", _signed(owned.drag_area_change[0]),
             _signed(best.drag_area_change[0])),
            ("Drivetrain efficiency", f"{owned.drivetrain_efficiency:.3f}",
             f"{best.drivetrain_efficiency:.3f}"),
            ("Wheel inertia, kg m²", f"{owned.wheel_inertia:.3f}", f"{best.wheel_inertia:.3f}"),
            ("Bearing friction", *(f"{s.bearing[0]:.3f} N + {s.bearing[1]:.4f} N s/m"
                                   for s in (owned, best)))]
    return Table(("What", current.strip().capitalize(), "Best kit"), rows,
                 "Bike and kit in the computation")


def _signed(value: float) -> str:
    return "0" if value == 0 else f"{value:+.4f}".replace("-", "−")


def _cheapest(choice: Choice) -> str:
    """Say what kit is chosen, where it need not be the fastest."""
    if choice.least_gain <= 0.0 or choice.kept is not None:
        return ""
    return (f"; it is the cheapest that is at most {seconds(choice.least_gain)} slower than the "
            "fastest one")


def _computation(result: Result) -> Table:
    plan, options, choice = result.plan, result.job.options, result.choice
    step = plan.problem.step
    grid = ("what shorter steps would change was not measured"
            if math.isnan(plan.continuous_time) else
            f"with ever shorter steps the ride would be {seconds(plan.grid_error)} "
            f"{'faster' if plan.continuous_time < plan.finish_time else 'slower'}")
    rows = [("Steps", (f"{plan.problem.steps:,} of {step.min():.0f} to {step.max():.0f} m; "
                       f"{grid}")),
            ("Proof of the ideal ride", (
                f"on these steps{proven_with(plan, result.job.rider)} no ride is faster by more "
                f"than {at_most(plan.gap)}")),
            ("The same by a second method (a linear program)", (
                "not computed" if math.isnan(plan.linear_bound) else
                "by more than " + at_most(plan.finish_time - plan.linear_bound))),
            ("Is the convex program the problem itself (relaxation)?",
             "yes, exactly" if plan.lossless else
             "no: the ride was improved from its solution"),
            ("Proof of the kit", (
                f"in this model, no kit within {money(choice.budget, choice.currency)} is faster "
                f"by more than {at_most(choice.open_to(choice.best))}{_cheapest(choice)}")),
            ("Start speed", f"{3.6 * options.start_speed:.0f} km/h"),
            ("Lines of the card at most", str(options.blocks)),
            ("Powers rounded to", "about 1 % of critical power" if options.power_rounding is None
             else f"{options.power_rounding:g} W"),
            ("Accepted chance to run out", "none stated: planned for the expected day"
             if options.empty_risk is None else f"{100 * options.empty_risk:.0f} %"),
            ("Draws, seed", f"{options.draws}, {options.seed}"),
            ("How the drawn days are ridden",
             ("for the ranges by feel: watts in proportion to what the day allows; for the chance "
              "to run out: the watts as printed")),
            ("Rules that were checked",
             "; ".join(result.job.rules) or "none: check the rules of the event"),
            ("kitpace", __version__),
            *((name, _version(name)) for name in ("numpy", "scipy", "highspy"))]
    return Table(("What", "Value"), rows, "The same input gives the same page")


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "not installed"


def _sources(job: Job) -> Part:
    if not job.sources:
        return ""
    return Table(("File", "What it was"), job.sources, "Files read")
