"""Drag of exposed cables, hoses, tubes, bottles and number plates where no test exists.

Strip theory: handbook drag of a cylinder across the flow, the cross-flow principle for runs at
an angle, finite length, and shielding of parallel runs. The air near rider and bike is not that
of a handbook, so every result is a wide band.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from optimizer.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.evidence.priors import Trust

__all__ = ["Arrangement", "BluffDrag", "Run", "bluff_drag", "cylinder_drag_coefficient",
           "equal_drag_diameter", "equal_drag_thickness", "inclined_drag_coefficient",
           "length_factor", "plate_drag_coefficient", "shielding", "strut_drag_coefficient"]

AIR_VISCOSITY = 1.5e-5  # m²/s, kinematic, at 20 °C: tables of any textbook, 1.51e-5
PLATE_NORMAL = 1.2  # thin plate across: 1.17 (Hoerner 1965, from memory) to 1.28 (NASA Glenn)
AEROFOIL = 0.045  # Cd of a typical aerofoil by its thickness: NASA Glenn
SLENDERNESS = 180**0.25  # chord over thickness of the strut with least drag, Hoerner 1965
_FRICTION = 0.02  # along a cable, by its frontal area when across: Hoerner 1965, from memory
_PACKING = 0.75  # of a round bundle filled by its cables; 7 equal ones fill 7/9 (plane geometry)
# Errors of the laws, relative: judgements, no source.
_FITTINGS = 0.10  # for a smooth cylinder across
_INCLINED = 0.20  # further error at 45 degrees and less

Shape = Literal["round", "bottle", "plate", "section"]
Arrangement = Literal["unknown", "apart", "bundled", "behind"]

# Smooth circular cylinder across the flow: log-log reading of the handbook curve
# (Wieselsberger 1921; Schlichting, Boundary-Layer Theory), from memory, 10 %; beyond the
# drag crisis 0.2 to 0.4, and 0.7 above 3.5e6 (Roshko 1961, J. Fluid Mech. 10:345).
_CURVE = np.array([
    [1.0, 10.0], [10.0, 2.8], [40.0, 1.75], [100.0, 1.42], [300.0, 1.19], [1e3, 1.0],
    [2e3, 0.96], [5e3, 1.02], [1e4, 1.12], [2e4, 1.18], [1e5, 1.20], [2e5, 1.17], [3e5, 0.80],
    [4e5, 0.34], [6e5, 0.28], [1e6, 0.36], [3.5e6, 0.70], [1e7, 0.70]])

# Finite cylinder across the flow with free ends: length over diameter -> Cd.
# Aeronautical Engineer's Data Book, figure 5.13(b).
_FINITE = np.array([[1.0, 0.63], [2.0, 0.68], [5.0, 0.74], [10.0, 0.82], [40.0, 0.98],
                    [math.inf, 1.20]])


@dataclass(frozen=True)
class Run:
    """`count` equal bodies in the wind.

    Attributes
    ----------
    shape : "round" ends on other parts (cable, hose, tube), "bottle" has free ends, "section" is
        streamlined
    width : m, diameter, thickness of a section, or width of a plate
    length : m, exposed
    angle : rad between its axis (or plane) and the flow; pi/2 is across
    arrangement : of several: far apart, in a bundle, in line behind each other
    spacing : m from axis to axis, for "behind"
    text : as somebody wrote it
    chord : m, of a section along the flow
    """

    shape: Shape
    width: float
    length: float
    angle: float = math.pi / 2
    count: int = 1
    arrangement: Arrangement = "unknown"
    spacing: float = 0.0
    text: str = ""
    chord: float = 0.0


@dataclass(frozen=True)
class BluffDrag:
    """Drag area [m²] of some runs: in clean air, and near rider and bike, with their uncertainties.

    `apart` is what they would have each on its own in clean air, an upper bound. `thickness`
    (low, high) [m]: how thick a streamlined section may be for the drag of one cable of the
    first round run; nan where there is none. `law_sd` is the part of `clean_sd` that comes from
    the laws, which are wrong by the same share everywhere; `sorts` are what the runs are apart
    from how many and how long. `either_sign` of a difference that may be a loss.
    """

    clean: float
    clean_sd: float
    near: float
    near_sd: float
    apart: float
    thickness: tuple[float, float]
    law_sd: float = 0.0
    sorts: frozenset[tuple[object, ...]] = frozenset()
    either_sign: bool = False

    def less(self, after: BluffDrag, near: Trust) -> BluffDrag:
        """Drag that goes where these runs become those of `after`.

        Errors of the laws are common to both. How the runs stand is not, except where fewer or
        shorter ones of the same sort are left, or none: those stand as they stood.
        """
        clean, law = self.clean - after.clean, abs(self.law_sd - after.law_sd)
        stand, then = (math.sqrt(max(one.clean_sd**2 - one.law_sd**2, 0.0))
                       for one in (self, after))
        left = after.sorts <= self.sorts and clean >= 0.0 and then <= stand
        sd = math.hypot(law, stand - then if left else math.hypot(stand, then))
        return BluffDrag(clean, sd, near.factor * clean,
                         math.hypot(near.factor * sd, near.factor_sd * clean),
                         self.apart - after.apart, (math.nan, math.nan), law,
                         either_sign=not left)


def cylinder_drag_coefficient(reynolds: NDArray[np.float64] | float) -> NDArray[np.float64]:
    """Cd of a long smooth cylinder across the flow.

    Parameters
    ----------
    reynolds : by diameter, 1 to 1e7

    Returns
    -------
    drag coefficient by frontal area, within 10 %
    """
    return np.asarray(
        np.exp(np.interp(np.log(reynolds), np.log(_CURVE[:, 0]), np.log(_CURVE[:, 1]))))


def length_factor(aspect: NDArray[np.float64] | float) -> NDArray[np.float64]:
    """Drag of a cylinder with two free ends over that of an endless one.

    Parameters
    ----------
    aspect : length over diameter

    Returns
    -------
    factor on the drag coefficient
    """
    return np.asarray(
        np.interp(1.0 / np.asarray(aspect), 1.0 / _FINITE[::-1, 0], _FINITE[::-1, 1]) / 1.2)


def inclined_drag_coefficient(reynolds: NDArray[np.float64] | float,
                              angle: NDArray[np.float64] | float) -> NDArray[np.float64]:
    """Cd along the flow, by d times L, of a cylinder at `angle` [rad] between axis and flow.

    Cross-flow principle (R. T. Jones; Gowen and Perkins 1953): the flow across the axis makes
    its own drag, whatever flows along it: Cd = Cd(Re sin a) sin³ a, and friction along it.

    Parameters
    ----------
    reynolds : by diameter
    angle : rad, between axis and flow

    Returns
    -------
    drag coefficient by diameter times length
    """
    sine = np.maximum(np.abs(np.sin(angle)), 1e-3)
    return np.asarray(cylinder_drag_coefficient(np.asarray(reynolds) * sine) * sine**3
                      + _FRICTION * np.cos(angle) ** 2)


def plate_drag_coefficient(angle: NDArray[np.float64] | float) -> NDArray[np.float64]:
    """Cd along the flow, by its whole area, of a thin plate at `angle` [rad] to the flow.

    Normal force as across the flow above 45 degrees, in proportion to sin a below.

    Parameters
    ----------
    angle : rad, to the flow

    Returns
    -------
    drag coefficient by the whole area of the plate
    """
    sine = np.abs(np.sin(angle))
    return np.asarray(
        PLATE_NORMAL * np.minimum(1.0, sine / math.sin(math.pi / 4)) * sine + _FRICTION)


def shielding(spacing: NDArray[np.float64] | float, drag_coefficient: float = 1.0,
              ) -> NDArray[np.float64]:
    """Dynamic pressure in the wake of a cylinder over that outside.

    Plane far wake, u/U = 0.98 sqrt(Cd d / x) in the middle (Schlichting, Boundary-Layer
    Theory, from memory); closer than about four diameters the wake is dead air.

    Parameters
    ----------
    spacing : diameters behind the cylinder
    drag_coefficient : of the cylinder

    Returns
    -------
    share of the dynamic pressure, 0 to 1
    """
    deficit = np.minimum(0.98 * np.sqrt(drag_coefficient / np.asarray(spacing)), 1.0)
    return np.asarray((1.0 - deficit) ** 2)


def strut_drag_coefficient(reynolds: NDArray[np.float64] | float,
                           slenderness: float = SLENDERNESS) -> NDArray[np.float64]:
    """Cd of a streamlined strut.

    Hoerner 1965, Fluid-Dynamic Drag, from memory: Cd = 2 Cf (c/t + 2 + 60 (t/c)³), with the
    friction of a turbulent boundary layer, Cf = 0.074 Re^-1/5.

    Parameters
    ----------
    reynolds : by chord
    slenderness : chord over thickness

    Returns
    -------
    drag coefficient by thickness
    """
    friction = 0.074 * np.asarray(reynolds, dtype=float) ** -0.2
    return np.asarray(2 * friction * (slenderness + 2 + 60 / slenderness**3))


def equal_drag_thickness(diameter: float, speed: float) -> tuple[float, float]:
    """How thick a streamlined section may be for the drag of a cable, both across the flow.

    Parameters
    ----------
    diameter : m, of the cable
    speed : m/s, of the air

    Returns
    -------
    thickness [m] by `strut_drag_coefficient`, cautious, and for a typical aerofoil
    """
    per_length = float(cylinder_drag_coefficient(speed * diameter / AIR_VISCOSITY)) * diameter
    thickness = 10 * diameter
    for _ in range(40):  # Re^-1/5: each round leaves a fifth of the error
        thickness = per_length / float(
            strut_drag_coefficient(speed * SLENDERNESS * thickness / AIR_VISCOSITY))
    return thickness, per_length / AEROFOIL


def equal_drag_diameter(run: Run, speed: float) -> tuple[float, float]:
    """Diameters of the round cables that have the drag of a streamlined section.

    Parameters
    ----------
    run : streamlined section, across the flow
    speed : m/s, of the air

    Returns
    -------
    diameters [m], from the typical aerofoil's drag to that of the cautious law
    """
    found = []
    for coefficient in _section_coefficients(run, speed):
        diameter = coefficient * run.width
        for _ in range(60):  # Cd changes slowly with the diameter
            diameter = coefficient * run.width / float(
                cylinder_drag_coefficient(speed * diameter / AIR_VISCOSITY))
        found.append(diameter)
    return found[0], found[1]


def _section_coefficients(run: Run, speed: float) -> tuple[float, float]:
    """Least and largest Cd of a section across the flow, by its thickness."""
    cautious = float(strut_drag_coefficient(speed * run.chord / AIR_VISCOSITY,
                                            run.chord / run.width))
    return min(AEROFOIL, cautious), cautious


def bluff_drag(runs: tuple[Run, ...], speed: float, near: Trust) -> BluffDrag:
    """Drag area of exposed parts. Errors of the laws are common to all runs.

    Parameters
    ----------
    runs : exposed parts
    speed : m/s, of the air
    near : prior for computed figures: it stands for the disturbed flow near rider and bike

    Returns
    -------
    drag area [m²] in clean air and near rider and bike, with standard errors

    Raises
    ------
    InputError
        for a run that is not a body, such as one of no length
    """
    for run in runs:
        behind = run.arrangement == "behind"
        if not (min(run.width, run.length, run.count) > 0 and (run.spacing >= run.width
                                                               or not behind)):
            raise InputError("your input", "", f'"{run.text}" is not the size of a part',
                             "give diameter, exposed length, and a spacing from axis to axis")
    ranges = [_range(run, speed) for run in runs]
    low, high = sum(r[0] for r in ranges), sum(r[1] for r in ranges)
    apart = sum(r[2] for r in ranges)
    clean = 0.5 * (low + high)
    law = sum(0.5 * (r[0] + r[1]) * math.hypot(_FITTINGS, _INCLINED * _obliqueness(run))
              for run, r in zip(runs, ranges, strict=True))
    # Anything between low and high is as likely: sd of a uniform spread.
    clean_sd = math.hypot(law, (high - low) / math.sqrt(12))
    first = next((run for run in runs if run.shape == "round"), None)
    thickness = (math.nan, math.nan) if first is None else equal_drag_thickness(
        first.width, speed)
    return BluffDrag(clean, clean_sd, near.factor * clean,
                     math.hypot(near.factor * clean_sd, near.factor_sd * clean), apart, thickness,
                     law, frozenset((run.shape, run.width, run.angle, run.arrangement,
                                     run.spacing, run.chord) for run in runs))


def _obliqueness(run: Run) -> float:
    """0 across the flow, 1 at 45 degrees and less."""
    return min(1.0, abs(math.pi / 2 - run.angle) / (math.pi / 4))


def _range(run: Run, speed: float) -> tuple[float, float, float]:
    """Least and largest drag area of a run in clean air, and of its bodies each on its own."""
    if run.shape == "plate":
        one = float(plate_drag_coefficient(run.angle)) * run.width * run.length
        return (one, *2 * (run.count * one,)) if run.arrangement == "unknown" else (
            *3 * (run.count * one,),)
    if run.shape == "section":
        return _section_range(run, speed)
    free = float(length_factor(run.length / run.width))
    ends = (free, free) if run.shape == "bottle" else (free, 1.0)
    one = _round(run.width, run, speed)
    bundle = _round(run.width * math.sqrt(run.count / _PACKING), run, speed)
    bundle = one if run.count == 1 else min(bundle, run.count * one)
    match run.arrangement:
        case "apart":
            several = (run.count * one, run.count * one)
        case "bundled":
            several = (bundle, bundle)
        case "behind":
            several = 2 * (one * _in_line(run, speed),)
        case "unknown":
            # From all in one dead wake to all on their own.
            several = (one, run.count * one)
    return ends[0] * several[0], ends[1] * several[1], ends[1] * run.count * one


def _section_range(run: Run, speed: float) -> tuple[float, float, float]:
    """As `_range`, of streamlined sections: each on its own, by aerofoil and by strut."""
    sine = max(abs(math.sin(run.angle)), 1e-3)
    area = run.count * run.width * run.length
    friction = _FRICTION * math.cos(run.angle) ** 2
    low, high = (area * (coefficient * sine**3 + friction)
                 for coefficient in _section_coefficients(run, speed * sine))
    return low, high, high


def _round(diameter: float, run: Run, speed: float) -> float:
    """Drag area of one endless cylinder at the run's angle, over the run's length."""
    re = speed * diameter / AIR_VISCOSITY
    return float(inclined_drag_coefficient(re, run.angle)) * diameter * run.length


def _in_line(run: Run, speed: float) -> float:
    """Drag of a row of cylinders over that of its first; wakes add by their squares."""
    cd = float(cylinder_drag_coefficient(speed * run.width / AIR_VISCOSITY))
    ahead = np.arange(1.0, run.count)
    deficit = 1.0 - np.sqrt(shielding(ahead * run.spacing / run.width, cd))
    behind = (1.0 - np.minimum(np.sqrt(np.cumsum(deficit**2)), 1.0)) ** 2
    return 1.0 + float(behind.sum())
