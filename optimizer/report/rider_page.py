"""The rider: what can be held, for how long, how sure, in which position, and what is assumed."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from markupsafe import Markup

from optimizer.defaults import DRIVETRAIN_EFFICIENCY, NINE_IN_TEN, ZERO_CELSIUS
from optimizer.report.page import Chart, Folded, Points, Section, Table, render
from optimizer.report.rests_on import READ
from optimizer.report.svg import Axis, Band, Dots, Line, Row, plot
from optimizer.report.words import listing
from optimizer.rider.effort import allowance, capacity
from optimizer.rider.environment import altitude_share, environment_cautions, heat_share
from optimizer.rider.power_duration import HALF_HOUR, MODELS
from optimizer.rider.reserve import RECOVERY_MODELS, reserve_balance

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimizer.report.page import Part
    from optimizer.report.svg import Drawing, Look
    from optimizer.rider import Rider
    from optimizer.rider.fit import Ability
    from optimizer.rider.power_duration import PowerCurve

__all__ = ["curve_parts", "duration_words", "fit_rows", "model_rows", "rider_page", "sentences"]

_TICKS: Final = {60: "1 min", 180: "3 min", 300: "5 min", 600: "10 min", 1200: "20 min",
                 1800: "30 min", 3600: "1 h", 7200: "2 h", 18000: "5 h"}
_HOURS: Final = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0)
_AIR = 1.2  # kg/m³, for a rule of thumb
_CAUTION = ("These figures say what was shown or stated, not what is healthy today. Efforts to "
            "exhaustion are for healthy riders; ask a doctor when in doubt, and stop when unwell.")


def rider_page(rider: Rider | None, ability: Ability | None) -> str:
    """Page of a rider, of the fit behind it, or of both."""
    sections = []
    if ability is not None:
        sections.append(Section("fit", "The fit, and how sure it is",
                                [*_doubtful(ability), *_fit(ability)]))
    if rider is not None:
        sections.append(Section("hours", "Rides of hours", _hours(rider)))
        sections.append(Section("positions", "Positions", _positions(rider)))
        sections.append(Section("reserve", "How the reserve refills", _reserve(rider)))
        sections.append(Section("day", "Altitude and heat", _day(rider)))
        sections.append(Section("assumed", "What is assumed", [Points(rider.assumed) if
                                rider.assumed else "Nothing: everything was stated or fitted."]))
    if ability is not None and ability.notes:
        sections.append(Section("read", READ, [Points(ability.notes)]))
    name = rider.name if rider is not None else "Best efforts"
    opening = _curve(ability) if ability is not None else _held(rider) if rider is not None else ""
    return render(name, [Markup("{}").format(line) for line in sentences(rider, ability)],
                  sections, opening=opening, kicker="What the rider can do", foot=[_CAUTION])


# --- words, for the terminal as well --------------------------------------------------------


def sentences(rider: Rider | None, ability: Ability | None) -> list[str]:
    """Say in a few sentences what the rider can do, and how sure that is."""
    cp, cp_sd, w_prime, w_sd = _numbers(rider, ability)
    name = f"{rider.name}: " if rider is not None else ""
    out = [(f"{name}{_capital('critical power', not name)} {_range(cp, cp_sd, 'W')}; W', the "
            f"work that can be done above it, {_range(w_prime / 1e3, w_sd / 1e3, 'kJ')}.")]
    if ability is not None:
        held = [f"{float(ability.curve.power(t)):.0f} W for {duration_words(t)}"
                for t in (300.0, 1200.0, 3600.0)]
        span = ability.efforts.duration
        efforts = (f"one effort of {duration_words(span[0])}" if len(span) == 1 else
                   f"{_count(len(span))} from {duration_words(span[0])} to "
                   f"{duration_words(span[-1])}")
        out.append(f"The curve says {listing(held)}; it is fitted to {efforts}"
                   f"{_left_out_words(ability)}.")
    if rider is not None and _spares(rider):
        left = ("leaves the run its share of the endurance" if rider.time_share < 1.0
                else f"spends {100 * rider.effort_share:.0f} % of what could be held")
        out.append(f"The plan {left}.")
    if rider is not None and rider.assumed:
        count = len(rider.assumed)
        out.append("One figure is assumed; it is listed with its source." if count == 1 else
                   f"{count} figures are assumed; they are listed with their sources.")
    return out


def _left_out_words(ability: Ability) -> str:
    """Name the one effort that was left out; of several the page tells."""
    left = ability.left_out
    if len(left) > 1:
        return f"; {len(left)} efforts were left out, as the page lists"
    return f"; left out: {left[0].replace(': ', ', ', 1)}" if left else ""


def _numbers(rider: Rider | None, ability: Ability | None) -> tuple[float, float, float, float]:
    if rider is not None:
        return (rider.critical_power, rider.critical_power_sd, rider.w_prime, rider.w_prime_sd)
    assert ability is not None  # noqa: S101 - one of the two is always there
    return (ability.curve.critical_power, float(ability.standard_error[0]),
            ability.curve.w_prime, float(ability.standard_error[1]))


def _capital(words: str, first: bool) -> str:
    return words.capitalize() if first else words


def _range(value: float, sd: float, unit: str) -> str:
    """Give a value with its 90 % range, to digits that mean something."""
    digits = 0 if unit == "W" or sd > 1.0 else 1
    if sd <= 0.0:
        return f"{value:.{digits}f} {unit}"
    low, high = max(value - NINE_IN_TEN * sd, 0.0), value + NINE_IN_TEN * sd
    return (f"{value:.{digits}f} {unit} (90 % range {low:.{digits}f} to "
            f"{high:.{digits}f} {unit})")


def _count(n: int) -> str:
    return "one effort" if n == 1 else f"{n} efforts"


def _spares(rider: Rider) -> bool:
    return rider.effort_share < 1.0 or rider.time_share < 1.0


def duration_words(duration: float) -> str:
    """Duration as a rider says it: 45 s, 20 min, 2.5 h."""
    if duration < 120.0:
        return f"{duration:.0f} s"
    return f"{duration / 60:.3g} min" if duration < 7200.0 else f"{duration / 3600:.3g} h"


# --- tables ---------------------------------------------------------------------------------


def fit_rows(ability: Ability) -> list[tuple[str, str, str, str, str]]:
    """Quantity, value, half of its 90 % range, that range by the fit and by the bootstrap."""
    curve = ability.curve
    by_fit = curve.interval(0.9)
    shown = [(0, "Critical power, W", 1.0, 0), (1, "W', kJ", 1e-3, 1)]
    if math.isfinite(curve.max_power):
        shown.append((2, "Maximal power, W", 1.0, 0))
    if curve.endurance_loss > 0.0:
        shown.append((3, "Loss per doubling of time, % of CP", 100.0 * math.log(2.0), 1))
    rows = []
    for k, name, scale, digits in shown:
        low, high = np.percentile(ability.draws[:, k], [5.0, 95.0])
        error = NINE_IN_TEN * scale * ability.standard_error[k]
        rows.append((name, _figure(scale * curve.parameters[k], digits),
                     _figure(error, digits), _limits(scale * by_fit[k], digits),
                     _limits(scale * np.array([low, high]), digits)))
    return rows


def _figure(value: float, digits: int) -> str:
    return f"{value:.{digits}f}" if math.isfinite(value) else "–"


def _limits(limits: Any, digits: int) -> str:
    low, high = float(limits[0]), float(limits[1])
    if not (math.isfinite(low) and math.isfinite(high)) or high - low < 1e-9:
        return "–"
    return f"{low:.{digits}f} to {high:.{digits}f}"


def model_rows(ability: Ability) -> list[tuple[str, ...]]:
    """Every model that could be fitted, the one that counts first: CP, W', scatter, criterion."""
    curves = (ability.curve, *sorted(ability.others, key=_criterion))
    finite = [c.aicc for c in curves if math.isfinite(c.aicc)]
    least = min(finite, default=0.0)
    return [(f"{curve.model}{' (used)' if k == 0 else ''}", f"{curve.critical_power:.0f}",
             f"{curve.w_prime / 1e3:.1f}", _scatter(curve),
             f"{curve.aicc - least:.1f}" if math.isfinite(curve.aicc) else "–")
            for k, curve in enumerate(curves)]


def _criterion(curve: PowerCurve) -> tuple[bool, float]:
    return not math.isfinite(curve.aicc), curve.aicc if math.isfinite(curve.aicc) else 0.0


def _scatter(curve: PowerCurve) -> str:
    if curve.degrees_of_freedom < 1:
        return "–"
    return f"{math.sqrt(float(np.sum(curve.residual**2)) / curve.degrees_of_freedom):.1f}"


# --- sections -------------------------------------------------------------------------------


def curve_parts(ability: Ability) -> list[Part]:
    """Give the power-duration curve with its efforts and its warnings."""
    return [_curve(ability), *_doubtful(ability)]


def _doubtful(ability: Ability) -> list[Part]:
    return [Points(ability.warnings)] if ability.warnings else []


def _curve(ability: Ability) -> Chart:
    """Power against duration, with the efforts and the range of the fit."""
    shortest = min(60.0, float(ability.efforts.duration[0]))
    t = np.geomspace(max(shortest, 5.0), 18_000.0, 120)
    low, high = ability.band(t, 0.9)
    at = np.array([60.0, 180.0, 300.0, 600.0, 1200.0, 1800.0, 3600.0, 7200.0, 18_000.0])
    at_low, at_high = ability.band(at, 0.9)
    rows = [(duration_words(x), f"{p:.0f}", f"{a:.0f} to {b:.0f}", _reach(ability, float(x)))
            for x, p, a, b in zip(at, ability.curve.power(at), at_low, at_high, strict=True)]
    table = Table(("Duration", "Power, W", "90 % range, W", "efforts"), rows,
                  "Mean power that can be held")
    efforts = ability.efforts

    def draw(look: Look) -> Drawing:
        return plot(look, Axis(float(t[0]), float(t[-1]), "duration", tuple(
            (float(x), words) for x, words in _TICKS.items() if t[0] <= x <= t[-1]), log=True), [
            Row("mean power, W", [
                Band(t, low, high, "plan"), Line(t, ability.curve.power(t), "plan heavy"),
                Dots(efforts.duration, efforts.power, "ink", size=4.0,
                     keys=[duration_words(x) for x in efforts.duration])],
                210.0, zero=True, low=0.0)])
    hour = float(ability.curve.power(3600.0))
    return Chart(
        "power-duration", "How much power for how long?", draw, table,
        f"{hour:.0f} W for an hour, {float(ability.curve.power(300.0)):.0f} W for 5 minutes.",
        note="Line: the fit. Band: its 90 % range, if the efforts were repeated. "
             "Dots: the efforts. Beyond the dots the curve is a guess, and the band may be too "
             "narrow.")


def _held(rider: Rider) -> Chart:
    """Power against duration of a rider whose critical power was stated, and the plan's limit."""
    t = np.geomspace(180.0, 18_000.0, 80)
    at = np.array([180.0, 300.0, 600.0, 1200.0, 1800.0, 3600.0, 7200.0, 18_000.0])

    def held(time: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.minimum(capacity(rider, time), rider.max_power)

    def limit(time: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.minimum((allowance(rider, time) / time) ** (1.0 / rider.effort_exponent)
                          * rider.critical_power, rider.max_power)

    # Errors of critical power, of W' and of the loss with time, each for itself.
    late = np.maximum(np.log(t / HALF_HOUR), 0.0)
    sd = np.hypot(np.hypot((1.0 - rider.endurance_loss * late) * rider.critical_power_sd,
                           rider.w_prime_sd / t),
                  rider.critical_power * late * rider.endurance_loss_sd)
    lines: list[Band | Line] = [
        Band(t, held(t) - NINE_IN_TEN * sd, held(t) + NINE_IN_TEN * sd, "plan"),
        Line(t, held(t), "plan heavy", "could hold" if _spares(rider) else "")]
    if _spares(rider):
        lines.append(Line(t, limit(t), "other dash", "plan's limit"))
    hour, five = (float(held(np.array([x]))[0]) for x in (3600.0, 300.0))
    return Chart(
        "power-duration", "How much power for how long?", lambda look: plot(
            look, Axis(float(t[0]), float(t[-1]), "duration", tuple(
                (float(x), words) for x, words in _TICKS.items() if t[0] <= x <= t[-1]), log=True),
            [Row("mean power, W", lines, 210.0, zero=True, low=0.0)], ends=_spares(rider)),
        Table(("Duration", "Could hold, W", "Plan's limit, W"),
              [(duration_words(x), f"{p:.0f}", f"{q:.0f}")
               for x, p, q in zip(at, held(at), limit(at), strict=True)],
              "Mean power that can be held"),
        f"{hour:.0f} W for an hour, {five:.0f} W for 5 minutes.",
        note="Line: from the stated critical power and W', and the loss with time; no effort was "
             "given to fit it to. Band: its 90 % range.")


def _reach(ability: Ability, duration: float) -> str:
    t = ability.efforts.duration
    if duration < t[0] / 1.5:
        return "shorter than any effort"
    return "longer than any effort" if duration > 1.5 * t[-1] else ""


def _fit(ability: Ability) -> list[Part]:
    efforts, curve = ability.efforts, ability.curve
    fitted = curve.power(efforts.duration)
    source = efforts.source or ("",) * len(efforts)
    single = len(efforts) == 1
    parts: list[Part] = [
        Table(("Quantity", "Value", "±"), [row[:3] for row in fit_rows(ability)],
              f'Model "{curve.model}": {MODELS[curve.model]}', left=(0,)),
        ("± is half of the 90 % range: from the fit itself, or from an error of 3 % in each "
         "effort, as efforts vary from day to day, whichever is larger. An assumed loss over "
         "hours adds its own uncertainty."),
        Folded("The scatter of these efforts only", [
            Table(("Quantity", "by the fit", "by bootstrap"),
                  [(row[0], *row[3:]) for row in fit_rows(ability)],
                  "90 % ranges if efforts varied only as these do about the curve: too narrow "
                  "where there are few", left=(0,))]),
        Table(("Duration", "Effort, W", "Fit, W", "Difference, W", "From"),
              [(duration_words(t), f"{p:.0f}", f"{f:.0f}", f"{p - f:+.1f}".replace("-", "−"), s)
               for t, p, f, s in zip(efforts.duration, efforts.power, fitted, source,
                                     strict=True)], "Efforts", left=(0, 4)),
    ]
    if ability.left_out:
        parts.append(Folded("Efforts left out", [Points(ability.left_out)]))
    if not single:
        models = model_rows(ability)
        told = any(row[-1] != "–" for row in models)  # there are efforts enough for the criterion
        parts += [
            Table(("Model", "CP, W", "W', kJ", "Scatter, W", "AICc")[:5 if told else 4],
                  [row[:5 if told else 4] for row in models],
                  "All models that these efforts allow"),
            (("AICc is Akaike's information measure for few data (Hurvich and Tsai 1989), above "
             "the least; a difference under 2 decides nothing. " if told else "")
             + 'The two-parameter forms "work" and '
            '"time" are the same hyperbola with other weights: "inverse-time" trusts every effort '
            'to the same watts, "work" to the same joules, "time" to the same seconds of '
            "endurance, so that the longest effort rules. Name a model in power_model, or with "
            "--model, to overrule the choice.")]
    return parts


def _hours(rider: Rider) -> list[Part]:
    time = 3600.0 * np.array(_HOURS)
    whole = capacity(rider, time) / rider.critical_power
    limit = (allowance(rider, time) / time) ** (1.0 / rider.effort_exponent)
    rows = [(f"{h:g} h", f"{p * rider.critical_power:.0f}", f"{100 * p:.0f} %",
             f"{q * rider.critical_power:.0f}", f"{100 * q:.0f} %")
            for h, p, q in zip(_HOURS, whole, limit, strict=True)]
    per_doubling = 100.0 * math.log(2.0)
    lost = per_doubling * rider.endurance_loss
    loss = (f"Beyond half an hour the power that you can hold falls by {lost:.1f} ± "
            f"{per_doubling * NINE_IN_TEN * rider.endurance_loss_sd:.1f} % of critical power with "
            "each doubling of the time. The plan keeps the mean of its power, taken with the "
            f"exponent {rider.effort_exponent:g}, under the limit, and asks for at most "
            f"{rider.max_power:.0f} W at any time.")
    parts: list[Part] = [
        loss, Table(("Ride", "Could hold, W", "of CP", "Plan's limit, W", "of CP"), rows,
                    "What can be held for hours, and what the plan may spend")]
    if rider.time_share < 1.0:
        parts.append(
            f"The ride may use {100 * rider.time_share:.0f} % of the endurance, so that the run "
            "comes out at its target. That endurance adds up like wear is an assumption of ours, "
            "not a published law; try it in training.")
    return parts


def _positions(rider: Rider) -> list[Part]:
    first = rider.positions[0]
    rows = []
    for position in rider.positions:
        longest = ("as long as you like" if math.isinf(position.longest)
                   else duration_words(position.longest))
        rows.append((position.name, f"{position.drag_area:.3f}",
                     f"{100 * position.power_share:.0f} %",
                     f"{rider.max_power * position.max_power_share:.0f}", longest,
                     _pays_below(rider, position.drag_area, position.power_share)))
    table = Table(("Position", "CdA, m²", "of CP", "at most, W", "Longest spell", "Pays below"),
                  rows, "Positions, the one for the flat first", left=(0, 4, 5))
    return [table, (
        f'"Pays below" is the speed on a steady climb under which that position beats '
        f"{first.name}: there its power is worth more than its drag costs, in still air of "
        f"{_AIR} kg/m³. The plan finds the places itself. Keep the hands at the brakes on "
        "descents and in corners, and a position your event forbids out of the file.")]


def _pays_below(rider: Rider, area: float, share: float) -> str:
    """Speed at which what a position gives in CP equals what it costs in drag."""
    first = rider.positions[0]
    more_drag, more_power = area - first.drag_area, share - first.power_share
    if more_drag <= 0.0 or more_power <= 0.0:
        return "–"
    power = DRIVETRAIN_EFFICIENCY.si * more_power * rider.critical_power
    return f"{3.6 * (2 * power / (_AIR * more_drag)) ** (1 / 3):.0f} km/h"


def _reserve(rider: Rider) -> list[Part]:
    cp, w_prime = rider.critical_power, rider.w_prime
    spent = np.array([1.0])  # a second that empties the reserve
    rows = []
    for model, words in RECOVERY_MODELS.items():
        back = []
        for rest in (60.0, 180.0, 600.0):
            after = reserve_balance(
                np.append(spent, rest), np.array([cp + w_prime, 0.7 * cp]), cp, w_prime, model,
                rider.recovery_share if rider.recovery == "partial" else 0.5)
            back.append(f"{100 * float(after[-1] - after[1]) / w_prime:.0f} %")
        rows.append((model, words, *back))
    return [
        (f'The plan uses "{rider.recovery}". How much comes back after the reserve was emptied, '
        "riding at 70 % of critical power, by each published model. They disagree, and none "
        "predicts exhaustion well for everybody; the cautious ones refill least."),
        Table(("Model", "what it says", "1 min", "3 min", "10 min"), rows,
              "Share of W' that has come back", left=(0, 1))]


def _day(rider: Rider) -> list[Part]:
    heights = (500.0, 1000.0, 1500.0, 2000.0, 2500.0)
    heat = (20.0, 25.0, 30.0, 35.0)
    chosen = [f'altitude "{rider.altitude_response}"', f'heat "{rider.heat_response}"']
    parts: list[Part] = [
        (f"In use: {listing(chosen)}; critical power was found at "
        f"{rider.tested_elevation:.0f} m and {rider.tested_temperature - ZERO_CELSIUS:.0f} °C.")]
    parts += [f"{line.capitalize()}." for line in environment_cautions(rider)]
    parts.append(Folded("What the relations say", [
        ("Height: acclimatised and unacclimatised as Bassett et al. (1999) put four studies "
         "together, linear after Wehrlin and Hallén (2006). Heat: unacclimatised after Tatterson "
         "et al. (2000), acclimatised after Racinais et al. (2015). Means of groups; coefficients "
         "from memory of the papers."),
        Table(("Altitude", *(f"{h:.0f} m" for h in heights)), _shares(
            ("acclimatised", "unacclimatised", "linear"), heights, altitude_share),
            "Part of critical power that is left"),
        Table(("Heat", *(f"{c:.0f} °C" for c in heat)), _shares(
            ("acclimatised", "unacclimatised"), tuple(ZERO_CELSIUS + c for c in heat), heat_share),
            "Part of critical power that is left")]))
    return parts


def _shares(names: Sequence[str], at: Sequence[float], relation: Any) -> list[tuple[str, ...]]:
    return [(name, *(f"{100 * float(relation(x, name)):.1f} %" for x in at)) for name in names]
