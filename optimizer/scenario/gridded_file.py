"""Forecasts as weather services publish them: NetCDF and GRIB2, by member, hour and grid."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from datetime import UTC, datetime
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

import numpy as np

from optimizer.conditions.forecast import Forecast, conditions_of
from optimizer.course.geodesy import east_north, tangent_plane
from optimizer.defaults import GRAVITY, ZERO_CELSIUS
from optimizer.errors import InputError
from optimizer.files import damaged, open_input
from optimizer.scenario.forecast_file import start_within

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from optimizer.conditions import Conditions
    from optimizer.course import Course

__all__ = ["is_gridded", "read_gridded"]

_LARGEST = 16 * 2**30  # bytes of a file, of which only what lies about the course is read
_APART, _MOST_PLACES = 2000.0, 200  # m between places along the course, and how many at most
_MAGIC = {b"GRIB": "grib", b"\x89HDF": "netcdf", b"CDF\x01": "netcdf", b"CDF\x02": "netcdf",
          b"CDF\x05": "netcdf"}
_MEMBER = ("number", "realization", "member", "ensemble", "ensemble_member", "ens")

# Factor and offset to SI by unit, as UDUNITS and the tables of GRIB write them.
_UNITS: dict[str, dict[str, tuple[float, float]]] = {
    "speed": {"m s**-1": (1, 0), "m s-1": (1, 0), "m/s": (1, 0), "km/h": (1 / 3.6, 0),
              "km h-1": (1 / 3.6, 0), "knots": (1852 / 3600, 0), "knot": (1852 / 3600, 0),
              "kt": (1852 / 3600, 0)},
    "temperature": {"k": (1, 0), "kelvin": (1, 0), "degc": (1, ZERO_CELSIUS),
                    "celsius": (1, ZERO_CELSIUS), "°c": (1, ZERO_CELSIUS),
                    "degrees_celsius": (1, ZERO_CELSIUS), "c": (1, ZERO_CELSIUS)},
    "pressure": {"pa": (1, 0), "hpa": (100, 0), "mbar": (100, 0), "millibar": (100, 0)},
    "share": {"%": (0.01, 0), "percent": (0.01, 0), "1": (1, 0), "(0 - 1)": (1, 0)},
    "height": {"m": (1, 0), "metre": (1, 0), "meters": (1, 0), "gpm": (1, 0),
               "m**2 s**-2": (1 / GRAVITY, 0), "m2 s-2": (1 / GRAVITY, 0)}}


@dataclass(frozen=True)
class _Quantity:
    """What is looked for: standard names of the CF conventions, short names of GRIB tables."""

    kind: str
    standard: tuple[str, ...]
    short: tuple[str, ...]
    level: float | None = None
    words: str = ""


_QUANTITIES = {
    "east": _Quantity("speed", ("eastward_wind", "x_wind"), ("u10", "10u", "u"), 10.0),
    "north": _Quantity("speed", ("northward_wind", "y_wind"), ("v10", "10v", "v"), 10.0),
    "gust": _Quantity("speed", ("wind_speed_of_gust",),
                      ("fg10", "10fg", "i10fg", "max_i10fg", "gust", "fg310"), 10.0, "gusts"),
    "temperature": _Quantity("temperature", ("air_temperature",), ("t2m", "2t", "t"), 2.0,
                             "temperature"),
    "dew_point": _Quantity("temperature", ("dew_point_temperature",), ("d2m", "2d", "dpt"), 2.0),
    "humidity": _Quantity("share", ("relative_humidity",), ("r2", "2r", "r"), 2.0, "humidity"),
    "pressure": _Quantity("pressure", ("surface_air_pressure",), ("sp",), None, "pressure"),
    "sea_level_pressure": _Quantity(
        "pressure", ("air_pressure_at_mean_sea_level", "air_pressure_at_sea_level"),
        ("msl", "prmsl")),
    "ground": _Quantity("height", ("surface_altitude",), ("orog", "z", "h"), None),
}


@dataclass(frozen=True)
class _Field:
    """One quantity along the course: (m, t, d) in SI, at times in seconds since 1970 UTC."""

    values: NDArray[np.float64]
    time: NDArray[np.float64]


def is_gridded(path: Path | str) -> bool:
    """Tell whether a file is NetCDF or GRIB, by its first bytes. Raises InputError."""
    return _kind(path) is not None


def _kind(path: Path | str) -> str | None:
    with open_input(path, _LARGEST) as stream:
        return _MAGIC.get(stream.read(4))


def read_gridded(paths: Sequence[Path | str], start: datetime | None, conditions: Conditions,
                 course: Course, *, extrapolate: bool = False,
                 ) -> tuple[Conditions, tuple[str, ...]]:
    """Conditions along a course out of NetCDF or GRIB2 files.

    Wind towards east and north at ten metres is needed; gusts, temperature, dew point or
    humidity, pressure (at the ground or reduced to sea level) and the height of the model's
    ground are taken where they are. Linear between grid points and hours.

    Parameters
    ----------
    paths : files; each may hold other quantities, or other members of the same ones
    start : with its zone, since these files count in UTC; None takes their first hour
    conditions : what holds where the files say nothing
    extrapolate : take the first or last hour for a start outside of the files' hours

    Returns the conditions, an ensemble where there are members, and in words what was assumed.
    Raises InputError for what cannot be read, and where the course or the start is not inside.
    """
    name = str(paths[0])
    if start is not None and start.tzinfo is None:
        raise InputError(name, "", "counts its hours in UTC, and the start names no zone",
                         "write start_time with one, such as 2030-06-16T09:00:00+02:00")
    if not (np.any(course.latitude) or np.any(course.longitude)):
        raise InputError(name, "", "is a forecast by place, and the course has no positions",
                         "give a course with latitude and longitude")
    at = np.linspace(0.0, course.length, int(np.clip(
        np.ceil(course.length / _APART) + 1, 2, _MOST_PLACES)))
    places = (np.interp(at, course.distance, course.latitude),
              np.interp(at, course.distance, np.unwrap(course.longitude, period=360.0)))
    found: dict[str, list[_Field]] = {}
    for path in paths:
        for what, values in _fields(str(path), places):
            found.setdefault(what, []).append(values)
    joined = {what: _together(name, fields) for what, fields in found.items()}
    for what, words in (("east", "towards the east"), ("north", "towards the north")):
        if what not in joined:
            raise InputError(name, "", f"has no wind {words} at ten metres",
                             "fetch u and v at 10 m, named as the CF conventions or GRIB do")
    return _conditions(name, joined, at, start, conditions, extrapolate=extrapolate)


def _conditions(name: str, found: dict[str, _Field], at: NDArray[np.float64],
                start: datetime | None, conditions: Conditions, *, extrapolate: bool,
                ) -> tuple[Conditions, tuple[str, ...]]:
    time = found["east"].time
    first, last = (datetime.fromtimestamp(float(moment), UTC) for moment in time[[0, -1]])
    begin = start_within(name, first, last, start, extrapolate=extrapolate)
    members = max(len(field.values) for field in found.values())
    notes = []

    def on_axes(what: str) -> NDArray[np.float64] | None:
        field = found.get(what)
        if field is None:
            return None
        if len(field.values) not in (1, members):
            raise InputError(name, "", f"has {members} members, but {len(field.values)} of {what}",
                             "fetch all quantities for the same members")
        values = np.broadcast_to(field.values, (members, *field.values.shape[1:]))
        if len(field.time) == len(time) and np.array_equal(field.time, time):
            return values
        if len(field.time) > 1 and (field.time[0] > time[0] or field.time[-1] < time[-1]):
            notes.append(f"the forecast has {what.replace('_', ' ')} for fewer hours than the "
                         "wind; its first or last value goes on")
        return _by_time(values, field.time, time)

    laid = {what: on_axes(what) for what in _QUANTITIES}
    warm, dew, damp = laid["temperature"], laid["dew_point"], laid["humidity"]
    if damp is None and warm is not None and dew is not None:
        damp = np.clip(_vapour(dew) / _vapour(warm), 0.0, 1.0)
        laid["humidity"] = damp
    notes += [f"the forecast has no {quantity.words}" for what, quantity in _QUANTITIES.items()
              if quantity.words and laid[what] is None and not (
                  what == "pressure" and laid["sea_level_pressure"] is not None)]
    height = laid["ground"]
    ground = None if height is None else height[0, 0]
    if ground is None and (warm is not None or laid["pressure"] is not None):
        notes.append("the forecast does not state the height of its ground: its temperature and "
                     "pressure are taken as those at the start of the course")
    sea_level = laid["sea_level_pressure"]
    # Without the model's ground the pressure there is worth less than the one at sea level.
    surface = None if ground is None and sea_level is not None else laid["pressure"]
    east, north = laid["east"], laid["north"]
    assert east is not None  # noqa: S101 - refused above
    assert north is not None  # noqa: S101
    since = time - begin.timestamp()
    forecast = Forecast(time=since, distance=at, east=east, north=north, gust=laid["gust"],
                        temperature=warm, humidity=damp, pressure=surface,
                        sea_level_pressure=sea_level, ground=ground)
    made = conditions_of(forecast, conditions, begin)
    if members > 1:
        notes.append(f"the range of the wind is that of the forecast's {members} members")
    return made, tuple(notes)


def _vapour(temperature: NDArray[np.float64]) -> NDArray[np.float64]:
    """Saturation vapour pressure [hPa] over water at K.

    Magnus form of Alduchov and Eskridge 1996, J. Appl. Meteorol. 35:601, eq. 21.
    """
    t = temperature - ZERO_CELSIUS
    return np.asarray(6.1094 * np.exp(17.625 * t / (t + 243.04)))


def _by_time(values: NDArray[np.float64], known: NDArray[np.float64],
             wanted: NDArray[np.float64]) -> NDArray[np.float64]:
    """Values (m, t, d) at other times, linear between and constant beyond."""
    return np.apply_along_axis(lambda line: np.interp(wanted, known, line), 1, values)


def _together(name: str, fields: list[_Field]) -> _Field:
    """One field of those that hold the same quantity: other members of it, or other hours."""
    first = fields[0]
    if len(fields) == 1:
        return first
    if all(np.array_equal(field.time, first.time) for field in fields):
        return _Field(np.concatenate([field.values for field in fields]), first.time)
    if len({len(field.values) for field in fields}) == 1:
        time = np.concatenate([field.time for field in fields])
        once, where = np.unique(time, return_index=True)
        return _Field(np.concatenate([field.values for field in fields], axis=1)[:, where], once)
    raise InputError(name, "", "has other hours than the files of the other members",
                     "fetch the same hours for all members")


# --- datasets ---------------------------------------------------------------------------


def _fields(name: str, places: tuple[NDArray[np.float64], NDArray[np.float64]],
            ) -> list[tuple[str, _Field]]:
    """Each known quantity of a file, along the course."""
    found: list[tuple[str, _Field]] = []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the libraries warn of their own future
        for data in _datasets(name):
            try:
                found += _of_dataset(name, data, places)
            except (OSError, EOFError, RuntimeError) as error:
                raise damaged(name) from error
            finally:
                data.close()
    if not found:
        raise InputError(name, "", "has none of the quantities that a plan needs",
                         "fetch u and v at 10 m, named as the CF conventions or GRIB do")
    return found


def _datasets(name: str) -> list[Any]:
    kind = _kind(name)
    if kind is None:
        raise InputError(name, "", "is neither NetCDF nor GRIB", "name a file of one of these")
    try:
        import xarray

        if kind == "grib":
            import cfgrib
    except (ImportError, RuntimeError) as error:
        raise InputError(name, "", "needs packages to be read that are not installed",
                         'install them with: pip install "kitpace[forecast]"') from error
    try:
        if kind == "netcdf":
            return [xarray.open_dataset(name, engine="netcdf4", decode_timedelta=False)]
        # An index in a folder of its own, so that it is made once and not for every quantity.
        with TemporaryDirectory() as folder:
            found = cfgrib.open_datasets(name, backend_kwargs={
                "indexpath": f"{folder}/{{short_hash}}.idx", "errors": "raise"})
    except ImportError as error:
        raise InputError(name, "", "needs packages to be read that are not installed",
                         'install them with: pip install "kitpace[forecast]"') from error
    except Exception as error:  # the libraries have no common error for a file they cannot read
        raise damaged(name) from error
    if not found:
        raise damaged(name)
    return list(found)


def _of_dataset(name: str, data: Any, places: tuple[NDArray[np.float64], NDArray[np.float64]],
                ) -> list[tuple[str, _Field]]:
    arrays = {what: chosen for what, quantity in _QUANTITIES.items()
              if (chosen := _choose(data, quantity)) is not None}
    if not arrays:
        return []
    turned = _relative_to_grid(arrays)
    sampled = {}
    for what, array in arrays.items():
        grid = _Grid.of(name, array, places)
        values, time = _member_time(name, what, array, grid)
        factor, offset = _unit(name, array, _QUANTITIES[what].kind)
        sampled[what] = (grid.sample(name, values) * factor + offset, time, grid)
    if turned and {"east", "north"} <= set(sampled):
        (x, time, grid), (y, *_) = sampled["east"], sampled["north"]
        sine, cosine = grid.turn()
        sampled["east"] = (x * cosine - y * sine, time, grid)
        sampled["north"] = (x * sine + y * cosine, time, grid)
    return [(what, _Field(values, time)) for what, (values, time, _) in sampled.items()]


def _choose(data: Any, quantity: _Quantity) -> Any:
    """Variable of a dataset that is a quantity, by standard name or else by short name."""
    for names, key in ((quantity.standard, "standard_name"), (quantity.short, "")):
        for wanted in names:
            for variable in data.data_vars:
                array = data[variable]
                said = array.attrs.get(key, "") if key else str(variable).lower()
                if said == wanted and _has_level(array, quantity):
                    return _at_level(array, quantity)
    return None


_LEVELS = ("height", "heightaboveground", "height_above_ground", "lev", "level", "z")


def _level_of(array: Any) -> str | None:
    """Name of the coordinate that tells a height above the ground."""
    for name in array.coords:
        plain = str(name).lower()
        if plain in _LEVELS or plain.startswith(("height_above_ground", "height")):
            return str(name)
    return None


def _has_level(array: Any, quantity: _Quantity) -> bool:
    """Tell whether a variable holds for the height that is asked for; unsaid is right."""
    if "isobaricInhPa" in array.coords or quantity.level is None:
        return "isobaricInhPa" not in array.coords
    level = _level_of(array)
    if level is None:
        return True
    return bool(np.any(np.abs(np.atleast_1d(array[level].values).astype(float)
                              - quantity.level) < 0.5))


def _at_level(array: Any, quantity: _Quantity) -> Any:
    level = _level_of(array)
    if level is None or level not in array.dims or quantity.level is None:
        return array
    heights = array[level].values.astype(float)
    return array.isel({level: int(np.argmin(np.abs(heights - quantity.level)))})


def _relative_to_grid(arrays: dict[str, Any]) -> bool:
    """Tell whether winds are along the axes of their grid instead of east and north."""
    east = arrays.get("east")
    if east is None:
        return False
    return (east.attrs.get("standard_name") == "x_wind"
            or int(east.attrs.get("GRIB_uvRelativeToGrid", 0)) == 1)


def _unit(name: str, array: Any, kind: str) -> tuple[float, float]:
    said = str(array.attrs.get("units", "")).strip()
    known = _UNITS[kind]
    if said.lower() not in known:
        raise InputError(name, str(array.name), f'has the unit "{said}"' if said else
                         "has no unit", f"known are {', '.join(known)}")
    return known[said.lower()]


def _member_time(name: str, what: str, array: Any, grid: _Grid,
                 ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Values (m, t, grid...) of a variable about the course, and its times [s since 1970 UTC]."""
    array = array.isel(grid.window)
    rest = [str(dim) for dim in array.dims if dim not in grid.dims]
    member = next((dim for dim in rest if dim.lower() in _MEMBER or array.coords.get(
        dim, array).attrs.get("standard_name") == "realization"), None)
    others = [dim for dim in rest if dim != member]
    clock = array.coords.get("valid_time", array.coords.get("time"))
    if clock is None:
        clock = next((array.coords[dim] for dim in others if dim in array.coords
                      and np.issubdtype(array.coords[dim].dtype, np.datetime64)), None)
    dims: tuple[str, ...] = ()
    if clock is None or not np.issubdtype(clock.dtype, np.datetime64):
        if what != "ground":
            raise InputError(name, str(array.name), "has no times", "fetch it with its hours")
        clock_values = np.array([np.datetime64(0, "s")])
    else:
        clock_values = clock.values
        dims = tuple(str(dim) for dim in clock.dims)
    for dim in [dim for dim in others if dim not in dims]:
        if array.sizes[dim] > 1:
            raise InputError(name, str(array.name), f'has a dimension "{dim}" that is not known',
                             "fetch one level, by member, hour and place")
        array = array.isel({dim: 0})
    if len(dims) > 1:
        raise InputError(name, str(array.name), "contains several runs of the forecast",
                         "fetch one run, the latest")
    order = [*([member] if member else []), *dims, *grid.dims]
    values = np.asarray(array.transpose(*order).values, dtype=float)
    if not member:
        values = values[None]
    if not dims:
        values = values[:, None]
    time = np.atleast_1d(clock_values).astype("datetime64[ms]").astype(np.int64) / 1000.0
    rising = np.argsort(time)
    return values[:, rising], time[rising]


# --- grids ------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Grid:
    """The part of a grid about the course, and the places (d,) on it.

    `latitude`, `longitude`: (i,) and (j,) of a regular grid, or (i, j) of any other; `window`:
    slices of the dimensions `dims`.
    """

    latitude: NDArray[np.float64]
    longitude: NDArray[np.float64]
    dims: tuple[str, ...]
    window: dict[str, slice]
    places: tuple[NDArray[np.float64], NDArray[np.float64]]

    @classmethod
    def of(cls, name: str, array: Any,
           places: tuple[NDArray[np.float64], NDArray[np.float64]]) -> _Grid:
        """Find the grid of a variable, and the part of it that holds the course."""
        lat, lon = (next((array.coords[c] for c in array.coords if str(c).lower() in names
                          or array.coords[c].attrs.get("standard_name") == names[0]), None)
                    for names in (("latitude", "lat"), ("longitude", "lon")))
        if lat is None or lon is None or lat.ndim != lon.ndim or lat.ndim not in (1, 2):
            raise InputError(name, str(array.name), "has no latitudes and longitudes",
                             "fetch it on a grid that names them")
        here = float(np.mean(places[1]))
        latitude = lat.values.astype(float)
        longitude = (lon.values.astype(float) - here + 180.0) % 360.0 - 180.0 + here
        dims = (*map(str, lat.dims), *map(str, lon.dims)) if lat.ndim == 1 else tuple(
            map(str, lat.dims))
        if lat.ndim == 1 and len(set(dims)) == 1:
            raise InputError(name, str(array.name), "contains single stations, not a grid",
                             "write a table by place for them (CSV)")
        ends = [(np.min(values), np.max(values)) for values in places]
        if lat.ndim == 1:
            rows, columns = (_around(axis, *end) for axis, end in zip(
                (latitude, longitude), ends, strict=True))
        else:
            reach = 2.0 * float(np.max(np.abs(np.diff(latitude, axis=0)))) + 0.05
            near = ((latitude > ends[0][0] - reach) & (latitude < ends[0][1] + reach)
                    & (longitude > ends[1][0] - 2 * reach) & (longitude < ends[1][1] + 2 * reach))
            rows, columns = (_span(near.any(axis=k)) for k in (1, 0))
        if rows is None or columns is None:
            raise _outside(name, latitude, longitude, places)
        part = ((latitude[rows], longitude[columns]) if lat.ndim == 1 else
                (latitude[rows, columns], longitude[rows, columns]))
        return cls(*part, dims, dict(zip(dims, (rows, columns), strict=True)), places)

    def sample(self, name: str, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Values (..., i, j) at the places, (..., d), linear between the nodes of the grid.

        Raises InputError where the places lie outside or where values are missing.
        """
        from scipy.interpolate import LinearNDInterpolator, RegularGridInterpolator

        leading = values.shape[:-2]
        table = np.moveaxis(values.reshape(-1, *values.shape[-2:]), 0, -1)
        if self.latitude.ndim == 1:
            axes, points = [], []
            for k, (axis, place) in enumerate(zip((self.latitude, self.longitude), self.places,
                                                  strict=True)):
                if len(axis) == 1:
                    table = np.repeat(table, 2, axis=k)
                    axis = np.array([axis[0] - 0.5, axis[0] + 0.5])  # noqa: PLW2901
                rising = np.argsort(axis)
                axes.append(axis[rising])
                table = np.take(table, rising, axis=k)
                points.append(place)
            found = RegularGridInterpolator(axes, table, bounds_error=False)(
                np.column_stack(points))
        else:
            flat = table.reshape(-1, table.shape[-1])
            found = LinearNDInterpolator(self._plane(self.latitude, self.longitude), flat)(
                self._plane(*self.places))
        if not np.isfinite(found).all():
            raise _outside(name, self.latitude, self.longitude, self.places)
        return np.asarray(found.T.reshape(*leading, len(self.places[0])))

    def _plane(self, latitude: NDArray[np.float64],
               longitude: NDArray[np.float64]) -> NDArray[np.float64]:
        """Coordinates (p, 2) [m] on the plane that touches the earth at the course."""
        middle = (float(np.mean(self.places[0])), float(np.mean(self.places[1])))
        return tangent_plane(latitude.ravel(), longitude.ravel(), middle).T

    def turn(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Sine and cosine (d,) of the angle from east to the grid's x axis, anticlockwise."""
        if self.latitude.ndim == 1:
            return np.zeros(len(self.places[0])), np.ones(len(self.places[0]))
        angle = np.zeros(self.latitude.shape)
        for row in range(len(angle)):
            east, north = east_north(self.latitude[row], self.longitude[row])
            along = np.arctan2(north, east)
            angle[row] = np.append(along, along[-1])
        pair = np.stack([np.sin(angle), np.cos(angle)])
        sine, cosine = self.sample("", pair)
        size = np.hypot(sine, cosine)
        return sine / size, cosine / size


def _around(axis: NDArray[np.float64], low: float, high: float) -> slice | None:
    """Entries of a monotonic axis from the last one below to the first one above a range."""
    if len(axis) == 1:
        return slice(0, 1)
    rising = axis if axis[-1] > axis[0] else axis[::-1]
    if low < rising[0] - 1e-9 or high > rising[-1] + 1e-9:
        return None
    first = int(np.searchsorted(rising, low, side="right")) - 1
    last = int(np.searchsorted(rising, high, side="left"))
    first, last = max(first, 0), min(max(last, first + 1), len(axis) - 1)
    first = min(first, last - 1)
    return (slice(first, last + 1) if axis[-1] > axis[0] else
            slice(len(axis) - 1 - last, len(axis) - first))


def _span(which: NDArray[np.bool_]) -> slice | None:
    found = np.flatnonzero(which)
    return slice(int(found[0]), int(found[-1]) + 1) if len(found) > 1 else None


def _outside(name: str, latitude: NDArray[np.float64], longitude: NDArray[np.float64],
             places: tuple[NDArray[np.float64], NDArray[np.float64]]) -> InputError:
    def said(values: NDArray[np.float64]) -> str:
        return f"{np.min(values):.2f} to {np.max(values):.2f}"

    return InputError(
        name, "", f"covers latitude {said(latitude)} and longitude {said(longitude)}; the course "
        f"lies at {said(places[0])} and {said(places[1])}, not all of it where there are values",
        "fetch the forecast for a larger part of the map")
