"""`kitpace plan`: the whole job for one scenario."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING

import click

from optimizer.cli import _outputs
from optimizer.cli._numbers import TellingAll
from optimizer.cli._options import (
    budget_option,
    least_gain_option,
    start_option,
    timings_option,
    wind_option,
    with_least_gain,
)
from optimizer.cli._terminal import progress_line, reading_notes, say, show, table
from optimizer.errors import InputError

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Sequence

    from optimizer.files import Output
    from optimizer.job import Job, Result

__all__ = ["command"]


@click.command("plan", cls=TellingAll)
@click.argument("scenario", metavar="SCENARIO", type=click.Path())
@budget_option
@wind_option
@start_option
@least_gain_option
@click.option("--out", metavar="FILE", type=click.Path(),
              help="Where the report goes; report.html beside the scenario by default.")
@click.option("--json", "json_file", metavar="FILE", type=click.Path(),
              help="Write the whole result as JSON as well.")
@click.option("--card", "cards", metavar="FILE", type=click.Path(), multiple=True,
              help="Write the card as .html, .gpx, .fit or .csv as well; may be given several "
                   "times.")
@click.option("--against", metavar="FILE", type=click.Path(),
              help="Say what changed against an earlier plan, written with --json.")
@click.option("--kit-from", metavar="FILE", type=click.Path(),
              help="Keep the kit of an earlier plan, written with --json, and say what changed: "
                   "for race morning, in seconds.")
@_outputs.tables_option
@timings_option
@_outputs.overwrite_option
def command(scenario: str, budget: float | None, wind: tuple[float, float] | None,
            start_time: dt.datetime | dt.time | None, least_gain: float | None,
            out: str | None, json_file: str | None,
            cards: tuple[str, ...], tables: str | None, against: str | None, kit_from: str | None,
            timings: bool, overwrite: bool) -> None:
    """Find the fastest plan for SCENARIO and the best kit for its budget; write the report.

    Every time is that of a model and its data; law, marshals and your own eyes come first.

    \b
    Example:
      kitpace plan courses/petrel-flats/scenario.toml
      kitpace plan my-race/scenario.toml --budget 750 --wind '25@225'

    \b
    Race morning, with the kit of yesterday's plan:
      kitpace plan my-race/scenario.toml --wind '25@225' \\
          --kit-from plan.json --card card.html
    """  # noqa: D301 - click reads the \b
    if kit_from is not None and budget is not None:
        raise InputError("--budget", "", "does nothing with --kit-from, which keeps the kit of the "
                         "earlier plan and buys none",
                         "leave out --kit-from to choose kit anew, or leave out --budget")
    begun = time.time_ns()
    report = Path(out) if out else Path(scenario).parent / "report.html"
    _outputs.check_run([_outputs.page("--out", report),
                        *([_outputs.json("--json", json_file)] if json_file else []),
                        *([_outputs.xlsx("--tables", tables)] if tables else []),
                        *map(_card, cards)], (scenario, against, kit_from), overwrite=overwrite)
    from optimizer.job import run
    from optimizer.report.card import card_lines
    from optimizer.report.changes import changes
    from optimizer.scenario import read_scenario
    from optimizer.scenario.earlier_file import read_earlier

    with progress_line("Planning", timings=timings) as progress:
        progress("reading the files")
        job = with_least_gain(read_scenario(scenario, budget=budget, wind=wind,
                                            start_time=start_time), least_gain)
        before = against or kit_from
        earlier = read_earlier(before) if before else None
        result = run(job, progress) if kit_from is None else _with_kit_of(kit_from, job, progress)
        progress("writing the report")
        changed = changes(result, earlier) if earlier else ""
        written = _write(result, report, json_file, tables, cards, changed, begun)
    _tell(result)
    if changed:
        say(changed)
    if len(result.rideable.lines) > 1:
        show(card_lines(result))
    _splits(result)
    from optimizer.report.rests_on import READ

    reading_notes(result.job.notes, 8, f'the report lists all under "{READ}"')
    say()
    for what, path in written:
        say(f"{what}: {path}")


def _with_kit_of(file: str, job: Job, progress: Callable[[str], None]) -> Result:
    """Plan with the kit of an earlier plan."""
    from optimizer.job.replan import replan
    from optimizer.scenario.earlier_file import read_earlier

    return replan(job, read_earlier(file).items, progress)


def _card(card: str) -> Output:
    """Output of the kind that the name of a card asks for."""
    ending = Path(card).suffix.lower()
    if ending == ".gpx":
        return _outputs.gpx("--card", card)
    if ending == ".fit":
        return _outputs.fit("--card", card)
    if ending == ".csv":
        return _outputs.table("--card", card, "card")
    if ending not in {".html", ".htm"}:
        raise InputError(card, "--card", "is not a kind of card",
                         "end it in .html, .gpx, .fit or .csv")
    return _outputs.page("--card", card)


def _write(result: Result, report: Path, json_file: str | None, tables: str | None,
           cards: tuple[str, ...], changed: str, begun: int) -> list[tuple[str, Path]]:
    from optimizer.files import write_all
    from optimizer.report.card import card_text, day_words
    from optimizer.report.plan_page import plan_page
    from optimizer.report.result_json import json_text

    contents: list[tuple[str, str | Path, str | bytes]] = [
        ("Report", report, plan_page(result, change=changed))]
    if json_file:
        contents.append(("JSON", json_file, json_text(result)))
    if tables:
        from optimizer.report.workbook import plan_sheets, workbook

        contents.append(("Tables", tables, workbook(plan_sheets(result), tables)))
    contents += [("Card", card, card_text(
        result, card, change=day_words(result) if changed else "")) for card in cards]
    written = write_all([(path, text) for _, path, text in contents], made_from=begun)
    return [(what, path) for (what, _, _), path in zip(contents, written, strict=True)]


def _tell(result: Result) -> None:
    """Say the answer in sentences."""
    from optimizer.report.cautions import day_cautions
    from optimizer.report.current import (
        current_kit,
        faster_words,
        free_words,
        kept_words,
        marked,
        nothing_bought,
    )
    from optimizer.report.held import fork_sentence, risk_sentence
    from optimizer.report.money import money_doubts
    from optimizer.report.stated import beside, proven_with, stated
    from optimizer.report.words import at_most, clock, listing, money, seconds, watts

    job, plan, choice, times = result.job, result.plan, result.choice, stated(result)
    cautions = day_cautions(result)
    first = 1 if result.bike_passed else 0
    _warn(cautions[:first])
    say(f"{job.name}: {clock(times.finish)} by the card, 90 % range {clock(times.low)} to "
        f"{clock(times.high)}; {beside(result)}. In this model"
        f"{proven_with(plan, job.rider)} no ride beats the ideal one by more than "
        f"{at_most(plan.gap)}.")
    if words := risk_sentence(result):
        say(words)
    current = current_kit(job.catalogue, choice.owned)
    if choice.kept is not None:
        say(kept_words(job.catalogue, choice))
    elif choice.best.spend > 0:
        items = [job.catalogue[name] for name in choice.best.items]
        bought = [marked(item) for item in items if not item.owned]
        say(f"Spend {money(choice.best.spend)} of {money(choice.budget, choice.currency)} on "
            f"{listing(bought)}: {faster_words(choice, choice.best, current)}.")
        if doubts := money_doubts(result):
            say(" ".join(doubts))
    elif job.catalogue.items:
        say(nothing_bought(choice, choice.best, current))
    if choice.kept is None and (free := free_words(job.catalogue, choice, choice.best)):
        say(free)
    say(f"Ride {watts(result.rideable.mean_power)} on average. {_card_words(result)}")
    if result.fork is not None:
        say(fork_sentence(result.fork))
    if result.effort_budget_cost > 0:
        say(f"To spare your legs for what follows costs {seconds(result.effort_budget_cost)}.")
    _warn(cautions[first:])
    for note in (*job.rider.warnings, *job.course.warnings, *plan.notes):
        say(f"Warning: {note}")


def _warn(cautions: Sequence[str]) -> None:
    for caution in cautions:
        say(f"Caution: {caution[:1].lower()}{caution[1:]}")


def _card_words(result: Result) -> str:
    """Say what the card is, and what it costs against the ideal ride."""
    from optimizer.report.card import changes_words, powers_of
    from optimizer.report.stated import card_price
    from optimizer.report.words import seconds

    card = result.rideable
    costs = ("as fast as the ideal ride" if card.price < 0.05 else
             f"{seconds(card_price(result))} slower than the ideal ride")
    if card.even:
        return (f"One power all the way, {card.blocks[0].power:.0f} W, is as good as a card with "
                f"more lines, and {costs}.")
    lines = len(card.lines)
    laps = f" for each of {card.laps.count} laps" if card.laps is not None else ""
    said = f"one line, {powers_of(card.lines[0])}," if lines == 1 else f"{lines} lines"
    return f"The card has {said}{laps} and is {costs}.{changes_words(card)}"


def _splits(result: Result) -> None:
    """Show the times at the marks."""
    from optimizer.report.current import current_kit
    from optimizer.report.result_json import splits
    from optimizer.report.stated import early_lead
    from optimizer.report.words import clock

    columns = {"By the card": "rideable_s", "Ideal": "elapsed_s"}
    if result.baseline_plan is not result.plan:
        current = current_kit(result.job.catalogue, result.choice.owned, "")
        columns[f"{current.strip().capitalize()}, ideal"] = "baseline_s"
    table(("Place", "km", *columns),
          [(row["mark"], f"{row['distance_m'] / 1000:.1f}",
            *(clock(row[key]) for key in columns.values())) for row in splits(result)],
          "Splits")
    if words := early_lead(result):
        say(words)
