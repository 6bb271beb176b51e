"""What changed against an earlier plan."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from optimizer.errors import InputError
from optimizer.report.changes import changes
from optimizer.report.result_json import write_json
from optimizer.report.stated import stated
from optimizer.scenario.earlier_file import read_earlier
from tests.report.made_up import made_up_result


@pytest.fixture(scope="module")
def result():
    return made_up_result()


@pytest.fixture
def written(result, tmp_path):
    return write_json(result, tmp_path / "yesterday.json")


def test_the_same_plan_has_not_changed(result, written):
    said = changes(result, read_earlier(written))
    assert said.startswith("Against yesterday.json: ")
    assert said.endswith("as fast.")


def test_time_wind_power_and_kit_are_told(result, written):
    document = json.loads(written.read_text())
    document["rideable"]["finish_time_s"] -= 42.0  # what the card said, as everywhere
    document["plan"]["mean_power_w"] += 7.0
    document["conditions"]["mean_wind_east_mps"] = 0.0
    document["conditions"]["mean_wind_north_mps"] = -5.0
    document["kit"]["chosen"] = ["Old hat"]
    written.write_text(json.dumps(document))
    said = changes(result, read_earlier(written))
    assert "42 s slower" in said
    assert "instead of 18 km/h from the north." in said
    assert "Mean power of the ideal ride: " in said
    assert "No longer in it: Old hat." in said


def test_every_input_that_differs_is_told(result, written):
    before = json.loads(written.read_text())
    job = result.job
    rider = replace(job.rider, critical_power=job.rider.critical_power + 7.0, positions=(
        replace(job.rider.positions[0], drag_area=0.273), *job.rider.positions[1:]))
    course = replace(job.course, rolling_factor=job.course.rolling_factor * 1.5)
    air = replace(job.conditions, temperature=job.conditions.temperature + 10.0)
    said = changes(replace(result, job=replace(job, rider=rider, course=course, conditions=air)),
                   read_earlier(written))
    assert ("Changed: critical power 269 W instead of 262; CdA in the first position 0.273 m² "
            "instead of 0.248; temperature 28 °C instead of 18; Crr of the road against smooth "
            "asphalt 1.61 times instead of 1.07.") in said
    del before["inputs"]  # as in the JSON of an older version
    written.write_text(json.dumps(before))
    assert "Changed: " not in changes(result, read_earlier(written))


def test_changed_evidence_is_told(result, written):
    earlier = read_earlier(written)
    job = result.job
    first = job.effects[0]
    assert first.data
    assert job.effects[1].data
    known = (replace(first, rolling_resistance=-0.0005, rolling_resistance_sd=0.0002),
             replace(job.effects[1], data=0), *job.effects[2:])
    said = changes(replace(result, job=replace(job, effects=known)), earlier)
    # 1.645 standard deviations to either side are a 90 % range.
    assert (f"Changed: evidence of {first.item}: change of Crr −0.0005 ± 0.0003 instead of 0; "
            f"evidence of {job.effects[1].item}, which has none any more.") in said
    document = json.loads(written.read_text())
    del document["evidence"]  # as in the JSON of an older version
    written.write_text(json.dumps(document))
    assert "evidence" not in changes(replace(result, job=replace(job, effects=known)),
                                     read_earlier(written))


def test_differences_are_those_of_the_times_shown(result, written):
    document = json.loads(written.read_text())
    now = stated(result).finish
    # Both are rounded the way that sets the clocks apart from the rounded difference.
    document["rideable"]["finish_time_s"] = np.floor(now) - 40.0 + (
        -0.499 if now % 1 < 0.5 else 0.499)
    low = document["rideable"]["spread_s"]["5"]
    document["rideable"]["spread_s"] = {"5": 3000.49, "50": low, "95": 3040.51}
    written.write_text(json.dumps(document))
    said = changes(result, read_earlier(written))
    shown = round(now) - round(document["rideable"]["finish_time_s"])
    assert f", {shown} s slower" in said
    assert shown != round(now - document["rideable"]["finish_time_s"])
    assert "wide instead of 41 s" in said


@pytest.mark.parametrize(("text", "says"), [
    ("{", "is not JSON"), ("[]", "is not a plan"), ('{"schema": "other"}', "is not a plan"),
    ('{"schema": "kitpace-result-1"}', "is not a complete plan"),
    ('{"schema": "kitpace-result-1", "plan": {"finish_time_s": NaN}, "conditions": {}}',
     "is not a complete plan"),
    (('{"schema": "kitpace-result-1", "plan": {"finish_time_s": 9, "mean_power_w": 9}, "conditions"'
      ': {"wind_east_mps": [[1]], "wind_north_mps": [[1]]}, "kit": {"chosen": []}, '
      '"evidence": [1]}'),
     "is not a complete plan"),
    ("[" * 100_000, "is not JSON"),
])
def test_what_is_no_plan_is_refused(tmp_path, text, says):
    path = tmp_path / "x.json"
    path.write_text(text)
    with pytest.raises(InputError, match=says):
        read_earlier(path)


def test_the_range_of_a_newer_forecast(result, written):
    low, middle, high = result.spread
    narrower = replace(result, spread=(middle - 0.25 * (high - low), middle,
                                       middle + 0.25 * (high - low)))
    said = changes(narrower, read_earlier(written))
    assert "wide instead of" in said
    assert "50 % narrower" in said


@pytest.mark.parametrize(("before", "says"), [
    ("2031-06-07T08:45:00+00:00", "Start: 09:30 instead of 08:45."),
    ("2031-06-06T09:30:00+00:00", "Start: 07 June, 09:30 instead of 06 June, 09:30."),
    (None, "Start: 09:30, which the earlier plan does not name."),
    ("2031-06-07T09:30:00+00:00", "")])
def test_a_changed_start_is_named(result, written, before, says):
    document = json.loads(written.read_text())
    document["conditions"]["start_time"] = before
    written.write_text(json.dumps(document))
    said = changes(result, read_earlier(written))
    assert (says in said) if says else ("Start:" not in said)


def test_a_start_that_is_none_is_refused(written):
    document = json.loads(written.read_text())
    document["conditions"]["start_time"] = "noon"
    written.write_text(json.dumps(document))
    with pytest.raises(InputError, match="is not a complete plan"):
        read_earlier(written)


def test_a_course_without_corners_has_no_mean_of_their_speeds(result, tmp_path):
    straight = replace(result, job=replace(result.job, course=replace(
        result.job.course, corners=())))
    before = read_earlier(write_json(straight, tmp_path / "straight.json"))
    assert "corner_kmh" not in before.inputs
    assert "corner speeds" not in changes(result, before)
    after = read_earlier(write_json(result, tmp_path / "turns.json"))
    assert "corner speeds" not in changes(straight, after)
