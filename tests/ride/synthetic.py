"""Rides with known truth: a forward simulation of its own, and sensors that err.

Written apart from the package: no force, profile or wind of it is used, so that a mistake there
cannot hide here. All figures are invented.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import numpy as np

from optimizer.ride import Ride

G = 9.80665
STEP = 0.25  # s of the simulation
RECORD = 4  # steps a sample, 1 Hz


@dataclass(frozen=True)
class Path:
    """A road by the metre: local x (east), y (north), height, and the speed of its corners."""

    s: np.ndarray
    x: np.ndarray
    y: np.ndarray
    h: np.ndarray
    corner: np.ndarray


@dataclass(frozen=True)
class Truth:
    cda: float = 0.26
    crr: float = 0.0045
    mass: float = 82.0
    rho: float = 1.19
    efficiency: float = 0.976
    inertia: float = 0.14 / 0.311**2
    wind: tuple[float, float] = (1.5, -1.0)  # east, north: where the air moves to
    slow_sd: float = 0.5
    slow_time: float = 1500.0
    gust_sd: float = 0.6
    gust_time: float = 6.0
    power: float = 240.0
    power_sd: float = 30.0


@dataclass(frozen=True)
class Sensors:
    power_noise: float = 0.015
    power_scale_sd: float = 0.015
    speed_noise: float = 0.003
    speed_scale_sd: float = 0.003
    elevation_white: float = 0.7
    elevation_slow: float = 0.7
    elevation_drift: float = 2.0  # m in an hour, random walk
    gps_sd: float = 2.0


def _heights(s, period, rng, relief):
    """A smooth profile that closes after `period` metres."""
    h = np.zeros_like(s)
    for k in range(1, 9):
        h += relief / k * rng.normal() * np.cos(2 * np.pi * k * s / period
                                                 + rng.uniform(0, 2 * np.pi))
    return h


def loop(rng, length=3000.0, laps=6, relief=4.0):
    """Laps of a rounded rectangle."""
    side = length / 5.0
    radius = 25.0
    corner = np.pi / 2 * radius
    long_, short = 1.5 * side, side
    total = 2 * long_ + 2 * short + 4 * corner
    s = np.arange(0.0, total, 1.0)
    heading = np.zeros_like(s)
    start, turn = 0.0, rng.uniform(0, 2 * np.pi)
    for straight in (long_, short, long_, short):
        on = (s >= start) & (s < start + straight)
        heading[on] = turn
        start += straight
        on = (s >= start) & (s < start + corner)
        heading[on] = turn + (s[on] - start) / radius
        start += corner
        turn += np.pi / 2
    x = np.concatenate([[0.0], np.cumsum(np.sin(heading))[:-1]])
    y = np.concatenate([[0.0], np.cumsum(np.cos(heading))[:-1]])
    x, y = x - s / total * (x[-1] - x[0]), y - s / total * (y[-1] - y[0])
    h = _heights(s, total, rng, relief)
    whole = np.arange(0.0, laps * len(s), 1.0)
    return Path(whole, np.tile(x, laps), np.tile(y, laps), np.tile(h, laps),
                np.full(len(whole), np.inf))


def out_and_back(rng, length=5000.0, times=2, relief=6.0):
    """A gently winding road ridden to its end and back, with slow turns at both ends."""
    s = np.arange(0.0, length, 1.0)
    heading = rng.uniform(0, 2 * np.pi) + 0.5 * np.sin(2 * np.pi * s / length * 1.5)
    x, y = np.cumsum(np.sin(heading)), np.cumsum(np.cos(heading))
    h = _heights(s, 1.7 * length, rng, relief)
    # Right-hand traffic: each direction keeps 3 m to its side.
    out = (x + 3 * np.cos(heading), y - 3 * np.sin(heading), h)
    back = (x[::-1] - 3 * np.cos(heading[::-1]), y[::-1] + 3 * np.sin(heading[::-1]), h[::-1])
    parts = [out if k % 2 == 0 else back for k in range(2 * times)]
    joined = [np.concatenate([p[i] for p in parts]) for i in range(3)]
    whole = np.arange(0.0, len(joined[0]), 1.0)
    corner = np.full(len(whole), np.inf)
    for k in range(1, 2 * times):
        edge = k * len(s)
        corner[edge - 5:edge + 5] = 4.0
    return Path(whole, *joined, corner)


def _walk(n, sd, time, dt, rng):
    """Stationary Ornstein-Uhlenbeck process."""
    keep = math.exp(-dt / time)
    e = rng.normal(size=n) * sd * np.sqrt(1 - keep**2)
    out = [rng.normal() * sd]
    for error in e[1:].tolist():
        out.append(keep * out[-1] + error)
    return np.array(out)


def ride(path, truth, sensors, rng, *, speed0=8.0, start_s=0.0, scales=None, brakes=(),
         powers=None, stops=()):
    """Simulate and record one ride over the whole path; returns a Ride.

    `scales` fixes (power, speed) scale errors; `brakes` are (start, end, newton) on the path;
    `powers` are watts by the metre instead of the truth's own effort; `stops` are (place, s).
    """
    most = int(path.s[-1] / 4.0 / STEP)
    east = truth.wind[0] + _walk(most, truth.slow_sd, truth.slow_time, STEP, rng)
    north = truth.wind[1] + _walk(most, truth.slow_sd, truth.slow_time, STEP, rng)
    gust_e = _walk(most, truth.gust_sd, truth.gust_time, STEP, rng)
    gust_n = _walk(most, truth.gust_sd, truth.gust_time, STEP, rng)
    effort = _walk(most, truth.power_sd, 60.0, STEP, rng)
    jitter = _walk(most, 15.0, 3.0, STEP, rng)
    slope = np.gradient(path.h)
    limit = path.corner.tolist()
    for place, _ in stops:
        limit[int(place)] = 1.0
    for k in range(len(limit) - 2, -1, -1):  # braking at 2 m/s2 into a corner
        limit[k] = min(limit[k], math.sqrt(limit[k + 1]**2 + 4.0))
    drag = np.zeros(len(path.s))
    for a, b, force in brakes:
        drag[int(a):int(b)] = force
    m, me = truth.mass, truth.mass + truth.inertia
    # Plain numbers: one by one they are read in a third of the time.
    path = replace(path, x=path.x.tolist(), y=path.y.tolist(), h=path.h.tolist())
    slope, drag, east, north, gust_e, gust_n, effort, jitter = (
        values.tolist() for values in (
            slope, drag, east, north, gust_e, gust_n, effort, jitter))
    powers = None if powers is None else np.asarray(powers).tolist()
    s, v = start_s, speed0
    S, V, P = np.empty(most), np.empty(most), np.empty(most)
    last = len(path.s) - 2
    count = 0
    for k in range(most):
        i = int(s)
        if i >= last:
            break
        grade = slope[i] + (s - i) * (slope[i + 1] - slope[i])
        if powers is None:
            power = max(truth.power + effort[k] + jitter[k] + 3600.0 * grade, 0.0)
        else:
            power = max(powers[i] + jitter[k], 0.0)
        if (v > 0.97 * limit[i] and powers is None) or v > limit[i]:
            power = 0.0
        power = min(power, 60.0 * max(v, 2.0))
        wind = east[k] + gust_e[k], north[k] + gust_n[k]
        S[count], V[count], P[count] = s, v, power
        count += 1
        # The midpoint rule, second order in the step.
        half = v + 0.5 * STEP * _gain(path, slope, drag, truth, m, me, s, v, power, wind)
        rate = _gain(path, slope, drag, truth, m, me, s + 0.5 * STEP * v, half, power, wind)
        v = min(max(v + STEP * rate, 0.5), limit[min(int(s + v * STEP), last)])
        s += STEP * 0.5 * (V[count - 1] + v)
    S, V, P = S[:count], V[:count], P[:count]
    for place, seconds in stops:
        at, still = int(np.searchsorted(S, place)), int(seconds / STEP)
        S = np.concatenate([S[:at], np.full(still, S[at]), S[at:]])
        V = np.concatenate([V[:at], np.zeros(still), V[at:]])
        P = np.concatenate([P[:at], np.zeros(still), P[at:]])
    return _record(path, S, V, P, sensors, rng, scales)


def _gain(path, slope, drag, truth, m, me, s, v, power, wind):
    """Acceleration [m/s2]."""
    i = min(int(s), len(path.s) - 2)
    w = s - i
    grade = slope[i] + w * (slope[i + 1] - slope[i])
    dx, dy = path.x[i + 1] - path.x[i], path.y[i + 1] - path.y[i]
    size = math.hypot(dx, dy) or 1.0
    ux, uy = dx / size, dy / size
    along = v - (wind[0] * ux + wind[1] * uy)
    across = wind[0] * uy - wind[1] * ux
    air = 0.5 * truth.rho * truth.cda * along * math.hypot(along, across)
    cosine = 1.0 / math.sqrt(1.0 + grade**2)
    load = air + m * G * cosine * (grade + truth.crr) + 0.091 + 0.0087 * v + drag[i]
    return (truth.efficiency * power / max(v, 0.5) - load) / me


def _record(path, S, V, P, sensors, rng, scales):
    n = len(S) // RECORD
    at = np.arange(n) * RECORD
    ks = scales if scales is not None else (sensors.power_scale_sd * rng.normal(),
                                            sensors.speed_scale_sd * rng.normal())
    # A meter averages over the second about its stamp.
    kernel = np.ones(RECORD + 1)
    kernel[[0, -1]] = 0.5
    mean = np.convolve(np.pad(P, RECORD // 2, mode="edge"), kernel / RECORD, mode="valid")[at]
    power = mean * (1 + ks[0]) * (1 + sensors.power_noise * rng.normal(size=n))
    speed = V[at] * (1 + ks[1]) * (1 + sensors.speed_noise * rng.normal(size=n))
    distance = (S[at] - S[0]) * (1 + ks[1])
    h = np.interp(S[at], path.s, path.h)
    drift = np.cumsum(rng.normal(size=n)) * sensors.elevation_drift / 60.0
    h = (h + sensors.elevation_white * rng.normal(size=n) + drift
         + _walk(n, sensors.elevation_slow, 60.0, 1.0, rng))
    x = np.interp(S[at], path.s, path.x) + _walk(n, sensors.gps_sd, 60.0, 1.0, rng)
    y = np.interp(S[at], path.s, path.y) + _walk(n, sensors.gps_sd, 60.0, 1.0, rng)
    lat = 47.0 + y / 111_200.0
    lon = 8.0 + x / (111_320.0 * np.cos(np.radians(47.0)))
    return Ride("synthetic", np.arange(n) * 1.0, distance, speed, np.maximum(power, 0.0),
                100.0 + h, lat, lon, datetime(2024, 5, 1, 9, 0, tzinfo=UTC))


def later(recorded, seconds):
    """The same ride, started later."""
    return replace(recorded, start=recorded.start + timedelta(seconds=seconds))
