"""Made-up ground with a road built into it, and what a receiver would record on that road.

The hills are sums of waves; the road is its own smooth height, four metres to either side level
with it, then banks at two in three until they meet the hills. A bridge spans a valley that the
grid shows without it, a cutting leads through a ridge. A grid of coarse cells is the mean of fine
ones, as terrain models are made.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from scipy.interpolate import RectBivariateSpline
from scipy.ndimage import gaussian_filter, gaussian_filter1d
from scipy.spatial import cKDTree

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Ground", "built", "recorded"]

FINE = 1.0  # m, of the road's own points
HALF_WIDTH, BANK = 4.0, 2.0 / 3.0
BEYOND = 60.0  # m that the road goes on before its start and after its finish


@dataclass(frozen=True)
class Ground:
    """A road and the ground about it, on a plane.

    `s`, `east`, `north`, `height`: (n,) of the road, every metre, 60 m beyond both ends, and its
    `length`; `grid` (rows, cols) heights of
    cells of one metre, rows from north to south, whose outer corner is `west`, `top`; `bridge`,
    `cutting`: from and to [m along].
    """

    s: NDArray[np.float64]
    east: NDArray[np.float64]
    north: NDArray[np.float64]
    height: NDArray[np.float64]
    grid: NDArray[np.float32]
    west: float
    top: float
    length: float
    bridge: tuple[float, float]
    cutting: tuple[float, float]

    def coarse(self, cells: int) -> NDArray[np.float32]:
        """Heights of cells of so many metres, the mean of each."""
        rows, cols = (size // cells * cells for size in self.grid.shape)
        return self.grid[:rows, :cols].reshape(rows // cells, cells, cols // cells, cells).mean(
            axis=(1, 3))


@cache
def built(seed: int = 1, length: float = 6000.0, smooth: float = 40.0) -> Ground:
    """Build a road of a length [m] into hills, smoothed over so many metres."""
    rng = np.random.default_rng(seed)
    n = round((length + 2 * BEYOND) / FINE) + 1
    wander = gaussian_filter1d(rng.standard_normal(n), 250.0)
    heading = 0.8 + 0.7 * wander / wander.std() * np.ones(n)
    east, north = (np.cumsum(part(heading)) * FINE for part in (np.sin, np.cos))
    east, north = east - east[0], north - north[0]
    s = np.arange(n) * FINE - BEYOND
    west, top = east.min() - 150.0, north.max() + 150.0
    shape = (int(top - north.min() + 150.0) // 30 * 30, int(east.max() - west + 150.0) // 30 * 30)
    x = west + 0.5 + np.arange(shape[1])
    y = top - 0.5 - np.arange(shape[0])
    coarse_x, coarse_y = np.arange(x[0], x[-1] + 30, 20.0), np.arange(y[-1], y[0] + 30, 20.0)
    hills = RectBivariateSpline(coarse_y, coarse_x, sum(
        size * _waves(rng, coarse_x, coarse_y, scale)
        for scale, size in ((2500.0, 25.0), (900.0, 6.0), (300.0, 1.2), (120.0, 0.5))))
    grid = 300.0 + hills(y[::-1], x)[::-1]
    height = 300.0 + gaussian_filter1d(hills.ev(north, east), smooth, mode="nearest")
    bridge, cutting = (0.3 * length, 0.3 * length + 180.0), (0.65 * length, 0.65 * length + 260.0)
    # Only cells near the road are built on; blocks of thirty metres tell which these are.
    tree = cKDTree(np.stack([east, north], axis=1))
    block_y, block_x = np.meshgrid(y[14::30], x[14::30], indexing="ij")
    near = tree.query(np.stack([block_x.ravel(), block_y.ravel()], axis=1), workers=1)[0] < 85.0
    near = np.repeat(np.repeat(near.reshape(block_x.shape), 30, axis=0), 30, axis=1)
    rows, cols = np.nonzero(near)
    d, k = tree.query(np.stack([x[cols], y[rows]], axis=1))
    # The valley under the bridge and the ridge of the cutting lie across the road.
    # Open ground is rough by a hand's breadth, a road is not.
    rough = gaussian_filter(rng.standard_normal(shape), 1.5)
    grid += 0.1 / rough.std() * rough
    ground = grid[rows, cols] + np.exp(-(d / 40.0) ** 4) * (
        14.0 * _bump(s[k], *cutting) - 16.0 * _bump(s[k], *bridge))
    reach = np.maximum(d - HALF_WIDTH, 0.0) * BANK
    carved = np.clip(ground, height[k] - reach, height[k] + reach)
    over = (s[k] > bridge[0]) & (s[k] < bridge[1])
    grid[rows, cols] = np.where(over, ground, carved)
    return Ground(s, east, north, height, grid.astype(np.float32), west, top, length, bridge,
                  cutting)


def _waves(rng: np.random.Generator, x: NDArray[np.float64], y: NDArray[np.float64],
           scale: float) -> NDArray[np.float64]:
    out = np.zeros((len(y), len(x)))
    for _ in range(6):
        turn, phase = rng.uniform(0, 2 * np.pi, 2)
        size = scale * rng.uniform(0.8, 1.3)
        a, b = 2 * np.pi * np.sin(turn) / size, 2 * np.pi * np.cos(turn) / size
        out += np.real(np.exp(1j * (a * x + phase))[None, :] * np.exp(1j * b * y)[:, None])
    return out / np.sqrt(6 / 2)


def _bump(s: NDArray[np.float64], start: float, end: float) -> NDArray[np.float64]:
    inside = np.clip((s - start) / (end - start), 0.0, 1.0)
    return np.sin(np.pi * inside) ** 2


def recorded(ground: Ground, seed: int = 1, spacing: float = 8.0, noise: float = 5.0,
             together: float = 0.0) -> tuple[NDArray[np.float64], ...]:
    """East, north and height of a track along the road, as a receiver with a barometer has them.

    Positions are off by `noise` [m] to each side, which hangs together over `together` [m]; heights
    drift by 6 m over 2 km and are off by a metre each.
    """
    rng = np.random.default_rng([seed, 7])
    at = np.arange(0.0, ground.length, spacing)
    at[-1] = ground.length

    def hanging(length: float) -> NDArray[np.float64]:
        white = rng.standard_normal(len(at))
        if length <= 0:
            return white
        smooth = gaussian_filter1d(rng.standard_normal(len(at) + 2000), length / spacing)[
            1000:-1000]
        return smooth * np.sqrt(2 * np.sqrt(np.pi) * length / spacing)

    east, north = (np.interp(at, ground.s, axis) + noise * hanging(together)
                   for axis in (ground.east, ground.north))
    height = np.interp(at, ground.s, ground.height) + 6.0 * hanging(700.0) + hanging(0.0)
    return east, north, height
