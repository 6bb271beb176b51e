"""The engine: nothing is done twice, nothing lost, and one failure is its own only."""

from __future__ import annotations

import contextlib
import json
import time
from concurrent.futures import CancelledError, Future, ThreadPoolExecutor
from dataclasses import replace

import pytest

from optimizer.batch import case as case_work
from optimizer.batch import run as engine
from optimizer.batch import run_batch
from optimizer.batch.outcome import digest
from optimizer.batch.workers import processes
from optimizer.errors import KitpaceError
from optimizer.scenario.batch_file import read_batch
from optimizer.scenario.starter import write_starter
from tests.batch.stand_in import answer, hang


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
                         progress=told.append, **how)
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
    assert "other.toml: " in outcomes[1].failure
    assert "line 1, name" in outcomes[1].failure
    assert outcomes[1].exit_code == 2


@pytest.mark.ci
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
        run_batch(read_batch(squad), squad.parent / "out", ThreadPoolExecutor, 1, progress=stop)
    assert [one.kept for one in run(squad)] == [True, True, False, False]


def damaged(change):
    def spoil(file):
        content = json.loads(file.read_text())
        change(content)
        file.write_text(json.dumps(content))
    return spoil


DAMAGE = {
    "gone": lambda file: file.unlink(),
    "empty": lambda file: file.write_text(""),
    "half": lambda file: file.write_text(file.read_text()[:200]),
    "a list": lambda file: file.write_text("[]"),
    "not UTF-8": lambda file: file.write_bytes(b"\xff" + file.read_bytes()),
    "nested": lambda file: file.write_text("[" * 200_000),
    "a folder": lambda file: (file.unlink(), file.mkdir()),
    "another schema": damaged(lambda c: c.update(schema="other")),
    "the schema before": damaged(lambda c: c.update(schema="kitpace-case-2")),
    "other inputs": damaged(lambda c: c.update(inputs="x")),
    "a key is missing": damaged(lambda c: c["outcome"].pop("spend")),
    "words for a number": damaged(lambda c: c["outcome"].update(finish_time="soon")),
    "not finite": damaged(lambda c: c["outcome"].update(low=float("nan"))),
    "no time": damaged(lambda c: c["outcome"].update(finish_time=0.0)),
    "a number for items": damaged(lambda c: c["outcome"].update(items=5)),
    "items that are none": damaged(lambda c: c["outcome"].update(items=[None])),
    "another case": damaged(lambda c: c["outcome"].update(case="other")),
    "another folder": damaged(lambda c: c["outcome"].update(folder="../../x")),
    "a failure": damaged(lambda c: c["outcome"].update(failure="x")),
    "no files": damaged(lambda c: c.update(files={})),
    "files that are none": damaged(lambda c: c.update(files=7)),
    "the report is gone": lambda file: file.with_name("report.html").unlink(),
    "the report is garbled": lambda file: file.with_name("report.html").write_text("<p>x"),
    "the card is cut": lambda file: file.with_name("card.html").write_text(""),
}


@pytest.mark.parametrize("what", DAMAGE)
def test_a_record_that_is_not_whole_or_whose_report_is_not_counts_for_nothing(squad, what):
    squad.write_text(squad.read_text().replace("100, 200, 300", "100"))
    first = run(squad)
    DAMAGE[what](squad.parent / "out" / first[0].folder / "case.json")
    if what == "a folder":
        (squad.parent / "out" / first[0].folder / "case.json").rmdir()
    again = run(squad)
    assert [one.kept for one in again] == [False, True]
    assert times(again) == times(first)


def test_the_digest_sees_every_change(squad):
    case = read_batch(squad).cases[0]
    before = digest(case)
    assert digest(case) == before
    for change in ({"budget": 5.0}, {"wind": (20.0, 90.0)}, {"name": "other"},
                   {"rider": case.scenario.with_name("rider.toml")}):
        assert digest(replace(case, **change)) != before
    other = case.scenario.with_name("rider.toml")
    assert digest(replace(case, rider=other)) != digest(replace(case, forecast=other))
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


def test_reading_counts_against_the_limit(squad, monkeypatch):
    monkeypatch.setattr(engine, "read_scenario", lambda *_, **__: time.sleep(60))
    squad.write_text(squad.read_text().replace("0, 100, 200, 300", "100"))
    outcomes = run(squad, limit=0.3)
    assert "no plan after 0.005 minutes" in outcomes[0].failure


@pytest.mark.ci
def test_a_worker_that_nothing_stops_is_ended_after_the_limit_and_the_rest_goes_on(
        squad, monkeypatch):
    monkeypatch.setattr(engine, "plan_case", hang)
    monkeypatch.setattr(engine, "_GRACE", 3.0)
    monkeypatch.setattr(engine, "_LOOK", 0.1)
    squad.write_text(squad.read_text().replace("0, 100, 200, 300", "100, 0"))
    outcomes = run_batch(read_batch(squad), squad.parent / "out", processes, 1, limit=2.0)
    assert "no plan after" in outcomes[0].failure
    assert outcomes[1].finish_time == 3600


class Silent:
    """A cluster of which nothing comes any more."""

    def __init__(self, words):
        self.words, self.asked = words, 0

    def submit(self, *_):
        return Future()

    def trouble(self):
        self.asked += 1
        return self.words if self.asked > 1 else ""


def test_a_cluster_of_which_nothing_comes_ends_every_case_that_is_left(squad, monkeypatch):
    squad.write_text(squad.read_text().replace("0, 100, 200, 300", "0, 100"))
    run(squad)
    squad.write_text(squad.read_text().replace("0, 100", "0, 100, 200, 300, 400"))
    monkeypatch.setattr(engine, "_LOOK", 0.01)
    read = []
    original = engine.read_scenario
    monkeypatch.setattr(engine, "read_scenario",
                        lambda file, **how: read.append(how["budget"]) or original(file, **how))
    gone = Silent("the scheduler does not answer any more")
    outcomes = run_batch(read_batch(squad), squad.parent / "out",
                         lambda _count: contextlib.nullcontext(gone), 1)
    assert [one.kept for one in outcomes] == [True, True, False, False, False]
    assert all("does not answer" in one.failure for one in outcomes[2:])
    assert [one.exit_code for one in outcomes[2:]] == [1, 1, 1]
    assert read == [200.0]  # the others are not even read


def test_a_cluster_that_drops_a_case_or_refuses_one_says_so(squad):
    class Dropping(Silent):
        def submit(self, *_):
            if not self.asked:
                self.asked = 1
                future = Future()
                future.cancel()
                future.set_running_or_notify_cancel()
                return future
            raise CancelledError

    outcomes = run_batch(read_batch(squad), squad.parent / "out",
                         lambda _count: contextlib.nullcontext(Dropping("")), 1)
    assert all("the cluster lost it" in one.failure for one in outcomes)
