"""One table of defaults: files, Python values and the starter say the same."""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np
import pytest

from optimizer import defaults
from optimizer.cli.course import command as course
from optimizer.cli.fieldtest import command as fieldtest
from optimizer.conditions import Conditions
from optimizer.course import Handling
from optimizer.evidence import Reference
from optimizer.job import Options
from optimizer.physics import Setup
from optimizer.rider.fit import assess_efforts
from optimizer.rider.power_duration import Efforts
from optimizer.scenario import scenario
from optimizer.scenario.starter import write_starter
from optimizer.scenario.weather import weather

TOML = {
    "mass_kg": "bike_mass", "rolling_resistance": "rolling_resistance",
    "rolling_resistance_sd": "rolling_resistance_sd", "mass_sd_kg": "mass_sd",
    "drivetrain_efficiency": "drivetrain_efficiency", "wheel_inertia_kgm2": "wheel_inertia",
    "wheel_radius_m": "wheel_radius", "skill_percent": "grip_used", "braking_mps2": "braking",
    "u_turn_kmh": "u_turn_speed", "temperature_c": "temperature",
    "humidity_percent": "humidity", "wind_uncertainty_percent": "wind_speed_sd",
    "wind_uncertainty_deg": "wind_direction_sd", "blocks": "card_lines", "draws": "draws",
    "seed": "seed", "least_gain_s": "least_gain"}
RIDER_TOML = {
    "endurance_loss_percent": "endurance_loss", "effort_exponent": "effort_exponent",
    "effort_exponent_sd": "effort_exponent_sd", "pedalling_speed_kmh": "pedalling_speed"}


def test_options_that_are_not_given_say_the_same():
    """A CdA found at one Crr and planned at another would make plans too fast, unseen."""
    given = {command.name: {option.name: option.default for option in command.params}
             for command in (course, fieldtest)}
    assert given["fieldtest"]["crr"] == defaults.ROLLING_RESISTANCE.value
    assert given["fieldtest"]["humidity"] == defaults.HUMIDITY.value
    assert given["course"]["skill_percent"] == defaults.GRIP_USED.value
    assert Reference.of().rolling_resistance == defaults.ROLLING_RESISTANCE.si


def test_a_file_that_says_nothing_and_python_that_says_nothing_agree():
    bike, handling = scenario.BikeTable(), scenario.HandlingTable()
    setup = Setup("x", bike.mass_kg, bike.rolling_resistance)
    assert setup.wheel_radius == bike.wheel_radius_m
    assert setup.wheel_inertia == bike.wheel_inertia_kgm2
    assert setup.drivetrain_efficiency == bike.drivetrain_efficiency
    assert Handling().u_turn_speed == pytest.approx(handling.u_turn_kmh / 3.6)
    assert Handling().skill == pytest.approx(handling.skill_percent / 100)
    assert Handling().braking == handling.braking_mps2
    table, air, said = scenario.ConditionsTable(), Conditions(), weather()
    assert air.humidity == said.humidity == table.humidity_percent / 100
    assert air.speed_sd == said.speed_sd == table.wind_uncertainty_percent / 100
    assert air.direction_sd == pytest.approx(math.radians(table.wind_uncertainty_deg))
    assert air.temperature == said.temperature == table.temperature_c + 273.15
    options = scenario.OptionsTable()
    assert (Options().blocks, Options().draws, Options().seed, Options().least_gain) == (
        options.blocks, options.draws, options.seed, options.least_gain_s)


def test_a_wheel_is_as_large_as_its_rim_and_tyre():
    """ISO 5775: the rim of a 700C wheel has 622 mm; tyres are 20 to 30 mm high."""
    assert 0.311 + 0.020 <= defaults.WHEEL_RADIUS.value <= 0.311 + 0.030


def test_each_default_has_a_source_and_a_unit_in_si():
    for name, default in defaults.table().items():
        assert re.search(r"\b(19|20)\d\d\b|ISO \d|no source|any number", default.source), name
        assert math.isfinite(default.si), name
    assert defaults.U_TURN_SPEED.si == pytest.approx(3.0556, abs=1e-4)
    assert defaults.W_PRIME.si == 18_720.0


@pytest.mark.parametrize(("file", "keys"), [("scenario.toml", TOML), ("rider.toml", RIDER_TOML)])
def test_the_starter_shows_what_is_assumed(tmp_path, file, keys):
    """As a value that is commented out, or in the words "without it"."""
    known, folder = defaults.table(), write_starter(tmp_path / "new").parent
    text = (folder / file).read_text(encoding="utf-8")
    for key, name in keys.items():
        lines = [line for line in re.findall(rf"(?m)^(?:# )?{key} *=.*$", text)
                 if "written by" not in line]
        shown = [float(value) for line in lines for value in
                 re.findall(r"^# \w+ = ([\d.]+)|without it: ([\d.]+)|^\w+ = ([\d.]+)", line)
                 for value in value if value]
        assert known[name].value in shown, (key, lines)


@pytest.mark.parametrize("place", ["optimizer/scenario/starter_files/rider.toml",
                                   "courses/README.md"])
def test_which_efforts_to_give_is_said_once_and_the_same_everywhere(place):
    text = (Path(__file__).parents[1] / place).read_text(encoding="utf-8")
    assert defaults.WHICH_EFFORTS in re.sub(r"[\s#]+", " ", text)


def test_the_efforts_that_are_advised_are_those_that_the_fit_asks_for():
    minutes = np.array([defaults.SHORT_EFFORT.value, defaults.LONG_EFFORT.value])
    ability = assess_efforts(Efforts(60.0 * minutes, 260.0 + 20_000.0 / (60.0 * minutes)))
    assert not ability.left_out
    for lacking in ("too similar", "ten minutes", "two minutes", "half an"):
        assert not any(lacking in words for words in ability.warnings)
