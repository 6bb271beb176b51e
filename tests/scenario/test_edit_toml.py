"""Edits keep what a person wrote around them; what they say is what TOML readers read."""

from __future__ import annotations

import tomllib
from importlib import resources

import pytest
import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.scenario.edit_toml import with_list, with_values

STARTER = resources.files("optimizer.scenario") / "starter_files"
SCENARIO = (STARTER / "scenario.toml").read_text(encoding="utf-8")
RIDER = (STARTER / "rider.toml").read_text(encoding="utf-8")


def changed_lines(old, new):
    before, after = old.splitlines(), new.splitlines()
    return [line for line in after if line not in before], [
        line for line in before if line not in after]


def test_a_value_changes_in_its_line_and_nowhere_else():
    new = with_values(SCENARIO, {("conditions", "temperature_c"): 21.5})
    assert changed_lines(SCENARIO, new) == (
        ["temperature_c = 21.5              # of the air at the start (without it: 20)"],
        ["temperature_c = 18              # of the air at the start (without it: 20)"])


def test_a_key_within_a_line_changes_there():
    new = with_values(SCENARIO, {("conditions", "wind", "speed_kmh"): 25})
    assert tomllib.loads(new)["conditions"]["wind"] == {"speed_kmh": 25, "from_deg": 250}
    assert len(changed_lines(SCENARIO, new)[0]) == 1


def test_a_commented_key_is_brought_to_life_with_its_explanation():
    new = with_values(SCENARIO, {("course", "laps"): 3})
    assert changed_lines(SCENARIO, new) == (
        ["laps = 3                      # how often it is ridden"],
        ["# laps = 1                      # how often it is ridden"])


def test_a_commented_table_is_brought_to_life():
    new = with_values(RIDER, {("long", "share_percent"): 85})
    assert tomllib.loads(new)["long"] == {"share_percent": 85}
    assert changed_lines(RIDER, new)[0] == [
        "[long]                        # long rides, and a run to come",
        "share_percent = 85            # or: the run hoped for,".replace(
            "# or: the run hoped for,", "# of the power that could be held for the whole ride")]


def test_a_commented_table_within_a_line_is_brought_to_life():
    gone = with_values(SCENARIO, {("conditions", "wind"): None})
    assert "# wind = { speed_kmh = 12" in gone
    new = with_values(gone, {("conditions", "wind", "speed_kmh"): 25,
                             ("conditions", "wind", "from_deg"): 225.5})
    assert tomllib.loads(new)["conditions"]["wind"] == {"speed_kmh": 25, "from_deg": 225.5}
    added, = changed_lines(SCENARIO, new)[0]
    assert added.endswith("# at ten metres, as forecasts give it, and where it")


def test_a_key_that_is_taken_away_becomes_a_comment_and_comes_back():
    gone = with_values(SCENARIO, {("handling", "descent_cap_kmh"): None})
    assert "descent_cap_kmh" not in tomllib.loads(gone)["handling"]
    assert changed_lines(SCENARIO, gone)[0] == [
        ("# descent_cap_kmh = 65            # a speed that you do not want to pass "
         "(without it: none)")]
    back = with_values(gone, {("handling", "descent_cap_kmh"): 65})
    assert back == SCENARIO


def test_what_stands_nowhere_is_written_behind_the_last_key_of_its_table():
    text = "# top\nname = 'x'\n\n[course]\ngpx = 'a'  # track\n\n# about the bike\n[bike]\n"
    new = with_values(text, {("course", "laps"): 2, ("long", "share_percent"): 90,
                             ("budget",): 5, ("course", "wind", "speed"): 3})
    assert new == ("# top\nname = 'x'\nbudget = 5\n\n[course]\ngpx = 'a'  # track\nlaps = 2\n"
                   "wind = { speed = 3 }\n\n# about the bike\n[bike]\n\n[long]\n"
                   "share_percent = 90\n")


def test_rows_of_a_list_keep_their_comments_and_new_ones_stand_behind_them():
    rows = [{"name": "Windmill", "km": 4.2}, {"name": "Ford", "km": 8.5},
            {"name": "Mast", "km": 9}]
    new = with_list(SCENARIO, "mark", rows)
    assert tomllib.loads(new)["mark"] == rows
    assert changed_lines(SCENARIO, new) == (["km = 4.2", 'name = "Mast"', "km = 9"], ["km = 4.0"])
    assert new.index("Ford") < new.index("Mast") < new.index("# A speed of your own")
    fewer = with_list(new, "mark", rows[:1])
    assert tomllib.loads(fewer)["mark"] == rows[:1]
    assert "# Places with a name" in fewer
    assert "mark" not in tomllib.loads(with_list(new, "mark", []))


def test_a_list_that_is_not_there_is_made_at_the_end():
    assert with_list("mass_kg = 70\n", "efforts", [{"minutes": 5, "power_w": 300}]) == (
        "mass_kg = 70\n\n[[efforts]]\nminutes = 5\npower_w = 300\n")
    inline = "efforts = [{minutes = 5, power_w = 300}]\n"
    assert tomllib.loads(with_list(inline, "efforts", [{"minutes": 4, "power_w": 310}])) == {
        "efforts": [{"minutes": 4, "power_w": 310}]}


def test_no_toml_is_refused():
    with pytest.raises(ValueError, match=r"[Ee]xpected|[Ii]nvalid"):
        with_values("a = = 1\n", {("a",): 2})
    with pytest.raises(ValueError, match="no table"):
        with_values("a = 1\n", {("a", "b"): 2})


WORDS = st.text(st.characters(codec="utf-8", exclude_categories=["Cs", "Cc"]), max_size=12)
VALUES = st.one_of(st.integers(-10**6, 10**6), st.booleans(), WORDS,
                   st.floats(-1e6, 1e6, allow_nan=False), st.lists(WORDS, max_size=3))
KEYS = st.sampled_from([("name",), ("budget",), ("currency",), ("course", "laps"),
                        ("course", "gpx"), ("conditions", "wind", "speed_kmh"),
                        ("conditions", "wet"), ("bike", "mass_kg"), ("new", "table", "key"),
                        ("options", "step_m"), ("kit", "rules")])


@settings(max_examples=40)
@given(st.dictionaries(KEYS, st.one_of(st.none(), VALUES), max_size=6))
def test_edits_say_what_was_asked_and_keep_every_comment(changes):
    # Oracle: the same change on what the standard library reads.
    expected = tomllib.loads(SCENARIO)
    for key, value in changes.items():
        place = expected
        for part in key[:-1]:
            place = place.setdefault(part, {}) if value is not None else place.get(part, {})
        if value is None:
            place.pop(key[-1], None)
        else:
            place[key[-1]] = value
    new = with_values(SCENARIO, changes)
    assert tomllib.loads(new) == expected
    assert tomlkit.parse(new).unwrap() == expected
    for comment in ("# A scenario: everything that one plan needs.", "# of all prices",
                    "# how often it is ridden", "# A speed of your own for a corner"):
        assert comment in new
