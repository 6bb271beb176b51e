"""`kitpace season`: who buys what and when, and who rides what where."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from optimizer.cli import _outputs
from optimizer.cli._numbers import TellingAll
from optimizer.cli._options import budget_option, by_options, least_gain_option
from optimizer.cli._terminal import progress_line, say, show
from optimizer.errors import InputError

if TYPE_CHECKING:
    from optimizer.seasons import SeasonKit

__all__ = ["command", "tell"]


@click.command("season", cls=TellingAll)
@click.argument("file", metavar="FILE", type=click.Path())
@partial(budget_option, owner="season")
@partial(least_gain_option, owner="season")
@by_options
@click.option("--out", metavar="FILE.html", type=click.Path(),
              help="Where the page goes; FILE-season.html beside FILE by default.")
@click.option("--json", "json_file", metavar="FILE", type=click.Path(),
              help="Write the whole plan as JSON as well.")
@click.option("--csv", "csv_file", metavar="FILE", type=click.Path(),
              help="Write who rides what where as CSV as well.")
@_outputs.overwrite_option
def command(file: str, out: str | None, json_file: str | None, csv_file: str | None,
            overwrite: bool, **options: Any) -> None:
    """Say what to buy for whom and when, what to hire, and who rides what where.

    FILE is a TOML file with riders, races and their dates, one catalogue, the money, and what is
    lent.

    Prices and effects are those of the catalogue and the evidence. Brakes, steering and wheels
    are for a qualified mechanic; the rules of each event decide what is allowed.

    \b
    Example:
      kitpace season courses/club.toml
      kitpace season courses/club.toml --budget 900 --json club.json
    """  # noqa: D301 - click reads the \b
    page = Path(out) if out else _outputs.beside(file, "-season.html")
    _outputs.check_run(
        [_outputs.page("--out", page),
         *([_outputs.season_json("--json", json_file)] if json_file else []),
         *([_outputs.table("--csv", csv_file, "season")] if csv_file else [])],
        (file,), overwrite=overwrite)
    from optimizer.files import write_all
    from optimizer.report.season_page import season_csv, season_json, season_page
    from optimizer.scenario.season_file import read_season
    from optimizer.seasons import run_season
    from optimizer.uncertainty import MEASURES

    with progress_line("Season") as progress:
        season = read_season(file, budget=options["budget"],
                                  least_gain=options["least_gain"], progress=progress)
        if MEASURES[options["by"]].chance and any(one.target <= 0 for one in season.entries):
            raise InputError("--by", "", f"{options['by']} needs a time to beat for each rider "
                             "in each race",
                             "add targets to each race of the file")
        found = run_season(season, by=options["by"], level=options["level"], progress=progress)
        contents: list[tuple[str, Path | str, str]] = [("Page", page, season_page(found))]
        if json_file:
            contents.append(("JSON", json_file, season_json(found)))
        if csv_file:
            contents.append(("CSV", csv_file, season_csv(found)))
        written = write_all([(path, text) for _, path, text in contents])
    tell(found)
    say()
    for (what, _, _), path in zip(contents, written, strict=True):
        say(f"{what}: {path}")


def tell(found: SeasonKit) -> None:
    """Say the answer first, then purchases, rides, money and tests."""
    from optimizer.report import season_page as page

    for sentence in page.lead(found):
        say(sentence)
    say()
    for sentence in page.rider_sentences(found):
        say(sentence)
    say(page.IDEAL)
    tables = [page.purchase_table(found), page.hire_table(found), page.lent_table(found),
              page.matrix(found), page.frontier_table(found), page.stage_table(found),
              page.next_table(found), page.test_table(found)]
    for shown in tables:
        if shown.rows:
            show(shown)
