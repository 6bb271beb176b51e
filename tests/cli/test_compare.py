"""`kitpace compare` as a person types it."""

from __future__ import annotations

import pytest

from tests.cli.typed import kitpace, starter


@pytest.fixture(scope="module")
def race(tmp_path_factory):
    return starter(tmp_path_factory.mktemp("compare")).parent


def test_sets_stand_side_by_side(race):
    done = kitpace("compare", "race/scenario.toml", "--draws", "60", "--out", "sets.html", cwd=race)
    assert done.returncode == 0, done.stderr
    words = " ".join(done.stdout.split())
    assert "is the fastest of 2 sets: its ideal ride takes " in words
    assert "90 % range" in words
    assert "days in 100" in words
    for place in ("Windmill", "Ford", "Finish", "In all", "drag"):
        assert place in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80
    page = (race / "sets.html").read_text(encoding="utf-8")
    assert "How far ahead of As it stands?" in page
    assert "qualified mechanic" in page


def test_one_set_is_too_few(race):
    text = (race / "race" / "scenario.toml").read_text(encoding="utf-8")
    parts = text.split("[[set]]")
    rest = parts[2].split("\n\n", 1)[1] if "\n\n" in parts[2] else ""
    (race / "race" / "one.toml").write_text("[[set]]".join(parts[:2]) + rest, encoding="utf-8")
    done = kitpace("compare", "race/one.toml", cwd=race)
    assert done.returncode == 2
    assert "a comparison needs two" in done.stderr
    assert "Traceback" not in done.stderr
