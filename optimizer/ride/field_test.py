"""A field test: CdA and Crr of recorded rides, with what is known and what is not."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from optimizer.errors import InputError
from optimizer.ride.balance import Assumptions, balance_of
from optimizer.ride.places import lap_of, nodes_by_place
from optimizer.ride.plausible import check_recording, check_result
from optimizer.ride.posterior import posterior_of
from optimizer.ride.segments import cut
from optimizer.ride.stretches import (
    DRAFT,
    ODD,
    LeftOut,
    draft_of_others,
    left_out_of,
    plainly_bad,
)

if TYPE_CHECKING:

    from numpy.typing import NDArray

    from optimizer.conditions import Conditions
    from optimizer.physics import Setup
    from optimizer.ride.balance import Balance
    from optimizer.ride.posterior import Posterior
    from optimizer.ride.ride import Ride
    from optimizer.ride.segments import Along, Segments

__all__ = [
    "LEAST_ROLLING",
    "MOST_ROLLING",
    "SEGMENTS",
    "Answer",
    "FieldTest",
    "Runs",
    "draft_words",
    "field_test",
    "spacing_of",
    "used_share",
]

SEGMENTS = 220  # about as many in all, however long; more tell little and cost time cubed
# A lap is seen in parts, since the wind turns once a lap; where that takes more segments than
# the most, less of each ride is used.
_PART_OF_LAP, _MOST_SEGMENTS = 1.0 / 3.0, 660
_SHORTEST = 50.0  # m
_LEAST = 20  # segments that say something
_LEAST_EACH = 3  # of each setup
# Crr under which no bicycle tyre rolls on any surface; common practice, no source.
LEAST_ROLLING = 0.0015
# Crr of rough asphalt at most, where 0.003 to 0.005 are those of a smooth one: values of the
# literature on cycling, from memory. Who states a rougher surface may have so much more.
MOST_ROLLING, _MORE_THAN_STATED = 0.010, 2.0
_IMPOSSIBLE = 0.9  # probability of less from which on something else has to be wrong
_UNLIKELY = 0.5  # probability of more from which on something else is as likely
_NOTHING = 1e-4
_ODD_SCORE = 4.0
_ODD_ROUNDS = 6
_MOST_DRAFT = 0.25  # of the time; if more seems sheltered it is the wind or the model
_MOST_ODD = 0.15  # of the segments; if more are odd it is the model that is


@dataclass(frozen=True)
class Runs:
    """Rides of a field test, and how they were ridden.

    Attributes
    ----------
    rides : in the order in which they were ridden
    setups : name of what each was ridden with
    conditions : weather of each; its wind is what was thought beforehand
    bike : mass, efficiency, wheels, bearings; its Crr is what was thought beforehand
    rider_mass : kg
    lap_length : m, tells places by the distance alone where there are no positions
    left_out : stretches that the rider wants left out, (ride, start, end) in m
    along : what a plan knows of the road under each ride, where there is a plan
    rolling_from : where the bike's Crr and its error come from, in words behind the figure
    """

    rides: tuple[Ride, ...]
    setups: tuple[str, ...]
    conditions: tuple[Conditions, ...]
    bike: Setup
    rider_mass: float
    assumptions: Assumptions = field(default_factory=Assumptions)
    lap_length: float | None = None
    left_out: tuple[tuple[int, float, float], ...] = ()
    along: tuple[Along, ...] = ()
    rolling_from: str = "as stated"


@dataclass(frozen=True)
class Answer:
    """CdA [m²] and Crr with their standard deviations; nan for that of a Crr that was stated."""

    area: float
    area_sd: float
    rolling: float
    rolling_sd: float


@dataclass(frozen=True)
class FieldTest:
    """What came out.

    Attributes
    ----------
    names : the setups, or the rides where each is on its own
    drag_area, drag_area_sd : (g,) m²; `drag_area_low`, `drag_area_high` the 90 % range
    rolling_resistance : Crr with `rolling_resistance_sd`, `rolling_resistance_low`, `_high`
    covariance : (g + 1, g + 1) of CdA and Crr
    wind : east and north at the rider, mean over the test [m/s]
    shrinks : source of uncertainty -> standard deviation of the first CdA if it were known
    pattern : sizes of the errors that the rides themselves told
    free_rolling_resistance, free_rolling_resistance_sd : Crr by the balance alone, whether or
        not a tyre can have it; the others are given that it is one of a tyre
    impossible, too_rough : probability of the balance that Crr is lower than any tyre's, and
        higher than that of a paved road
    left_out, share_left_out : stretches, and their part of the time
    laps : how often the median place was passed
    speed, air_density, yaw : mean [m/s, kg/m³], and the yaw that half the time exceeded [rad]
    clock : (rides,) seconds of the middle of each ride, on one clock
    share_used : part of each ride that was used, its first; less than 1 for many short laps
    common_draft : part of the time with less drag than elsewhere, where that may not be the
        lee of others: nothing is left out for it and the range is wider; else 0
    """

    spec: Runs
    names: tuple[str, ...]
    drag_area: NDArray[np.float64]
    drag_area_sd: NDArray[np.float64]
    drag_area_low: NDArray[np.float64]
    drag_area_high: NDArray[np.float64]
    rolling_resistance: float
    rolling_resistance_sd: float
    rolling_resistance_low: float
    rolling_resistance_high: float
    covariance: NDArray[np.float64]
    wind: tuple[float, float]
    shrinks: dict[str, float]
    pattern: dict[str, float]
    free_rolling_resistance: float
    free_rolling_resistance_sd: float
    impossible: float
    too_rough: float
    left_out: tuple[LeftOut, ...]
    share_left_out: float
    laps: int
    speed: float
    air_density: float
    yaw: float
    clock: NDArray[np.float64]
    posterior: Posterior
    free: Posterior
    segments: Segments
    share_used: float = 1.0
    common_draft: float = 0.0

    @property
    def contradicts(self) -> bool:
        """Whether no tyre fits the balance, so that mass, meter, air or wind cannot be right."""
        return self.impossible > _IMPOSSIBLE or self.too_rough > _UNLIKELY

    @property
    def least_rolling(self) -> float:
        """The lowest Crr that was thought possible."""
        return least_rolling(self.spec.bike)

    @property
    def most_rolling(self) -> float:
        """The highest Crr that was thought possible."""
        return most_rolling(self.spec.bike)

    @property
    def answer(self) -> Answer:
        """First CdA and Crr to work with: at the stated Crr where no tyre fits the balance."""
        stated = self.spec.bike.rolling_resistance
        if self.contradicts:
            return Answer(*self.drag_area_given(stated), stated, math.nan)
        return Answer(float(self.drag_area[0]), float(self.drag_area_sd[0]),
                      self.rolling_resistance, self.rolling_resistance_sd)

    @property
    def correlation(self) -> float:
        """Correlation of the first CdA with Crr; near -1, the rides do not separate the two."""
        c = self.covariance
        return float(c[0, -1] / np.sqrt(c[0, 0] * c[-1, -1]))

    def drag_area_given(self, rolling_resistance: float) -> tuple[float, float]:
        """First CdA and its standard deviation [m²] if Crr were known.

        By the balance alone, which a bound on Crr would bend; by this meter and mass.
        """
        return self.free.area_given(rolling_resistance)


def least_rolling(bike: Setup) -> float:
    """Give the lowest Crr that a ride may have which was stated to have that of `bike`."""
    return min(LEAST_ROLLING, bike.rolling_resistance)


def most_rolling(bike: Setup) -> float:
    """Give the highest Crr that a ride may have which was stated to have that of `bike`."""
    return max(MOST_ROLLING, _MORE_THAN_STATED * bike.rolling_resistance)


def field_test(spec: Runs, *, each_ride: bool = False,
               sizes: dict[str, float] | None = None) -> FieldTest:
    """Estimate CdA of each setup (or of `each_ride` on its own) and Crr.

    `sizes` of the disturbances, where they are known as when a test is planned.

    Raises InputError where the rides hold too little to say anything.
    """
    # Small matrices: threads that wait for each other cost more than they bring.
    from threadpoolctl import threadpool_limits

    with threadpool_limits(1):
        try:
            return _estimate(spec, each_ride, sizes)
        except np.linalg.LinAlgError as error:
            raise InputError(spec.rides[0].place, "", "contradicts itself: no drag explains its "
                             "power, speed and heights together", "check that each sensor was "
                             "alive, and the units") from error


def _estimate(spec: Runs, each_ride: bool, sizes: dict[str, float] | None) -> FieldTest:
    _check(spec)
    if sizes is None:  # the rides of a test that is planned are made up
        _check_each_once(spec)
    spec = _located(spec)
    spacing = spacing_of(sum(ride.length for ride in spec.rides),
                         spec.lap_length or lap_of(spec.rides[0]))
    share = used_share(sum(ride.length for ride in spec.rides), spacing)
    spec = replace(spec, rides=tuple(_first(ride, share) for ride in spec.rides),
                   along=tuple(known.between(0, _end(ride, share))
                               for ride, known in zip(spec.rides, spec.along, strict=False)))
    nodes = nodes_by_place(spec.rides, spacing, spec.lap_length)
    segments = cut(spec.rides, spec.conditions, spec.bike, spec.rider_mass, nodes, spec.along)
    names = (tuple(f"{number} {name}" for number, name in enumerate(spec.setups, 1)) if each_ride
             else tuple(dict.fromkeys(spec.setups)))
    groups = (np.arange(len(spec.rides)) if each_ride
              else np.array([names.index(name) for name in spec.setups]))
    reasons = plainly_bad(spec.rides, spec.bike, segments.mass, segments)
    reasons = {"left out on request": _asked(spec, segments), **reasons}
    balance, posterior, reasons, draft = _fit_without_the_odd(spec, segments, groups, reasons,
                                                              sizes)
    _check_share(spec, groups, balance)
    if sizes is None:
        check_result(spec.rides[0].name, names, *posterior.moments())
    return replace(_result(spec, names, balance, posterior, reasons), share_used=share,
                   common_draft=draft)


def _check(spec: Runs) -> None:
    for ride in spec.rides:
        if ride.virtual:
            raise InputError(ride.place, "", "says that it is a virtual ride: its speed was "
                             "computed and says nothing of your drag", "give a ride on a road")
        if not ride.has_power:
            raise InputError(ride.place, "", "has no power",
                             "a field test needs a power meter: record power_w")
        if not (ride.has_elevation or ride.has_position or spec.lap_length):
            raise InputError(ride.place, "", "has neither heights nor positions",
                             "record elevation_m or positions, or give the length of the lap")
        check_recording(ride)


def _check_each_once(spec: Runs) -> None:
    for k, ride in enumerate(spec.rides):
        twin = next((other for other in spec.rides[:k] if _same(ride, other)), None)
        if twin is not None:
            raise InputError(ride.place, "", f"is the same recording as {twin.place}",
                             "give each ride once: the same evidence twice is no second ride")


def _same(a: Ride, b: Ride) -> bool:
    return (len(a.time) == len(b.time) and np.array_equal(a.time, b.time)
            and np.array_equal(a.power, b.power, equal_nan=True)
            and np.array_equal(a.speed, b.speed))


def _check_share(spec: Runs, groups: NDArray[np.int64], balance: Balance) -> None:
    """Refuse a group of rides of which nothing is left, since only its prior would remain."""
    left = np.bincount(groups[balance.segments.ride[balance.kept]], minlength=groups.max() + 1)
    for k in np.flatnonzero(left < _LEAST_EACH):
        ride = int(np.flatnonzero(groups == k)[0])
        raise InputError(spec.rides[ride].place, "", f"has {left[k]} stretches that show the "
                         f'drag with "{spec.setups[ride]}"', f"at least {_LEAST_EACH} are "
                         "needed, ridden without stopping or braking")


def _located(spec: Runs) -> Runs:
    """Rides from their first fix on the map to the last, which tell the wind by its direction."""
    if not all(ride.has_position for ride in spec.rides):
        return spec
    first = [float(ride.distance[ride.fixes[0]]) for ride in spec.rides]
    return replace(spec, rides=tuple(ride.between(*ride.fixes) for ride in spec.rides),
                   along=tuple(known.between(*ride.fixes)
                               for ride, known in zip(spec.rides, spec.along, strict=False)),
                   left_out=tuple((k, low - first[k], high - first[k])
                                  for k, low, high in spec.left_out))


def spacing_of(length: float, lap: float | None) -> float:
    """Metres between nodes for rides of a `length` in all, on laps of `lap` metres if on any."""
    most = math.inf if lap is None else max(_PART_OF_LAP * lap, _SHORTEST)
    return min(max(length / SEGMENTS, _SHORTEST), most)


def used_share(length: float, spacing: float) -> float:
    """Part of each ride that is used."""
    return min(_MOST_SEGMENTS * spacing / length, 1.0)


def _first(ride: Ride, share: float) -> Ride:
    """Give the first part of a ride."""
    return ride.between(0, _end(ride, share))


def _end(ride: Ride, share: float) -> int:
    """Sample after the last one of the first part of a ride."""
    return (len(ride.time) if share == 1.0
            else int(np.searchsorted(ride.distance, share * ride.length)))


def _asked(spec: Runs, segments: Segments) -> NDArray[np.bool_]:
    start, end = (segments.node_distance[segments.first + k] for k in (0, 1))
    out = np.zeros(len(segments), dtype=bool)
    for ride, low, high in spec.left_out:
        out |= (segments.ride == ride) & (start < high) & (end > low)
    return out


def _fit_without_the_odd(spec: Runs, segments: Segments, groups: NDArray[np.int64],
                         reasons: dict[str, NDArray[np.bool_]],
                         sizes: dict[str, float] | None,
                         ) -> tuple[Balance, Posterior, dict[str, NDArray[np.bool_]], float]:
    """Fit, leave out what does not fit, fit again; the part with little drag, if too common.

    Each stretch that is left out raises the CdA of what remains, and the next one looks sheltered
    by it. What is common is no exception, and where no heading is known a tail wind looks the
    same: then it all counts, and the range has both answers.
    """
    most = _MOST_DRAFT if np.isfinite(segments.samples.heading).any() else 0.0
    odd, drafting = (np.zeros(len(segments), dtype=bool) for _ in range(2))
    plain = np.any(list(reasons.values()), axis=0)
    common = 0.0
    for _ in range(_ODD_ROUNDS):
        balance, posterior = _fitted(spec, segments, groups, ~(plain | odd | drafting), sizes)
        size = np.abs(np.nan_to_num(posterior.score))
        new = size > max(_ODD_SCORE, 0.8 * float(size.max()))
        if (odd | new).mean() > _MOST_ODD:
            break
        run, _ = draft_of_others(posterior.drag, posterior.weighted, posterior.row_precision,
                                 segments.clock[balance.kept], segments.ride[balance.kept])
        if not new.any() and run is None:
            break
        odd |= new
        if run is not None:
            drafting[balance.kept[run]] = True
        common = float(segments.duration[drafting].sum() / segments.duration[~plain].sum())
        if common > most:
            break
    if common <= most:
        return balance, posterior, {**reasons, DRAFT: drafting, ODD: odd}, 0.0
    try:
        _, without = _fitted(spec, segments, groups, ~(plain | odd | drafting), sizes)
    except InputError:  # too little is left; the fit before the last stretch went has to do
        without = posterior
    nothing = np.zeros_like(drafting)
    balance, posterior = _fitted(spec, segments, groups, ~(plain | odd), sizes)
    mean, covariance = posterior.moments()
    apart = without.moments()[0] - mean
    # Whatever else was known would leave this open; known itself, it would leave the rest.
    shrinks = {**{name: math.hypot(sd, apart[0]) for name, sd in posterior.shrinks.items()},
               "lee or tail wind": math.sqrt(covariance[0, 0])}
    posterior = replace(posterior, covariance=posterior.covariance + np.outer(apart, apart),
                        shrinks=shrinks)
    return balance, posterior, {**reasons, DRAFT: nothing, ODD: odd}, common


def _fitted(spec: Runs, segments: Segments, groups: NDArray[np.int64], kept: NDArray[np.bool_],
            sizes: dict[str, float] | None) -> tuple[Balance, Posterior]:
    if kept.sum() < _LEAST:
        raise InputError(spec.rides[0].place, "", f"has {int(kept.sum())} stretches that show "
                         "the drag", f"at least {_LEAST} of {_SHORTEST:.0f} m or more "
                         "are needed, ridden without stopping or braking")
    balance = balance_of(segments, spec.bike.rolling_resistance, spec.assumptions, ~kept)
    if len(balance.data) < _LEAST_EACH:
        raise InputError(spec.rides[0].place, "", "passes hardly any place twice and has no "
                         "heights, so the work of climbing is unknown",
                         "ride laps or out and back, or record elevation_m")
    return balance, posterior_of(balance, groups, sizes)


def draft_words(share: float) -> str:
    """Say that much of a ride had less drag than the rest, and what was made of it."""
    return (f"{100 * share:.0f} % of the time had less drag than the rest. A wind that the ride "
            "does not show looks like this, so that it counts and the range of CdA is wider: "
            "record positions, and state the wind")


def _result(spec: Runs, names: tuple[str, ...], balance: Balance, posterior: Posterior,
            reasons: dict[str, NDArray[np.bool_]]) -> FieldTest:
    segments = balance.segments
    free, least = posterior, least_rolling(spec.bike)
    most = most_rolling(spec.bike)
    impossible, too_rough = free.share_below(least), free.share_above(most)
    free_mean, free_covariance = free.moments()
    if impossible > _NOTHING:
        posterior = posterior.with_least_rolling(least)
    if too_rough > _NOTHING:
        posterior = posterior.with_most_rolling(most)
    mean, covariance = posterior.moments()
    unit = np.eye(len(mean))
    limits = np.array([posterior.quantiles(direction, (0.05, 0.95)) for direction in unit])
    wind = posterior.weight @ posterior.wind
    samples = segments.samples
    inside = samples.segment >= 0
    weight = samples.weight[inside]

    def over_time(values: NDArray[np.float64]) -> float:
        return float(np.average(values[inside], weights=weight))

    east, north = samples.east + wind[0], samples.north + wind[1]
    ahead = samples.speed - np.nan_to_num(east * np.sin(samples.heading)
                                          + north * np.cos(samples.heading))
    across = np.nan_to_num(east * np.cos(samples.heading) - north * np.sin(samples.heading))
    yaw = np.abs(np.arctan2(across, np.maximum(ahead, 0.1)))
    marked = np.any(list(reasons.values()), axis=0)
    counts = np.bincount(segments.nodes.place)
    clock = np.array([np.mean(segments.clock[segments.ride == k]) for k in range(len(spec.rides))])
    return FieldTest(
        spec=spec, names=names, drag_area=mean[:-1],
        drag_area_sd=np.sqrt(np.diag(covariance))[:-1], drag_area_low=limits[:-1, 0],
        drag_area_high=limits[:-1, 1], rolling_resistance=float(mean[-1]),
        rolling_resistance_sd=float(np.sqrt(covariance[-1, -1])),
        rolling_resistance_low=float(limits[-1, 0]),
        rolling_resistance_high=float(limits[-1, 1]), covariance=covariance,
        wind=(over_time(east), over_time(north)),
        shrinks=posterior.shrinks, pattern=posterior.pattern,
        free_rolling_resistance=float(free_mean[-1]),
        free_rolling_resistance_sd=float(np.sqrt(free_covariance[-1, -1])), impossible=impossible,
        too_rough=too_rough,
        left_out=left_out_of(segments, reasons),
        share_left_out=float(segments.duration[marked].sum() / segments.duration.sum()),
        laps=int(np.median(counts[counts > 0])), speed=over_time(samples.speed),
        air_density=over_time(samples.density), yaw=float(np.median(yaw[inside])), clock=clock,
        posterior=posterior, free=free, segments=segments)

