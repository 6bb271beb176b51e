"""The JSON of an earlier plan: read, or refused in words."""

from __future__ import annotations

import json
import math

import pytest

from optimizer.errors import InputError
from optimizer.scenario.earlier_file import read_earlier

GOOD = {"schema": "kitpace-result-1", "plan": {"finish_time_s": 1800.5, "mean_power_w": 250},
        "conditions": {"wind_east_mps": [[1.0]], "wind_north_mps": [[-2.5]]},
        "kit": {"chosen": ["Disc"]}}


def test_a_plan_is_read(tmp_path):
    path = tmp_path / "plan.json"
    path.write_text(json.dumps(GOOD))
    found = read_earlier(path)
    assert (found.finish_time, found.wind_north, found.items) == (1800.5, -2.5, ("Disc",))


def test_the_wind_of_a_plan_is_the_mean_of_its_ride(tmp_path):
    path = tmp_path / "plan.json"
    hours = {"wind_east_mps": [[1.0], [5.0]], "wind_north_mps": [[0.0], [0.0]]}
    path.write_text(json.dumps(GOOD | {"conditions": hours}))
    assert math.isnan(read_earlier(path).wind_east)  # a file from before: the first hour is no mean
    path.write_text(json.dumps(GOOD | {"conditions": hours | {
        "mean_wind_east_mps": 3.5, "mean_wind_north_mps": -0.5}}))
    assert (read_earlier(path).wind_east, read_earlier(path).wind_north) == (3.5, -0.5)


@pytest.mark.parametrize("value", ["9" * 5000, "9" * 400, "-" + "9" * 400, "1e308", "NaN",
                                   "Infinity", "true", '"12"', "null", "[]", "{}", "[" * 9000])
@pytest.mark.parametrize("place", ["1800.5", "250", "1.0", "-2.5", '["Disc"]', '"Disc"', "[[1.0]]"])
def test_values_that_no_plan_has_are_refused(tmp_path, place, value):
    path = tmp_path / "plan.json"
    path.write_text(json.dumps(GOOD).replace(place, value))
    if (place, value) in {('["Disc"]', "[]"), ('"Disc"', '"12"')}:
        assert read_earlier(path).items in {(), ("12",)}
        return
    with pytest.raises(InputError, match=r"plan\.json"):
        read_earlier(path)


@pytest.mark.parametrize("value", [None, [], "text", 3])
@pytest.mark.parametrize("key", ["inputs", "evidence"])
def test_what_should_be_a_table_and_is_none_is_named(tmp_path, key, value):
    path = tmp_path / "plan.json"
    path.write_text(json.dumps(GOOD | {key: value}))
    with pytest.raises(InputError, match=f"{key} is no table"):
        read_earlier(path)
