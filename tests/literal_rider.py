"""A rider who takes a card literally, written apart from kitpace: its own physics, in time.

Reads the CSV card and the `model`, `rider` and `course` of the JSON, nothing else. Forces after
Martin, Milliken, Cobb, McFadden and Coggan 1998, J. Appl. Biomech. 14:276-291, with drag along the
relative wind; energy and place are followed in steps of a quarter of a second by the midpoint
rule, so that neither the grid nor the marching of kitpace is used.
"""

from __future__ import annotations

import csv
import io
import math
import re
from dataclasses import dataclass
from itertools import groupby
from typing import Any

import numpy as np

__all__ = ["LiteralRide", "follow"]

STEP = 0.25  # s
FELT = 60.0  # m behind and ahead
STEEP = 0.015
LONG = 300.0  # m, shorter than which a climb or descent is flat road, and a flat between two alike


@dataclass(frozen=True)
class LiteralRide:
    """What came of it: finish time [s], least reserve [J], effort left [s], clock at the rows.

    `means` is the mean power of each row while pedalling as it says [W], nan where never.
    """

    time: float
    least_reserve: float
    effort_left: float
    clock: list[float]
    means: list[float]


class _Road:
    """The arrays of the JSON by distance."""

    def __init__(self, document: dict[str, Any]) -> None:
        m = document["model"]
        self.nodes = np.concatenate([[0.0], np.cumsum(m["step_m"])]).tolist()
        height = np.concatenate([[0.0], np.cumsum(np.array(m["step_m"]) * np.array(m["grade"]))])
        middle = 0.5 * (np.array(self.nodes[1:]) + np.array(self.nodes[:-1]))
        low, high = np.maximum(middle - FELT, 0.0), np.minimum(middle + FELT, self.nodes[-1])
        felt = (np.interp(high, self.nodes, height) - np.interp(low, self.nodes, height)) / (
            high - low)
        self.way = self._held(["climb" if g > STEEP else "descent" if g < -STEEP else "flat"
                               for g in felt])
        self.grade, self.head, self.cross = m["grade"], m["headwind_mps"], m["crosswind_mps"]
        self.density, self.crr = m["air_density"], m["crr"]
        top = [0.5 * (60.0 if v is None else v) ** 2 for v in m["speed_limit_mps"]]
        self.top = top
        self.area = m["cda_fine_m2"]
        self.mass, self.inertia = m["mass_kg"], m["effective_mass_kg"]
        self.bearing = (m["bearing_n"], m["bearing_n_per_mps"])

    def _spells(self, way: list[str]) -> list[list[int]]:
        """Steps of each stretch of one kind."""
        return [[k for k, _ in steps] for _, steps in groupby(enumerate(way), lambda one: one[1])]

    def _held(self, way: list[str]) -> list[str]:
        """Kinds of road without what is too short to change the power for."""
        def short(steps: list[int]) -> bool:
            return self.nodes[steps[-1] + 1] - self.nodes[steps[0]] < LONG

        for steps in self._spells(way):
            if way[steps[0]] != "flat" and short(steps):
                for k in steps:
                    way[k] = "flat"
        for steps in self._spells(way):
            before, after = steps[0] - 1, steps[-1] + 1
            if (way[steps[0]] == "flat" and short(steps) and before >= 0 and after < len(way)
                    and way[before] == way[after]):
                for k in steps:
                    way[k] = way[after]
        return way

    def resistance(self, k: int, speed: float, row: int) -> float:
        along = speed + self.head[k]
        cross = abs(self.cross[k])
        yaw = math.degrees(math.atan2(cross, along))
        cell = min(int(min(yaw, 180 - yaw)), 89)
        part = min(yaw, 180 - yaw) - cell
        area = (1 - part) * self.area[row][cell] + part * self.area[row][cell + 1]
        air = 0.5 * self.density[k] * area * along * math.hypot(along, cross)
        slope = self.grade[k]
        weight = self.mass * 9.80665 / math.sqrt(1 + slope * slope)
        return air + weight * (slope + self.crr[k]) + self.bearing[0] + self.bearing[1] * speed

    def limit(self, k: int, place: float) -> float:
        share = (place - self.nodes[k]) / (self.nodes[k + 1] - self.nodes[k])
        return self.top[k] + share * (self.top[k + 1] - self.top[k])


def _changes(words: str, names: list[str], start: float) -> list[tuple[float, int]]:
    """Where [m] which position is taken, from what a row says."""
    first, *rest = words.split(", ")
    out = [(start, names.index(first))]
    for part in rest:
        found = re.fullmatch(r"from km ([\d.]+) (.+)", part)
        assert found, part
        out.append((1000 * float(found[1]), names.index(found[2])))
    return out


def follow(card: str, document: dict[str, Any]) -> LiteralRide:
    """Ride the rows of a card (CSV text) to the letter."""
    road, m = _Road(document), document["model"]
    rows = list(csv.DictReader(io.StringIO(card.removeprefix("\ufeff"))))
    names = [position["name"] for position in document["rider"]["positions"]]
    shares = [position["power_share"] for position in document["rider"]["positions"]]
    critical = document["rider"]["critical_power_w"]
    coast = float(rows[0]["coast_above_kmh"] or "inf") / 3.6
    never = float(rows[0]["never_above_w"])
    positions = [change for row in rows for change in _changes(
        row["position"], names, 1000 * float(row["start_km"]))]
    push, end = m["drivetrain_efficiency"], road.nodes[-1]
    place, energy, time = 0.0, 0.5 * m["start_speed_mps"] ** 2, 0.0
    reserve = least = m["w_prime_j"]
    exponent, spent = m["effort_exponent"], 0.0
    k = line = spell = 0
    clock, means = [0.0], [[0.0, 0.0] for _ in rows]
    while place < end - 1e-6:
        while k + 1 < len(road.grade) and place >= road.nodes[k + 1]:
            k += 1
        while line + 1 < len(rows) and place >= 1000 * float(rows[line + 1]["start_km"]) - 1e-6:
            line += 1
            clock.append(time)
        while spell + 1 < len(positions) and place >= positions[spell + 1][0] - 1e-6:
            spell += 1
        row, which = rows[line], positions[spell][1]
        kind = road.way[k]
        figure = "" if kind == "flat" else row[f"{kind}_w"]
        power = min(float(figure or row["power_w"]), never)
        speed = math.sqrt(2 * energy)
        if speed >= coast:
            power = 0.0

        def rate(energy: float, power: float = power, k: int = k, which: int = which) -> float:
            speed = math.sqrt(2 * max(energy, 0.0))
            return (push * power - road.resistance(k, speed, which) * speed) / road.inertia

        half = max(energy + 0.5 * STEP * rate(energy), 1e-6)
        after = max(energy + STEP * rate(half), 1e-6)
        moved = STEP * math.sqrt(2 * half)
        part = min((end - place) / moved, 1.0)
        after = energy + part * (after - energy)
        span = part * STEP
        place += part * moved
        top = road.limit(min(k, len(road.grade) - 1), min(place, road.nodes[k + 1]))
        pedalled = power
        if after > top:  # the brakes: what they take is not pedalled
            pedalled = max(power - road.inertia * (after - top) / span / push, 0.0)
            after = top
        if pedalled == power > 0:
            means[line][0] += power * span
            means[line][1] += span
        energy, time = after, time + span
        cp = critical * shares[which]
        net = (cp - pedalled) * span
        gain = net * m["recovery_share"][k] if net > 0 else net
        if m["slowing_recovery"] and gain > 0:
            gain = (m["w_prime_j"] - reserve) * (1 - math.exp(-gain / m["w_prime_j"]))
        reserve = min(reserve + gain, m["w_prime_j"])
        least = min(least, reserve)
        spent += (pedalled / cp) ** exponent * span
    allowed = m["effort_per_second"]
    left = math.inf if allowed is None else allowed * time + m["effort_budget_s"] - spent
    return LiteralRide(time, least, left, clock,
                       [work / held if held else math.nan for work, held in means])
