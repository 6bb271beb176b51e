"""What moves the finish time: each input, and each item of the catalogue."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from optimizer import defaults
from optimizer.conditions import starting_at
from optimizer.defaults import NINE_IN_TEN
from optimizer.evidence import Effect
from optimizer.job.values import ItemWorth, Job, Sensitivity
from optimizer.kit import setup_of
from optimizer.kit.alone import evidence_sd, grounds_of, seconds_saved
from optimizer.pacing import plan_ride, sensitivities

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from optimizer.day import RaceDay
    from optimizer.kit import KitSet
    from optimizer.pacing import Plan
    from optimizer.physics import Setup

__all__ = ["sensitivity_table", "worth"]

_EXPONENTS = (3.0, 6.0)  # of the effort law, that are defensible; common practice, no source


def worth(job: Job, owned: KitSet, plan: Plan) -> tuple[ItemWorth, ...]:
    """Seconds that each item saves on its own on top of what is owned, to first order.

    An item takes the place of what is owned there, and of what it excludes; one that is owned is
    weighed against the set without it. The multipliers of the plan with what is owned price the
    change; the uncertainty is that of the item's evidence.

    Parameters
    ----------
    job : as `read_scenario` gives it
    owned : the set that costs nothing
    plan : of that set

    Returns
    -------
    s saved by each, with its 90 % range
    """
    slope = sensitivities(plan)
    effects = {effect.item: effect for effect in job.effects}
    found = []
    for item in job.catalogue.items:
        others = [name for name in owned.items if job.catalogue[name].place != item.place
                  and name not in item.excludes and item.name not in job.catalogue[name].excludes]
        before = others if item.name in owned.items else owned.items
        without, with_it = (setup_of(job.baseline, job.catalogue, job.effects, names)
                            for names in (before, [*others, item.name]))
        effect = effects.get(item.name, Effect(item.name))
        saved = seconds_saved(slope, without, with_it)
        uncertainty = NINE_IN_TEN * evidence_sd(slope, [effect])
        found.append(ItemWorth(item.name, saved, saved - uncertainty, saved + uncertainty,
                               grounds_of(item, effects.get(item.name))))
    return tuple(found)


def sensitivity_table(day: RaceDay, chosen: KitSet, plan: Plan,
                      effects: Sequence[Effect] = ()) -> tuple[Sensitivity, ...]:
    """Say what one input more or less does to the finish time, each by a plan of its own.

    What the tests of the chosen items leave open is one input, by the multipliers of the plan.

    Parameters
    ----------
    day : course, weather and rider of the race day
    chosen : set of kit
    plan : plan of the ride
    effects : what each item does

    Returns
    -------
    s by input
    """
    found = []
    day = replace(day, pedalling=plan.pedalling)  # the same stretches, so that they cancel
    for what in (*_of_the_wind(day), *_of_the_rider(day), *_of_the_bike(day, chosen.setup)):
        other = plan_ride(what.day, what.setup or chosen.setup, warm=plan, bounded=False)
        seconds = other.finish_time - plan.finish_time
        found.append(Sensitivity(what.name, what.change, seconds, what.uncertainty,
                                 abs(what.units * seconds) if what.uncertainty else math.nan))
    sd = evidence_sd(sensitivities(plan), [one for one in effects if one.item in chosen.items])
    if sd > 0:
        found.append(Sensitivity("Kit evidence", "one standard deviation worse, all items together",
                                 sd, "that of each item", sd))
    return tuple(found)


@dataclass(frozen=True)
class _What:
    """A changed day, the change in words, its uncertainty in words and in units of it."""

    name: str
    change: str
    day: RaceDay
    uncertainty: str = ""
    units: float = 0.0
    setup: Setup | None = None


def _of_the_wind(day: RaceDay) -> Iterator[_What]:
    air = day.conditions
    wind = float(air.wind_speed.mean())
    if wind < 0.1:
        yield _What("Wind", "5 km/h from the west", _with_air(day, wind_east=air.wind_east
                                                              + 5 / 3.6))
    else:
        factor, turn = 1.0 + 1 / 3.6 / wind, math.radians(10.0)
        yield _What("Wind speed", "1 km/h more",
                    _with_air(day, wind_east=factor * air.wind_east,
                              wind_north=factor * air.wind_north),
                    f"± {100 * NINE_IN_TEN * air.speed_sd:.0f} % of it", air.speed_sd * wind * 3.6)
        yield _What("Wind direction", "10° clockwise", _with_air(
            day, wind_east=math.cos(turn) * air.wind_east + math.sin(turn) * air.wind_north,
            wind_north=math.cos(turn) * air.wind_north - math.sin(turn) * air.wind_east),
            f"± {math.degrees(NINE_IN_TEN * air.direction_sd):.0f}°", air.direction_sd / turn)
    yield _What("Air temperature", "5 °C warmer", _with_air(day, temperature=air.temperature + 5))
    if len(air.wind_time) > 1 and air.start_time is not None:
        later = starting_at(air, air.start_time + timedelta(hours=1))
        yield _What("Start", "an hour later", replace(day, conditions=later))


def _with_air(day: RaceDay, **changes: Any) -> RaceDay:
    return replace(day, conditions=replace(day.conditions, **changes))


def _of_the_rider(day: RaceDay) -> Iterator[_What]:
    rider = day.rider
    positions = tuple(replace(p, drag_area=p.drag_area + 0.005) for p in rider.positions)
    yield _What("Drag area", "0.005 m² more", _with_rider(day, positions=positions),
                f"± {NINE_IN_TEN * rider.drag_area_sd:.3f} m²" if rider.drag_area_sd else "",
                rider.drag_area_sd / 0.005)
    yield _What("Critical power", "5 W more",
                _with_rider(day, critical_power=rider.critical_power + 5.0),
                f"± {NINE_IN_TEN * rider.critical_power_sd:.0f} W"
                if rider.critical_power_sd else "",
                rider.critical_power_sd / 5.0)
    yield _What("Reserve W′", "1 kJ more", _with_rider(day, w_prime=rider.w_prime + 1000.0),
                f"± {NINE_IN_TEN * rider.w_prime_sd / 1000:.1f} kJ" if rider.w_prime_sd else "",
                rider.w_prime_sd / 1000.0)
    if rider.endurance_loss_sd:
        more = 0.01 / math.log(2.0)  # the loss counts by factors e of time
        yield _What("Endurance", "1 % of CP less for each doubling of the time",
                    _with_rider(day, endurance_loss=rider.endurance_loss + more),
                    f"± {NINE_IN_TEN * rider.endurance_loss_sd / more:.1f} %",
                    rider.endurance_loss_sd / more)
    for exponent in _EXPONENTS:
        if exponent != rider.effort_exponent:
            change = exponent - rider.effort_exponent
            least = min(_EXPONENTS, key=lambda other: abs(other - rider.effort_exponent) or 99.0)
            yield _What(
                "Effort exponent", f"{exponent:g} instead of {rider.effort_exponent:g}",
                _with_rider(day, effort_exponent=exponent),
                f"± {NINE_IN_TEN * rider.effort_exponent_sd:.1f}" if exponent == least
                and rider.effort_exponent_sd else "", rider.effort_exponent_sd / change)


def _with_rider(day: RaceDay, **changes: Any) -> RaceDay:
    return replace(day, rider=replace(day.rider, **changes))


def _stated(sd: float, words: str, default: float) -> str:
    """Give an uncertainty in words, with a word where it is the default; "" where there is none."""
    return "" if sd <= 0 else f"{words} (default)" if math.isclose(sd, default) else words


def _of_the_bike(day: RaceDay, setup: Setup) -> Iterator[_What]:
    tyres, mass = setup.rolling_resistance_sd, setup.mass_sd
    yield _What("Rolling resistance", "Crr 0.0002 more", day, _stated(
        tyres, f"± {NINE_IN_TEN * tyres:.4f}", defaults.ROLLING_RESISTANCE_SD.si), tyres / 0.0002,
        replace(setup, rolling_resistance=setup.rolling_resistance + 0.0002))
    yield _What("Mass", "1 kg more", _with_rider(day, mass=day.rider.mass + 1.0), _stated(
        mass, f"± {NINE_IN_TEN * mass:.1f} kg", defaults.MASS_SD.si), mass)
    yield _What("Drivetrain", "efficiency 1 % less", day, setup=replace(
        setup, drivetrain_efficiency=setup.drivetrain_efficiency - 0.01))
