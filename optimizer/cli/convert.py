"""`kitpace convert`: one figure of aero testing in other currencies."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import click

from optimizer.cli._numbers import Number
from optimizer.cli._reference import read_speed, reference_of, reference_options
from optimizer.cli._terminal import say, table
from optimizer.errors import InputError

if TYPE_CHECKING:
    from optimizer.evidence import Figure, Reference
    from optimizer.evidence.convert import Change
    from optimizer.evidence.express import Target

__all__ = ["command"]


@click.command("convert")
@click.argument("figure", metavar="FIGURE")
@click.option("--to", "targets", metavar="LIST", default="W,g,s/40km,CdA,%drag",
              show_default=True, help="Currencies, with commas between: W, g, N, s/40km, CdA, cm2, "
              "Crr, %drag, %power, efficiency, mass; each may go on with @ 45 km/h or @ 250 W.")
@reference_options
@click.option("--power", metavar="POWER", help='Power to compare at, such as "250 W".')
@click.option("--test-density-kgm3", type=Number(0.5, 1.6, "kg/m3"), metavar="X",
              help="Air density of the test.")
@click.option("--yaw-deg", type=Number(0, 60, "deg"), default=0.0, metavar="X",
              help="Yaw of the test, for a force.")
def command(figure: str, targets: str, power: str | None, test_density_kgm3: float | None,
            yaw_deg: float, **options: Any) -> None:
    """Convert FIGURE, such as "37 g @ 50 km/h", to other currencies and back.

    A number without "saves" or "costs" counts as the size of a saving. Compared at --speed or
    --power, else at the rider's critical power, else at the speed of the figure itself.

    \b
    Example:
      kitpace convert "37 g @ 50 km/h" --to W,s/40km,CdA
      kitpace convert "saves 12 s / 40 km @ 45 km/h" --to "W, CdA" --cda-m2 0.24
    """  # noqa: D301 - click reads the \b
    from optimizer.evidence.express import express, read_target
    from optimizer.evidence.figures import read_figure

    stated = read_figure(figure, unsigned=True)
    wanted = [read_target(text) for text in targets.split(",") if text.strip()]
    if not wanted:
        raise InputError("--to", "", "names no currency", "write W,s/40km,CdA")
    here, assumed = _reference(stated, power, options)
    found = [(target, express(stated, target, here, air_density=test_density_kgm3,
                              yaw=math.radians(yaw_deg))) for target in wanted]
    saves = (stated.value > 0) == (stated.quantity == "efficiency")
    say(f'"{stated.text}", as a {"saving" if saves else "cost"}:')
    table(("", "At"), [_row(target, change, here) for target, change in found], left=(0, 1))
    say()
    words = dict.fromkeys(words for _, change in found for words in change.assumptions)
    if words:
        said = "; ".join(words)
        say(f"{said[0].upper()}{said[1:]}.")
    if here.assumptions or assumed:
        say("Not given, so assumed: " + "; ".join((*here.assumptions, *assumed)) + ".")
    say("Watts and grams are at the wheel, on a flat road without wind; ± is one standard "
        "deviation.")


def _reference(stated: Figure, power: str | None,
               options: dict[str, Any]) -> tuple[Reference, tuple[str, ...]]:
    """Rider and speed to compare at, and what the rider file assumed."""
    from optimizer.evidence.quantities import read_quantity

    speed = read_speed(options.pop("speed"))
    watts = None if power is None else read_quantity(power, "power", "--power")
    if speed is not None and watts is not None:
        raise InputError("--power", "", "stands beside --speed", "give one of the two")
    if speed is None and watts is None and options["rider"] is None:
        speed, watts = stated.speed, stated.power
    here, _, assumed = reference_of(speed=speed, power=watts, **options)
    return here, assumed


def _row(target: Target, change: Change, here: Reference) -> tuple[str, str]:
    from optimizer.report.uncertain import amount

    sd = math.hypot(change.own_sd or 0.0, change.assumed_sd)
    sd = sd if sd > 1e-9 * abs(change.value) else 0.0
    if target.power is not None:
        where = f"{target.power:.0f} W"
    else:
        where = f"{(target.speed or here.speed) * 3.6:.1f} km/h"
    return f"{amount(abs(change.value), sd)} {target.unit}", where
