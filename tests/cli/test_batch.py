"""`kitpace batch` as a person types it."""

from __future__ import annotations

import csv

import pytest

from tests.hardening.corpus import kitpace, race


@pytest.fixture
def squad(tmp_path):
    race(tmp_path)
    (tmp_path / "broken.toml").write_text('name = "Broken"\nrider = "nobody.toml"\n')
    file = tmp_path / "squad.toml"
    file.write_text('scenarios = ["broken.toml", "scenario.toml"]\nforecasts = ["20@90"]\n')
    return file


def test_a_table_an_index_and_the_reports(squad):
    code, said = kitpace("batch", squad, "--workers", 1)
    words = " ".join(said.split())
    assert code == 2  # some failed
    assert "these cases have no plan: - broken, 20 km/h from 90°" in words
    assert "broken.toml" in words
    out = squad.with_name("squad-results")
    rows = list(csv.DictReader((out / "table.csv").read_text(encoding="utf-8-sig").splitlines()))
    assert [bool(row["finish_time_s"]) for row in rows] == [False, True]
    assert "Input" not in rows[0]["problem"]
    page = (out / "index.html").read_text(encoding="utf-8")
    assert f'href="{rows[1]["report"]}"' in page
    assert (out / rows[1]["report"]).is_file()

    squad.with_name("broken.toml").unlink()
    squad.write_text(squad.read_text().replace('"broken.toml", ', ""))
    code, said = kitpace("batch", squad)
    assert code == 0
    assert "1 of 1 cases have a plan. 1 of them come from an earlier run" in " ".join(said.split())


@pytest.mark.parametrize(("words", "says"), [
    (["none.toml"], "there is no such file"), (["squad.toml", "--workers", 0], "0"),
    (["squad.toml", "--out", "squad.toml"], "is a file"),
    (["squad.toml", "--workers", 2, "--cluster", "tcp://127.0.0.1:9"], "--workers"),
    (["squad.toml", "--limit", 0], "0")])
def test_slips(squad, monkeypatch, words, says):
    monkeypatch.chdir(squad.parent)
    code, said = kitpace("batch", *words)
    assert code == 2
    assert says in said
    assert not squad.with_name("squad-results").exists()
