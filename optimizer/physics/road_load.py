"""Forces on a rider; the one place where they are written.

Martin, Milliken, Cobb, McFadden and Coggan 1998, J. Appl. Biomech. 14:276-291. Where that
paper squares the air speed along the road, drag here acts along the relative wind,
F = ½ ρ CdA(β) v_a q with q the whole air speed, and turns its sign when a tail wind is
faster than the rider. A CdA(β) that was reduced with v_a² is brought to this convention by
multiplying it with cos β.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, cached_property
from typing import TYPE_CHECKING

import numpy as np

from optimizer.defaults import GRAVITY

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from numpy.typing import NDArray

__all__ = ["GRAVITY", "ROOM", "YAW_CELLS", "DragArea", "aerodynamic_force", "drag_and_slope",
           "drag_by_yaw", "drag_in_each", "rides_drag", "rides_drag_by", "road_load"]

YAW_CELLS = 90  # of one degree of yaw, 0 to 90
SINE_CELLS = 16384  # of the sine of yaw, 0 to 1
ROOM = 6  # arrays that `drag_and_slope` works in


@dataclass(frozen=True)
class DragArea:
    """CdA of one or more positions against yaw: smooth, even in yaw, constant beyond the table.

    Attributes
    ----------
    yaw : (m,) rad, increasing from 0, below pi/2
    area : (p, m) m², one row a position
    """

    yaw: NDArray[np.float64]
    area: NDArray[np.float64]

    def __post_init__(self) -> None:
        yaw = np.array(self.yaw, dtype=float)
        area = np.atleast_2d(np.array(self.area, dtype=float))
        nodes = np.linspace(0.0, np.pi / 2, YAW_CELLS + 1)
        if len(yaw) == 1:
            values = np.repeat(area[:, :1], YAW_CELLS + 1, axis=1)
            slopes = np.zeros_like(values)
        else:
            # Zero slope at both ends: even in yaw at 0, and no invention beyond the table.
            values, slopes = _clamped_spline(yaw, area, np.minimum(nodes, yaw[-1]))
            slopes = slopes * (nodes <= yaw[-1])
        width = nodes[1]
        jump = np.diff(values, axis=1) / width
        left, right = slopes[:, :-1], slopes[:, 1:]
        cells = np.stack([values[:, :-1].ravel(), left.ravel(),
                          ((3 * jump - 2 * left - right) / width).ravel(),
                          ((left + right - 2 * jump) / width**2).ravel()])
        columns = np.ascontiguousarray(cells.reshape(4, len(area), YAW_CELLS).swapaxes(0, 1))
        for name, array in (("yaw", yaw), ("area", area), ("_cells", cells),
                            ("_columns", columns)):
            array.flags.writeable = False
            object.__setattr__(self, name, array)

    @classmethod
    def constant(cls, area: float) -> DragArea:
        """One position with the same CdA [m²] at every yaw."""
        return cls(np.zeros(1), np.array([[area]]))

    @cached_property
    def by_sine(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """CdA [m²] by the sine of yaw in straight lines: where they cross 0, and their rise a cell.

        Both (p, SINE_CELLS + 1); cell k goes from k to k + 1 in SINE_CELLS sin β. Straight lines
        are off by less than 1e-8 m² up to 80° of yaw. They spare many rides side by side the arc
        tangent and the cubics.
        """
        yaw = np.arcsin(np.linspace(0.0, 1.0, SINE_CELLS + 1))
        start = np.stack([self.at(yaw, row) for row in range(len(self.area))])
        rise = np.diff(start, axis=1, append=start[:, -1:])
        return start - rise * np.arange(SINE_CELLS + 1), rise

    def at(self, yaw: NDArray[np.float64] | float,
           position: NDArray[np.int64] | int = 0) -> NDArray[np.float64]:
        """CdA [m²] at `yaw` [rad, any sign] in `position` (row numbers)."""
        return next(self.at_each(yaw, [position]))

    def at_each(self, yaw: NDArray[np.float64] | float,
                positions: Iterable[NDArray[np.int64] | int]) -> Iterator[NDArray[np.float64]]:
        """CdA [m²] as `at` gives it, in one position after the other."""
        if len(self.yaw) == 1:
            for position in positions:
                yield np.broadcast_to(self.area[position, 0], np.broadcast_shapes(
                    np.shape(yaw), np.shape(position)))
            return
        beta = np.abs(np.asarray(yaw, dtype=float))
        cell, u = _in_cell(np.minimum(beta, np.pi - beta))
        for position in positions:
            a, b, c, d = self._of_cells(position, cell)
            yield a + u * (b + u * (c + u * d))

    def with_slopes(self, yaw: NDArray[np.float64] | float, position: NDArray[np.int64] | int = 0,
                    ) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        """CdA with first and second derivative by |yaw| folded to 0..pi/2."""
        if len(self.yaw) == 1:
            area = np.broadcast_to(self.area[position, 0], np.broadcast_shapes(
                np.shape(yaw), np.shape(position)))
            none = np.broadcast_to(0.0, area.shape)
            return area, none, none
        beta = np.abs(np.asarray(yaw, dtype=float))
        sign = np.where(beta <= np.pi / 2, 1.0, -1.0)
        cell, u = _in_cell(np.minimum(beta, np.pi - beta))
        a, b, c, d = self._of_cells(position, cell)
        return (a + u * (b + u * (c + u * d)), sign * (b + u * (2 * c + 3 * u * d)),
                2 * c + 6 * u * d)

    def _of_cells(self, position: NDArray[np.int64] | int,
                  cell: NDArray[np.int64]) -> Iterator[NDArray[np.float64]]:
        """Coefficients of the cubics of cells, in a position."""
        row = np.multiply(position, YAW_CELLS) + cell
        return (part.take(row) for part in self._cells)  # type: ignore[attr-defined]


def _in_cell(folded: NDArray[np.float64]) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Cells in which yaw angles of 0 to pi/2 are, and how far [rad]."""
    width = np.pi / 2 / YAW_CELLS
    cell = np.minimum((folded * (1.0 / width)).astype(np.int64), YAW_CELLS - 1)
    return cell, folded - cell * width


def _clamped_spline(x: NDArray[np.float64], y: NDArray[np.float64], at: NDArray[np.float64],
                    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Cubic spline (p, k) through y (p, m) at x (m,) with no slope at its ends, and its slope.

    Slopes at the knots from the continuity of the second derivative (any textbook of numerical
    analysis). Written out, since scipy's takes longer to import than a plan to compute.
    """
    h = np.diff(x)
    rise = np.diff(y, axis=1) / h
    matrix = np.eye(len(x))
    right = np.zeros_like(y)
    inner = np.arange(1, len(x) - 1)
    matrix[inner, inner - 1], matrix[inner, inner + 1] = 1 / h[:-1], 1 / h[1:]
    matrix[inner, inner] = 2 / h[:-1] + 2 / h[1:]
    right[:, 1:-1] = 3 * (rise[:, :-1] / h[:-1] + rise[:, 1:] / h[1:])
    slope = np.linalg.solve(matrix, right.T).T
    k = np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(h) - 1)
    u, left, end = at - x[k], slope[:, k], slope[:, k + 1]
    curvature = (3 * rise[:, k] - 2 * left - end) / h[k]
    twist = (left + end - 2 * rise[:, k]) / h[k]**2
    return (y[:, k] + u * (left + u * (curvature + u * twist)),
            left + u * (2 * curvature + 3 * u * twist))


def aerodynamic_force(
    speed: NDArray[np.float64], headwind: NDArray[np.float64] | float,
    crosswind: NDArray[np.float64] | float, air_density: NDArray[np.float64] | float,
    drag: DragArea, position: NDArray[np.int64] | int = 0,
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Drag along the road with first and second derivative by ground speed.

    F = ½ ρ CdA(β) v_a q with v_a = v + h, q² = v_a² + c², β = atan2(|c|, v_a). Arrays broadcast.

    Parameters
    ----------
    speed, headwind, crosswind : m/s; a head wind is positive
    air_density : kg/m³
    drag : CdA [m²] against yaw
    position : rows of `drag` in use

    Returns
    -------
    force [N], its derivative by speed [N s/m] and by speed twice [N s²/m²], broadcast

    References
    ----------
    Martin et al. 1998, J. Appl. Biomech. 14:276, equations 2 to 4; CdA is that along the road.

    Examples
    --------
    >>> drag = DragArea.constant(0.25)
    >>> force, slope, _ = aerodynamic_force(np.array([10.0]), 0.0, 0.0, 1.2, drag)
    >>> round(float(force[0]), 6), round(float(slope[0]), 6)
    (15.0, 3.0)
    """
    along = speed + headwind
    across = np.abs(crosswind)
    square = along * along
    q2 = square + across * across + 1e-12  # a still rider in still air has no yaw
    q = np.sqrt(q2)
    half = 0.5 * np.asarray(air_density)
    straight = along * q
    wind1 = q + square / q  # d(v_a q)/dv
    wind2 = along / q * (3.0 - square / q2)
    if len(drag.yaw) == 1:  # one CdA at every yaw
        area = half * drag.area[position, 0]
        return area * straight, area * wind1, area * wind2
    area, slope, curvature = drag.with_slopes(np.arctan2(across, along), position)
    turn = -across / q2  # dβ/dv
    turn2 = -2.0 * along * turn / q2
    force = half * area * straight
    first = half * (slope * turn * straight + area * wind1)
    second = half * ((curvature * turn * turn + slope * turn2) * straight
                     + 2 * slope * turn * wind1 + area * wind2)
    return force, first, second


def drag_and_slope(
    speed: NDArray[np.float64], headwind: NDArray[np.float64], crosswind: NDArray[np.float64],
    air_density: NDArray[np.float64] | float, drag: DragArea,
    position: NDArray[np.int64] | int = 0, *, room: NDArray[np.float64] | None = None,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """`aerodynamic_force` and its first derivative, with as little work as will do.

    Parameters
    ----------
    speed, headwind, crosswind : (b,) m/s; a head wind is positive
    air_density : kg/m³
    drag : CdA [m²] against yaw
    position : row of `drag` in use, one for all or (b,)
    room : (ROOM, b) to work in, which many calls in a row may share; what is given then lies in it,
        and the next call writes over it

    Returns
    -------
    force [N] and its derivative by speed [N s/m], (b,) each

    References
    ----------
    As `aerodynamic_force`.
    """
    r = (None,) * ROOM if room is None else room
    along = np.add(speed, headwind, out=r[0])
    square = np.multiply(along, along, out=r[1])
    q = np.add(np.multiply(crosswind, crosswind, out=r[2]), square, out=r[2])
    q = np.sqrt(np.add(q, 1e-12, out=r[2]), out=r[2])
    half = 0.5 * np.asarray(air_density)
    if len(drag.yaw) == 1:
        area = np.multiply(drag.area[position, 0], half, out=r[3])
        turn: NDArray[np.float64] | None = None
    else:
        across, ahead = np.abs(crosswind), np.abs(along)
        yaw = np.arctan2(across, ahead)  # folded to 0..pi/2
        width = np.pi / 2 / YAW_CELLS
        cell = (yaw * (1.0 / width)).astype(np.intp)
        if isinstance(position, np.ndarray):
            cell_of = np.minimum(cell, YAW_CELLS - 1) + position * YAW_CELLS
            a, b, c, d = drag._cells.take(cell_of, axis=1)  # type: ignore[attr-defined] # noqa: SLF001
        else:
            a, b, c, d = drag._columns[position].take(cell, axis=1, mode="clip")  # type: ignore[attr-defined] # noqa: SLF001
        u = yaw - cell * width
        area = np.multiply(a + u * (b + u * (c + u * d)), half, out=r[3])
        turn = half * (b + u * (2 * c + 3 * u * d)) * across * ahead / q
    force = np.multiply(np.multiply(area, along, out=r[4]), q, out=r[4])
    slope = np.add(np.divide(square, q, out=r[1]), q, out=r[1])
    slope = np.multiply(area, slope, out=r[5])
    return force, slope if turn is None else np.subtract(slope, turn, out=r[5])


def rides_drag(
    headwind: NDArray[np.float64], crosswind: NDArray[np.float64],
    air_density: NDArray[np.float64], drag: DragArea, position: NDArray[np.int64], *,
    factor: NDArray[np.float64] | float = 1.0, change: NDArray[np.float64] | float = 0.0,
) -> Callable[[int, NDArray[np.float64]], tuple[
        NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]]:
    """Drag of b rides side by side on m steps, to be asked for step after step.

    What does not depend on speed is computed once for all steps; no array is allocated after.

    Parameters
    ----------
    headwind, crosswind : (m, b) m/s; a head wind is positive
    air_density : (m, b) or (m, 1) kg/m³
    drag : CdA [m²] against yaw, taken `factor` times, plus `change` [m²]
    position : (m,) rows of `drag` in use
    factor, change : one for all or (b,)

    Returns
    -------
    function of a step and of speeds (b,) [m/s] that gives force [N], its derivative by speed
    [N s/m] and the speed against the air along the road [m/s], (b,) each, with CdA from
    `DragArea.by_sine`; they lie in arrays that the next call writes over

    References
    ----------
    As `aerodynamic_force`.
    """
    still = crosswind * crosswind
    still += 1e-12  # a still rider in still air has no yaw
    half = 0.5 * air_density
    along, square, q, area, cells, rise, slope = np.empty((7, headwind.shape[1]))
    cell = np.empty(headwind.shape[1], dtype=np.intp)
    tabled = len(drag.yaw) > 1
    if tabled:
        crossing, rises = drag.by_sine
        across = np.abs(crosswind)
        across *= SINE_CELLS
        by_table = np.broadcast_to(half * factor, headwind.shape)
        added = np.broadcast_to(half * change, headwind.shape) if np.any(change) else None
    else:
        whole = np.broadcast_to(half * (drag.area[position, :1] * factor + change), headwind.shape)

    def at(k: int, speed: NDArray[np.float64],
           ) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        np.add(speed, headwind[k], out=along)
        np.multiply(along, along, out=square)
        np.sqrt(np.add(square, still[k], out=q), out=q)
        np.divide(square, q, out=square)
        np.add(square, q, out=slope)
        if not tabled:
            np.multiply(slope, whole[k], out=slope)
            np.multiply(whole[k], along, out=area)
            return np.multiply(area, q, out=area), slope, along
        np.divide(across[k], q, out=cells)
        np.copyto(cell, cells, casting="unsafe")
        row = position[k]
        crossing[row].take(cell, out=area, mode="clip")
        rises[row].take(cell, out=rise, mode="clip")
        np.multiply(rise, cells, out=rise)
        np.multiply(np.add(area, rise, out=area), by_table[k], out=area)
        if added is not None:
            np.add(area, added[k], out=area)
        # by speed: CdA' d(sine)/dv v_a q = -CdA' sine v_a²/q
        np.multiply(np.multiply(rise, by_table[k], out=rise), square, out=rise)
        np.subtract(np.multiply(slope, area, out=slope), rise, out=slope)
        np.multiply(area, along, out=area)
        return np.multiply(area, q, out=area), slope, along

    return at


def drag_by_yaw(
    speed: NDArray[np.float64], headwind: NDArray[np.float64], crosswind: NDArray[np.float64],
    air_density: NDArray[np.float64], yaw: NDArray[np.float64],
) -> Iterator[NDArray[np.float64]]:
    """Newtons per m² of CdA at each yaw angle of a table in turn; the arrays broadcast.

    Drag is linear in the table: `aerodynamic_force` is the sum of these times its entries.

    Parameters
    ----------
    speed, headwind, crosswind : m/s; a head wind is positive
    air_density : kg/m³
    yaw : (m,) rad, angles of the table

    Returns
    -------
    m arrays [N/m²], one after the other

    References
    ----------
    As `aerodynamic_force`.
    """
    return drag_in_each(speed, headwind, crosswind, air_density, _at_angles(tuple(yaw.tolist())),
                        range(len(yaw)))


def drag_in_each(
    speed: NDArray[np.float64], headwind: NDArray[np.float64], crosswind: NDArray[np.float64],
    air_density: NDArray[np.float64], drag: DragArea,
    positions: Iterable[NDArray[np.int64] | int],
) -> Iterator[NDArray[np.float64]]:
    """Force of `aerodynamic_force` in several positions at the same speeds, without derivatives.

    Parameters
    ----------
    speed, headwind, crosswind : m/s; a head wind is positive
    air_density : kg/m³
    drag : CdA [m²] against yaw
    positions : rows of `drag` in use, one after the other

    Returns
    -------
    forces [N], one after the other

    References
    ----------
    As `aerodynamic_force`.
    """
    along = speed + headwind
    across = np.abs(crosswind)
    whole = 0.5 * air_density * along * np.sqrt(along * along + across * across)
    for area in drag.at_each(np.arctan2(across, along), positions):
        yield whole * area


def rides_drag_by(
    speed: NDArray[np.float64], headwind: NDArray[np.float64], crosswind: NDArray[np.float64],
    air_density: NDArray[np.float64], drag: DragArea, position: NDArray[np.int64],
    yaw: NDArray[np.float64],
) -> tuple[NDArray[np.float64], Iterator[NDArray[np.float64]]]:
    """Give derivatives of the drag of many rides, with CdA from `DragArea.by_sine`.

    Parameters
    ----------
    speed, headwind, crosswind : (n, b) m/s; a head wind is positive
    air_density : (n, 1) kg/m³
    drag : CdA [m²] against yaw
    position : (n,) rows of `drag` in use
    yaw : (m,) rad, angles of a table

    Returns
    -------
    derivative by speed (n, b) [N s/m], and m arrays (n, b) as `drag_by_yaw` gives them [N/m²]

    References
    ----------
    As `aerodynamic_force`.
    """
    along = speed + headwind
    square = along * along
    q = np.sqrt(square + crosswind * crosswind + 1e-12)
    cells = np.abs(crosswind) * SINE_CELLS / q
    cell = cells.astype(np.intp)

    def area(table: DragArea, row: NDArray[np.int64] | int,
             ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """CdA, and the part of it that grows with the sine of yaw."""
        at = cell + np.multiply(row, SINE_CELLS + 1)
        crossing, rises = (part.ravel().take(at, mode="clip") for part in table.by_sine)
        rises *= cells
        crossing += rises
        return crossing, rises

    half = 0.5 * air_density
    whole, turned = area(drag, position[:, None])
    square /= q
    slope = half * (whole * (square + q) - turned * square)
    newtons = half * along * q
    table = _at_angles(tuple(yaw.tolist()))
    return slope, (newtons * area(table, k)[0] for k in range(len(yaw)))


@cache
def _at_angles(yaw: tuple[float, ...]) -> DragArea:
    """Tables that are 1 at one of the angles and 0 at the others, a row for each."""
    return DragArea(np.array(yaw), np.eye(len(yaw)))


def road_load(
    speed: NDArray[np.float64], grade: NDArray[np.float64] | float,
    headwind: NDArray[np.float64] | float, crosswind: NDArray[np.float64] | float,
    air_density: NDArray[np.float64] | float, *, drag: DragArea, mass: float,
    rolling_resistance: NDArray[np.float64] | float, bearing: tuple[float, float] = (0.0, 0.0),
    position: NDArray[np.int64] | int = 0, gravity: float = GRAVITY,
) -> NDArray[np.float64]:
    """Whole resisting force along the road at steady speed; arrays broadcast.

    Parameters
    ----------
    speed, headwind, crosswind : m/s; a head wind is positive
    grade : rise over run
    air_density : kg/m³
    drag, position : CdA [m²] against yaw, and its row in use
    mass : kg, of rider, bike and kit
    rolling_resistance : Crr
    bearing : (a, b) of the friction a + b v of the bearings [N, N s/m]
    gravity : m/s²

    Returns
    -------
    force [N]

    References
    ----------
    Martin et al. 1998, J. Appl. Biomech. 14:276, equations 2 to 8 without the kinetic energy.

    Examples
    --------
    >>> force = road_load(np.array(10.0), 0.0, 0.0, 0.0, 1.2, drag=DragArea.constant(0.25),
    ...                   mass=80.0, rolling_resistance=0.004)
    >>> round(float(force), 2)
    18.14
    """
    air = aerodynamic_force(speed, headwind, crosswind, air_density, drag, position)[0]
    return air + road_force(grade, mass, rolling_resistance, gravity) + (
        bearing[0] + bearing[1] * speed)


def road_force(grade: NDArray[np.float64] | float, mass: float,
               rolling_resistance: NDArray[np.float64] | float,
               gravity: float = GRAVITY) -> NDArray[np.float64]:
    """Gravity and rolling resistance along the road [N], θ = atan(grade)."""
    cosine = 1.0 / np.sqrt(1.0 + np.asarray(grade, dtype=float) ** 2)
    return mass * gravity * cosine * (np.asarray(grade) + rolling_resistance)
