"""What the buttons do: the same sequence as on the command line, and the same files."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable  # noqa: TC003 - of a constant
from pathlib import Path
from typing import TYPE_CHECKING

from optimizer.errors import InputError
from optimizer.files import Output, check_outputs, is_file, write_all
from optimizer.report import marks
from optimizer.window.folder import outputs

if TYPE_CHECKING:
    from optimizer.job import Earlier, Result

__all__ = ["TASKS", "compare", "debrief", "kit", "page_for", "plan", "season"]


def plan(progress: Callable[[str], None], root: str, scenario: str,
         keep_kit: bool) -> tuple[str, str]:
    """Plan a scenario; write its report, JSON and card; say the answer in a sentence.

    `keep_kit` keeps the kit of the last plan, for race morning.
    """
    begun, path = time.time_ns(), Path(root, scenario)
    report, json, card = outputs(path)
    progress("reading the files")
    from optimizer.job import run
    from optimizer.job.replan import replan
    from optimizer.report.card import card_text, day_words
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
    result = replan(job, earlier.items, progress) if keep_kit and earlier else run(job, progress)
    progress("writing the report")
    changed = changes(result, earlier) if earlier else ""
    kept = changed if keep_kit else ""  # a new choice of kit is told instead
    write_all([(report, plan_page(result, change=kept)), (json, json_text(result)),
               (card, card_text(result, card, change=day_words(result) if kept else ""))],
              made_from=begun)
    return " ".join([_answer(result), changed]).strip(), report.relative_to(root).as_posix()


def _earlier(json: Path) -> Earlier | None:
    """Read what the last plan said, where there is one."""
    from optimizer.scenario.earlier_file import read_earlier

    with contextlib.suppress(InputError):
        if is_file(json):
            return read_earlier(json)
    return None


def _answer(result: Result) -> str:
    """Say the time and how often the card is too hard, after what the rider has to know first."""
    from optimizer.report.cautions import day_cautions
    from optimizer.report.held import risk_sentence
    from optimizer.report.stated import beside, stated
    from optimizer.report.words import clock

    times = stated(result)
    said = [*day_cautions(result), *(f"{words[:1].upper()}{words[1:].rstrip('.')}."
                                     for words in result.job.rider.warnings),
            (f"{clock(times.finish)} by the card, 90 % range {clock(times.low)} to "
            f"{clock(times.high)}; {beside(result)}."), risk_sentence(result)]
    return " ".join(words for words in said if words)


def compare(progress: Callable[[str], None], root: str, scenario: str) -> tuple[str, str]:
    """Compare the named sets of a scenario; write the page."""
    begun, path = time.time_ns(), Path(root, scenario)
    page = page_for(path, "compare")
    progress("reading the files")
    from optimizer.job.decisions import kit_comparison
    from optimizer.report.kit_page import compare_lead, compare_page
    from optimizer.scenario import read_scenario

    _check_page(page, path)
    job = read_scenario(path)
    found = kit_comparison(job, scenario, progress=progress)
    write_all([(page, compare_page(job, found))], made_from=begun)
    return " ".join(compare_lead(job, found)), page.relative_to(root).as_posix()


def kit(progress: Callable[[str], None], root: str, scenario: str) -> tuple[str, str]:
    """Say what to buy, what not, in which order, and what to test first; write the page."""
    begun, path = time.time_ns(), Path(root, scenario)
    page = page_for(path, "kit")
    progress("reading the files")
    from optimizer.job.decisions import kit_decision
    from optimizer.report.kit_page import kit_lead, kit_page
    from optimizer.scenario import read_scenario

    _check_page(page, path)
    job = read_scenario(path)
    if not job.catalogue.items:
        raise InputError(scenario, "", "names no kit to choose from", "fill in the table of kit")
    decision = kit_decision(job, progress=progress)
    write_all([(page, kit_page(job, decision))], made_from=begun)
    return " ".join(kit_lead(job, decision)), page.relative_to(root).as_posix()


def debrief(progress: Callable[[str], None], root: str, scenario: str,
            ride: str) -> tuple[str, str]:
    """Hold a recorded ride against the plan with the kit of the last one; write the page."""
    path = Path(root, scenario)
    page = page_for(path, "debrief")
    progress("reading the files")
    from optimizer.job.intended import intended_ride
    from optimizer.report.debrief_page import debrief_page, sentences
    from optimizer.ride.align import align
    from optimizer.ride.debrief import debrief as compare_with
    from optimizer.ride.debrief import learned_from, rolling_worth
    from optimizer.scenario import read_scenario
    from optimizer.scenario.ride_file import read_ride
    from optimizer.scenario.updated_file import taught_by

    _check_page(page, path)
    recorded = read_ride(Path(root, ride))
    job = read_scenario(path)
    align(recorded, job.course)  # refuses another course before anything is planned
    earlier = _earlier(outputs(path)[1])
    intended = intended_ride(job, earlier.items if earlier else None, progress)
    progress("comparing")
    found = compare_with(recorded, intended)
    taught = taught_by(path, learned_from(found), rolling_worth=rolling_worth(found),
                       planned_power=found.intended.rider.critical_power)
    write_all([(page, debrief_page(found, job.name, taught.next_plan))])
    return " ".join(sentences(found)), page.relative_to(root).as_posix()


def season(progress: Callable[[str], None], root: str, file: str) -> tuple[str, str]:
    """Say who of a club buys what and when, and who rides what where; write the page."""
    begun, path = time.time_ns(), Path(root, file)
    page = path.with_name(f"{path.stem}-season.html")
    progress("reading the files")
    from optimizer.report.season_page import lead, season_page
    from optimizer.scenario.season_file import read_season
    from optimizer.seasons import run_season

    _check_page(page, path)
    found = run_season(read_season(path, progress=progress), progress=progress)
    write_all([(page, season_page(found))], made_from=begun)
    return " ".join(lead(found)), page.relative_to(root).as_posix()


def page_for(scenario: Path, kind: str) -> Path:
    """Where the page of some work goes, beside the scenario."""
    lead = "" if scenario.stem == "scenario" else f"{scenario.stem}-"
    return scenario.with_name(f"{lead}{kind}.html")


def _check_page(page: Path, scenario: Path) -> None:
    from optimizer.scenario.named_files import named_files

    check_outputs([Output("page", page, marks.PAGE, 50_000)], named_files(scenario))


TASKS: dict[str, Callable[..., tuple[str, str]]] = {
    "compare": compare, "kit": kit, "season": season}
"""Work that needs nothing but the scenario, by its name."""
