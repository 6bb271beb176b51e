"""Any unit of a test to a change of drag area, Crr, efficiency or mass.

What the test does not state is assumed and counted as uncertainty; the formulas are those of the
units (`optimizer.evidence.units`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from optimizer.defaults import NINE_IN_TEN
from optimizer.evidence.priors import default_priors

if TYPE_CHECKING:
    from collections.abc import Callable

    from optimizer.evidence.datum import Figure
    from optimizer.evidence.priors import Priors
    from optimizer.evidence.properties import Channel
    from optimizer.evidence.reference import Reference

__all__ = ["Change", "change_of", "through"]

_Uncertain = Literal["speed", "air_density", "drag_area"]


@dataclass(frozen=True)
class Change:
    """A change of one property: drag area [m²], Crr, drivetrain efficiency or mass [kg].

    `own_sd` comes from the uncertainty that the source states, `assumed_sd` from what the
    source does not say and `assumptions` put in words; `slope` is d value / d stated value.
    """

    channel: Channel
    value: float
    slope: float
    own_sd: float | None
    assumed_sd: float
    assumptions: tuple[str, ...]


@dataclass(frozen=True)
class _Test:
    """Where the figure was found: a reference of its own, and what in it is assumed."""

    there: Reference
    uncertainties: tuple[tuple[_Uncertain, float], ...]
    words: tuple[str, ...]


def change_of(figure: Figure, reference: Reference, *, air_density: float | None = None,
              yaw: float = 0.0, priors: Priors | None = None) -> Change:
    """Convert a stated figure; what it leaves out is assumed, counted as uncertainty and listed.

    Parameters
    ----------
    figure : as its source states it, in SI
    reference : rider, bike and air that stand for what is not stated
    air_density : kg/m³ of the test, where it is stated
    yaw : rad, at which it was done
    priors : factors of the kinds of test; those of the package by default

    Returns
    -------
    change of CdA [m²], Crr, efficiency or mass [kg], its standard error, and what was assumed

    Raises
    ------
    InputError
        for a figure that no rider could show, such as more time saved than ridden
    """
    return through(figure, reference, lambda value, _: value, air_density=air_density, yaw=yaw,
                   priors=priors)


def through(figure: Figure, reference: Reference, then: Callable[[float, Reference], float], *,
            air_density: float | None = None, yaw: float = 0.0,
            priors: Priors | None = None) -> Change:
    """Convert a figure and go on.

    Uncertainties go through the whole chain. What neither the test nor the reference states is one
    and the same unknown: a force taken to watts at its own speed does not depend on the air, nor
    a percentage taken to a percentage on the rider.

    Parameters
    ----------
    figure : as its source states it, in SI
    reference : rider, bike and air that stand for what is not stated
    then : takes the change [SI] and the reference to what is asked for
    air_density : kg/m³ of the test, where it is stated
    yaw : rad, at which it was done
    priors : factors of the kinds of test; those of the package by default

    Returns
    -------
    what `then` makes of the change, its standard error, and what was assumed

    Raises
    ------
    InputError
        for a figure that no rider could show, such as more time saved than ridden
    """
    test = _test_of(figure, reference, air_density, priors or default_priors())
    common = [name for name in ("air_density", "drag_area") if name in reference.assumed
              and not (name == "air_density" and air_density is not None)]

    def value_at(stated: float, there: Reference) -> float:
        if figure.power is not None:
            there = replace(there, speed=float(there.speed_at(figure.power)))
        change = figure.counts.change(replace(figure, value=stated), there)
        # Along the bike ΔF = ½ρ ΔCdA V² cos β, V the whole air speed of the tunnel.
        change = change / math.cos(yaw) if figure.counts.along_bike else change
        here = {name: getattr(there, name) for name in common}
        return then(change, replace(reference, **here))

    value = value_at(figure.value, test.there)
    small = 1e-4 * abs(figure.value) or 1e-7
    slope = (value_at(figure.value + small, test.there)
             - value_at(figure.value - small, test.there)) / (2 * small)
    parts = [0.5 * (value_at(figure.value, _moved(test.there, name, sd))
                    - value_at(figure.value, _moved(test.there, name, -sd)))
             for name, sd in test.uncertainties]
    own = None if figure.uncertainty is None else abs(slope) * figure.uncertainty
    return Change(figure.acts_on, value, slope, own, math.hypot(*parts), test.words)


def _moved(there: Reference, name: _Uncertain, by: float) -> Reference:
    return replace(there, **{name: getattr(there, name) + by})


def _test_of(figure: Figure, reference: Reference, air_density: float | None,
             priors: Priors) -> _Test:
    """Speed, air and rider of the test, assumed where they are needed and not stated."""
    there, words = reference, []
    uncertainties: list[tuple[_Uncertain, float]] = []
    needs = figure.counts.needs
    moving = "speed" in needs
    if air_density is not None:
        there = replace(there, air_density=air_density)
    elif "air" in needs or (moving and figure.acts_on == "drag_area"):
        there = replace(there, air_density=priors.air_density)
        uncertainties.append(("air_density", priors.air_density_sd))
        words.append(f"air density not stated: {priors.air_density:.2f} ± "
                     f"{NINE_IN_TEN * priors.air_density_sd:.2f} kg/m³ assumed")
    if figure.speed is not None:
        there = replace(there, speed=figure.speed)
    elif figure.power is None and moving:
        there = replace(there, speed=priors.speed)
        uncertainties.append(("speed", priors.speed_sd))
        words.append(f"test speed not stated: {priors.speed * 3.6:.0f} ± "
                     f"{NINE_IN_TEN * priors.speed_sd * 3.6:.0f} km/h assumed")
    if "rider" in needs or (figure.power is not None and moving):
        sd = math.hypot(reference.drag_area_sd, priors.tested_rider_share * reference.drag_area)
        uncertainties.append(("drag_area", sd))
        words.append(f"whole drag of the tested rider not stated: CdA {reference.drag_area:.3f} "
                     f"± {NINE_IN_TEN * sd:.3f} m² assumed")
    return _Test(there, tuple(uncertainties), tuple(words))
