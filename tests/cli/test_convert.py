"""`kitpace convert`."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from optimizer.cli import group
from optimizer.errors import InputError


def run(*arguments):
    result = CliRunner().invoke(group, ["convert", *arguments])
    assert result.exception is None, result.output
    return result.output


def test_grams_to_watts_seconds_and_area():
    output = run("30 g @ 45 km/h", "--to", "W,s/40km,CdA")
    assert "as a saving" in output
    # 30 grams-force at 45 km/h are 3.68 W: force times speed.
    assert "3.68 W " in output
    assert "s over 40 km" in output
    assert "m² CdA" in output
    assert "Air density not stated" in output
    assert "Not given, so assumed: CdA 0.270 m²" in output


def test_at_the_riders_own_speed_and_power():
    assert "250 W" in run("saves 8 W @ 45 km/h", "--to", "s/40km @ 250 W")
    assert "40.0 km/h" in run("saves 8 W @ 45 km/h", "--to", "W", "--speed", "40")
    assert "km/h" in run("saves 8 W @ 45 km/h", "--power", "250 W")


def test_nothing_is_assumed_that_is_given():
    output = run("saves 15 s / 40 km @ 45 km/h", "--cda-m2", "0.25", "--mass-kg", "78", "--crr",
                 "0.004", "--density-kgm3", "1.2", "--test-density-kgm3", "1.2")
    assert "assumed: drivetrain efficiency 0.976." in output.replace("\n", " ")
    assert "air density" not in output


def test_options_take_decimal_commas():
    assert run("8 W @ 45 km/h", "--cda-m2", "0,25") == run("8 W @ 45 km/h", "--cda-m2", "0.25")


def test_a_cost_is_called_one():
    assert "as a cost" in run("costs 8 W @ 45 km/h")


@pytest.mark.parametrize("arguments", [
    ["bananas"], ["8+ W"], ["5000 W"], ["400 W"],
    ["30 g @ 500 km/h"], ["30 g @ 0 km/h"], ["saves -8 W"], ["12 s"], [""],
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


@pytest.mark.parametrize(("figure", "read_as"), [
    ("~8 watts", "saves 8 W"), ("5-6 W", "saves 5.5 W ± 0.5 W (90 %)"),
    ("-30 g", "saves 30 g drag"),
    ("approx. 15 s over 40k", "saves 15 s / 40 km"), ("0,004 m²", "saves 0.004 m2 CdA"),
    ("2-3 %", "saves 2.5 % drag ± 0.5 % (90 %)"), ("4W @ 30mph", "saves 4 W @ 48.28 km/h")])
def test_figures_as_written_are_said_back(figure, read_as):
    assert f"Read as: {read_as}." in run(figure)


def test_compared_at_the_speed_of_the_figure():
    assert "48.3 km/h" in run("4W @ 30mph", "--to", "W")
    rider = Path(__file__).parents[2] / "courses" / "petrel-flats" / "rider.toml"
    assert "48.3 km/h" in run("4W @ 30mph", "--to", "W", "--rider", str(rider))


def test_grams_that_a_source_kept_constant_are_said():
    # Force times speed: 4 W at 30 mph are 3.3 W at 40 km/h with the same force, and by the cube
    # of the speed 2.3 W.
    said = " ".join(run("4W @ 30mph", "--to", "W", "--speed", "40").split())
    assert "2.27 W at the wheel" in said
    assert "would say 3.3 W at 40 km/h" in said
    assert "would say" not in run("4W @ 30mph", "--to", "W")


def test_wheel_or_cranks():
    wheel, cranks = (run(f"8 W {where}@ 45 km/h", "--to", "W", "--density-kgm3", "1.2",
                         "--test-density-kgm3", "1.2") for where in ("", "at the cranks "))
    assert "8.00 W at the wheel, 8.20 at the cranks" in wheel  # 8 / 0.976
    assert "7.81 W at the wheel, 8.00 at the cranks" in cranks  # 8 * 0.976
    assert "taken as those at the wheel" in wheel
    assert "taken as those at the cranks" in cranks
