"""What the window answers in words after a plan."""

from __future__ import annotations

import re
from dataclasses import replace

from optimizer.window.tasks import _answer, plan
from tests.hardening.corpus import SCENARIO, race
from tests.report.made_up import made_up_result


def test_what_the_wind_forbids_comes_before_the_time(tmp_path):
    scenario = race(tmp_path)
    said, _ = plan(lambda _: None, str(tmp_path), scenario.name, keep_kit=False)
    assert re.match(r"\d+:\d\d by the card, 90 % range", said)
    assert "could not hold its" in said
    race(tmp_path, scenario=SCENARIO.replace("12, from", "30, from"),
         more="[bike]\ncrosswind_limit_kmh = 5\n")
    said, _ = plan(lambda _: None, str(tmp_path), scenario.name, keep_kit=False)
    assert said.index("cross wind") < said.index("by the card")


def test_efforts_that_contradict_each_other_come_before_the_time():
    result = made_up_result()
    doubtful = replace(result, job=replace(result.job, rider=replace(
        result.job.rider, warnings=("240 W over 3 min is no best effort.",))))
    said = _answer(doubtful)
    assert said.startswith("240 W over 3 min is no best effort. ")
    assert said.endswith(_answer(result))
