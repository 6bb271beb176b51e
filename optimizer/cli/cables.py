"""`kitpace cables`: what exposed parts cost, by first principles."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from optimizer.cli import _outputs
from optimizer.cli._numbers import TellingAll
from optimizer.cli._reference import read_speed, reference_of, reference_options
from optimizer.cli._terminal import say, table
from optimizer.errors import InputError
from optimizer.files import write_atomic

if TYPE_CHECKING:
    from optimizer.evidence.bluff_body import Run

__all__ = ["command"]


@click.command("cables", cls=TellingAll)
@click.argument("runs", metavar="RUN...", nargs=-1)
@click.option("--after", "after", metavar="RUN", multiple=True,
              help='What takes their place: a RUN, or "nothing"; may be given several times. Says '
                   "what is saved.")
@click.option("--row", "row_name", metavar="NAME", default="",
              help="Name of the item in the row for an evidence table; what it is by default.")
@reference_options
@click.option("--priors", "priors_file", metavar="PRIORS.toml", type=click.Path(),
              help="Your own factor for the disturbed flow (that of computed figures).")
@click.option("--out", metavar="FILE.html", type=click.Path(), help="Write a page with a picture.")
@_outputs.overwrite_option
def command(runs: tuple[str, ...], after: tuple[str, ...], row_name: str,
            priors_file: str | None, out: str | None, overwrite: bool, **options: Any) -> None:
    """Estimate the drag of exposed cables, hoses, tubes, bottles and number plates.

    A RUN is count x diameter x exposed length, the angle between its axis and the wind (90 is
    across), and how several are arranged: apart, bundled, or behind each other with a spacing. A
    streamlined section is thickness x chord x length, and is compared with a round cable.

    \b
    Example:
      kitpace cables "4 x 5 mm x 300 mm @ 60 deg"
      kitpace cables "2 hoses 5.5 mm x 250 mm bundled" "bottle 74 mm x 200 mm"
      kitpace cables "4 x 5 mm x 300 mm" --after "2 x 5 mm x 120 mm"
      kitpace cables "section 20 mm x 60 mm chord x 300 mm"
    """  # noqa: D301 - click reads the \b
    if out:
        _outputs.check_run([_outputs.page("--out", out)], (priors_file, options["rider"]),
                           overwrite=overwrite)
    from optimizer.evidence.bluff_body import bluff_drag
    from optimizer.evidence.item_ranking import DISTANCE
    from optimizer.evidence.priors import default_priors
    from optimizer.evidence.runs import read_run
    from optimizer.report.cables_page import (
        Exposed,
        cables_page,
        evidence_row,
        factor_near,
        lead,
        rows,
    )
    from optimizer.scenario.priors_file import read_priors

    if not runs:
        raise InputError("cables", "", "names nothing to look at",
                         'write, for example, kitpace cables "4 x 5 mm x 300 mm @ 60 deg"')
    found = tuple(read_run(text) for text in runs)
    here, name, assumed = reference_of(speed=read_speed(options.pop("speed")), **options)
    priors = read_priors(priors_file) if priors_file else default_priors()
    trust = priors.test["computed"]
    drag = bluff_drag(found, here.speed, trust)
    then = _read_after(after)
    after_drag = None if then is None else bluff_drag(then, here.speed, trust)
    area = max(drag.near, 1e-9)
    power = here.power_at(here.speed)
    without = DISTANCE / float(here.speed_at(power, drag_area_change=-area))
    exposed = Exposed(found, drag, here, name, 0.5 * here.air_density * here.speed**3,
                      (DISTANCE / here.speed - without) / area, then, after_drag,
                      None if after_drag is None else drag.less(after_drag, trust))
    written = write_atomic(out, cables_page(exposed)) if out else None
    say(*lead(exposed))
    table(("", "CdA, m²", f"W at {here.speed * 3.6:.0f} km/h", "s over 40 km"), rows(exposed),
          "Ranges are 90 % ranges")
    say()
    if here.assumptions or assumed:
        say("Not given, so assumed: " + "; ".join((*here.assumptions, *assumed)) + ".")
    say("As a row of an evidence table (item, figure, test, measured_by, uncertainty, note). It "
        "holds the figure in clean air; kitpace brings it near rider and bike on its own when it "
        f'reads "computed", with the factor {factor_near(exposed):.2f}:')
    click.echo(f"  {evidence_row(exposed, row_name)}")
    if written:
        say(f"Page: {written}")


def _read_after(after: tuple[str, ...]) -> tuple[Run, ...] | None:
    """Read what takes the place of the runs; None where nothing is asked."""
    from optimizer.evidence.runs import read_run

    if not after:
        return None
    try:
        return tuple(read_run(text) for text in after
                     if text.strip().lower() not in {"nothing", "none"})
    except InputError as error:
        raise InputError("--after", "", error.problem, error.remedy) from error
