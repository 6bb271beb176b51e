"""What the buttons do: the same sequence as on the command line, and the same files."""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import TYPE_CHECKING

from optimizer.errors import InputError
from optimizer.files import Output, check_outputs, is_file, write_all
from optimizer.report import marks
from optimizer.window.folder import outputs

if TYPE_CHECKING:
    from collections.abc import Callable

    from optimizer.job import Earlier, Result

__all__ = ["plan"]


def plan(tell: Callable[[str], None], root: str, scenario: str,
         keep_kit: bool) -> tuple[str, str]:
    """Plan a scenario; write its report, JSON and card; say the answer in a sentence.

    `keep_kit` keeps the kit of the last plan, for race morning.
    """
    path = Path(root, scenario)
    report, json, card = outputs(path)
    tell("reading the files")
    from optimizer.job import run
    from optimizer.job.replan import replan
    from optimizer.report.card import card_text
    from optimizer.report.changes import changes
    from optimizer.report.plan_page import plan_page
    from optimizer.report.result_json import json_text
    from optimizer.scenario import read_scenario
    from optimizer.scenario.named_files import named_files

    check_outputs([Output("report", report, marks.PAGE, 100_000),
                   Output("plan", json, marks.JSON, 50_000),
                   Output("card", card, marks.PAGE)], named_files(path))
    job = read_scenario(path)
    earlier = _earlier(json)
    if keep_kit and earlier is None:
        raise InputError(scenario, "", "has no earlier plan to keep the kit of", "plan it first")
    result = replan(job, earlier.items, tell) if keep_kit and earlier else run(job, tell)
    tell("writing the report")
    changed = changes(result, earlier) if earlier else ""
    kept = changed if keep_kit else ""  # a new choice of kit is told instead
    write_all([(report, plan_page(result, change=kept)), (json, json_text(result)),
               (card, card_text(result, card, change=kept))])
    return " ".join([_answer(result), changed]).strip(), report.relative_to(root).as_posix()


def _earlier(json: Path) -> Earlier | None:
    """Read what the last plan said, where there is one."""
    from optimizer.scenario.earlier_file import read_earlier

    with contextlib.suppress(InputError):
        if is_file(json):
            return read_earlier(json)
    return None


def _answer(result: Result) -> str:
    from optimizer.report.stated import beside, stated
    from optimizer.report.words import clock

    times = stated(result)
    return (f"{clock(times.finish)} by the card, 90 % range {clock(times.low)} to "
            f"{clock(times.high)}; {beside(result)}.")
