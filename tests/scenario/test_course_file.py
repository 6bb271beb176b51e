from __future__ import annotations

import pytest

from optimizer.course import Limit, Mark, Stretch
from optimizer.errors import InputError
from optimizer.scenario.course_file import read_features

HEAD = "what,from_km,to_km,value,name\n"


def table(tmp_path, text):
    path = tmp_path / "roads.csv"
    path.write_text(HEAD + text, encoding="utf-8")
    return path


def test_everything_that_can_be_said(tmp_path):
    features = read_features(table(tmp_path, (
        "surface,3.2,4,cobbles,\nsurface,4,5,1.35,\nTerrain,0,12,Roughly open,\n"
        "terrain,12,13,0.4,\nshelter,5,6,40,forest\nspeed,7,7.4,36,village\n"
        "corner,12.3,,18,Church\ncorner,,,25.2,First hairpin\nmark,10,,,Half way\n")))
    assert features.stretches == (
        Stretch(3200, 4000, "surface", 3.5), Stretch(4000, 5000, "surface", 1.35),
        Stretch(0, 12000, "terrain", 0.1), Stretch(12000, 13000, "terrain", 0.4),
        Stretch(5000, 6000, "shelter", 0.4), Stretch(7000, 7400, "speed", 10.0))
    assert features.limits == (Limit("Church", 12300, 5.0), Limit("First hairpin", None, 7.0))
    assert features.marks == (Mark("Half way", 10_000),)


@pytest.mark.parametrize(("row", "problem", "column"), [
    ("surfaces,0,1,2,", "not known", "what"), ("surface,0,1,cobble,", "not a known surface",
                                               "value"),
    ("surface,0,1,99,", "out of range", "value"), ("surface,0,1,,", "empty", "value"),
    ("surface,2,1,2,", "is not after", "to_km"), ("surface,0,,2,", "empty", "to_km"),
    ("shelter,0,1,140,", "out of range", "value"), ("speed,0,1,0,", "out of range", "value"),
    ("corner,,,20,", "empty", "name"), ("corner,1,,,x", "empty", "value"),
    ("mark,1,,,", "empty", "name"), ("mark,-1,,,x", "out of range", "from_km"),
    ("terrain,0,1,forest,", "not a known terrain", "value")])
def test_refusals_name_row_and_column(tmp_path, row, problem, column):
    with pytest.raises(InputError, match=problem) as caught:
        read_features(table(tmp_path, row + "\n"))
    assert caught.value.where == f"row 2, column {column}"


def test_a_slip_gets_the_nearest_name(tmp_path):
    with pytest.raises(InputError, match='did you mean "cobbles"'):
        read_features(table(tmp_path, "surface,0,1,cobble,\n"))
