"""From what a rider knows to the rider of a plan: efforts, a few figures, defaults for the rest."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from optimizer.defaults import NINE_IN_TEN
from optimizer.errors import InputError
from optimizer.rider import defaults
from optimizer.rider.effort import RunTarget, share_for_run
from optimizer.rider.power_duration import (
    EFFORT_NOISE,
    HALF_HOUR,
    MODELS,
    Efforts,
    Model,
    PowerCurve,
    best_alone,
    bootstrap,
    choose_model,
    effort_errors,
    effort_warnings,
    fit_curve,
    never_shown,
)
from optimizer.rider.rider import AltitudeResponse, HeatResponse, Position, Recovery, Rider

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Ability", "Known", "KnownPosition", "assess_efforts", "fit_rider"]

_SHORTEST: Final = 120.0  # s; shorter efforts cannot use up W' (common practice)
# Judgements, no source, these three.
_DRAG_BAND: Final = 0.04  # relative standard error of a CdA that the rider states without one
_POWER_BAND: Final = 0.05  # of a stated CP
_WORK_BAND: Final = 0.20  # of a stated W'
_MOST_W_PRIME: Final = 80e3  # J, as a rider's file allows
_FEWEST: Final = 2  # efforts that a fit of best powers is left with
_RIDEABLE: Final = 0.85  # of CP and of the power limit; less is a tuck, not a way to ride
_UPRIGHT: Final = {"upright", "hoods"}


@dataclass(frozen=True)
class Ability:
    """What best efforts say about a rider.

    Attributes
    ----------
    efforts : those that the fit uses
    left_out : those it does not, and why
    curve : the fit that counts; beyond half an hour with an assumed loss where no effort
        is as long
    others : fits of the other models, for comparison
    standard_error : (4,) of CP, W', Pmax, L: the larger of the fit's own and what a day-to-day
        error of each effort makes of it, with the uncertainty about an assumed L added
    draws : (b, 4) bootstrap refits of CP, W', Pmax, L
    warnings : what is wrong with the efforts
    notes : what was understood of their file
    contradictions : those of the warnings that a plan has to say as well
    """

    efforts: Efforts
    curve: PowerCurve
    standard_error: NDArray[np.float64]
    draws: NDArray[np.float64]
    others: tuple[PowerCurve, ...] = ()
    left_out: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    contradictions: tuple[str, ...] = ()

    def band(self, duration: NDArray[np.float64], level: float = 0.95) -> NDArray[np.float64]:
        """(2, m) limits of the power that can be held for each duration.

        From the bootstrap, whose draws of CP and W' are spread to their standard errors where
        those are larger: few efforts that happen to lie on a curve say little of their errors.
        """
        from optimizer.rider.power_duration import mean_power

        own, draws = np.std(self.draws[:, :2], axis=0), self.draws.copy()
        wider = np.maximum(self.standard_error[:2] / np.where(own > 0.0, own, np.inf), 1.0)
        middle = self.curve.parameters[:2]
        draws[:, :2] = middle + wider * (draws[:, :2] - middle)
        sensible = np.all(draws[:, :2] > 0.0, axis=1)
        power = mean_power(self.curve.model, draws[sensible, None, :], duration)
        tail = 50.0 * (1.0 - level)
        return np.asarray(np.percentile(power, [tail, 100.0 - tail], axis=0))


@dataclass(frozen=True)
class KnownPosition:
    """A way to sit, as far as the rider knows it: m², m², share of CP, of Pmax, s."""

    name: str
    drag_area: float | None = None
    drag_area_sd: float | None = None
    power_share: float | None = None
    max_power_share: float = 1.0
    longest: float = float("inf")


@dataclass(frozen=True)
class Known:
    """What a rider knows, in SI; None for what they do not.

    `surge_share` limits the power to a multiple of CP where `max_power` is not stated;
    `run` is the run that follows.
    """

    mass: float
    name: str = "rider"
    height: float | None = None
    level: defaults.Level | None = None
    critical_power: float | None = None
    critical_power_sd: float | None = None
    w_prime: float | None = None
    w_prime_sd: float | None = None
    max_power: float | None = None
    surge_share: float | None = None
    endurance_loss: float | None = None
    positions: tuple[KnownPosition, ...] = ()
    recovery: Recovery = "linear"
    recovery_share: float | None = None
    reserve_floor: float = 0.0
    effort_exponent: float | None = None
    effort_exponent_sd: float | None = None
    pedalling_speed: float | None = None
    effort_share: float = 1.0
    run: RunTarget | None = None
    altitude_response: AltitudeResponse = "none"
    heat_response: HeatResponse = "none"
    tested_elevation: float = 0.0
    tested_temperature: float = 293.15


def assess_efforts(efforts: Efforts, model: Model | None = None, *,
                   endurance_loss: float | None = None, draws: int = 1000,
                   seed: int = 0) -> Ability:
    """Fit every model that the efforts allow and say which one counts.

    With a single effort W' is assumed.

    Parameters
    ----------
    efforts : best efforts
    model : None leaves the choice to the information criterion; efforts under two minutes are then
        left out
    endurance_loss : L, part of CP, where it is known
    draws, seed : of the bootstrap

    Returns
    -------
    all curves, the one that counts and its errors

    Raises
    ------
    InputError
        where the efforts make no sensible curve
    """
    used, left_out = _usable(efforts, model)
    used, not_best = best_alone(used)
    left_out = (*left_out, *not_best)
    loss = defaults.ENDURANCE_LOSS if endurance_loss is None else endurance_loss
    if len(used) == 1:
        found = _from_one(used, loss, left_out, draws, seed)
        return replace(found, notes=efforts.notes)
    curve = fit_curve(used, model or choose_model(used, loss), loss)
    if used.overlapping:
        used, curve, easier = _above_what_was_ridden(used, curve, model, loss)
        left_out = (*left_out, *easier)
    elif curve.w_prime > _MOST_W_PRIME:
        raise InputError(
            "efforts", "", f"make a W' of {curve.w_prime / 1e3:.0f} kJ, which no rider has",
            f"the shortest lasts {used.duration[0] / 60:.0f} min: are the minutes seconds? "
            "Otherwise add an effort of three to twelve minutes")
    loss_sd = defaults.ENDURANCE_LOSS_SD if endurance_loss is None else 0.0
    error = effort_errors(used, curve)
    error = np.maximum(np.nan_to_num(curve.standard_error()), error)
    drawn = bootstrap(used, curve, draws, seed)
    beyond = (*(f"{words} and is left out" for words in not_best), *never_shown(used, curve))
    others, warnings = _others(used, curve, loss), (*beyond, *effort_warnings(used, curve))
    if curve.model not in {"long", "omni"} and (curve.model == "long-assumed"
                                                or used.duration[-1] <= HALF_HOUR):
        slope = _by_loss(used, curve, loss)
        error = np.hypot(error, loss_sd * slope)
        moved = loss_sd * np.random.default_rng(seed + 1).standard_normal((draws, 1))
        drawn = np.where(slope == 0.0, drawn, drawn + moved * slope)
        drawn[:, 3] = loss + moved[:, 0]
        curve = replace(curve, endurance_loss=loss)
    return Ability(used, curve, error, drawn, others, left_out, warnings,
                   efforts.notes, beyond)


def _above_what_was_ridden(efforts: Efforts, curve: PowerCurve, model: Model | None, loss: float,
                           ) -> tuple[Efforts, PowerCurve, tuple[str, ...]]:
    """Fit best powers of rides so that the curve is no lower than what was ridden.

    Not every duration was ridden to the limit: what lies furthest below the curve is left out
    until no effort lies above it by more than efforts vary from day to day.
    """
    easier: list[str] = []
    while len(efforts) > _FEWEST and np.any(curve.residual > 0.5 * EFFORT_NOISE * efforts.power):
        worst = int(np.argmin(curve.residual / efforts.power))
        easier.append(f"{efforts.power[worst]:.0f} W for {efforts.duration[worst] / 60:.3g} min: "
                      "other efforts show that it was ridden easily")
        kept = np.delete(np.arange(len(efforts)), worst)
        source = tuple(efforts.source[k] for k in kept) if efforts.source else ()
        fewer = Efforts(efforts.duration[kept], efforts.power[kept], source, True)
        try:
            curve = fit_curve(fewer, model or choose_model(fewer, loss), loss)
        except InputError:
            break
        efforts = fewer
    return efforts, curve, tuple(easier)


def _by_loss(efforts: Efforts, curve: PowerCurve, loss: float) -> NDArray[np.float64]:
    """(4,) derivative of CP, W', Pmax, L by the loss over hours that was taken as known."""
    if curve.model != "long-assumed":
        return np.array([0.0, 0.0, 0.0, 1.0])
    small = 1e-4
    moved = fit_curve(efforts, curve.model, loss + small)
    return np.array([(moved.critical_power - curve.critical_power) / small,
                     (moved.w_prime - curve.w_prime) / small, 0.0, 1.0])


def _usable(efforts: Efforts, model: Model | None) -> tuple[Efforts, tuple[str, ...]]:
    if not len(efforts):
        raise InputError("efforts", "", "there are none", "give at least one best effort")
    if model is not None or efforts.duration[-1] < _SHORTEST:
        return efforts, ()
    dropped = efforts.duration[efforts.duration < _SHORTEST]
    return efforts.within(_SHORTEST), tuple(
        f"{span:.0f} s: under two minutes, too short for W'" for span in dropped)


def _others(efforts: Efforts, curve: PowerCurve, loss: float) -> tuple[PowerCurve, ...]:
    out = []
    for model in MODELS:
        same = model == "long-assumed" and efforts.duration[-1] <= HALF_HOUR  # as "inverse-time"
        if model != curve.model and not same:
            try:
                out.append(fit_curve(efforts, model, loss))
            except InputError:
                continue
    return tuple(out)


def _from_one(efforts: Efforts, loss: float, left_out: tuple[str, ...], draws: int,
              seed: int) -> Ability:
    """CP from one effort with the W' of a published group."""
    t, power = float(efforts.duration[0]), float(efforts.power[0])
    kept = 1.0 - loss * np.log(max(t, HALF_HOUR) / HALF_HOUR)
    cp = (power - defaults.W_PRIME / t) / kept
    if cp <= 0.0:
        raise InputError("efforts", "", f"one effort of {t:.0f} s is not enough for critical power",
                         "give an effort of five minutes or more as well")
    rng = np.random.default_rng(seed)
    w_prime = np.maximum(defaults.W_PRIME + defaults.W_PRIME_SD * rng.standard_normal(draws), 2e3)
    measured = power * (1.0 + EFFORT_NOISE * rng.standard_normal(draws))
    drawn = np.stack([(measured - w_prime / t) / kept, w_prime, np.full(draws, np.inf),
                      np.full(draws, loss)], axis=1)
    error = np.array([np.hypot(EFFORT_NOISE * power, defaults.W_PRIME_SD / t) / kept,
                      defaults.W_PRIME_SD, 0.0, defaults.ENDURANCE_LOSS_SD])
    curve = PowerCurve("long-assumed", float(cp), defaults.W_PRIME, endurance_loss=loss,
                       residual=np.zeros(1), aicc=np.inf)
    return Ability(efforts, curve, error, drawn, (), left_out, (
        ("one effort is not enough for both critical power and W': W' is that of a published "
         "group; add a second effort of another length, say five minutes"),))


def fit_rider(known: Known, ability: Ability | None = None) -> Rider:
    """Rider for a plan: what was stated first, then what efforts say, then defaults.

    Parameters
    ----------
    known : what the rider's file states
    ability : what efforts say, where there are any

    Returns
    -------
    rider in SI; every default is listed in `assumed`

    Raises
    ------
    InputError
        for a run target that cannot be met
    """
    assumed: list[str] = []
    cp, cp_sd, w_prime, w_sd = _power(known, ability, assumed)
    loss, loss_sd = _loss(known, ability, assumed)
    positions, area_sd = _positions(known, assumed)
    if known.recovery == "partial" and known.recovery_share is None:
        assumed.append("half of what is left below CP refills the reserve (common practice)")
    share = 0.5 if known.recovery_share is None else known.recovery_share
    exponent, exponent_sd = _exponent(known, assumed)
    if known.pedalling_speed is None:
        assumed.append(f"you stop pedalling above {3.6 * defaults.PEDALLING_SPEED:.0f} km/h "
                       "(common practice)")
    return Rider(
        name=known.name, mass=known.mass, critical_power=cp, w_prime=w_prime,
        max_power=_surge_cap(known, cp, assumed), positions=positions, recovery=known.recovery,
        recovery_share=share if known.recovery == "partial" else 1.0,
        reserve_floor=known.reserve_floor, critical_power_sd=cp_sd, w_prime_sd=w_sd,
        drag_area_sd=area_sd, assumed=tuple(assumed), endurance_loss=loss,
        endurance_loss_sd=loss_sd, effort_share=known.effort_share,
        time_share=1.0 if known.run is None else share_for_run(known.run, loss),
        run_fresh_time=0.0 if known.run is None else known.run.fresh_time,
        altitude_response=known.altitude_response, heat_response=known.heat_response,
        tested_elevation=known.tested_elevation, tested_temperature=known.tested_temperature,
        effort_exponent=exponent, effort_exponent_sd=exponent_sd,
        warnings=() if ability is None or known.critical_power else ability.contradictions,
        pedalling_speed=known.pedalling_speed or defaults.PEDALLING_SPEED)


def _exponent(known: Known, assumed: list[str]) -> tuple[float, float]:
    """Exponent of the effort law with its standard error."""
    value, sd = known.effort_exponent, known.effort_exponent_sd
    if value is None:
        value = defaults.EFFORT_EXPONENT
        assumed.append(f"strain grows with power to the exponent {value:g} ± "
                       f"{NINE_IN_TEN * defaults.EFFORT_EXPONENT_SD:.1f} (common practice)")
        return value, defaults.EFFORT_EXPONENT_SD
    return value, defaults.EFFORT_EXPONENT_SD if sd is None else sd


def _power(known: Known, ability: Ability | None,
           assumed: list[str]) -> tuple[float, float, float, float]:
    """CP and W', each with its standard error."""
    if ability is not None:
        cp, w_prime = ability.curve.critical_power, ability.curve.w_prime
        cp_sd, w_sd = map(float, ability.standard_error[:2])
        if len(ability.efforts) == 1 and known.w_prime is None:
            assumed.append(_said_w_prime())
    else:
        cp = defaults.CRITICAL_POWER_PER_KG[known.level or "trained"] * known.mass
        cp_sd, w_prime, w_sd = defaults.LEVEL_BAND * cp, defaults.W_PRIME, defaults.W_PRIME_SD
        if known.critical_power is None:
            who = known.level or "trained (the level was not stated either)"
            assumed.append(f"critical power {cp:.0f} ± {NINE_IN_TEN * cp_sd:.0f} W: "
                           f"{cp / known.mass:.1f} W/kg for a rider who is {who}; two best "
                           "efforts tell it far better (common practice)")
        if known.w_prime is None:
            assumed.append(_said_w_prime())
    if known.critical_power is not None:
        cp = known.critical_power
        cp_sd = _band(known.critical_power_sd, _POWER_BAND * cp,
                      f"critical power is right within ± {NINE_IN_TEN * _POWER_BAND * cp:.0f} W (a "
                      "judgement)", assumed)
    if known.w_prime is not None:
        w_prime = known.w_prime
        w_sd = _band(known.w_prime_sd, _WORK_BAND * w_prime,
                     f"W' is right within ± {NINE_IN_TEN * _WORK_BAND * w_prime / 1e3:.1f} kJ (a "
                     "judgement)", assumed)
    return cp, cp_sd, w_prime, w_sd


def _said_w_prime() -> str:
    return (f"W' {defaults.W_PRIME / 1e3:.1f} ± {NINE_IN_TEN * defaults.W_PRIME_SD / 1e3:.1f} kJ: "
            "eight trained cyclists of a published group")


def _band(stated: float | None, default: float, sentence: str, assumed: list[str]) -> float:
    if stated is not None:
        return stated
    assumed.append(sentence)
    return default


def _loss(known: Known, ability: Ability | None, assumed: list[str]) -> tuple[float, float]:
    if known.endurance_loss is not None:
        return known.endurance_loss, 0.0
    if ability is not None and ability.curve.model in {"long", "omni"}:
        return ability.curve.endurance_loss, float(ability.standard_error[3])
    per_doubling = 100 * np.log(2.0)
    assumed.append("beyond half an hour the power that can be held falls by "
                   f"{per_doubling * defaults.ENDURANCE_LOSS:.1f} ± "
                   f"{per_doubling * NINE_IN_TEN * defaults.ENDURANCE_LOSS_SD:.1f} % of critical "
                   "power with each doubling of the time (the order of Pinot and Grappe 2014); a "
                   "best effort of two hours or more would show it")
    return defaults.ENDURANCE_LOSS, defaults.ENDURANCE_LOSS_SD


def _surge_cap(known: Known, cp: float, assumed: list[str]) -> float:
    if known.max_power is not None:
        return known.max_power
    share = known.surge_share
    if share is None:
        share = defaults.SURGE_CAP
        assumed.append(f"surges up to {share * cp:.0f} W, {share:g} times critical power "
                       "(common practice)")
    return share * cp


def _positions(known: Known, assumed: list[str]) -> tuple[tuple[Position, ...], float]:
    """At least two ways to sit, the fastest one first, and the error of its CdA."""
    asked = tuple(sorted(known.positions or (KnownPosition("aero"),), key=_slowness))
    if len(asked) == 1 and asked[0].name not in _UPRIGHT:
        asked = (*asked, KnownPosition("upright"))
        assumed.append("an upright position for climbs and corners")
    base, base_sd = _aero_area(known, asked, assumed)
    out = []
    for position in asked:
        ratio = defaults.POSITION_RATIOS.get(position.name, 1.0)
        area = position.drag_area
        if area is None:
            area = base * ratio
            if position is not asked[0]:
                assumed.append(f"CdA {area:.2f} m² in the position {position.name}, "
                               f"{ratio:.2f} times aero (after Jeukendrup and Martin 2001)")
        out.append(Position(position.name, area, _power_share(position, assumed),
                            position.max_power_share, position.longest))
    scale = out[0].drag_area / base if asked[0].drag_area is None else 1.0
    return tuple(out), base_sd * scale


def _slowness(position: KnownPosition) -> tuple[bool, float]:
    """Key that sorts the position for the flat first: the least drag in which one can ride hard."""
    ratio = defaults.POSITION_RATIOS.get(position.name, 1.0)
    weak = (position.power_share or 1.0) < _RIDEABLE or position.max_power_share < _RIDEABLE
    return weak, position.drag_area or 0.27 * ratio


def _aero_area(known: Known, asked: tuple[KnownPosition, ...],
               assumed: list[str]) -> tuple[float, float]:
    """CdA on which the others rest: a stated one, else by the size of the body."""
    stated = next((p for p in asked if p.drag_area is not None), None)
    if stated is not None and stated.drag_area is not None:
        sd = _band(stated.drag_area_sd, _DRAG_BAND * stated.drag_area,
                   f"CdA is right within ± {NINE_IN_TEN * _DRAG_BAND * stated.drag_area:.3f} m² (a "
                   "judgement)", assumed)
        ratio = defaults.POSITION_RATIOS.get(stated.name, 1.0)
        on_first = stated is asked[0]
        return stated.drag_area / ratio, sd if on_first else sd / ratio
    height = known.height
    if height is None:
        height = defaults.height_from_mass(known.mass)
        assumed.append(f"height {100 * height:.0f} cm, from the mass")
    area, sd = defaults.drag_area_from_body(known.mass, height)
    if known.height is None:
        sd *= 1.15
    assumed.append(f"CdA {area:.3f} ± {NINE_IN_TEN * sd:.3f} m² on time-trial bars, from mass and "
                   "height (frontal area after Bassett et al. 1999); a field test tells more")
    return area, sd


def _power_share(position: KnownPosition, assumed: list[str]) -> float:
    if position.power_share is not None:
        return position.power_share
    if position.name != "aero":
        return 1.0
    assumed.append(f"{100 * defaults.AERO_POWER_SHARE:.0f} % of critical power can be held on "
                   "time-trial bars (common practice); 100 % if the efforts were ridden on them")
    return defaults.AERO_POWER_SHARE
