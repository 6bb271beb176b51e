"""Units and directions as people type them, at every door."""

from __future__ import annotations

import re

import pytest

from optimizer.errors import InputError
from optimizer.scenario import read_scenario
from optimizer.scenario.rider_file import read_rider
from optimizer.scenario.tables import read_rows
from optimizer.scenario.units import UNITS, degrees_of, parse_direction, parse_quantity, unit_of
from tests.cli.typed import starter


@pytest.mark.parametrize(("text", "unit", "value"), [
    ("68 kg", "kg", 68.0), ("68kg", "kg", 68.0), ("68", "kg", 68.0), ("280 W", "W", 280.0),
    ("280 watts", "W", 280.0), ("12 km/h", "km/h", 12.0), ("12 kph", "km/h", 12.0),
    ("0.25 m²", "m²", 0.25), ("0.25 m2", "m²", 0.25), ("20 °C", "°C", 20.0), ("-3 C", "°C", -3.0),
    ("5 min", "min", 5.0), ("20:00", "min", 20.0),
    ("1:30:30", "min", 90.5), ("5 %", "%", 5.0), ("1e3 W", "W", 1000.0), ("7", "", 7.0)])
def test_a_number_may_have_its_unit_behind_it(text, unit, value):
    assert parse_quantity(text, unit) == value


@pytest.mark.parametrize("unit", sorted(set(UNITS.values())))
def test_every_unit_is_read_as_it_is_shown(unit):
    assert parse_quantity(f"2.5 {unit}", unit) == 2.5


@pytest.mark.parametrize(("text", "unit"), [
    ("150 lb", "kg"), ("280 W", "kg"), ("12 m/s", "km/h"), ("5 min", ""), ("kg", "kg"),
    ("", "kg"), ("68 kg kg", "kg"), ("nan kg", "kg"), ("1 000 kg x", "kg")])
def test_another_unit_is_never_taken_for_the_right_one(text, unit):
    with pytest.raises(ValueError, match="is not a number"):
        parse_quantity(text, unit)


def test_a_decimal_comma_stays_one_before_a_unit():
    assert parse_quantity("68,5 kg", "kg", decimal_comma=True) == 68.5


# The sixteen points divide the circle evenly, north at 0 and east at 90 (common practice, no
# source).
@pytest.mark.parametrize(("text", "degrees"), [
    ("N", 0.0), ("E", 90.0), ("S", 180.0), ("W", 270.0), ("sw", 225.0), ("WSW", 247.5),
    ("NNW", 337.5), ("south-west", 225.0), ("South West", 225.0), ("from the north-east", 45.0),
    ("west", 270.0), ("225", 225.0), ("225°", 225.0), ("225 deg", 225.0), ("7.5", 7.5)])
def test_a_direction_in_degrees_or_words(text, degrees):
    assert parse_direction(text) == degrees


@pytest.mark.parametrize("text", ["", "X", "SWW", "NS", "downwind", "22 W"])
def test_what_is_no_direction(text):
    with pytest.raises(ValueError, match="is not a number"):
        parse_direction(text)
    assert degrees_of(text) == text


def test_a_name_ends_with_its_unit():
    assert unit_of("wind_kmh") == "km/h"
    assert unit_of("wheel_inertia_change_kgm2") == "kg m²"
    assert not unit_of("name")


def test_cells_of_tables_take_the_unit_of_their_heading(tmp_path):
    path = tmp_path / "table.csv"
    path.write_text("power_w,wind_kmh\n280 W,18 km/h\n", encoding="utf-8")
    row, = read_rows(path, ("power_w", "wind_kmh"))
    assert row.number("power_w") == 280.0
    assert row.number("wind_kmh") == 18.0
    path.write_text("power_w,wind_kmh\n280 kW,18 m/s\n", encoding="utf-8")
    row, = read_rows(path, ("power_w", "wind_kmh"))
    for column in ("power_w", "wind_kmh"):
        with pytest.raises(InputError, match="is not a number"):
            row.number(column)


def test_numbers_of_toml_files_take_their_unit(tmp_path):
    race = starter(tmp_path)
    (race / "rider.toml").write_text(
        'name = "Ann"\nmass_kg = "61,5 kg"\nheight_cm = "168 cm"\n[[efforts]]\nminutes = "5:00"\n'
        'power_w = "302 W"\n[[efforts]]\nminutes = 20\npower_w = 255\n')
    plain = (race / "rider.toml").read_text()
    for said, bare in (("61,5 kg", 61.5), ("168 cm", 168), ("5:00", 5), ("302 W", 302)):
        plain = plain.replace(f'"{said}"', str(bare))
    (race / "plain.toml").write_text(plain)
    assert read_rider(race / "rider.toml") == read_rider(race / "plain.toml")
    text = (race / "scenario.toml").read_text()
    windy = re.sub(r"wind = \{.*?\}", 'wind = { speed_kmh = "18 km/h", from_deg = "SW" }', text)
    assert windy != text
    (race / "scenario.toml").write_text(windy)
    assert read_scenario(race / "scenario.toml").conditions.wind_speed.max() == pytest.approx(5.0)


@pytest.mark.parametrize("wrong", ['"136 lb"', '"61"', '"heavy"', '"1,500 kg"', '"600 kg"', "true"])
def test_what_is_no_number_in_that_unit_is_refused(tmp_path, wrong):
    path = tmp_path / "rider.toml"
    path.write_text(f'name = "Ann"\nmass_kg = {wrong}\n')
    if wrong == '"61"':  # a rider's file has always taken digits in quotation marks
        assert "mass" not in message_of(path)
    else:
        assert "line 2, mass_kg" in message_of(path)


def message_of(path):
    try:
        read_rider(path)
    except InputError as error:
        return str(error)
    return ""
