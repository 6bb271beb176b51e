"""Recorded rides from CSV, from GPX with power in its extensions, or from a head unit's file."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from optimizer.course import Correction
from optimizer.course.geodesy import local_metres, step_lengths
from optimizer.course.gpx import recorded_points
from optimizer.errors import InputError
from optimizer.ride import Ride
from optimizer.ride.plausible import dead_power
from optimizer.ride.spans import longest_step
from optimizer.scenario.fit_file import read_fit
from optimizer.scenario.tables import Row, headings_of, parse_number, read_rows
from optimizer.scenario.track_file import kind_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Recording", "read_columns", "read_ride"]

# Columns that are used, with the range in which a value can be true.
_RANGES = {
    "elapsed_s": (0.0, 1e6), "latitude_deg": (-90.0, 90.0), "longitude_deg": (-180.0, 180.0),
    "elevation_m": (-500.0, 9000.0), "distance_m": (0.0, 2e6), "speed_mps": (0.0, 40.0),
    "speed_kmh": (0.0, 144.0), "power_w": (0.0, 3000.0)}
_LEAST = 30  # samples; less is no ride
_LONG_STEP = 40.0  # m/s between two fixes: one of them is wrong
_SET_OUT = 50.0  # m by the wheel; less is pushing the bike about while waiting for a fix
_UNCOUNTED = 30.0  # m that the map may say more than the wheel across a gap
_STILL_TIME, _STILL_WAY = 3.5, 4.0  # s, m


def read_ride(path: Path | str) -> Ride:
    """Read a recorded ride, CSV, GPX or FIT by what it begins with.

    CSV: one row a sample; `elapsed_s` or `time` (ISO 8601), and `distance_m`, `speed_mps` or
    `speed_kmh`, or `latitude_deg` with `longitude_deg`; `power_w` and `elevation_m` where they
    were recorded. Empty cells are samples that the sensor missed; other columns are left
    out. GPX: track points with time, power in `extensions`.

    Raises InputError for what cannot be a ride.
    """
    file = Path(path)
    return _assemble(str(path), file.stem, read_columns(file))


@dataclass(frozen=True)
class Recording:
    """Columns of a recording as they are, nan where a sample is missing.

    Attributes
    ----------
    columns : by name, as in a CSV; `elapsed_s` is always there and never falls
    start : of the first sample, None if unknown
    corrections : what was left out or mended while reading
    virtual : whether the file says that it was ridden on no road
    """

    columns: dict[str, NDArray[np.float64]]
    start: datetime | None
    corrections: tuple[Correction, ...] = ()
    virtual: bool = False


def read_columns(file: Path) -> Recording:
    """Read a recording, CSV, GPX or FIT by what it begins with. Raises InputError."""
    kind = kind_of(file)
    if kind == "fit":
        columns, start, virtual = read_fit(file)
        return Recording(columns, start, virtual=virtual)
    return _from_gpx(file) if kind == "gpx" else _from_csv(file)


def _from_csv(file: Path) -> Recording:
    others = [name for name in headings_of(file) if name not in _RANGES and name != "time"]
    rows = read_rows(file, required=[], optional=["time", *_RANGES, *others])
    if rows and not any(row.has(name) for row in rows for name in ("elapsed_s", "time")):
        raise InputError(str(file), "row 1", 'there is neither "elapsed_s" nor "time"',
                         "give each sample its seconds after the start in elapsed_s")
    if len(rows) < _LEAST:
        raise InputError(str(file), "", f"has {len(rows)} samples",
                         "a ride has a row for each second, with headings in the first row")
    columns = {
        name: np.array([np.nan if value is None else value for value in
                        (row.number(name, None, low=low, high=high) for row in rows)])
        for name, (low, high) in _RANGES.items() if any(row.has(name) for row in rows)}
    start = _moment(rows[0]) if rows[0].has("time") else None
    if "elapsed_s" not in columns:
        if start is None:  # the first row alone has none
            raise rows[0].error("time", "is empty", "fill it in")
        columns["elapsed_s"] = np.array([(_moment(row) - start).total_seconds() for row in rows])
    elif np.isnan(columns["elapsed_s"]).any():
        row = rows[int(np.isnan(columns["elapsed_s"]).argmax())]
        raise row.error("elapsed_s", "is empty", "fill it in")
    _check_order(rows, columns["elapsed_s"])
    return Recording(columns, start, tuple(
        Correction("column left out", 1, name) for name in others
        if name not in {"cadence_rpm", "temperature_c"}))


def _from_gpx(file: Path) -> Recording:
    """Columns from the track points of a GPX file."""
    points, kind = recorded_points(file)
    if len(points) < _LEAST:
        raise InputError(str(file), "", f"has {len(points)} track points",
                         "a ride has one for each second, in a trk")
    start, rows = None, []
    for number, (latitude, longitude, height, time, power, _) in enumerate(points, 1):
        moment = _gpx_moment(file, number, time or "")
        start = start or moment
        rows.append(((moment - start).total_seconds(), latitude, longitude,
                     _gpx_number(file, number, "elevation_m", height),
                     _gpx_number(file, number, "power_w", power)))
    columns = dict(zip(("elapsed_s", "latitude_deg", "longitude_deg", "elevation_m", "power_w"),
                       np.array(rows).T, strict=True))
    back = np.flatnonzero(np.diff(columns["elapsed_s"]) < 0.0)
    if len(back):
        raise InputError(str(file), f"track point {back[0] + 2}", "goes back in time",
                         "one ride a file")
    breaks = len({segment for *_, segment in points}) - 1
    gaps = (Correction("break in the track", breaks, "kept as a gap in time"),)
    return Recording(columns, start, gaps if breaks else (), "virtual" in kind.lower())


def _gpx_moment(file: Path, number: int, text: str) -> datetime:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise InputError(str(file), f"track point {number}",
                         f'its time "{text}" is not a date with a time' if text
                         else "has no time", "a recorded ride has a time at each point") from error
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)


def _gpx_number(file: Path, number: int, name: str, text: str | None) -> float:
    """Value of a point; nan where it was not recorded."""
    low, high = _RANGES[name]
    if not text:
        return np.nan
    try:
        value = parse_number(text)
    except ValueError as error:
        raise InputError(str(file), f"track point {number}", f'its {name} "{text}" {error}',
                         "export it again") from error
    if not low <= value <= high:
        raise InputError(str(file), f"track point {number}", f"its {name} {text} is out of range",
                         f"it has to be between {low:g} and {high:g}")
    return value


def _moment(row: Row) -> datetime:
    text = row.text("time")
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise row.error("time", f'"{text}" is not a date with a time',
                        "write it as 2024-05-01T09:30:00Z, or use elapsed_s") from error
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)


def _check_order(rows: list[Row], time: NDArray[np.float64]) -> None:
    back = np.flatnonzero(np.diff(time) < 0.0)
    if len(back):
        raise rows[int(back[0]) + 1].error("", "goes back in time",
                                           "sort the samples, and put one ride in each file")


def _assemble(file: str, name: str, recording: Recording) -> Ride:
    """Derive what was not recorded, and check what was."""
    columns, start = recording.columns, recording.start
    corrections = list(recording.corrections)
    keep = np.concatenate([[True], np.diff(columns["elapsed_s"]) > 0.0])
    if not keep.all():
        corrections.append(Correction("sample with the time of the one before", int((~keep).sum()),
                                      "left out"))
        columns = {key: values[keep] for key, values in columns.items()}
    time = columns["elapsed_s"] - columns["elapsed_s"][0]
    if len(time) < _LEAST:
        raise InputError(file, "", f"has {len(time)} samples at different times",
                         "a ride has a sample for each second")
    columns, time, start = _from_the_first_fix(columns, time, start, corrections)
    unknown = np.full(len(time), np.nan)
    columns = _without_dead_sensors(columns, corrections)
    speed = columns.get("speed_mps", columns.get("speed_kmh", unknown * 3.6) / 3.6)
    speed = _filled(speed, time, "speed", corrections)
    wheel = _filled(columns.get("distance_m", unknown), time, "distance", corrections)
    latitude, longitude = _positions(columns, time, wheel, speed, corrections)
    elevation = _filled(columns.get("elevation_m", unknown), time, "height", corrections)
    distance = _distance(file, wheel, speed, latitude, longitude, time, corrections)
    if np.isnan(speed).any():
        speed = np.maximum(np.gradient(distance, time), 0.0)
        corrections.append(Correction("speed", len(time), "from the distance"))
    _check_pace(file, distance, time)
    power = columns.get("power_w", unknown)
    dead = dead_power(time, distance, speed, power, elevation)
    if dead.any():
        corrections.append(Correction("power of 0 W where nobody can coast", int(dead.sum()),
                                      "taken as not recorded"))
    return Ride(name=name, time=time, distance=distance, speed=speed,
                power=np.where(dead, np.nan, power), elevation=elevation, latitude=latitude,
                longitude=longitude, start=start, corrections=tuple(corrections),
                virtual=recording.virtual, file=file)


def _from_the_first_fix(columns: dict[str, NDArray[np.float64]], time: NDArray[np.float64],
                        start: datetime | None, corrections: list[Correction],
                        ) -> tuple[dict[str, NDArray[np.float64]], NDArray[np.float64],
                                   datetime | None]:
    """Cut off what was recorded before the first position and after the last, standing.

    A recorder that waits for its first fix has not set out; where the wheel turned meanwhile,
    the ride began when it did.
    """
    fix = np.isfinite(columns.get("latitude_deg", np.full(len(time), np.nan)))
    if not fix.any() or fix[[0, -1]].all():
        return columns, time, start
    first, last = int(fix.argmax()), len(fix) - 1 - int(fix[::-1].argmax())
    turned = _turned(columns, time)
    begin = first if turned[first] < _SET_OUT else max(int(np.argmax(turned > 1.0)) - 1, 0)
    end = last if turned[-1] - turned[last] < _SET_OUT else int(
        np.argmax(turned >= turned[-1] - 1.0))
    if end - begin < _LEAST:
        return columns, time, start
    for what, cut in (("first", time[begin]), ("last", time[-1] - time[end])):
        if cut > 0.0:
            side = "before its" if what == "first" else "after its"
            corrections.append(Correction(f"time {side} {what} position", 1,
                                          f"{cut:.0f} s left out, in which nothing moved"))
    columns = {name: values[begin:end + 1] for name, values in columns.items()}
    moved = start + timedelta(seconds=float(time[begin])) if start else None
    return columns, time[begin:end + 1] - time[begin], moved


def _turned(columns: dict[str, NDArray[np.float64]],
            time: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) m that the wheel has turned since the first sample; 0 where nothing counted it."""
    if "distance_m" in columns and np.isfinite(columns["distance_m"]).any():
        known = np.isfinite(columns["distance_m"])
        way = np.interp(time, time[known], columns["distance_m"][known])
        return np.asarray(np.maximum.accumulate(way) - way[0])
    speed = np.nan_to_num(columns.get("speed_mps", columns.get("speed_kmh", 0.0 * time) / 3.6))
    return np.concatenate([[0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]) * np.diff(time))])


def _positions(columns: dict[str, NDArray[np.float64]], time: NDArray[np.float64],
               wheel: NDArray[np.float64], speed: NDArray[np.float64],
               corrections: list[Correction],
               ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Latitude and longitude, bridged between fixes as the wheel turned, nan outside of them."""
    unknown = np.full(len(time), np.nan)
    latitude, longitude = (columns.get(name, unknown) for name in ("latitude_deg",
                                                                    "longitude_deg"))
    fix = np.isfinite(latitude) & np.isfinite(longitude)
    if fix.all() or not fix.any():
        return (latitude, longitude) if fix.all() else (unknown, unknown)
    inside = slice(int(fix.argmax()), len(fix) - int(fix[::-1].argmax()))
    if fix[inside].mean() <= 0.5:
        return unknown, unknown
    if np.isfinite(wheel).all():
        axis = np.maximum.accumulate(wheel) + 1e-6 * time
    elif np.isfinite(speed).all():
        axis = np.concatenate([[0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1])
                                                * np.diff(time))]) + 1e-6 * time
    else:
        axis = time
    missing = int((~fix[inside]).sum())
    if missing:
        corrections.append(Correction("missing position", missing, "bridged by a straight line"))
    outside = np.ones(len(time), dtype=bool)
    outside[inside] = False
    latitude, longitude = (np.where(outside, np.nan, np.interp(axis, axis[fix], values[fix]))
                           for values in (latitude, longitude))
    return latitude, longitude


def _without_dead_sensors(columns: dict[str, NDArray[np.float64]],
                          corrections: list[Correction]) -> dict[str, NDArray[np.float64]]:
    """Columns without a distance or speed of 0 throughout: that sensor was not there."""
    dead = [name for name in ("distance_m", "speed_mps", "speed_kmh")
            if name in columns and not np.any(np.nan_to_num(columns[name]))]
    corrections += [Correction(f"{name} of 0 throughout", len(columns[name]), "left out")
                    for name in dead]
    return {name: values for name, values in columns.items() if name not in dead}


def _check_pace(file: str, distance: NDArray[np.float64], time: NDArray[np.float64]) -> None:
    if distance[-1] <= 0.0:
        raise InputError(file, "", "does not move: its distance is 0 throughout",
                         "check the speed sensor, or record positions")
    if distance[-1] > _LONG_STEP * time[-1]:
        raise InputError(file, "", f"covers {distance[-1] / 1000:.1f} km in {time[-1]:.0f} s, "
                         "faster than anybody rides", "give elapsed_s in seconds and distance_m in "
                         "metres")


def _filled(values: NDArray[np.float64], time: NDArray[np.float64], what: str,
            corrections: list[Correction]) -> NDArray[np.float64]:
    """Bridge single missing samples; a column that is mostly missing stays unknown."""
    missing = np.isnan(values)
    if not missing.any():
        return values
    if missing.mean() > 0.5:
        return np.full(len(values), np.nan)
    if what:
        corrections.append(Correction(f"missing {what}", int(missing.sum()),
                                      "bridged by a straight line"))
    return np.asarray(np.interp(time, time[~missing], values[~missing]))


def _distance(file: str, recorded: NDArray[np.float64], speed: NDArray[np.float64],
              latitude: NDArray[np.float64], longitude: NDArray[np.float64],
              time: NDArray[np.float64], corrections: list[Correction]) -> NDArray[np.float64]:
    """Metres from the first sample: recorded, else from the map, else from the speed."""
    distance = recorded
    placed = np.isfinite(latitude)
    if np.isnan(distance).any() and placed.all():
        step = step_lengths(latitude, longitude)
        if (step > _LONG_STEP * np.diff(time)).any():
            bad = int((step > _LONG_STEP * np.diff(time)).argmax())
            raise InputError(file, f"sample {bad + 2}",
                             "jumps on the map faster than anybody rides",
                             "cut the ride there, or give its distance_m")
        still = _standing(latitude, longitude, time)
        if still.any():
            corrections.append(Correction("wandering of the positions while standing",
                                          int(still.sum()), f"{step[still].sum():.0f} m left out "
                                          "of the distance"))
        distance = np.concatenate([[0.0], np.cumsum(np.where(still, 0.0, step))])
        corrections.append(Correction("distance", len(time), "from the positions"))
    if np.isnan(distance).any() and np.isfinite(speed).all():
        distance = np.concatenate([[0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1])
                                                    * np.diff(time))])
        corrections.append(Correction("distance", len(time), "from the speed"))
    if np.isnan(distance).any():
        raise InputError(file, "", "has neither distance, nor speed, nor positions",
                         "record at least one of distance_m, speed_mps, latitude_deg with "
                         "longitude_deg")
    back = np.flatnonzero(np.diff(distance) < -1.0)
    if len(back):
        raise InputError(file, f"sample {int(back[0]) + 2}", "its distance goes back",
                         "the distance of a ride only grows; put one ride in each file")
    distance = np.maximum.accumulate(distance) - distance[0]
    return _with_the_way_across_gaps(distance, latitude, longitude, time, corrections)


def _with_the_way_across_gaps(distance: NDArray[np.float64], latitude: NDArray[np.float64],
                              longitude: NDArray[np.float64], time: NDArray[np.float64],
                              corrections: list[Correction]) -> NDArray[np.float64]:
    """Add what was ridden while the recorder was off, as the crow flies."""
    gap = np.flatnonzero((np.diff(time) > longest_step(time)) & np.isfinite(latitude[1:])
                         & np.isfinite(latitude[:-1]))
    more = np.zeros(len(distance))
    for k in gap:
        straight = float(step_lengths(latitude[k:k + 2], longitude[k:k + 2])[0])
        missed = straight - (distance[k + 1] - distance[k])
        if missed > _UNCOUNTED and straight < _LONG_STEP * (time[k + 1] - time[k]):
            more[k + 1] = missed
    if more.any():
        corrections.append(Correction("way while nothing was recorded", int((more > 0.0).sum()),
                                      f"{more.sum():.0f} m added by the map"))
    return np.asarray(distance + np.cumsum(more))


def _standing(latitude: NDArray[np.float64], longitude: NDArray[np.float64],
              time: NDArray[np.float64]) -> NDArray[np.bool_]:
    """(n - 1,) steps in which a receiver only wanders, since the rider stands.

    Over some eight seconds about the step the way is under four metres. A rider who brakes or
    sets off makes that way in some two seconds, so a second on each side stands as well.
    """
    east, north = local_metres(latitude, longitude, (latitude[0], longitude[0]))
    before, after = time[:-1] - _STILL_TIME, time[1:] + _STILL_TIME
    away = np.hypot(*(np.interp(after, time, line) - np.interp(before, time, line)
                      for line in (east, north)))
    still = (away < _STILL_WAY) & (before > time[0]) & (after < time[-1])
    wider = still.copy()
    wider[1:] |= still[:-1]
    wider[:-1] |= still[1:]
    return np.asarray(wider & (still | (np.diff(time) <= longest_step(time))))
