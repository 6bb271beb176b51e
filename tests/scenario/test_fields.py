"""Forms and messages say what the tables say: one home for label, unit, limits and default."""

from __future__ import annotations

from pathlib import Path

import pytest

from optimizer.errors import InputError
from optimizer.scenario import fields
from optimizer.scenario.fields import described, fields_of, table_at
from optimizer.scenario.rider_file import RiderTable, read_rider
from optimizer.scenario.scenario import Scenario
from optimizer.scenario.season_file import SeasonFile
from optimizer.scenario.toml_file import findings, read_toml


def all_tables(model):
    yield model
    for field in fields_of(model):
        if field.kind in {"table", "tables"}:
            yield from all_tables(table_at(model, field.key))


TABLES = {table.__name__.lstrip("_"): table for model in (Scenario, RiderTable, SeasonFile)
          for table in all_tables(model)}


def test_labels_belong_to_keys_that_are_there():
    for name, key in {**fields._LABELS, **fields._CHOICES, **fields._OTHER_UNITS}:
        assert key in TABLES[name].model_fields, (name, key)


def test_defaults_shown_are_those_that_hold():
    known = [(table.model_fields[field.key].get_default(), field.default)
             for table in TABLES.values() for field in fields_of(table) if field.source]
    assert len(known) > 20
    # For a rider the estimate is made later, from the same table.
    assert all(held in {None, shown} for held, shown in known)


def test_limits_shown_are_those_that_are_held(tmp_path):
    path = tmp_path / "rider.toml"
    numbers = [field for field in fields_of(RiderTable) if field.kind == "number"]
    assert len(numbers) > 8
    for field in numbers:
        for value, right in ((field.low, True), (field.high, True), (field.low - 0.01, False),
                             (field.high * 1.01 + 0.01, False)):
            path.write_text(f"mass_kg = 70\n{field.key} = {value}\n" if field.key != "mass_kg"
                            else f"mass_kg = {value}\n", encoding="utf-8")
            found = findings(RiderTable, read_toml(path))
            assert not found if right else [key for key, _ in found] == [(field.key,)]


def test_a_field_has_label_unit_help_and_source():
    field = described(TABLES["HandlingTable"], "skill_percent")
    assert (field.label, field.unit, field.low, field.high, field.default) == (
        "Grip used in corners", "%", 10, 100, 60)
    assert field.source.startswith("common practice, no source")
    assert field.limits == "from 10 to 100 %"
    assert described(TABLES["StretchTable"], "side").choices == ("left", "right", "both")
    assert described(Scenario, "rider").required
    assert {field.label for field in fields_of(Scenario)} >= {"Name of the race", "Currency"}


def test_a_message_about_a_rider_says_what_would_be_right(tmp_path):
    path = tmp_path / "rider.toml"
    path.write_text("mass_kg = 70\nheight_cm = 1.8\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"height_cm: 1\.8 is out of range: it has to be at least"):
        read_rider(path)
    path.write_text('mass_kg = "heavy"\nheight_cm = 180\n', encoding="utf-8")
    with pytest.raises(InputError) as error:
        read_rider(path)
    assert error.value.remedy == "the rider with clothes and drink, in kg"


def test_everything_that_is_wrong_is_found_at_once(tmp_path):
    path = Path(tmp_path / "rider.toml")
    path.write_text("mass_kg = 7\nheight_cm = 18\n[[efforts]]\nminutes = 0\npower_w = 1\n",
                    encoding="utf-8")
    found = findings(RiderTable, read_toml(path))
    assert [key for key, _ in found] == [("mass_kg",), ("height_cm",), ("efforts", 0, "minutes")]
    assert found[2][1].where == "line 4, efforts 1, minutes"
