"""The FIT course, read back by libraries of other authors."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import fitdecode
import numpy as np
import pytest

from optimizer.course import Cleaning
from optimizer.report import write_card
from optimizer.report.card import card_fit, figures
from optimizer.scenario.track_file import read_course, read_track
from tests.report.made_up import EVIL, made_up_result


@pytest.fixture(scope="module")
def result():
    return made_up_result()


def decoded(data):
    """Messages in their order; the library checks both sums and every definition."""
    with fitdecode.FitReader(data, check_crc=fitdecode.CrcCheck.RAISE,
                             error_handling=fitdecode.ErrorHandling.RAISE) as reader:
        return [(frame.name, {field.name: field.value for field in frame.fields})
                for frame in reader if frame.frame_type == fitdecode.FIT_FRAME_DATA]


def test_another_author_reads_a_course_with_its_points(result):
    messages = decoded(card_fit(result))
    names = [name for name, _ in messages]
    assert names[:4] == ["file_id", "course", "lap", "event"]
    assert names[-1] == "event"
    head, course, lap, start, end = (messages[k][1] for k in (0, 1, 2, 3, -1))
    assert (head["type"], head["manufacturer"], head["product_name"]) == (
        "course", "development", "kitpace")
    assert (course["sport"], course["name"]) == ("cycling", result.job.course.name)
    assert lap["total_distance"] == pytest.approx(result.job.course.length, abs=0.01)
    assert lap["total_elapsed_time"] == pytest.approx(result.rideable.finish_time, abs=0.1)
    assert (start["event_type"], end["event_type"]) == ("start", "stop_disable_all")
    records = [values for name, values in messages if name == "record"]
    along = result.job.course
    assert len(records) == len(along.distance)
    for field, values, near in (("position_lat", along.latitude / 180 * 2**31, 1.0),
                                ("position_long", along.longitude / 180 * 2**31, 1.0),
                                ("distance", along.distance, 0.01)):
        assert np.allclose([record[field] for record in records], values, atol=near), field
    # The library names the field of the profile by its larger twin too.
    heights = [record.get("enhanced_altitude", record.get("altitude")) for record in records]
    assert np.allclose(heights, along.elevation, atol=0.11)
    times = [record["timestamp"] for record in records]
    assert times == sorted(times)
    assert (times[-1] - times[0]).total_seconds() == pytest.approx(
        result.rideable.finish_time, abs=1.0)


def test_a_course_point_for_each_line_and_mark(result):
    points = [values for name, values in decoded(card_fit(result)) if name == "course_point"]
    lines = ["/".join(f"{power:.0f}" for _, power in figures(block)) + " W"
             for block in result.rideable.blocks]
    marks = [mark.name for mark in result.job.course.marks]
    assert sorted(point["name"] for point in points) == sorted(
        name.encode()[:15].decode().rstrip() for name in (*lines, *marks))
    at = [point["distance"] for point in points]
    assert at == sorted(at)
    assert [point["message_index"] for point in points] == list(range(len(points)))
    assert {point["type"] for point in points} == {"generic"}


def test_it_starts_when_the_ride_does(result):
    start = datetime(2031, 6, 15, 9, 30, tzinfo=UTC)
    job = replace(result.job, conditions=replace(result.job.conditions, start_time=start))
    messages = decoded(card_fit(replace(result, job=job)))
    assert messages[3][1]["timestamp"] == start


def test_it_reads_back_as_a_course(result, tmp_path):
    path = write_card(result, tmp_path / "card.fit")
    course = read_course(path, cleaning=Cleaning())
    assert course.length == pytest.approx(result.job.course.length, rel=0.01)
    assert course.name == result.job.course.name
    found = ", ".join(mark.name for mark in course.marks)
    for mark in result.job.course.marks:
        assert mark.name[:15].rstrip() in found


@pytest.mark.parametrize("name", [EVIL, "Ü" * 100, "bell \x07 and null \x00", "道" * 9])
def test_names_are_cut_between_characters(name, tmp_path):
    made = made_up_result()
    marks = tuple(replace(mark, name=name) for mark in made.job.course.marks)
    result = replace(made, job=replace(made.job, course=replace(
        made.job.course, name=name, marks=marks)))
    messages = decoded(card_fit(result))
    assert messages[1][1]["name"][:4] == name[:4]
    assert len(messages[1][1]["name"].encode()) < 48
    path = write_card(result, tmp_path / "card.fit")
    assert len(read_track(path).places) == len(
        [1 for kind, _ in messages if kind == "course_point"])
