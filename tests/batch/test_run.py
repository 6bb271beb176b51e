"""The engine: nothing is done twice, nothing lost, and one failure is its own only."""

from __future__ import annotations

import json
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import pytest

from optimizer.batch import case as case_work
from optimizer.batch import run as engine
from optimizer.batch import run_batch
from optimizer.batch.outcome import digest, folder_of, read_record
from optimizer.batch.workers import processes
from optimizer.errors import KitpaceError
from optimizer.scenario.batch_file import read_batch
from optimizer.scenario.starter import write_starter
from tests.batch.stand_in import answer


@pytest.fixture
def squad(tmp_path):
    """A batch file of four budgets on the starter scenario."""
    write_starter(tmp_path / "race")
    file = tmp_path / "squad.toml"
    file.write_text('scenarios = ["race/scenario.toml"]\nbudgets = [0, 100, 200, 300]\n')
    return file


@pytest.fixture(autouse=True)
def work(monkeypatch):
    monkeypatch.setattr(engine, "plan_case", answer)


def run(file, **how):
    told = []
    outcomes = run_batch(read_batch(file), file.parent / "out", ThreadPoolExecutor, 2,
                         tell=told.append, **how)
    assert sorted(one.case for one in told) == sorted(one.case for one in outcomes)
    return outcomes


def times(outcomes):
    return [one.finish_time for one in outcomes]


def test_outcomes_stand_in_the_order_of_the_batch(squad):
    outcomes = run(squad)
    assert times(outcomes) == [3600, 3700, 3800, 3900]
    assert not any(one.failure or one.kept for one in outcomes)
    for one in outcomes:
        assert (squad.parent / "out" / one.folder / "report.html").is_file()


def test_what_is_done_is_kept_until_its_inputs_change(squad):
    run(squad)
    again = run(squad)
    assert all(one.kept for one in again)
    assert times(again) == [3600, 3700, 3800, 3900]
    assert not any(one.kept for one in run(squad, again=True))
    rider = squad.parent / "race" / "rider.toml"
    rider.write_text(rider.read_text() + "# another remark\n")
    assert not any(one.kept for one in run(squad))


def test_a_case_that_is_added_is_the_only_one_that_is_planned(squad):
    run(squad)
    squad.write_text(squad.read_text().replace("300]", "300, 400]"))
    assert [one.kept for one in run(squad)] == [True] * 4 + [False]


def test_failures_are_their_own_and_are_tried_again(squad):
    squad.write_text(squad.read_text().replace("100, 200", "17, 19"))
    outcomes = run(squad)
    assert [bool(one.failure) for one in outcomes] == [False, True, True, False]
    assert "the brook is in flood" in outcomes[1].failure
    assert outcomes[1].exit_code == 3
    assert "ZeroDivisionError" in outcomes[2].failure
    assert outcomes[2].exit_code == 1
    assert [one.kept for one in run(squad)] == [True, False, False, True]


def test_a_scenario_that_cannot_be_read_fails_by_itself(squad):
    other = squad.parent / "race" / "other.toml"
    other.write_text("name = 3\n")
    squad.write_text('scenarios = ["race/scenario.toml", "race/other.toml"]\n')
    outcomes = run(squad)
    assert not outcomes[0].failure
    assert "other.toml, line 1" in outcomes[1].failure
    assert outcomes[1].exit_code == 2


def test_a_process_that_dies_takes_no_other_case_with_it(squad):
    squad.write_text(squad.read_text().replace("100", "13"))
    batch = read_batch(squad)
    outcomes = run_batch(batch, squad.parent / "out", processes, 2)
    assert times(outcomes) == [3600, 0, 3800, 3900]
    assert [bool(one.failure) for one in outcomes] == [False, True, False, False]
    assert "died" in outcomes[1].failure


def test_a_stopped_batch_keeps_what_it_finished(squad):
    seen = []

    def stop(outcome):
        seen.append(outcome)
        if len(seen) == 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run_batch(read_batch(squad), squad.parent / "out", ThreadPoolExecutor, 1, tell=stop)
    assert [one.kept for one in run(squad)] == [True, True, False, False]


@pytest.mark.parametrize("content", ["", "{", "[]", '{"schema": "kitpace-case-1"}',
                                     '{"schema": "other", "inputs": "x", "outcome": {}}'])
def test_a_record_that_is_not_whole_counts_for_nothing(squad, content):
    case = read_batch(squad).cases[0]
    folder = squad.parent / folder_of(case)
    folder.mkdir()
    assert read_record(folder, digest(case)) is None
    (folder / "case.json").write_text(content)
    assert read_record(folder, digest(case)) is None


def test_the_digest_sees_every_change(squad):
    case = read_batch(squad).cases[0]
    before = digest(case)
    assert digest(case) == before
    for change in ({"budget": 5.0}, {"wind": (20.0, 90.0)}, {"name": "other"},
                   {"rider": case.scenario.with_name("rider.toml")}):
        assert digest(replace(case, **change)) != before
    for name in ("course.gpx", "kit.csv", "evidence.csv", "rider.toml", "scenario.toml"):
        file = case.scenario.with_name(name)
        content = file.read_text()
        file.write_text(content.replace("\n", "\n ", 1))
        assert digest(case) != before
        file.write_text(content)
    assert digest(case) == before


def test_the_record_is_written_last(squad, monkeypatch):
    written = []
    monkeypatch.setattr(engine, "write_atomic", lambda path, _text: written.append(path.name))
    monkeypatch.setattr(engine, "write_record", lambda *_: written.append("record"))
    run(squad)
    assert written[3::4] == ["record"] * 4
    assert json.dumps(written).count("report.html") == 4


def test_a_case_that_takes_too_long_is_stopped(monkeypatch):
    monkeypatch.setattr(case_work, "run", lambda _job: time.sleep(60))
    begun = time.perf_counter()
    with pytest.raises(KitpaceError, match=r"no plan after 0\.005 minutes"):
        case_work.plan_case(None, 0.3)
    assert time.perf_counter() - begun < 10
