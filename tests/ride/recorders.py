"""What recorders make of a ride: pauses, gaps, late fixes; and the files they write."""

from __future__ import annotations

import csv
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np

from tests.scenario.fit_maker import make_fit

__all__ = ["UTC", "datetime"]

ARRAYS = ("time", "distance", "speed", "power", "elevation", "latitude", "longitude")


def _kept(ride, keep):
    return replace(ride, **{name: getattr(ride, name)[keep] for name in ARRAYS})


def pausing(ride, delay=3.0, slow=0.8):
    """The same ride by a recorder that pauses after `delay` seconds under `slow` m/s."""
    still = ride.speed < slow
    since = np.zeros(len(still))
    for k in range(1, len(still)):
        since[k] = since[k - 1] + (ride.time[k] - ride.time[k - 1]) if still[k] else 0.0
    return _kept(ride, since <= delay)


def dropping(ride, start, seconds):
    """The same ride without the samples of some seconds."""
    return _kept(ride, (ride.time < start) | (ride.time > start + seconds))


def waiting(ride, seconds):
    """The same ride after some seconds of standing still without a fix."""
    lead = np.arange(seconds)
    unknown = np.full(len(lead), np.nan)
    head = {"time": lead, "distance": 0.0 * lead, "speed": 0.0 * lead, "power": 0.0 * lead,
            "elevation": np.full(len(lead), ride.elevation[0]), "latitude": unknown,
            "longitude": unknown}
    return replace(ride, start=ride.start - timedelta(seconds=float(seconds)), **{
        name: np.concatenate([head[name], getattr(ride, name) + (seconds if name == "time" else 0)])
        for name in ARRAYS})


def blind(ride, seconds):
    """The same ride without positions for its first seconds."""
    fix = ride.time >= seconds
    return replace(ride, latitude=np.where(fix, ride.latitude, np.nan),
                   longitude=np.where(fix, ride.longitude, np.nan))


COLUMNS = {"elapsed_s": "time", "distance_m": "distance", "speed_mps": "speed",
           "power_w": "power", "elevation_m": "elevation", "latitude_deg": "latitude",
           "longitude_deg": "longitude"}


def write_csv(path, ride):
    """All columns but those that are nowhere known; unknown samples are empty cells."""
    columns = {head: getattr(ride, name) for head, name in COLUMNS.items()
               if np.isfinite(getattr(ride, name)).any()}
    with path.open("w", newline="", encoding="utf-8") as file:
        out = csv.writer(file)
        out.writerow(["time", *columns])
        for k, row in enumerate(zip(*columns.values(), strict=True)):
            moment = ride.start + timedelta(seconds=float(ride.time[k]))
            out.writerow([moment.isoformat(), *("" if np.isnan(value) else f"{value:.9g}"
                                                for value in row)])
    return path


def write_gpx(path, ride, kind=""):
    """Place, height, time and power of each sample that has a fix."""
    body = []
    for k in np.flatnonzero(np.isfinite(ride.latitude)):
        moment = ride.start + timedelta(seconds=float(ride.time[k]))
        power = "" if np.isnan(ride.power[k]) else (
            f"<extensions><power>{ride.power[k]:.2f}</power></extensions>")
        body.append(f'<trkpt lat="{ride.latitude[k]:.8f}" lon="{ride.longitude[k]:.8f}">'
                    f"<ele>{ride.elevation[k]:.3f}</ele><time>{moment.isoformat()}</time>{power}"
                    "</trkpt>")
    sort = f"<type>{kind}</type>" if kind else ""
    path.write_text('<?xml version="1.0"?><gpx version="1.1" creator="made" '
                    f'xmlns="http://www.topografix.com/GPX/1/1"><trk>{sort}<trkseg>'
                    f"{''.join(body)}</trkseg></trk></gpx>", encoding="utf-8")
    return path


def write_fit(path, ride):
    """Every sample as a record; unknown values are left out of it."""
    names = {"altitude": "elevation", "distance": "distance", "speed": "speed", "power": "power",
             "position_lat": "latitude", "position_long": "longitude"}
    begin = ride.start.timestamp()
    samples = [{"timestamp": begin + ride.time[k],
                **{field: float(getattr(ride, name)[k]) for field, name in names.items()
                   if np.isfinite(getattr(ride, name)[k])}} for k in range(len(ride.time))]
    path.write_bytes(make_fit(samples, ("timestamp", *names)))
    return path
