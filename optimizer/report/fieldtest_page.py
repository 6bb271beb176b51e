"""A field test on a page: CdA and Crr, how sure they are, what was left out and assumed."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from optimizer.defaults import GRAVITY, NINE_IN_TEN
from optimizer.report.page import Chart, Points, Section, Table, render
from optimizer.report.svg import Axis, Dots, Line, Mark, Outline, Row, forest, plot
from optimizer.report.words import compass, kilometres, seconds
from optimizer.ride.field_test import draft_words
from optimizer.ride.places import map_over_wheel
from optimizer.ride.stated import rolling_alone, wind_disagrees, wind_stated

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimizer.report.page import Part
    from optimizer.report.svg import Drawing, Look
    from optimizer.ride.comparison import Comparison
    from optimizer.ride.field_test import FieldTest
    from optimizer.ride.ride import Ride

__all__ = ["assumed", "comparison_sentences", "drag_rows", "evidence_row", "fieldtest_page",
           "impossible_sentences", "left_out_rows", "sentences", "uncertainty_rows"]

_CAUTION: Final = (
    "Test where the traffic allows it, keep hands at the brakes and eyes on the road, not on the "
    "head unit; the law and your own judgement come first. Have parts that you change for a test "
    "fitted as their maker says, or by a qualified mechanic.")
_WATTS_AT: Final = 40.0  # km/h
_TIED: Final = -0.7  # correlation of CdA and Crr beyond which they cannot be told apart well
_SLIGHT: Final = 2.0  # m/s between two winds that is worth no word
_IN_TURN: Final = 0.5  # correlation of the setup with the order of the runs that mixes the two
_MAP_APART: Final = 0.002  # of the way; less than this is the positions' own error
_HALF: Final = NINE_IN_TEN  # standard errors in half of a 90 % range
_ELLIPSE: Final = 2.146  # standard deviations that hold 90 % in two dimensions


def fieldtest_page(test: FieldTest, comparisons: Sequence[Comparison] = ()) -> str:
    """Page of a field test, with the comparisons of its setups."""
    sections = []
    if comparisons:
        sections.append(Section("compared", "The setups compared", _compared(comparisons)))
    sections += [
        Section("drag", "What the rides say", _drag(test)),
        Section("uncertainty", "Where the uncertainty comes from", _uncertainty(test)),
        Section("left-out", "What was left out", _left_out(test)),
        Section("assumed", "What is assumed", [Points(assumed(test))]),
        Section("evidence", "As a row of the evidence table",
                [_evidence(test, comparisons)])]
    lead = [*(line for c in comparisons for line in comparison_sentences(c)), *sentences(test)]
    return render("Field test", lead, sections, kicker=_names(test), foot=[_CAUTION])


def _names(test: FieldTest) -> str:
    n = len(test.spec.rides)
    return f"{n} ride{'s' if n > 1 else ''}, {_length(test)}"


def _length(test: FieldTest) -> str:
    return kilometres(sum(ride.length for ride in test.spec.rides))


# --- words, for the terminal as well --------------------------------------------------------


def sentences(test: FieldTest) -> list[str]:
    """Say what came out, and how sure it is."""
    if test.contradicts:
        out = impossible_sentences(test)
        return [*out, *_wind_sentences(test)]
    out = []
    for name, mean, low, high in zip(test.names, test.drag_area, test.drag_area_low,
                                     test.drag_area_high, strict=True):
        who = "" if len(test.names) == 1 else f"{name}: "
        out.append(f"{who}CdA {_area(mean, high - low)} m², 90 % range {_area(low, high - low)} to "
                   f"{_area(high, high - low)}.")
    out.append(f"Crr {test.rolling_resistance:.4f}, 90 % range {test.rolling_resistance_low:.4f} "
               f"to {test.rolling_resistance_high:.4f}.")
    if test.correlation < _TIED:
        given = [(crr, *test.drag_area_given(crr)) for crr in (0.004, 0.006)]
        said = " and ".join(f"{mean:.3f} ± {_HALF * sd:.3f} m² at Crr {crr:.3f}"
                            for crr, mean, sd in given)
        out.append(f"These rides do not separate CdA from Crr well: CdA would be {said}.")
    return [*out, *_rolling_sentences(test), *_wind_sentences(test)]


def _rolling_sentences(test: FieldTest) -> list[str]:
    """Say where the rides alone ask for another Crr than was stated."""
    alone = rolling_alone(test)
    if not alone.disagrees:
        return []
    stated, sd = test.spec.bike.rolling_resistance, test.spec.assumptions.rolling_resistance_sd
    area, area_sd = test.drag_area_given(alone.rolling)
    reason = ("The road was rougher or the mass larger than stated" if alone.rolling > stated else
              "The tyres roll better or the mass is less than stated")
    return [(f"The rides alone ask for a Crr of {alone.rolling:.4f} ± "
             f"{_HALF * alone.rolling_sd:.4f}, which does not fit {stated:.4f} ± "
             f"{_HALF * sd:.4f}, {test.spec.rolling_from}. {reason}, or power meter or wind are "
             "off; until that is clear, take the ranges of CdA and Crr as too narrow. With the "
             f"Crr of the rides, CdA would be {area:.3f} ± {_HALF * area_sd:.3f} m².")]


def _wind_sentences(test: FieldTest) -> list[str]:
    """Say what the wind was, and how much was left out."""
    out = []
    speed = math.hypot(*test.wind)
    if test.spec.rides[0].has_position:
        direction = f" from the {compass(*test.wind)}" if speed > 0.5 else ""
        out.append(f"The wind at the rider was {3.6 * speed:.0f} km/h{direction}, by the rides' "
                   f"own evidence and what was known before{_stated_beside(test)}.")
        if wind_disagrees(test):
            out.append("That is not the wind that was stated, by more than its uncertainty: check "
                       "where it came from, how strong it was, and the hour.")
        elif _no_better_than_calm(test):
            out.append("The wind that was stated fits the rides no better than no wind would: "
                       "check where it came from, how strong it was, and the hour.")
    if test.share_used < 1.0:
        out.append(f"Of each ride the first {100 * test.share_used:.0f} % were used: laps this "
                   "short are cut in so many stretches that more would take too long.")
    out.append(f"{100 * test.share_left_out:.0f} % of the time was left out."
               if test.left_out else "Nothing was left out.")
    if test.common_draft:
        out.append(draft_words(test.common_draft) + ".")
    return out


def _stated_beside(test: FieldTest) -> str:
    """Say the wind that was stated, as it is at the rider; "" where none was."""
    stated = wind_stated(test)
    if stated is None:
        return ""
    return (f"; stated was {3.6 * math.hypot(*stated):.0f} km/h from the {compass(*stated)} at the "
            "rider's height")


def _no_better_than_calm(test: FieldTest) -> bool:
    """Whether the wind by the rides is further from the stated one than a calm day is."""
    stated = wind_stated(test)
    if stated is None:
        return False
    apart = math.dist(stated, test.wind)
    return apart > max(math.hypot(*stated), _SLIGHT)


def impossible_sentences(test: FieldTest) -> list[str]:
    """Say that no tyre fits the balance, what else may be wrong, and CdA at the stated Crr."""
    stated = test.spec.bike.rolling_resistance
    free = (f"{test.free_rolling_resistance:.4f} ± {_HALF * test.free_rolling_resistance_sd:.4f}"
            .replace("-", "−"))
    mass, meter = _would_explain(test)
    half = _HALF * test.free_rolling_resistance_sd
    if test.free_rolling_resistance < test.least_rolling:
        none = ("which no tyre has" if test.free_rolling_resistance + half < test.least_rolling
                else "and probably no tyre has so little")
        said = [
            (f"Taken as it is, the balance asks for a Crr of {free}, {none}: mass, "
             "power meter, wind or air cannot be right."),
            f"A meter that reads {abs(meter):.0f} % too little would look like this."]
    else:
        sure = "" if test.free_rolling_resistance - half > test.most_rolling else "probably "
        said = [
            (f"Taken as it is, the balance asks for a Crr of {free}, {sure}more than any paved "
             f"road has (up to {test.most_rolling:.3f}): mass, power meter or wind are not as "
             "taken here, riders in front gave shelter, or the road was rougher than that."),
            (f"{mass:.0f} kg more of rider and bike, or a meter that reads {meter:.0f} % too "
             "much, would look like this.")]
    areas = [(*_area_in_doubt(test, k), name) for k, name in enumerate(test.names)]
    least, most = _rolling_taken(test)
    each = ", ".join(f"{_area(area, high - low)} m² ({_area(low, high - low)} to "
                     f"{_area(high, high - low)})" + (f" with {name}" if len(areas) > 1 else "")
                     for area, low, high, name in areas)
    return [*said, (f"If Crr was {stated:.4f} ({least:.4f} to {most:.4f}), "
                    f"{test.spec.rolling_from}, CdA was {each} by this meter and mass; in "
                    "brackets are 90 % ranges.")]


def _rolling_taken(test: FieldTest) -> tuple[float, float]:
    """90 % range of Crr before the ride, within what a tyre on a paved road can have."""
    stated = test.spec.bike.rolling_resistance
    half = _HALF * test.spec.assumptions.rolling_resistance_sd
    return max(stated - half, test.least_rolling), min(stated + half, test.most_rolling)


def _area_in_doubt(test: FieldTest, group: int) -> tuple[float, float, float]:
    """CdA [m²] and its 90 % range with Crr as loosely known as before the ride."""
    mean, sd = test.free.area_given(test.spec.bike.rolling_resistance, group)
    by_balance = _HALF * sd
    high, low = (test.free.area_given(crr, group)[0] for crr in _rolling_taken(test))
    return (mean, mean - math.hypot(by_balance, mean - low),
            mean + math.hypot(by_balance, high - mean))


def _would_explain(test: FieldTest) -> tuple[float, float]:
    """Mass [kg] that was left out, and % that the meter reads too much, to have the stated Crr."""
    a, moved = test.spec.assumptions, test.free.moved[-1]
    lacking = test.free_rolling_resistance - test.spec.bike.rolling_resistance
    mass = test.spec.rider_mass + test.spec.bike.mass
    read = lacking / moved[0] * a.power_scale_sd  # of what the meter shows, too much
    return abs(lacking / moved[2]) * a.mass_sd * mass, 100.0 * read / max(1.0 - read, 0.1)


def _area(value: float, width: float) -> str:
    """CdA to the digits that its interval bears."""
    return f"{value:.{2 if width > 0.2 else 3}f}"


def comparison_sentences(c: Comparison) -> list[str]:
    """Say whether the second setup has less drag, and what such a test can show."""
    size = f"{abs(c.change):.4f} m² ({abs(c.percent):.1f} %)"
    limits = f"90 % range {_signed(c.low)} to {_signed(c.high)} m²"
    if c.more_runs == 0:
        word = "less" if c.change < 0.0 else "more"
        sure = c.chance_less if c.change < 0 else 1.0 - c.chance_less
        said = (f"{c.second} has {size} {word} drag than {c.first}, {limits}; the chance that it "
                f"has {word} at all is {_chance(sure)}.")
    else:
        said = (f"{c.second} and {c.first} are not clearly different: {_signed(c.change)} m², "
                f"{limits}. "
                f"The chance that {c.second} has less drag is {_chance(c.chance_less)}.")
    out = [said]
    if c.more_runs is None:
        out.append("If it is as small as this, even 32 more runs would not settle it: take the "
                   "two as equal.")
    elif c.more_runs:
        out.append(f"If the change is as large as this one, {c.more_runs} more runs, half with "
                   "each, would show it four times in five.")
    out.append(f"A test like this one shows a change of {c.smallest:.4f} m² four times in five.")
    if abs(c.mixed_with_order) > _IN_TURN:
        out.append("The setups were ridden one after the other, so a drift of the wind or of the "
                   "legs looks like a change: ride A-B-B-A.")
    return out


def _signed(value: float) -> str:
    return f"{'−' if value < 0 else '+'}{abs(value):.4f}"


def _chance(p: float) -> str:
    if p > 0.99:
        return "over 99 %"
    return "under 1 %" if p < 0.01 else f"{100 * p:.0f} %"


def assumed(test: FieldTest) -> list[str]:
    """Say what the rides could not tell and was taken as known."""
    a, spec = test.spec.assumptions, test.spec
    bike = spec.bike
    out = [
        (f"rider and bike {spec.rider_mass + bike.mass:.1f} kg ± {100 * _HALF * a.mass_sd:.1f} % "
         "(± is half of a 90 % range)"),
        (f"the power meter's scale is right within ± {100 * _HALF * a.power_scale_sd:.1f} % "
         "(drivetrain included): a meter that reads too much makes CdA too large, and "
         "no ride can show it"),
        (f"the wheel's circumference within ± {100 * _HALF * a.speed_scale_sd:.1f} %"
         + _by_the_map(spec.rides)),
        f"drivetrain efficiency {100 * bike.drivetrain_efficiency:.1f} %",
        (f"air of {test.air_density:.3f} kg/m³ ± {100 * _HALF * a.density_sd:.1f} %"),
        (f"Crr {bike.rolling_resistance:.4f} ± {_HALF * a.rolling_resistance_sd:.4f} before the "
         f"rides, {spec.rolling_from}, between {test.least_rolling:.4f} and "
         f"{test.most_rolling:.4f} (smooth asphalt has 0.003 to 0.005, rough asphalt up "
         "to 0.010: literature, from memory), the same throughout"),
        (f"the steady wind within ± {3.6 * _HALF * a.wind_sd:.0f} km/h of what was stated before "
         "the rides (calm if nothing was), in each direction"),
        (f"CdA does not change with yaw; half of the time it was under "
         f"{math.degrees(test.yaw):.0f}°")]
    if not spec.rides[0].has_position:
        out.append("no positions were recorded: the wind is taken as stated, calm if nothing was")
    return out


def _by_the_map(rides: Sequence[Ride]) -> str:
    """Say what the map makes of the way, where that is not what was recorded."""
    longer = float(np.mean([map_over_wheel(ride) for ride in rides])) - 1.0
    if abs(longer) < _MAP_APART:
        return ""
    more, less = ("longer", "less") if longer > 0.0 else ("shorter", "more")
    return (f"; by the map the fast part of the way is {100 * abs(longer):.1f} % {more}, which "
            f"would make CdA about {300 * abs(longer):.1f} % {less}: check the circumference")


# --- tables ---------------------------------------------------------------------------------


def drag_rows(test: FieldTest) -> list[tuple[str, ...]]:
    """Quantity, value, 90 % range, watts at 40 km/h."""
    per_area = 0.5 * test.air_density * (_WATTS_AT / 3.6)**3
    heads = [f"CdA, {name}" if len(test.names) > 1 else "CdA, m²" for name in test.names]
    if test.contradicts:
        stated = test.spec.bike.rolling_resistance
        given = [_area_in_doubt(test, k) for k in range(len(heads))]
        least, most = _rolling_taken(test)
        return [*((f"{head}, in doubt", f"{mean:.3f}", f"{low:.3f} to {high:.3f}",
                   f"{per_area * mean:.0f} ({per_area * low:.0f} to {per_area * high:.0f})")
                  for head, (mean, low, high) in zip(heads, given, strict=True)),
                (f"Crr, {test.spec.rolling_from}", f"{stated:.4f}", f"{least:.4f} to {most:.4f}",
                 "")]
    rows: list[tuple[str, ...]] = [
        (head, f"{mean:.3f}", f"{low:.3f} to {high:.3f}",
         f"{per_area * mean:.0f} ± {per_area * _HALF * sd:.0f}")
        for head, mean, low, high, sd in zip(
            heads, test.drag_area, test.drag_area_low, test.drag_area_high,
            test.drag_area_sd, strict=True)]
    weight = (test.spec.rider_mass + test.spec.bike.mass) * GRAVITY * _WATTS_AT / 3.6
    rows.append(("Crr", f"{test.rolling_resistance:.4f}",
                 f"{test.rolling_resistance_low:.4f} to {test.rolling_resistance_high:.4f}",
                 (f"{weight * test.rolling_resistance:.0f} ± "
                  f"{weight * _HALF * test.rolling_resistance_sd:.0f}")))
    return rows


def uncertainty_rows(test: FieldTest) -> list[tuple[str, str]]:
    """Say what half of the 90 % range of the first CdA would be if a thing were known exactly."""
    # The others do not know the bound on Crr either.
    free = float(np.sqrt(test.free.moments()[1][0, 0]))
    return [("as it is", f"± {_HALF * free:.4f}"),
            *((f"{name} known", f"± {_HALF * sd:.4f}") for name, sd in test.shrinks.items())]


def left_out_rows(test: FieldTest) -> list[tuple[str, str, str, str]]:
    """Ride, kilometres, time, reason."""
    return [(test.spec.rides[part.ride].name, f"{part.start / 1000:.2f} to {part.end / 1000:.2f}",
             seconds(part.seconds), part.reason) for part in test.left_out]


_HEADINGS: Final = ("item", "baseline", "figure", "test", "yaw_deg", "air_density_kgm3",
                    "measured_by", "runs", "uncertainty", "note", "source")


def evidence_row(test: FieldTest, c: Comparison) -> dict[str, str]:
    """Give a comparison as a row of an evidence table: each column's text."""
    runs = sum(name in {c.first, c.second} for name in test.spec.setups)
    order = ("; one setup after the other, so that a drift would look the same"
             if abs(c.mixed_with_order) > _IN_TURN else "")
    # In words: a spreadsheet takes a leading sign for a formula.
    figure = f"{'saves' if c.change < 0 else 'costs'} {abs(c.change):.5f} m2"
    return dict(zip(_HEADINGS, (
        c.second, c.first, figure, "field", f"0-{min(2 * math.degrees(test.yaw), 60):.0f}",
        f"{test.air_density:.3f}", "independent", str(runs), f"{c.sd:.5f} m2",
        f"at {3.6 * test.speed:.0f} km/h; {_length(test)} in all{order}", "field test of our own"),
        strict=True))


# --- parts of the page ----------------------------------------------------------------------


def _compared(comparisons: Sequence[Comparison]) -> list[Part]:
    rows = [(f"{c.second} against {c.first}", _signed(c.change),
             f"{_signed(c.low)} to {_signed(c.high)}",
             f"{c.percent_low:+.1f} to {c.percent_high:+.1f} %".replace("-", "−"),
             _chance(c.chance_less), f"{c.smallest:.4f}") for c in comparisons]
    table = Table(("Setups", "change of CdA, m²", "90 % range", "of CdA", "chance of less drag",
                   "shown four times in five, m²"), rows, "Changes between setups")
    marks = [Mark(f"{c.second} against {c.first}", c.change, c.low, c.high, leads=True,
                  said=_signed(c.change)) for c in comparisons]
    clear = [c for c in comparisons if c.more_runs == 0]
    finding = (f"{len(clear)} of {len(comparisons)} changes are clear."
               if len(comparisons) > 1 else
               "The change is clear." if clear else
               "The change is not clear: it may be none.")
    drift = Points([f"drift {_signed(c.drift)} ± {_HALF * c.drift_sd:.4f} m² an hour; what the "
                    f"rider did not repeat from run to run: about {c.repeat:.4f} m²"
                    for c in comparisons])
    return [Chart("change", "Is the change real?", lambda look: forest(
        look, marks, "change of CdA, m²; less drag to the left"), table, finding,
        note="Lines are 90 % ranges. A change is clear if its range leaves zero out."), drift]


def _drag(test: FieldTest) -> list[Part]:
    table = Table(("Quantity", "value", "90 % range", f"W at {_WATTS_AT:.0f} km/h"),
                  drag_rows(test), f"Steady riding in still air of {test.air_density:.3f} kg/m³")
    return [table, _trade_off(test)]


def _trade_off(test: FieldTest) -> Chart:
    """CdA that goes with each Crr, with the region of both at 90 %.

    Where no tyre fits, the region is what the balance asks for, and the pair of the answer
    stands beside it with the ranges of both.
    """
    mean, covariance = (np.append(test.drag_area, test.rolling_resistance), test.covariance)
    if test.contradicts:
        mean, covariance = test.free.moments()
    mean, covariance = mean[[0, -1]], covariance[np.ix_([0, -1], [0, -1])]
    values, vectors = np.linalg.eigh(covariance)
    turn = np.linspace(0.0, 2 * np.pi, 73)
    ring = (vectors * np.sqrt(np.maximum(values, 0.0))) @ np.array([np.cos(turn), np.sin(turn)])
    ring = mean[:, None] + _ELLIPSE * ring
    crr = np.array([0.003, 0.004, 0.005, 0.006, 0.008])
    given = [test.drag_area_given(float(c)) for c in crr]

    shown: list[Line | Dots] = []
    reach = ring[1]
    if test.contradicts:
        stated, taken = test.spec.bike.rolling_resistance, _rolling_taken(test)
        reach = np.append(ring[1], taken)
        area, low, high = _area_in_doubt(test, 0)
        shown = [Line(taken, (area, area), "other"), Line((stated, stated), (low, high), "other"),
                 Dots((stated,), (area,), "other", "dot")]

    def draw(look: Look) -> Drawing:
        return plot(look, Axis(0.98 * float(reach.min()), 1.02 * float(reach.max()), "Crr"), [
            Row("CdA, m²", [
                Outline(ring[1], ring[0], "plan"), Dots(mean[[1]], mean[[0]], "plan", "diamond"),
                *shown], 190.0)])
    table = Table(("Crr", "CdA, m²"), [(f"{c:.3f}", f"{m:.3f} ± {_HALF * s:.3f}")
                                       for c, (m, s) in zip(crr, given, strict=True)],
                  "CdA if Crr were known")
    if test.contradicts:
        return Chart("trade-off", "Which CdA goes with which Crr?", draw, table,
                     "What the recording asks for if mass, meter, wind and air were right; it "
                     "cannot be.",
                     note="The region around the diamond is what the recording asks for, with a "
                          "chance of 90 % if all else were right. The dot with its lines is the "
                          f"answer above and its ranges: Crr {test.spec.rolling_from}.")
    finding = ("The rides do not separate the two well." if test.correlation < _TIED else
               "The rides alone ask for a Crr outside of this region: it leans on the Crr that was "
               "stated." if rolling_alone(test).disagrees else "The rides separate the two.")
    return Chart("trade-off", "Which CdA goes with which Crr?", draw, table, finding,
                 note="The true pair lies in the region with a chance of 90 % if what was stated "
                      "is right. A long thin region means that the rides do "
                      "not separate the two; slow and fast laps would.")


def _uncertainty(test: FieldTest) -> list[Part]:
    known: Part = Table(("if this were none", "± of CdA, m²"), uncertainty_rows(test),
                        "What would make the answer surer")
    if test.contradicts:
        sd = test.drag_area_given(test.spec.bike.rolling_resistance)[1]
        known = (f"If Crr were known exactly, CdA would be within ± {_HALF * sd:.3f} m² by this "
                 "meter and mass: the rest of its range is that of Crr.")
    sizes = Table(("disturbance", "standard deviation"),
                  [(name, f"{size:.2f}") for name, size in test.pattern.items()],
                  "What disturbed the balance, by the rides' own evidence")
    return [known, sizes, _residuals(test)]


def _residuals(test: FieldTest) -> Chart:
    segments, score = test.segments, test.posterior.score
    first = segments.first
    start = np.cumsum([0.0, *(ride.length for ride in test.spec.rides)])[segments.ride]
    x = (start + 0.5 * (segments.node_distance[first] + segments.node_distance[first + 1])) / 1e3
    kept = np.isfinite(score)
    whole = float(sum(ride.length for ride in test.spec.rides)) / 1e3

    def draw(look: Look) -> Drawing:
        return plot(look, Axis(0.0, whole, "km, one ride after the other"), [Row(
            "unexplained, in standard errors", [
                Dots(x[kept], score[kept], "plan", size=1.8),
                Dots(x[~kept], np.zeros(int((~kept).sum())), "ink", "cross", 3.0)],
            120.0, zero=True)])
    worst = np.flatnonzero(kept)[np.argsort(-np.abs(score[kept]))[:10]]
    table = Table(("km", "standard errors"), [(f"{x[k]:.2f}", f"{score[k]:+.1f}".replace("-", "−"))
                                              for k in sorted(worst)],
                  "The ten largest residuals among what was used")
    large = int((np.abs(score[kept]) > 3.0).sum())
    return Chart("residuals", "Where does the balance not fit?", draw, table,
                 f"{large} of {int(kept.sum())} stretches are off by more than 3 standard errors.",
                 note="Points well above are losses that nothing explains, points well below are "
                      "gains that nothing explains. Crosses were left out.")


def _left_out(test: FieldTest) -> list[Part]:
    if not test.left_out:
        return ["Nothing: no stops, no brakes, no gaps, nothing odd."]
    return [Table(("ride", "km", "for", "why"), left_out_rows(test),
                  f"{100 * test.share_left_out:.0f} % of the time", left=(0, 3))]


def _evidence(test: FieldTest, comparisons: Sequence[Comparison]) -> Part:
    if not comparisons and test.contradicts:
        return "None: what cannot be right has to be found first."
    if not comparisons:
        return ("One setup alone is no change: its CdA belongs in the rider's file, as "
                f"drag_area_m2 = {test.drag_area[0]:.3f} and "
                f"drag_area_sd_m2 = {test.drag_area_sd[0]:.3f}.")
    rows = [tuple(evidence_row(test, c).values()) for c in comparisons]
    return Table(_HEADINGS, rows, "A row for the evidence table of a scenario",
                 left=tuple(range(len(_HEADINGS))))
