"""Heights of the road out of a terrain model: where the road lies on it, and where it does not.

A model shows the ground; the line of a track lies some metres beside the road. On cells small
enough to show it the road is the level, smooth strip that runs along the line, found with a
hidden Markov chain of its offsets; on larger cells the ground is averaged over where the line may
be, and the shorter waves are shared with the track's own heights. A bridge, and a cutting or
tunnel that the cells do not show, is where the model leaves the track's heights for a while and
comes back.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np
from scipy.ndimage import gaussian_filter1d, grey_closing, grey_opening

from optimizer.course.geodesy import east_north, move
from optimizer.course.smoothing import runs_of
from optimizer.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.course.cleaning import Log

__all__ = ["Ground", "HeightModel", "cubic", "ground_along"]

# None of these has a published source: they are common practice for receivers and roads.
_POSITION_SD, _POSITION_LASTS = 5.0, 100.0  # m, of a line beside the road, and along which it lasts
_RESOLVED = 5.0  # m; larger cells do not show a road
_STRIP = 2.0  # m to either side, of the part of a road that is surely level
_CROSSFALL, _ROUGH = 0.04, 0.03  # of a road's surface: slope across, m about that slope
_SURFACE_LASTS, _HEIGHT_LASTS = 10.0, 60.0  # m, along which evidence repeats itself
_LEAST_HEIGHT_SD = 0.5  # m, of the track's heights against the model's, drift taken out
_DRIFT = 350.0  # m, waves longer than about six of these are drift of the track's heights
_BANDS = (25.0, 75.0, 225.0)  # m, widths between which waves are shared
_LEAVES, _SURE, _BACK = 3.0, 4.0, 1.0  # m and standard deviations; the height of a span's rims
_LONGEST_SPAN, _RIM_SHARE = 1000.0, 0.1  # m; of a span's depth, at its rims
_FLANK = 0.03  # rise over run of model against track, in and out of a span; drift is slower
_FOOT = 0.3048  # m
_COVERED = 0.5  # of the course, below which a model is the wrong one
_ELSEWHERE = 80.0  # m


class HeightModel(Protocol):
    """Heights of the ground by place."""

    @property
    def cell(self) -> float:
        """Size of a cell [m]."""

    @property
    def name(self) -> str:
        """File, for messages."""

    def at(self, latitude: NDArray[np.float64],
           longitude: NDArray[np.float64]) -> NDArray[np.float64]:
        """Heights [m] at points (p,), nan where there are none."""


@dataclass(frozen=True)
class Ground:
    """The road's heights by a terrain model, at the nodes of a line.

    `height` (n,) m; `sd` (n,) m, its standard error by place.
    """

    height: NDArray[np.float64]
    sd: NDArray[np.float64]


def ground_along(distance: NDArray[np.float64], latitude: NDArray[np.float64],
                 longitude: NDArray[np.float64], track: NDArray[np.float64] | None,
                 model: HeightModel, log: Log) -> Ground:
    """Heights of the road along an even line, out of a terrain model.

    Parameters
    ----------
    distance : (n,) m, even
    latitude, longitude : (n,) degrees
    track : (n,) heights of the file that drew the line [m], None where it has none; what the model
        lacks, and where it shows no road, comes from them
    model : of the terrain
    log : of what was corrected

    Returns
    -------
    heights (n,) and their standard error [m]

    Raises
    ------
    InputError
        where the model is of another place or in another unit
    """
    step = float(distance[1] - distance[0])
    fine = model.cell <= _RESOLVED
    reach = 3.2 * _POSITION_SD if fine else 2.0 * _POSITION_SD
    offset = np.linspace(-reach, reach, 2 * int(np.ceil(reach / max(model.cell, 1.0))) + 1
                         if fine else 9)
    across = _across(latitude, longitude, offset, model)
    known = np.asarray(np.isfinite(across).any(axis=1))
    _check_cover(known, distance, model)
    across = _filled(across)
    prior = np.exp(-0.5 * (offset / _POSITION_SD) ** 2)
    prior = prior / prior.sum()
    if track is not None:
        _check_unit(across[known] @ prior, track[known], model, log)
    if fine:
        height, sd = _on_the_road(across, offset, prior, step, track)
    else:
        height = across @ prior
        sd = np.sqrt((across - height[:, None]) ** 2 @ prior)
    if not known.all():
        missing = np.logical_not(known)
        height = _bridged(height, missing, track, distance)
        log.warnings.append(f"The terrain model has no heights for "
                            f"{_kilometres(missing, distance)}; "
                            f"{'straight lines' if track is None else 'the track'} fill the gap.")
    if track is not None:
        if log.wants("bridges"):
            levelled = _off_the_road(height, track, step)
            bridged = _bridged(height, levelled, track, distance)
            _note_spans(levelled, height - bridged, distance, log)
            sd = np.where(levelled, np.hypot(0.5, 0.1 * (height - bridged)), sd)
            height = bridged
        if not fine:
            height, shared = _shared(height, track, step, model.cell)
            sd = np.hypot(sd, shared)
    return Ground(height, np.where(known, sd, np.nanmax(np.append(sd[known], 2.0))))


def cubic(grid: NDArray[np.float64], row: NDArray[np.float64],
          column: NDArray[np.float64]) -> NDArray[np.float64]:
    """Heights at places between the cells of a grid.

    Cubic convolution (Keys 1981, IEEE Trans. ASSP 29:1153, a = -1/2), exact for quadratics;
    bilinear beside missing cells and at the edge, the nearest cell in the outer half cell.

    Parameters
    ----------
    grid : (r, c) m at cell centres; nan where cells are missing
    row, column : (p,) fractional places

    Returns
    -------
    (p,) m
    """
    rows, columns = grid.shape
    row, column = (np.where((at > -0.5 - 1e-6) & (at < size - 0.5 + 1e-6),
                            np.clip(at, 0.0, size - 1.0), np.nan)
                   for at, size in ((row, rows), (column, columns)))
    lost = ~(np.isfinite(row) & np.isfinite(column))
    row, column = np.where(lost, 0.0, row), np.where(lost, 0.0, column)
    i, j = (np.clip(np.floor(at).astype(np.int64), 0, max(size - 2, 0))
            for at, size in ((row, rows), (column, columns)))
    a, b = row - i, column - j

    def cell(di: int, dj: int) -> NDArray[np.float64]:
        return np.asarray(grid[np.clip(i + di, 0, rows - 1), np.clip(j + dj, 0, columns - 1)],
                          dtype=float)

    total = np.zeros(len(row))
    for di, wi in zip((-1, 0, 1, 2), _keys(a), strict=True):
        for dj, wj in zip((-1, 0, 1, 2), _keys(b), strict=True):
            total += wi * wj * cell(di, dj)
    inside = (i > 0) & (i < rows - 2) & (j > 0) & (j < columns - 2)
    flat = np.zeros(len(row))
    for di, wi in ((0, 1 - a), (1, a)):
        for dj, wj in ((0, 1 - b), (1, b)):
            weight = wi * wj
            flat += np.where(weight > 1e-9, weight * cell(di, dj), 0.0)
    out = np.where(inside & np.isfinite(total), total, flat)
    return np.where(lost, np.nan, out)


def _keys(x: NDArray[np.float64]) -> tuple[NDArray[np.float64], ...]:
    """Weights of the cells at -1, 0, 1, 2 for a place x between 0 and 1."""
    return (-0.5 * x + x**2 - 0.5 * x**3, 1 - 2.5 * x**2 + 1.5 * x**3,
            0.5 * x + 2 * x**2 - 1.5 * x**3, -0.5 * x**2 + 0.5 * x**3)


# --- across the road --------------------------------------------------------------------


def _across(latitude: NDArray[np.float64], longitude: NDArray[np.float64],
            offset: NDArray[np.float64], model: HeightModel) -> NDArray[np.float64]:
    """Heights (n, j) of the ground at offsets (j,) [m] to the right of a line."""
    east, north = east_north(latitude, longitude)
    way = np.stack([np.append(part, part[-1]) for part in (east, north)])
    way[:, 1:-1] = way[:, 1:-1] + way[:, :-2]
    way = way / np.maximum(np.hypot(*way), 1e-9)
    n, j = len(latitude), len(offset)
    where = move(np.repeat(latitude, j), np.repeat(longitude, j),
                 (way[1][:, None] * offset).ravel(), (-way[0][:, None] * offset).ravel())
    return model.at(*where).reshape(n, j)


def _filled(across: NDArray[np.float64]) -> NDArray[np.float64]:
    """Draw what is missing at an offset level from the nearest one; rows without any are zero."""
    out = across.copy()
    for k in np.flatnonzero(~np.isfinite(across).all(axis=1)):
        good = np.flatnonzero(np.isfinite(across[k]))
        out[k] = np.interp(np.arange(across.shape[1]), good, across[k, good]) if len(good) else 0.0
    return out


def _on_the_road(across: NDArray[np.float64], offset: NDArray[np.float64],
                 prior: NDArray[np.float64], step: float, track: NDArray[np.float64] | None,
                 ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Height of the road and its standard error, from where the road most likely lies.

    The offset of the line is an Ornstein-Uhlenbeck process along the way; what speaks for an
    offset is a surface without roughness or much slope across, and agreement with the waves of
    the track's heights. Forward and backward passes give the chance of each offset at each node
    (Rabiner 1989, Proc. IEEE 77:257).
    """
    surface = _surface(across, offset) * min(step / _SURFACE_LASTS, 1.0)
    height = across @ prior
    chance = _offsets(surface, offset, prior, step)
    height = np.sum(chance * across, axis=1)
    if track is not None:
        waves = gaussian_filter1d(track, 30.0 / step, mode="nearest")
        for _ in range(2):
            off = height - waves
            drift = gaussian_filter1d(off, _DRIFT / step, mode="nearest")
            sd = max(1.4826 * float(np.median(np.abs(off - drift))), _LEAST_HEIGHT_SD)
            agrees = -0.5 * ((across - (waves + drift)[:, None]) / sd) ** 2
            # Far from all offsets alike (a bridge) it tells nothing about the offset.
            agrees = np.maximum(agrees - agrees.max(axis=1, keepdims=True), -8.0)
            chance = _offsets(surface + agrees * min(step / _HEIGHT_LASTS, 1.0), offset, prior,
                              step)
            height = np.sum(chance * across, axis=1)
    return height, np.sqrt(np.sum(chance * (across - height[:, None]) ** 2, axis=1))


def _surface(across: NDArray[np.float64], offset: NDArray[np.float64]) -> NDArray[np.float64]:
    """Log-likelihood (n, j) of a road's surface about each offset: level across, and smooth."""
    apart = offset[1] - offset[0]
    half = max(round(_STRIP / apart), 1)
    x = np.arange(-half, half + 1) * apart
    strip = np.lib.stride_tricks.sliding_window_view(
        np.pad(across, ((0, 0), (half, half)), mode="edge"), len(x), axis=1)
    slope = strip @ x / np.sum(x**2)
    middle = strip.mean(axis=-1)
    rough = np.mean(strip**2, axis=-1) - middle**2 - slope**2 * np.mean(x**2)
    return np.asarray(-0.5 * (np.maximum(rough, 0.0) / _ROUGH**2 + (slope / _CROSSFALL) ** 2))


def _offsets(evidence: NDArray[np.float64], offset: NDArray[np.float64],
             prior: NDArray[np.float64], step: float) -> NDArray[np.float64]:
    """Chance (n, j) of each offset at each node, given what speaks for it at all nodes."""
    keep = np.exp(-step / _POSITION_LASTS)
    width = np.hypot(_POSITION_SD * np.sqrt(1 - keep**2), 0.4 * (offset[1] - offset[0]))
    turn = np.exp(-0.5 * ((offset[None, :] - keep * offset[:, None]) / width) ** 2)
    turn /= turn.sum(axis=1, keepdims=True)
    likely = np.exp(evidence - evidence.max(axis=1, keepdims=True)) + 1e-9
    chance = np.empty_like(likely)
    here = prior
    for k, given in enumerate(likely):
        here = (here @ turn if k else here) * given
        here /= here.sum()
        chance[k] = here
    after = np.ones(len(offset))
    for k in range(len(likely) - 2, -1, -1):
        after = turn @ (after * likely[k + 1])
        after /= after.sum()
        chance[k] *= after
    return np.asarray(chance / chance.sum(axis=1, keepdims=True))


# --- against the track ------------------------------------------------------------------


def _off_the_road(height: NDArray[np.float64], track: NDArray[np.float64],
                  step: float) -> NDArray[np.bool_]:
    """Where the model leaves the track's heights for at most 1 km and comes back.

    The depth below the lower rim is what a morphological closing fills (the top-hat transform:
    Serra 1982, Image Analysis and Mathematical Morphology, chapter XII); drift is too slow to
    leave much of it.
    """
    off = gaussian_filter1d(height - track, 10.0 / step, mode="nearest")
    window = (min(2 * round(0.5 * _LONGEST_SPAN / step) + 1, len(off)),)
    out = np.zeros(len(off), dtype=bool)
    for depth in (grey_closing(off, window) - off, off - grey_opening(off, window)):
        usual = float(np.median(depth))
        for a, b in runs_of(depth > max(_LEAVES, _SURE * usual)):
            top = a + int(np.argmax(depth[a:b]))
            deepest = float(depth[top])
            flanks = [_first_below(side, 0.2 * deepest) - _first_below(side, 0.8 * deepest)
                      for side in (depth[top::-1], depth[top:])]
            if 0.6 * deepest < _FLANK * step * max(*flanks, 1):
                continue
            shallow = max(_BACK, 2.0 * usual, _RIM_SHARE * deepest)
            out[max(top - _first_below(depth[top::-1], shallow), 1):
                min(top + _first_below(depth[top:], shallow), len(off) - 1)] = True
    return out


def _first_below(values: NDArray[np.float64], level: float) -> int:
    """Index of the first of some values below a level; their number where none is."""
    below = np.flatnonzero(values < level)
    return int(below[0]) if len(below) else len(values)


def _bridged(height: NDArray[np.float64], span: NDArray[np.bool_],
             track: NDArray[np.float64] | None,
             distance: NDArray[np.float64]) -> NDArray[np.float64]:
    """Heights with spans drawn from rim to rim, in the shape of the track where there is one."""
    if not span.any():
        return height
    shape = np.zeros_like(height) if track is None else gaussian_filter1d(
        track, 30.0 / float(distance[1] - distance[0]), mode="nearest")
    rest = np.interp(distance, distance[~span], (height - shape)[~span])
    return np.where(span, shape + rest, height)


def _shared(height: NDArray[np.float64], track: NDArray[np.float64], step: float,
            cell: float) -> tuple[NDArray[np.float64], float]:
    """Heights with each band of waves shared between model and track by their errors.

    Independent errors add to the variance of a band: with those of the model's waves, of the
    track's and of their difference known, so are the two errors (the three-cornered hat of Gray
    and Allan 1974, Proc. 28th Freq. Control Symp. 243). Returns the standard error of the
    shared waves too. Waves longer than eight cells are the model's alone.
    """
    rest, other, out = height, track, height.copy()
    variance = 0.0
    for width in _BANDS:
        if width > 8.0 * cell:
            break
        low, other_low = (gaussian_filter1d(values, width / step, mode="nearest")
                          for values in (rest, other))
        a, b = rest - low, other - other_low
        apart, own, its = (float(np.mean(x**2)) for x in (a - b, a, b))
        error = float(np.clip(0.5 * (apart + own - its), 0.0, apart))
        share = error / apart if apart > 1e-9 else 0.0  # of the track
        out += share * (b - a)
        variance += share * (apart - error)
        rest, other = low, other_low
    return out, float(np.sqrt(variance))


# --- words ------------------------------------------------------------------------------


def _check_cover(known: NDArray[np.bool_], distance: NDArray[np.float64],
                 model: HeightModel) -> None:
    if known.mean() < _COVERED:
        raise InputError(model.name, "", f"covers {known.mean():.0%} of the course; it has no "
                         f"heights for {_kilometres(~known, distance)}",
                         "add the tiles that are missing, or plan without a terrain model")


def _check_unit(height: NDArray[np.float64], track: NDArray[np.float64], model: HeightModel,
                log: Log) -> None:
    """Refuse feet taken for metres or the other way round; note heights of another place."""
    apart = float(np.median(height - track))
    for factor, unit in ((1.0 / _FOOT, "ft"), (_FOOT, "m")):
        if abs(apart) > 30.0 and abs(np.median(height - factor * track)) < 0.05 * abs(
                np.median(height)):
            raise InputError(model.name, "", f"has heights of {np.median(height):.0f} m where the "
                             f"track has {np.median(track):.0f} m",
                             f'write heights_unit = "{unit}" in [course], or check the track')
    if abs(apart) > _ELSEWHERE:
        log.warnings.append(f"The terrain model lies {abs(apart):.0f} m "
                            f"{'above' if apart > 0 else 'below'} the track's heights; check that "
                            "it is of the same place.")


def _kilometres(which: NDArray[np.bool_], distance: NDArray[np.float64]) -> str:
    parts = [f"{distance[a] / 1000:.1f} to {distance[min(b, len(distance) - 1)] / 1000:.1f}"
             for a, b in runs_of(which)]
    return f"km {', '.join(parts[:4])}{' ...' if len(parts) > 4 else ''}"


def _note_spans(levelled: NDArray[np.bool_], off: NDArray[np.float64],
                distance: NDArray[np.float64], log: Log) -> None:
    """Note each span, and how far the model was off there (n,) [m]."""
    spans = [(a, b, float(off[a:b].sum()) < 0.0) for a, b in runs_of(levelled)]
    for below, what in ((True, "bridges, where the model shows the ground below"),
                        (False, "cuttings and tunnels, where the model shows the ground above")):
        found = [(a, b) for a, b, under in spans if under == below]
        if found:
            places = ", ".join(f"{distance[a] / 1000:.1f}" for a, _ in found[:5])
            deepest = max(float(np.abs(off[a:b]).max()) for a, b in found)
            log.corrected("bridges", what, len(found),
                          f"levelled (km {places}{' ...' if len(found) > 5 else ''}), up to "
                          f"{deepest:.0f} m")
