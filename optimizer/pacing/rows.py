"""The rows of the pacing program, each declared once: solver, bounds and prices read them here.

A row of a step says  Σ c x + f ≤ right,  with the coefficients c of the six unknowns that meet on
a step, and with f for two rows one of the two functions of the program that are not linear. From
that follow its value, its derivatives, its part of the Newton matrix, its line of the linear
program and the box of the unknowns. The effort row couples all steps and stays in `convex`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from optimizer.pacing.convex import ConvexProgram

__all__ = ["E0", "E1", "W0", "W1", "F", "Nonlinear", "Row", "Terms", "Z", "add_terms", "prices",
           "rows_of", "times_terms"]

F, Z, E0, E1, W0, W1 = range(6)
"""Unknowns of a step: crank work f, pace z, energy and reserve at its start and at its end."""

Term = tuple[int, "float | NDArray[np.float64]"]
"""An unknown with its coefficient, a number or (n,)."""

Terms = tuple[Term, ...]

Nonlinear = Literal["drag", "pace"]
"""F(ē), drag and bearing friction, or φ(e, e') = 2/(√(2e) + √(2e'))."""

_RESERVE_SIZE: Final = 0.02  # of W'


@dataclass(frozen=True, eq=False)
class Row:
    """One constraint on each step; those of a node belong to the step's end.

    Attributes
    ----------
    name : by which results and programs in other languages know it
    terms : of the left side
    right : a number or (n,)
    size : what is a large value, in the row's own unit
    unit : of the row; its multiplier is seconds of finish time per unit of `right`
    nonlinear : what is not linear in it, if anything
    """

    name: str
    terms: Terms
    right: float | NDArray[np.float64]
    size: float
    unit: str
    nonlinear: Nonlinear | None = None


def rows_of(program: ConvexProgram) -> tuple[Row, ...]:
    """Give the rows of a program, in the order of its multipliers.

    The first three, by their place, are what the solver's elimination is made for; others hold one
    node's energy or reserve, work and pace, or reserves with work less CP times pace.

    Parameters
    ----------
    program : of n steps

    Returns
    -------
    rows, in SI
    """
    p = program.problem
    step, cp, reserve = p.step, p.critical_power, _RESERVE_SIZE * p.w_prime
    found = [
        Row("work", ((E0, -program.inertia), (E1, program.inertia),
                     (F, -p.drivetrain_efficiency)), -program.resistance, 10.0, "N", "drag"),
        Row("pace", ((Z, -1.0),), 0.0, 0.05, "s/m", "pace"),
        Row("reserve", ((W0, -1.0), (W1, 1.0), (F, step), (Z, -step * cp)), 0.0, reserve, "J"),
        Row("power", ((F, 1.0), (Z, -p.power_limit)), 0.0, 5.0, "N"),
        Row("coast", ((F, -1.0),), 0.0, 5.0, "N"),
        Row("top", ((E1, 1.0),), program.top, 10.0, "m²/s²"),
        Row("bottom", ((E1, -1.0),), -program.bottom, 10.0, "m²/s²"),
        Row("full", ((W1, 1.0),), p.w_prime, reserve, "J"),
        Row("empty", ((W1, -1.0),), -p.reserve_floor, reserve, "J")]
    if program.recovery is not None:
        share = program.recovery * step
        found.append(Row("recovery", ((W0, -program.carry), (W1, 1.0), (F, share),
                                      (Z, -share * cp)), program.offset, reserve, "J"))
    return tuple(found)


def prices(program: ConvexProgram, multipliers: NDArray[np.float64],
           ) -> Mapping[str, NDArray[np.float64]]:
    """Seconds of finish time that each limit is worth, from the rows' multipliers.

    Envelope theorem: the multiplier times the derivative of the row by the quantity.

    Parameters
    ----------
    program : as it was solved
    multipliers : (rows, n)

    Returns
    -------
    by name: `joule` (n,) s/J of work at the cranks there, `reserve_joule` () s/J of W', `speed`
    (n + 1,) s per m/s of the speed limit, `critical_joule` (n,) s/J of CP by the reserve rows,
    `limit_joule` (n,) s/J of the power limit
    """
    p = program.problem
    y = dict(zip((row.name for row in program.rows), multipliers, strict=True))
    partial = y.get("recovery", np.zeros(p.steps))
    return {
        "joule": y["work"] * p.drivetrain_efficiency / p.step,
        "reserve_joule": y["reserve"][0] + partial[0] + np.sum(y["full"]),
        "speed": np.concatenate([[0.0], y["top"] * np.sqrt(2 * program.top)]),
        "critical_joule": y["reserve"] + partial * p.recovery,
        "limit_joule": y["power"] / p.step}


def add_terms(out: NDArray[np.float64], terms: Sequence[Term],
              unknowns: tuple[NDArray[np.float64], ...]) -> None:
    """Add Σ c x; ones and minus ones are the many, and are not multiplied.

    Parameters
    ----------
    out : (n,) to add to
    terms : unknowns with their coefficients c
    unknowns : six of (n,), in the order of the module

    Returns
    -------
    nothing
    """
    for column, c in terms:
        if isinstance(c, float) and abs(c) == 1.0:
            (np.add if c > 0 else np.subtract)(out, unknowns[column], out=out)
        else:
            out += c * unknowns[column]


def times_terms(out: list[NDArray[np.float64]], terms: Terms, y: NDArray[np.float64]) -> None:
    """Add c y to each unknown's sum: the transposed row.

    Parameters
    ----------
    out : six of (n,) to add to, in the order of the module
    terms : unknowns with their coefficients c
    y : (n,) weights of the row

    Returns
    -------
    nothing
    """
    for column, c in terms:
        if isinstance(c, float) and abs(c) == 1.0:
            (np.add if c > 0 else np.subtract)(out[column], y, out=out[column])
        else:
            out[column] += c * y
