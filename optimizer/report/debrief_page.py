"""A debrief on a page: plan against ride, the seconds by cause, the reserve, what to change."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from optimizer.defaults import NINE_IN_TEN
from optimizer.report.along import Reading, kilometre_axis, legs, mean_over, posts, read_out
from optimizer.report.fieldtest_page import impossible_sentences
from optimizer.report.page import Chart, Points, Section, Table, render
from optimizer.report.svg import Line, Mark, Row, forest, plot
from optimizer.report.words import clock, listing, seconds, signed_seconds
from optimizer.ride.debrief import learned_from
from optimizer.ride.season import EXPONENTS

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.report.page import Part
    from optimizer.ride.debrief import Debrief
    from optimizer.ride.season import Before, NextPlan, Pooled

__all__ = ["advice", "debrief_page", "next_time", "part_rows", "season_sentences", "sentences",
           "split_rows"]

_CAUTION: Final = (
    "A time is never worth a crash: law, marshals and your own eyes come before any plan, and "
    "corners and brakes are for the road as it is. Ask a doctor before hard efforts if in doubt.")
_HALF: Final = NINE_IN_TEN  # standard errors in half of a 90 % range
_PAIR: Final = ("wind and air", "drag and tyres")
_TOGETHER: Final = "wind, drag and tyres together"
_WORTH: Final = 1.0  # s that are worth a word
_MUCH: Final = 10.0  # s of stops and brakes from which on they are worth a sentence
_WEAKER: Final = 0.02  # of the planned power, below the rest of the ride
_OFF_PLAN: Final = 0.03  # of the planned power, on a stretch
_HELD: Final = 0.15  # of the time lost by power, up to which a plan was held
_EARLIEST, _LATEST = 0.25, 0.9  # of the course, between which a fade begins
_AT_LIMIT: Final = 0.98  # of a corner's speed, from which the plan is slowed by it
_AS_FAST: Final = 0.96  # of it, which a recording tells from the same speed
_STOOD, _GOING = 2.0, 300.0  # s, m: what a stop is, and how far it is felt
_HILLY, _STRETCH = 0.015, 400.0  # grade, m: what makes a climb
# Told apart by dash as well as by colour.
_STYLES: Final = {
    "wind and air": "ink dot-line", "power": "plan heavy", "drag and tyres": "other heavy",
    "corners and brakes": "ink dash", "stops": "faint", "rest": "faint long"}


def debrief_page(d: Debrief, name: str, after: NextPlan) -> str:
    """Page of a debrief; `name` is what the plan is called, `after` what the next one takes."""
    sections = [
        Section("where", "Where the time went", [_parts(d), _strip(d)]),
        Section("change", "What to do next time", [Points([*next_time(d), *advice(d, after)])]),
        Section("model", "What the ride says of drag and power", _model(d, after)),
        Section("notes", "How it was compared", [Points(_method(d))])]
    return render(name, sentences(d), sections, kicker="Plan against ride", foot=[_CAUTION],
                  along=_readings(d))


# --- words, for the terminal as well --------------------------------------------------------


def sentences(d: Debrief) -> list[str]:
    """Say how the ride compares with the plan, and why."""
    late = d.difference
    word = "slower" if late > 0 else "faster"
    out = [(f"Ridden {clock(d.ridden_time)}, planned {clock(d.planned_time)}: "
            f"{seconds(late)} {word}.")]
    if d.doubted:
        value = d.parts["drag and tyres"]
        out.append(f"Mass, power meter or wind cannot be right, so {seconds(value)} "
                   f"{'lost' if value > 0 else 'won'} cannot be divided between drag, tyres "
                   "and errors.")
    parts = {cause: value for cause, value in d.parts.items()
             if cause != "rest" and not (d.doubted and cause == "drag and tyres")}
    if _mixed(d):
        parts[_TOGETHER] = sum(parts.pop(cause) for cause in _PAIR)
    cost = [(f"{cause} {seconds(value)}", value) for cause, value in parts.items()]
    lost = [text for text, value in sorted(cost, key=lambda c: -c[1]) if value >= _WORTH]
    won = [text for text, value in sorted(cost, key=lambda c: c[1]) if value <= -_WORTH]
    if lost:
        out.append(f"Lost to {listing(lost)}.")
    if won:
        out.append(f"Won by {listing(won)}.")
    if _mixed(d):
        wind, drag = (signed_seconds(d.parts[cause]) for cause in _PAIR)
        out.append(f"The ride does not separate wind from drag: {wind} of wind and air and {drag} "
                   f"of drag and tyres are each within ± {seconds(_HALF * d.drag_seconds_sd)}.")
    out.append(f"The model does not explain {seconds(d.parts['rest'])}.")
    out += _drag_sentences(d)
    least, whole = d.reserve.min() / 1000.0, d.intended.rider.w_prime / 1000.0
    out.append(f"By the planned critical power the reserve fell to {least:.1f} of {whole:.1f} kJ."
               if least >= 0.0 else
               f"By the planned critical power the reserve of {whole:.1f} kJ was overdrawn by "
               f"{-least:.1f} kJ: {_overdrawn(d)}")
    return out


def _mixed(d: Debrief) -> bool:
    """Whether seconds of wind and of drag may as well be none, or each other's."""
    if d.test is None or d.doubted or _drag_apart(d) or _tyres_apart(d):
        return False
    sizes = [abs(d.parts[cause]) for cause in _PAIR]
    return _WORTH <= max(sizes) < _HALF * d.drag_seconds_sd


def _label(d: Debrief, cause: str) -> str:
    """Name a cause; where no tyre fits the ride, what is left to drag may be an error."""
    return "drag, tyres, mass or meter" if d.doubted and cause == "drag and tyres" else cause


def _overdrawn(d: Debrief) -> str:
    """Say what a reserve that went below nothing means for critical power and W'."""
    if d.doubted:
        return ("while meter or mass is in doubt, that says nothing of critical power or of W', "
                "and both stay as planned.")
    return ("critical power or W' is higher than planned. One ride cannot tell which: W' stays as "
            "planned and critical power takes the difference, since the next plan uses it; "
            "efforts of 3 to 12 minutes to the limit tell both (kitpace rider).")


def _drag_sentences(d: Debrief) -> list[str]:
    """Say CdA and Crr by the ride, as a field test of it does; what cannot be right first."""
    if d.test is None:
        return [f"The ride does not show its CdA; {d.planned_drag_area:.3f} m² is kept as planned."]
    if d.test.contradicts:
        return [*impossible_sentences(d.test), f"The plan had {d.planned_drag_area:.3f} m²."]
    rolling = f"{d.rolling_resistance:.4f} ± {_HALF * d.rolling_resistance_sd:.4f}"
    said = (f"By this meter and the planned mass CdA was {d.drag_area:.3f} ± "
            f"{_HALF * d.drag_area_sd:.3f} m² and Crr {rolling}")
    over = " over its positions" if len(d.intended.rider.positions) > 1 else ""
    planned = f"{d.planned_drag_area:.3f} m²{over} and {d.planned_rolling_resistance:.4f}"
    return [f"{said}; planned were {planned}." if _drag_apart(d) or _tyres_apart(d) else
            f"{said}, not clearly different from the planned {planned}."]


def _drag_apart(d: Debrief) -> bool:
    return abs(d.drag_area - d.planned_drag_area) > _HALF * d.drag_area_sd


def _tyres_apart(d: Debrief) -> bool:
    return d.test is not None and not d.test.contradicts and (
        abs(d.rolling_resistance - d.planned_rolling_resistance)
        > _HALF * d.rolling_resistance_sd)


def next_time(d: Debrief) -> list[str]:
    """Say in three sentences what the rider did, what the day did, what the bike did."""
    return [_by_the_rider(d), _by_the_day(d), _by_the_bike(d)]


def _by_the_rider(d: Debrief) -> str:
    cost, stretches = d.parts["power"], _stretches(d)
    if not stretches or abs(cost) < _WORTH:
        return (f"You rode the planned power; the difference "
                f"{'saved' if cost < 0 else 'cost'} {seconds(cost)}.")
    strong = max(stretches, key=lambda part: part.saved)
    weak = min(stretches, key=lambda part: part.saved)
    hard = strong.share > _OFF_PLAN and 2.0 * strong.saved >= abs(cost)
    whole = _mean_ridden(d) / max(_mean_planned(d), 1.0) - 1.0
    easy = weak.share < min(-_OFF_PLAN, whole - _WEAKER)  # not one that is as weak as the rest
    if cost > 0.0:
        most = "most of it" if -2.0 * weak.saved >= cost else "more than elsewhere"
        where = (f", {most} on {weak.name}, {-100 * weak.share:.0f} % below plan: aim for "
                 f"{weak.planned:.0f} W there" if easy else "")
        return _spent_early(d) or _faded(d) or (
            f"You lost {seconds(cost)} by less power than planned, {_mean_ridden(d):.0f} W on "
            f"average instead of {_mean_planned(d):.0f} W{where}.")
    where = f", most of it on {strong.name}, {100 * strong.share:.0f} % above plan" if hard else ""
    if _mean_ridden(d) <= _mean_planned(d):
        return (f"Where you spent your power saved {seconds(cost)}{where}; on average it was no "
                "more than planned.")
    if d.ability.all_out or d.doubted:  # nothing was left, or nobody knows the watts
        return f"More power than planned saved {seconds(cost)}{where}."
    return (f"More power than planned saved {seconds(cost)}{where}: if you finished well, plan "
            "with more.")


def _spent_early(d: Debrief) -> str:
    """Say how a ride ahead of its plan by more power lost it all, and more; "" where none did.

    Up to the place where power had won most, and from there on.
    """
    lead, nodes = d.along["power"], d.passage.distance
    turn = int(np.argmin(lead))
    if lead[turn] > -_WORTH or turn in (0, len(lead) - 1):
        return ""
    before, after = _share(d, slice(0, turn)), _share(d, slice(turn, len(lead) - 1))
    if before < _OFF_PLAN or after > -_OFF_PLAN:
        return ""
    taken = np.diff(d.intended.time[:turn + 1])
    hold = float(np.average(d.planned_power[:turn], weights=taken))
    lost = d.parts["power"] - float(lead[turn])
    return (f"You rode {100 * before:.0f} % above plan to km {nodes[turn] / 1000:.1f} and were "
            f"{seconds(float(lead[turn]))} ahead; then you faded, {-100 * after:.0f} % below plan, "
            f"and lost {seconds(lost)}: hold {hold:.0f} W on average up to there next time.")


def _faded(d: Debrief) -> str:
    """Say how a ride that held its plan for long lost power to the end; "" where none did."""
    lost, nodes, cost = d.along["power"], d.passage.distance, d.parts["power"]
    turn = int(np.flatnonzero(lost <= _HELD * cost)[-1])
    part = nodes[turn] / nodes[-1]
    if not _EARLIEST <= part <= _LATEST:
        return ""
    half = int(np.searchsorted(nodes, 0.5 * nodes[turn]))
    held = max(abs(_share(d, slice(*part))) for part in ((0, half), (half, turn)))
    last = slice(int(np.searchsorted(nodes, _LATEST * nodes[-1])) - 1, len(lost) - 1)
    after, end = _share(d, slice(turn, len(lost) - 1)), _share(d, last)
    if held > _OFF_PLAN or after > -_OFF_PLAN or end > -_OFF_PLAN:
        return ""
    return (f"You held the planned power to km {nodes[turn] / 1000:.1f}, then faded, "
            f"{-100 * after:.0f} % below plan, and lost {seconds(cost)}: if you had no more to "
            "give, start lower next time, or plan with a lower critical power.")


def _share(d: Debrief, steps: slice) -> float:
    """By how much the mean power over some steps was above that of the plan, by its time."""
    taken = np.diff(d.intended.time[:len(d.passage.time)])[steps]
    planned, ridden = (float(np.average(power[steps], weights=taken))
                       for power in (d.planned_power, d.ridden_power))
    return ridden / max(planned, 1.0) - 1.0


def _by_the_day(d: Debrief) -> str:
    words = {"wind and air": "the wind", "stops": "stops", "corners and brakes":
             "brakes and corners"}
    if _mixed(d):
        del words["wind and air"]
    lost = [(d.parts[cause], word) for cause, word in words.items() if d.parts[cause] >= _WORTH]
    won = [(-d.parts[cause], word) for cause, word in words.items() if d.parts[cause] <= -_WORTH]
    said = [f"{word} cost {seconds(value)}" for value, word in sorted(lost)[::-1]]
    said += [f"{word} won {seconds(value)}" for value, word in sorted(won)[::-1]]
    if not said:
        return (f"{'Stops' if _mixed(d) else 'Wind, stops'} and corners were as planned, within a "
                "second each.")
    text = listing(said)
    end = ("; look whether the stops can go, and brake only where the road asks for it"
           if d.parts["stops"] + d.parts["corners and brakes"] > _MUCH and _slower_corners(d) else
           "; look whether the stops can go" if d.parts["stops"] > _MUCH else "")
    return f"{text[0].upper()}{text[1:]}{end}."


def _slower_corners(d: Debrief) -> bool:
    """Whether any corner that slows the plan was ridden slower still, stops apart.

    What getting going or a weak hour does to the speed near corners is no matter of the brakes.
    """
    nodes, ridden = d.passage.distance, d.passage.speed
    m = len(nodes) - 1
    limit = d.intended.problem.speed_limit[:m + 1]
    planned = np.diff(nodes) / np.diff(d.intended.time[:m + 1])
    inner = limit[1:-1]
    slows = ((inner <= limit[:-2]) & (inner <= limit[2:]) & (planned[:-1] >= _AT_LIMIT * inner))
    stops = 0.5 * (nodes[1:] + nodes[:-1])[d.passage.standing > _STOOD]
    near = np.abs(nodes[1:-1, None] - stops[None, :]).min(axis=1, initial=np.inf) < _GOING
    return bool(np.any(slows & ~near & (ridden[1:-1] < _AS_FAST * inner)))


def _by_the_bike(d: Debrief) -> str:
    rest = f"{seconds(d.parts['rest'])} are not explained"
    if d.test is None:
        return f"The ride shows nothing of the bike, and {rest}."
    cost = d.parts["drag and tyres"]
    if d.test.contradicts:
        return (f"Drag, tyres, mass and meter together {'cost' if cost > 0 else 'won'} "
                f"{seconds(cost)}, and no tyre fits what was recorded: weigh yourself with the "
                f"bike and set the meter's zero before the next ride; {rest}.")
    if _drag_apart(d) or _tyres_apart(d):
        done = "cost" if cost > 0 else "won"
        apart = []
        if _drag_apart(d):
            apart.append(f"a CdA of {d.drag_area:.3f} instead of {d.planned_drag_area:.3f} m²")
        if _tyres_apart(d):
            planned = d.planned_rolling_resistance
            apart.append(f"a Crr of {d.rolling_resistance:.4f} instead of {planned:.4f}")
        what = " and ".join(apart)
        return f"The bike {done} {seconds(cost)}: {what}; {rest}."
    if _mixed(d):
        both = sum(d.parts[cause] for cause in _PAIR)
        return (f"Wind, drag and tyres together {'cost' if both > 0 else 'won'} {seconds(both)}, "
                f"and this ride does not show which of them; {rest}.")
    return f"Nothing on the bike explains the rest: {rest}."


@dataclass(frozen=True)
class _Stretch:
    """A climb, a descent or what lies between, and the power on it."""

    name: str
    planned: float
    share: float  # by which the ridden power was above the plan's
    saved: float  # s, by the power on it


def _stretches(d: Debrief) -> list[_Stretch]:
    """Climbs, descents and flats of the ride of at least 400 m, in their order."""
    nodes = d.passage.distance
    grade = _smooth(d.intended.problem.grade[:len(nodes) - 1], nodes)
    kind = np.where(grade > _HILLY, 1, np.where(grade < -_HILLY, -1, 0))
    edges = np.flatnonzero(np.diff(kind)) + 1
    spans = [(int(a), int(b)) for a, b in pairwise([0, *edges, len(kind)])
             if nodes[b] - nodes[a] >= _STRETCH]
    climbs = [a for a, _ in spans if kind[a] == 1]
    taken = np.diff(d.intended.time[:len(nodes)])
    pace = np.maximum(np.diff(d.passage.time) - d.passage.standing, 1e-6)
    out = []
    for a, b in spans:
        planned = float(np.average(d.planned_power[a:b], weights=taken[a:b]))
        ridden = float(np.average(d.ridden_power[a:b], weights=pace[a:b]))
        if planned > 1.0 and kind[a] >= 0:  # nobody is told to pedal harder down a hill
            out.append(_Stretch(_named(a, b, nodes, climbs), planned,
                                ridden / planned - 1.0,
                                float(d.along["power"][a] - d.along["power"][b])))
    return out


def _named(a: int, b: int, nodes: NDArray[np.float64], climbs: list[int]) -> str:
    where = f"km {nodes[a] / 1000:.1f} to {nodes[b] / 1000:.1f}"
    if a not in climbs:
        return f"the flat from {where}"
    if len(climbs) == 1:
        return f"the climb ({where})"
    place = "first" if a == climbs[0] else "last" if a == climbs[-1] else "next"
    return f"the {place} climb ({where})" if place != "next" else f"the climb from {where}"


def advice(d: Debrief, after: NextPlan) -> list[str]:
    """Say what to change, the largest first; wind and what nothing explains are no advice."""
    found: list[tuple[float, str]] = []
    parts = d.parts
    if abs(parts["power"]) > 5.0:
        found.append((abs(parts["power"]), _power_advice(d)))
    if parts["corners and brakes"] > 3.0 and _slower_corners(d):
        # What they cost stands in `next_time`.
        said = "If you were right to brake where you did, lower the plan's corner speeds."
        found.append((parts["corners and brakes"], said))
    if d.doubted:
        said = ("Keep the CdA, the Crr and the critical power that you plan with: this ride is no "
                "evidence against them until mass, meter, wind and surface are clear. Weigh rider "
                "and bike, set the meter's zero, and name rough surfaces in the scenario.")
        found.append((math.inf, said))
    elif after.tells_drag and (_drag_apart(d) or _tyres_apart(d)):
        found.append((abs(parts["drag and tyres"]), _drag_advice(d, after)))
    ability = d.ability
    cp = d.intended.rider.critical_power
    # An easy ride shows that CP is no lower; nobody plans with more for that.
    shows = ability.all_out or ability.shown > after.power_now
    far = abs(after.power - after.power_now) > (0.005 * after.power_now if shows
                                                else after.power_sd)
    if after.tells_power and far and not d.doubted:
        found.append((0.0, _power_to_plan_with(d, after)))
    if ability.contradicts and not d.doubted:
        said = (f"A critical power of {cp:.0f} ± {_HALF * ability.planned_sd:.0f} W cannot be "
                "right beside this ride: it was known less well than stated, or the two power "
                "meters differ.")
        found.append((0.0, said))
    if not found and parts["stops"] > 3.0:
        return []
    if not found:
        return ["The ride shows nothing to change: the rest is wind, or within the uncertainty."]
    return [text for _, text in sorted(found, key=lambda f: -f[0])]


def _drag_advice(d: Debrief, after: NextPlan) -> str:
    """Say which CdA and Crr the next plan takes, and why the ride's own are not taken whole."""
    why = []
    if _drag_apart(d):
        why.append("a position that is not held, or kit that does not do what was hoped, looks "
                   "like this" if d.drag_area > d.planned_drag_area else
                   "it is better than was planned")
    if _tyres_apart(d):
        word = "rougher" if d.rolling_resistance > d.planned_rolling_resistance else "smoother"
        why.append(f"the ride's Crr says that the road is {word} than planned, or that mass or "
                   "meter are not as planned")
    positions = d.intended.rider.positions
    where = f" {positions[0].name}" if len(positions) > 1 else ""
    return (f"Plan the next ride with CdA {after.drag_area:.3f} m²{where} "
            f"({after.drag_area_now:.3f} now) and Crr {after.rolling_resistance:.4f} "
            f"({after.rolling_resistance_now:.4f} now), by {_rides(after.rides)} and "
            f"what was known before; {'; '.join(why)}.")


def _rides(count: int) -> str:
    return "this ride" if count == 1 else f"{count} rides of the season"


def _power_to_plan_with(d: Debrief, after: NextPlan) -> str:
    """Say which CP the next plan takes, and what of this ride speaks for it."""
    said = (f"Plan the next ride with a critical power of {after.power:.0f} ± "
            f"{_HALF * after.power_sd:.0f} W ({after.power_now:.0f} now), by "
            f"{_rides(after.rides)} and what was known before")
    if d.ability.all_out:
        return f"{said}; you said that nothing was left."
    if d.ability.shown > after.power_now:
        return (f"{said}; the reserve alone would not have lasted with less than "
                f"{d.ability.shown:.0f} W.")
    return f"{said}."


def _power_advice(d: Debrief) -> str:
    """Say where power was above and below the plan."""
    thirds = np.linspace(0.0, d.passage.distance[-1], 4)
    planned, ridden = (mean_over(power, d.passage.distance, thirds)
                       for power in (d.planned_power, d.ridden_power))
    shares = ridden / np.maximum(planned, 1.0) - 1.0
    said = listing([f"{100 * share:+.0f} %".replace("-", "−") for share in shares])
    text = (f"Power was {said} against the plan in the three thirds of the course, which "
            f"{'cost' if d.parts['power'] > 0 else 'won'} {seconds(d.parts['power'])}.")
    if shares[0] > 0.02 and shares[2] < -0.02 and not _spent_early(d):
        text += " Start easier: what was spent early was missing late."
    return text


def season_sentences(pooled: Pooled, before: Before, after: NextPlan) -> list[str]:
    """Say what the rides of a season teach together, and how sure the next plan can be."""
    n = pooled.rides
    rides = "one ride" if n == 1 else f"{n} rides"
    out = [f"From {rides} of the season, with what was known before the first:"]
    if after.tells_drag:
        sd = float(np.sqrt(pooled.covariance[0, 0]))
        change = f"{pooled.drag[0]:+.4f} ± {_HALF * sd:.4f} m²".replace("-", "−")
        rolling = f"{pooled.drag[1]:+.5f}".replace("-", "−")
        out.append(
            f"CdA {change} and Crr {rolling} against the first plan; races differ by about "
            f"{pooled.drag_apart:.4f} m². The next one's drag, tyres included, is known within "
            f"± {_HALF * after.drag_area_sd:.4f} m².")
    if not after.tells_power:
        return [*out, f"no ride tells of critical power: it stays {after.power:.0f} W."]
    out.append(f"Critical power {pooled.power:.0f} ± {_HALF * pooled.power_sd:.0f} W, on the next "
               f"day ± {_HALF * pooled.next_power_sd:.0f} W; before the first ride "
               f"{before.power:.0f} ± {_HALF * before.power_sd:.0f} W.")
    out.append(f"Strain grows with power to the exponent {pooled.exponent:.1f} ± "
               f"{_HALF * pooled.exponent_sd:.1f}.")
    return out


def part_rows(d: Debrief) -> list[tuple[str, str, str]]:
    """Cause, seconds, why."""
    stood = float(d.passage.standing.sum())
    behind = {
        "wind and air": _wind_words(d),
        "power": f"{_mean_ridden(d):.0f} W ridden, {_mean_planned(d):.0f} W planned, while moving",
        "drag and tyres": _drag_words(d),
        "corners and brakes": "speeds that the rider braked to, against the plan's corners",
        "stops": (f"{seconds(stood)} at rest, and getting going" if stood >= 0.5 else
                  "no stop"),
        "rest": "gusts, errors of meter and model: what the simulation of the ride misses"}
    wide = (f" ± {seconds(_HALF * d.drag_seconds_sd)}" if d.test is not None and not d.doubted
            else "")
    rows = [(_label(d, cause), signed_seconds(value) + (wide if cause in _PAIR else ""),
             behind[cause]) for cause, value in d.parts.items()]
    return [*rows, ("in all", signed_seconds(d.difference), "")]


def _mean_ridden(d: Debrief) -> float:
    """Mean power over the time of riding in which it was recorded."""
    pace = np.where(np.isfinite(d.passage.power), np.diff(d.passage.time) - d.passage.standing, 0.0)
    if not pace.any():
        return math.nan
    return float(np.average(np.nan_to_num(d.passage.power), weights=np.maximum(pace, 0.0)))


def _mean_planned(d: Debrief) -> float:
    """Mean power of the plan over its own time."""
    taken = np.diff(d.intended.time[:len(d.passage.time)])
    return float(np.average(d.planned_power, weights=taken))


def _wind_words(d: Debrief) -> str:
    """Say how the wind along the road differed; slow stretches count more, so it is by time."""
    weights = np.diff(d.passage.time)
    ridden, planned = (3.6 * float(np.average(wind, weights=weights))
                       for wind in (d.headwind, d.planned_headwind))
    return f"head wind on average {_signed(ridden)} km/h, planned {_signed(planned)}"


def _signed(value: float) -> str:
    """Give a whole number with its sign; none has no sign."""
    whole = round(value)
    return f"{whole:+d}".replace("-", "−") if whole else "0"


def _drag_words(d: Debrief) -> str:
    if d.test is None:
        return "this ride does not show it; taken as planned"
    if d.test.contradicts:
        return (f"no tyre fits, in doubt; CdA {d.drag_area:.3f}, planned "
                f"{d.planned_drag_area:.3f} m², if Crr was {d.rolling_resistance:.4f} as planned")
    return (f"CdA {d.drag_area:.3f} ± {_HALF * d.drag_area_sd:.3f}, planned "
            f"{d.planned_drag_area:.3f} m²; Crr {d.rolling_resistance:.4f} ± "
            f"{_HALF * d.rolling_resistance_sd:.4f}, planned {d.planned_rolling_resistance:.4f}")


def split_rows(d: Debrief) -> list[tuple[str, ...]]:
    """Stretch, planned and ridden time, difference, the two largest causes."""
    edges, names = legs(d.intended.course)
    end = d.passage.distance[-1]
    out: list[tuple[str, ...]] = []
    for name, a, b in zip(names, edges[:-1], edges[1:], strict=True):
        if a >= end - 1.0:
            break
        at = np.array([a, min(b, end)])
        plan, ridden = (np.diff(np.interp(at, d.passage.distance, time))[0] for time in
                        (d.intended.time[:len(d.passage.time)], d.passage.time))
        causes = sorted(((float(np.diff(np.interp(at, d.passage.distance, lost))[0]), cause)
                         for cause, lost in d.along.items()), key=lambda c: -abs(c[0]))
        said = ", ".join(f"{_label(d, cause)} {signed_seconds(value)}"
                         for value, cause in causes[:2] if abs(value) >= 0.5)
        out.append((name if b <= end + 1.0 else f"{name} (in part)", clock(plan), clock(ridden),
                    signed_seconds(ridden - plan), said))
    return out


# --- parts of the page ----------------------------------------------------------------------


def _parts(d: Debrief) -> Chart:
    marks = [Mark(_label(d, cause), value, min(value, 0.0), max(value, 0.0), bar=True,
                  said=signed_seconds(value)) for cause, value in d.parts.items()]
    table = Table(("cause", "seconds", "why"), part_rows(d),
                  "The parts add up to the whole", left=(0, 2))
    most = max(d.parts, key=lambda cause: abs(d.parts[cause]))
    word, name = "cost" if d.parts[most] > 0 else "won", _label(d, most)
    return Chart("parts", "What cost the time?", lambda look: forest(
        look, marks, "seconds lost (right) or won (left)"), table,
        f"{name[:1].upper()}{name[1:]} {word} most, {seconds(d.parts[most])}.",
        note="Each cause is what it adds to a simulation of the plan, averaged over every order "
             "in which the causes can be put in. They add up to the whole.")


def _strip(d: Debrief) -> Chart:
    x, course = d.passage.distance / 1000.0, d.intended.course
    m = len(d.passage.power)
    rows = [
        Row("seconds lost so far, by cause", [
            Line(x, lost, _STYLES.get(cause, "ink thin"), _label(d, cause))
            for cause, lost in d.along.items()], 190.0, zero=True),
        Row("power, W", [
            Line(x, d.planned_power, "plan", "planned", steps=True),
            Line(x, _smooth(d.ridden_power, d.passage.distance), "ink thin", "ridden", steps=True)],
            90.0, zero=True, low=0.0),
        Row("wind along the road, km/h; head wind is up", [
            Line(x, 3.6 * d.planned_headwind, "plan", "planned", steps=True),
            Line(x, 3.6 * d.headwind, "ink thin", "ridden", steps=True)], 70.0, zero=True),
        Row("reserve (W′), kJ", [
            Line(x, d.intended.reserve[:m + 1] / 1000.0, "plan", "planned"),
            Line(x, d.reserve / 1000.0, "ink thin", "ridden")], 70.0, zero=True)]
    edges, names = legs(course)
    at = np.interp(edges, d.passage.distance, sum(d.along.values()))
    lost = np.diff(at)
    k = int(np.argmax(np.abs(lost)))
    word = "lost" if lost[k] > 0 else "won"
    finding = (f"Most was {word} from {names[k]}: {signed_seconds(float(lost[k]))}."
               if len(names) > 1 else "")  # with no marks there is one stretch, the whole
    return Chart("strip", "Where along the course?", lambda look: plot(
        look, kilometre_axis(course), rows, posts=posts(course), names=True, ends=True),
        _splits(d),
        finding,
        note="A line that rises loses time there. Ridden power is a mean over some 500 m.",
        kilometres=course.length / 1000.0)


def _readings(d: Debrief) -> dict[str, Any]:
    """Give what is said of a place."""
    return read_out(d.passage.distance, [
        Reading("so far", np.asarray(sum(d.along.values())), "s", 1, ("lost", "won")),
        Reading("ridden", _smooth(d.ridden_power, d.passage.distance), "W"),
        Reading("planned", d.planned_power, "W"),
        Reading("wind along the road", 3.6 * d.headwind, "km/h", 0, ("against you", "from behind")),
        Reading("reserve", d.reserve / 1000.0, "kJ", 1)], d.passage.time)


def _smooth(values: NDArray[np.float64], distance: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean of step values over 250 m to either side."""
    whole = np.concatenate([[0.0], np.cumsum(values * np.diff(distance))])
    middle = 0.5 * (distance[1:] + distance[:-1])
    low = np.clip(middle - 250.0, 0.0, distance[-1])
    high = np.clip(middle + 250.0, 0.0, distance[-1])
    return np.asarray((np.interp(high, distance, whole) - np.interp(low, distance, whole))
                      / (high - low))


def _splits(d: Debrief) -> Table:
    return Table(("stretch", "planned", "ridden", "difference", "mostly"), split_rows(d),
                 "Planned and ridden time by stretch", left=(0, 4), ident="stretches",
                 stretches=_row_kilometres(d))


def _row_kilometres(d: Debrief) -> list[tuple[float, float]]:
    """Kilometres of the rows of `split_rows`."""
    edges = legs(d.intended.course)[0] / 1000.0
    return list(pairwise(edges.tolist()))[:len(split_rows(d))]


def _model(d: Debrief, after: NextPlan) -> list[Part]:
    cp, ability = d.intended.rider.critical_power, d.ability
    parts: list[Part] = [*_drag_sentences(d)]
    if ability.shown > 0.0:
        asked = (f"With W' of {d.intended.rider.w_prime / 1000:.1f} kJ the reserve lasts from a "
                 f"critical power of {ability.shown:.0f} W on; planned were {cp:.0f} W.")
        learned = (f"By {_rides(after.rides)} and what was known before: {after.power:.0f} ± "
                   f"{_HALF * after.power_sd:.0f} W on the next day. {_by_the_law(d)}"
                   if after.tells_power else
                   "While meter, mass or wind is in doubt, that tells nothing of the next day.")
        parts.append(f"{asked} {learned}")
    else:
        parts.append("The ride was too easy to say anything of critical power.")
    if d.test is not None and d.test.left_out:
        parts.append(Table(("km of the ride", "for", "why"), [
            (f"{part.start / 1000:.2f} to {part.end / 1000:.2f}", seconds(part.seconds),
             part.reason) for part in d.test.left_out], "Left out of the estimate", left=(0, 2)))
    return parts


def _by_the_law(d: Debrief) -> str:
    """Say what the length of the ride asks for, where that is more than was planned with."""
    learned, rider = learned_from(d), d.intended.rider
    asked = float(np.interp(rider.effort_exponent, EXPONENTS, learned.needed)
                  ) if learned.needed else 0.0
    if d.ability.all_out or asked <= rider.critical_power:
        return "A ride that was not to the limit says little more than this."
    return (f"Watts held for {clock(float(d.passage.time[-1]))} ask for a critical power of "
            f"{asked:.0f} ± {_HALF * learned.law_sd * asked:.0f} W: the longer, the less of it can "
            "be held. A rider of less could hardly have ridden this, so the figure rises.")


def _method(d: Debrief) -> list[str]:
    return [
        "The ride is laid on the course by its positions; times are compared at the same places.",
        ("Drag, tyres and wind come from the ride's own energy balance, as a field test of it "
         "gives them; meter, mass and forecast are taken as planned."),
        *_splits_words(d),
        *(f"{note[0].upper()}{note[1:]}." for note in d.notes)]


def _splits_words(d: Debrief) -> list[str]:
    """Say how well the simulation follows the ride, unseen too, and what limits it."""
    if d.splits is None:
        return []
    splits = d.splits
    cause, size = max(splits.limits.items(), key=lambda limit: limit[1])
    return [
        (f"The simulation of the ride as it was follows its tenths within "
         f"{100 * np.abs(splits.error).max():.1f} % and the time up to each within "
         f"{100 * np.abs(splits.cumulative).max():.1f} %. A tenth that the fit has not seen is "
         f"missed by {100 * splits.unseen_rms:.1f} % (root mean square, each left out in turn)."
         + (" It has you in the planned position at every place, which a recording does not show."
            if len(np.unique(d.intended.problem.position)) > 1 else "")),
        f"What limits it most: {cause}, about {100 * size:.1f} % of a tenth."]
