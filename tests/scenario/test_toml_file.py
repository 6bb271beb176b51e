"""TOML files: every complaint names file, line and key."""

from __future__ import annotations

import re
import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel, ConfigDict, Field

from optimizer.errors import InputError
from optimizer.scenario.toml_file import check, read_toml


class Inner(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)
    name: str
    km: float = Field(default=0.0, ge=0, le=100, description="kilometres from the start")


class Outer(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)
    title: str
    wind: Inner | None = None
    mark: list[Inner] = []


def read(tmp_path, text):
    path = tmp_path / "scenario.toml"
    path.write_text(text, encoding="utf-8")
    return read_toml(path)


@pytest.mark.parametrize(("text", "says"), [
    ('title = "x"\n\n[[mark]]\nname = "a"\n[[mark]]\nname = "b"\nkn = 3\n',
     'line 7, mark 2, kn: is not a known key\n  did you mean "km"?'),
    ('title = "x"\n[[mark]]\nname = "a"\nkm = "3"\n',
     'line 4, mark 1, km: has to be a number, not "3"\n  kilometres from the start'),
    ('title = "x"\n[[mark]]\nname = "a"\nkm = -3\n',
     "line 4, mark 1, km: -3 is out of range: it has to be at least 0"),
    ('title = "x"\nwind = { name = "w", km = 400 }\n',
     "line 2, wind.km: 400 is out of range: it has to be at most 100"),
    ("[wind]\nname = 3\n", "title: is missing"),
    ('title = "x"\n[wind]\nname = 3\n', "line 3, wind.name: has to be text in quotation marks"),
    ('title = "x"\nmark = 3\n', "line 2, mark: has to be a list in [ ]"),
])
def test_findings_name_line_and_key(tmp_path, text, says):
    with pytest.raises(InputError, match=re.escape(says)):
        check(Outer, read(tmp_path, text))


@pytest.mark.parametrize("value", ["nan", "inf", "-inf", "1e999"])
def test_nan_and_infinity_are_refused_with_their_line(tmp_path, value):
    with pytest.raises(InputError, match=r"line 3, wind\.km: is not a finite number"):
        read(tmp_path, f'title = "x"\n[wind]\nkm = {value}\n')


@pytest.mark.parametrize(("text", "says"), [
    ("a = 1\na = 2\n", "line 2"), ("a = 1,5\n", "line 1"), ("a = [", "not valid TOML"),
    ("[a]\n[a]\n", "line 2"),
    ("a = 1\nday = 2031-02-30  # x\n", "line 2: 2031-02-30 is no date: February has no day 30"),
    ("days = [2031-06-22, 2031-02-31]\n", "line 1: 2031-02-31 is no date: February has no"),
    ("days = [2031-06-22,\n  2031-13-01]\n", "line 2: 2031-13-01 is no date: there is no month 13"),
    ("at = 2031-06-22T25:00:00\n", "2031-06-22T25:00:00 is no date: there is no hour 25"),
    ("at = [2031-06-22 09:75:00]\n", "2031-06-22 09:75:00 is no date: there is no minute 75"),
    ("at = 2031-06-22T09:30\n", "a time has hours, minutes and seconds"),
    ("at = 2031-6-22\n", "month and day take two digits each"),
    ("at = 25:00:00\n", "25:00:00 is no time of day: there is no hour 25"),
    ("at = 2031-06-22 x\n", "not valid TOML"), ("at = 12:00:00 x\n", "not valid TOML"),
    ("a = " + "[" * 5000, "not valid TOML"),
])
def test_broken_toml_names_its_line(tmp_path, text, says):
    with pytest.raises(InputError, match=says):
        read(tmp_path, text)


def test_strings_and_lists_over_several_lines_do_not_move_the_lines(tmp_path):
    file = read(tmp_path, 'a = """\n[fake]\nb = 1\n"""\nlist = [ # [\n  "]", 2,\n]\n'
                          "[x.'y z']\n\"k k\" = 1\n[[m]]\n[m.sub]\nz = 1\n[[m]]\nz = 2\n")
    assert file.where("a") == "line 1, a"
    assert file.where("list", 1) == "line 5, list 2"
    assert file.where("x", "y z", "k k") == "line 9, x.y z.k k"
    assert file.where("m", 0, "sub", "z") == "line 12, m 1, sub.z"
    assert file.where("m", 1, "z") == "line 14, m 2, z"


_NAME = st.from_regex(r"[a-z][a-z0-9_]{0,5}", fullmatch=True)


@settings(max_examples=40)
@given(st.dictionaries(_NAME, st.dictionaries(_NAME, st.integers(0, 9), min_size=1), min_size=1))
def test_each_key_is_found_on_its_line(tmp_path_factory, tables):
    lines = []
    where = {}
    for table, entries in tables.items():
        lines.append(f"[{table}]")
        for key, value in entries.items():
            lines.append(f"{key} = {value}")
            where[table, key] = len(lines)
    text = "\n".join(lines)
    assert tomllib.loads(text) == tables
    path = tmp_path_factory.mktemp("toml") / "t.toml"
    path.write_text(text)
    found = read_toml(path).lines
    assert all(found[key] == line for key, line in where.items())
