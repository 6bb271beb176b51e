"""`kitpace batch` as a person types it."""

from __future__ import annotations

import csv
import os

import pytest

from optimizer.batch.home import claim
from optimizer.errors import InputError
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
    assert "The case has a plan. It comes from an earlier run" in " ".join(said.split())


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


def test_a_folder_of_results_belongs_to_one_batch_file(squad):
    other, out = squad.with_name("second.toml"), squad.with_name("results")
    other.write_text(squad.read_text())
    claim(out, squad)
    code, said = kitpace("batch", other, "--out", out)
    assert code == 2
    assert f"contains the results of ..{os.sep}squad.toml" in said
    assert [path.name for path in out.iterdir()] == ["batch.json"]
    claim(out, squad)
    # Moved together it is as before; damaged, or with its owner gone, anybody's.
    moved = squad.parent.with_name("moved")
    squad.parent.rename(moved)
    claim(moved / "results", moved / "squad.toml")
    with pytest.raises(InputError, match="contains the results"):
        claim(moved / "results", moved / "second.toml")
    claim(moved / "results", moved / "second.toml", overwrite=True)
    (moved / "second.toml").unlink()
    claim(moved / "results", moved / "squad.toml")
    (moved / "results" / "batch.json").write_text("{")
    claim(moved / "results", moved / "second.toml")
