"""`kitpace convert`."""

from __future__ import annotations

import pytest
from click.testing import CliRunner

from optimizer.cli import group
from optimizer.errors import InputError


def run(*arguments):
    result = CliRunner().invoke(group, ["convert", *arguments])
    assert result.exception is None, result.output
    return result.output


def test_grams_to_watts_seconds_and_area():
    output = run("37 g @ 50 km/h", "--to", "W,s/40km,CdA")
    assert "as a saving" in output
    # 37 grams-force at 50 km/h are 5.04 W: force times speed.
    assert "5.04 W " in output
    assert "s over 40 km" in output
    assert "m² CdA" in output
    assert "Air density not stated" in output
    assert "Not given, so assumed: CdA 0.270 m²" in output


def test_at_the_riders_own_speed_and_power():
    assert "250 W" in run("saves 8 W @ 45 km/h", "--to", "s/40km @ 250 W")
    assert "40.0 km/h" in run("saves 8 W @ 45 km/h", "--to", "W", "--speed", "40")
    assert "km/h" in run("saves 8 W @ 45 km/h", "--power", "250 W")


def test_nothing_is_assumed_that_is_given():
    output = run("saves 12 s / 40 km @ 45 km/h", "--cda-m2", "0.25", "--mass-kg", "78", "--crr",
                 "0.004", "--density-kgm3", "1.2", "--test-density-kgm3", "1.2")
    assert "assumed: drivetrain efficiency 0.976." in output.replace("\n", " ")
    assert "air density" not in output


def test_options_take_decimal_commas():
    assert run("8 W @ 45 km/h", "--cda-m2", "0,25") == run("8 W @ 45 km/h", "--cda-m2", "0.25")


def test_a_cost_is_called_one():
    assert "as a cost" in run("costs 8 W @ 45 km/h")


@pytest.mark.parametrize("arguments", [
    ["bananas"], ["2 %"], ["37 g"], ["37 g @ 0 km/h"], ["saves -8 W"], ["12 s"], [""],
    ["8 W @ 45 km/h", "--to", "bananas"], ["8 W @ 45 km/h", "--to", ","],
    ["8 W @ 45 km/h", "--speed", "45", "--power", "250 W"], ["8 W @ 45 km/h", "--power", "0 W"],
    ["8 W @ 45 km/h", "--cda-m2", "nan"], ["8 W @ 45 km/h", "--mass-kg", "inf"],
    ["8 W @ 45 km/h", "--cda-m2", "25"], ["8 W @ 45 km/h", "--yaw-deg", "-1"],
    ["8 W @ 45 km/h", "--crr", "soft"], ["8 W @ 45 km/h", "--rider", "none.toml"],
    ["saves 50:00 / 40 km @ 45 km/h"]])
def test_refuses(arguments):
    result = CliRunner().invoke(group, ["convert", *arguments])
    assert isinstance(result.exception, InputError)
    assert result.exception.exit_code == 2
