"""Terrain models: heights of the ground out of GeoTIFF files, of any projection and many tiles."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from optimizer.course.geodesy import step_lengths
from optimizer.course.terrain import cubic
from optimizer.errors import InputError
from optimizer.files import damaged, open_input

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

__all__ = ["TerrainModel", "read_terrain", "terrain_files"]

_LARGEST = 64 * 2**30  # bytes of a file, of which only what lies along the course is read
_MOST_FILES = 2000
_BLOCK = 512  # cells, read at a time
_MARGIN = 2  # cells that interpolation needs beside a place
_CACHE = 64  # MB
_FEET = {"ft": 0.3048, "foot": 0.3048, "feet": 0.3048, "us survey foot": 1200 / 3937,
         "us-ft": 1200 / 3937, "ftus": 1200 / 3937, "sfoot": 1200 / 3937}
_HEIGHTS = (-500.0, 9000.0)  # m; what lies beyond is a mark for "no data" that nobody declared


def terrain_files(folder: Path, names: str | Sequence[str]) -> list[Path]:
    """Files that names in a scenario stand for; a name may hold * for any text (tiles/*.tif).

    Raises InputError for a pattern that no file matches.
    """
    found: list[Path] = []
    for name in [names] if isinstance(names, str) else names:
        if "*" not in name:
            found.append(folder / name)
            continue
        pattern = Path(name)
        base = folder / pattern.parent
        matches = sorted(base.glob(pattern.name)) if "*" not in str(pattern.parent) else []
        if not matches:
            raise InputError(str(folder / name), "", "matches no file",
                             "check the folder; * means any text in a file name")
        found += matches
    return found


def read_terrain(paths: Sequence[Path | str], unit: str | None = None) -> TerrainModel:
    """Open a terrain model; its heights are read where they are asked for.

    Parameters
    ----------
    paths : GeoTIFF files: tiles beside each other, or models of different places or cells, of
        which the finest that has a height counts
    unit : "m" or "ft"; None takes what each file says, metres where it says nothing

    Raises InputError for what is no GeoTIFF with heights and a projection, and where rasterio is
    not installed.
    """
    try:
        import rasterio
    except ImportError as error:
        raise InputError(str(paths[0]), "", "needs a package to be read that is not installed",
                         'install it with: pip install "kitpace[terrain]"') from error
    if len(paths) > _MOST_FILES:
        raise InputError(str(paths[0]), "", f"is one of {len(paths)} files",
                         f"name {_MOST_FILES} at most")
    mosaics: list[_Mosaic] = []
    for path in paths:
        tile, place = _tile(rasterio, Path(path), unit)
        for mosaic in mosaics:
            if mosaic.joins(tile, place):
                break
        else:
            mosaics.append(_Mosaic(place))
            mosaics[-1].joins(tile, place)
    return TerrainModel(tuple(sorted(mosaics, key=lambda mosaic: mosaic.cell)),
                        str(paths[0]) if len(paths) == 1 else f"{paths[0]} and others")


@dataclass(frozen=True)
class TerrainModel:
    """Heights by place, from one mosaic of tiles or several; the finest that has one counts."""

    mosaics: tuple[_Mosaic, ...]
    name: str

    @property
    def cell(self) -> float:
        """Size of the finest cells [m]."""
        return self.mosaics[0].cell

    @property
    def key(self) -> str:
        """What tells this model from another: names, sizes and times of its files, and units."""
        tiles = [tile for mosaic in self.mosaics for tile in mosaic.tiles]
        known = [(str(tile.path), tile.path.stat()) for tile in tiles]
        return repr([(name, stat.st_size, stat.st_mtime_ns, tile.factor, tile.offset)
                     for (name, stat), tile in zip(known, tiles, strict=True)])

    def at(self, latitude: NDArray[np.float64],
           longitude: NDArray[np.float64]) -> NDArray[np.float64]:
        """Heights [m] at points (p,), nan where there are none. Raises InputError."""
        import rasterio

        height = np.full(len(latitude), np.nan)
        with rasterio.Env(GDAL_CACHEMAX=_CACHE):
            for mosaic in self.mosaics:
                left = np.flatnonzero(np.isnan(height))
                if len(left):
                    height[left] = mosaic.at(latitude[left], longitude[left])
        return height


@dataclass(frozen=True)
class _Place:
    """Projection and grid of a file: what has to agree for tiles to be one grid."""

    crs: Any
    transform: Any
    shape: tuple[int, int]


@dataclass(frozen=True)
class _Tile:
    """One file: its first row and column in the mosaic's grid, and what turns values into m."""

    path: Path
    row: int
    column: int
    shape: tuple[int, int]
    factor: float
    offset: float


@dataclass
class _Mosaic:
    """Tiles on one grid."""

    place: _Place
    tiles: list[_Tile] = field(default_factory=list)

    @cached_property
    def cell(self) -> float:
        """Size of a cell [m], the geometric mean of its sides at the middle of the first tile."""
        from rasterio.warp import transform

        rows, columns = self.place.shape
        x, y = _mapped(self.place.transform, columns // 2 + np.array([0, 1, 1]),
                       rows // 2 + np.array([0, 0, 1]))
        longitude, latitude = transform(self.place.crs, "EPSG:4326", x.tolist(), y.tolist())
        sides = step_lengths(np.array(latitude), np.array(longitude))
        return float(np.sqrt(sides[0] * sides[1]))

    def joins(self, tile: _Tile, place: _Place) -> bool:
        """Take a tile in, if it lies on the same grid; tell whether it does."""
        if place.crs != self.place.crs:
            return False
        mine, its = self.place.transform, place.transform
        one, other = (np.array([t.a, t.b, t.d, t.e]) for t in (mine, its))
        if not np.allclose(one, other, rtol=1e-6, atol=0.0):
            return False
        column, row = _mapped(~mine, its.c, its.f)
        if abs(column - round(column)) > 0.02 or abs(row - round(row)) > 0.02:
            return False
        self.tiles.append(_Tile(tile.path, round(row), round(column), tile.shape, tile.factor,
                                tile.offset))
        return True

    def at(self, latitude: NDArray[np.float64],
           longitude: NDArray[np.float64]) -> NDArray[np.float64]:
        """Heights [m] at points (p,), block by block of the grid."""
        row, column = self._cells(latitude, longitude)
        height = np.full(len(row), np.nan)
        inside = np.zeros(len(row), dtype=bool)
        for tile in self.tiles:
            inside |= ((row >= tile.row - 0.5) & (row <= tile.row + tile.shape[0] - 0.5)
                       & (column >= tile.column - 0.5)
                       & (column <= tile.column + tile.shape[1] - 0.5))
        some = np.flatnonzero(inside)
        if not len(some):
            return height
        block = np.stack([np.floor(row[some] / _BLOCK), np.floor(column[some] / _BLOCK)],
                         axis=1).astype(np.int64)
        keys, which = np.unique(block, axis=0, return_inverse=True)
        order = np.argsort(which.ravel(), kind="stable")
        edges = np.searchsorted(which.ravel()[order], np.arange(len(keys) + 1))
        with contextlib.ExitStack() as stack:
            files = _Files(stack)
            for k in range(len(keys)):
                here = some[order[edges[k]:edges[k + 1]]]
                first = (np.floor([row[here].min(), column[here].min()])).astype(int) - _MARGIN
                last = (np.ceil([row[here].max(), column[here].max()])).astype(int) + _MARGIN
                grid = self._read(files, first, last)
                height[here] = cubic(grid, row[here] - first[0], column[here] - first[1])
        return height

    def _cells(self, latitude: NDArray[np.float64], longitude: NDArray[np.float64],
               ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Fractional row and column, whole numbers at the middles of cells."""
        from rasterio.warp import transform

        x, y = (np.asarray(axis) for axis in transform(
            "EPSG:4326", self.place.crs, longitude.tolist(), latitude.tolist()))
        column, row = _mapped(~self.place.transform, x, y)
        return row - 0.5, column - 0.5

    def _read(self, files: _Files, first: NDArray[np.int64],
              last: NDArray[np.int64]) -> NDArray[np.float64]:
        """Heights [m] of the cells from `first` to `last` (both in), from every tile there."""
        grid = np.full((last[0] - first[0] + 1, last[1] - first[1] + 1), np.nan)
        for tile in self.tiles:
            top, left = max(first[0], tile.row), max(first[1], tile.column)
            bottom = min(last[0], tile.row + tile.shape[0] - 1)
            right = min(last[1], tile.column + tile.shape[1] - 1)
            if top > bottom or left > right:
                continue
            values = files.read(tile, (top - tile.row, bottom - tile.row + 1),
                                (left - tile.column, right - tile.column + 1))
            part = grid[top - first[0]:bottom - first[0] + 1, left - first[1]:right - first[1] + 1]
            np.copyto(part, values, where=np.isnan(part))
        return grid


@dataclass
class _Files:
    """Files that are open for one reading, few at a time."""

    stack: contextlib.ExitStack
    opened: dict[Path, Any] = field(default_factory=dict)

    def read(self, tile: _Tile, rows: tuple[int, int],
             columns: tuple[int, int]) -> NDArray[np.float64]:
        """Heights [m] of a window, nan where missing."""
        import rasterio

        if tile.path not in self.opened:
            if len(self.opened) > 32:
                self.stack.close()
                self.opened.clear()
            self.opened[tile.path] = self.stack.enter_context(_opened(rasterio, tile.path))
        try:
            found = self.opened[tile.path].read(1, window=(rows, columns), masked=True)
        except rasterio.errors.RasterioError as error:
            raise damaged(str(tile.path)) from error
        values = np.ma.filled(found.astype(float), np.nan) * tile.factor + tile.offset
        beyond = (values < _HEIGHTS[0]) | (values > _HEIGHTS[1])
        return np.where(beyond, np.nan, values)


def _mapped(transform: Any, x: Any, y: Any) -> tuple[Any, Any]:
    """Apply an affine transform to numbers or arrays."""
    return (transform.a * x + transform.b * y + transform.c,
            transform.d * x + transform.e * y + transform.f)


def _opened(rasterio: Any, path: Path) -> Any:
    """Open a GeoTIFF and nothing else: other formats can name files and addresses of their own."""
    with open_input(path, _LARGEST):
        pass
    try:
        return rasterio.open(path, driver="GTiff")
    except rasterio.errors.RasterioError as error:
        raise InputError(str(path), "", "is not a GeoTIFF that can be read",
                         "save the terrain model as GeoTIFF (.tif)") from error


def _tile(rasterio: Any, path: Path, unit: str | None) -> tuple[_Tile, _Place]:
    """Read what a file is, without its heights."""
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a missing projection is told below
        with _opened(rasterio, path) as file:
            if file.crs is None:
                raise InputError(str(path), "",
                                 "does not state its projection, so its place is unknown",
                                 "save it with its coordinate reference system")
            if file.count > 1:
                raise InputError(str(path), "", f"has {file.count} bands; heights have one",
                                 "name the terrain model, not an image")
            said = (unit or file.units[0] or "m").strip().lower()
            metres = _FEET.get(said, 1.0)
            tile = _Tile(path, 0, 0, file.shape, metres * file.scales[0], metres * file.offsets[0])
            return tile, _Place(file.crs, file.transform, file.shape)
