"""The wind under the road is told by direction: no mean of head wind and tail wind."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.report.course_page import leg_rows
from optimizer.report.ribbon import wind_edges
from tests.report.made_up import made_up_course, made_up_result


def test_out_and_back_is_two_winds():
    distance = np.linspace(0.0, 30_000.0, 601)
    headwind = np.where(distance[:-1] < 15_000.0, -2.5, 2.5)
    assert wind_edges(np.array([0.0, 30_000.0]), distance, headwind) == pytest.approx(
        [0.0, 15_000.0, 30_000.0])


def test_one_wind_keeps_the_marks_alone():
    distance, marks = np.linspace(0.0, 30_000.0, 601), np.array([0.0, 7_000.0, 30_000.0])
    assert wind_edges(marks, distance, np.full(600, 3.0)) == pytest.approx(marks)
    assert wind_edges(marks, distance, np.zeros(600)) == pytest.approx(marks)


def test_the_parts_add_up_to_the_stretches():
    distance, marks = np.linspace(0.0, 30_000.0, 601), np.array([0.0, 7_000.0, 30_000.0])
    edges = wind_edges(marks, distance, np.sin(distance[:-1] / 3000.0))
    assert set(marks) <= set(edges)
    assert (np.diff(edges) > 0.0).all()


def test_a_stretch_with_both_winds_tells_both():
    """On a loop the mean is next to nothing; a straight road has one wind."""
    loop, air = replace(made_up_course(), marks=()), made_up_result().job.conditions
    (row,) = leg_rows(loop, air)
    head, tail = (float(words.replace("\N{MINUS SIGN}", "-")) for words in row[4].split(" / "))
    assert head > 5.0
    assert tail < -5.0
    straight = replace(loop, heading=np.full(len(loop.heading), np.arctan2(4.0, 3.0)))
    (row,) = leg_rows(straight, air)
    assert "/" not in row[4]
    assert row[4].startswith("\N{MINUS SIGN}")  # the wind comes from behind all the way
