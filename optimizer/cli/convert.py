"""`kitpace convert`: one figure of aero testing in other units."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Any

import click

from optimizer.cli._numbers import Number, TellingAll
from optimizer.cli._reference import read_speed, reference_of, reference_options
from optimizer.cli._terminal import say, table
from optimizer.errors import InputError
from optimizer.evidence.units import TARGETS

if TYPE_CHECKING:
    from optimizer.evidence import Figure, Reference
    from optimizer.evidence.convert import Change
    from optimizer.evidence.express import Target

__all__ = ["command"]


class _Signed(TellingAll):
    """A command whose figure may begin with a minus, which would else begin an option."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        return super().parse_args(ctx, [re.sub(r"^-(?=\s*[\d.,])", "\u2212", arg) for arg in args])


@click.command("convert", cls=_Signed)
@click.argument("figure", metavar="FIGURE")
@click.option("--to", "targets", metavar="LIST", default="W,g,s/40km,CdA,%drag",
              show_default=True, help=f"Units, with commas between: {', '.join(TARGETS)}; "
              "add @ 45 km/h or @ 250 W to any.")
@reference_options
@click.option("--power", metavar="POWER", help='Power to compare at, such as "250 W".')
@click.option("--test-density-kgm3", type=Number(0.5, 1.6, "kg/m3"), metavar="X",
              help="Air density of the test.")
@click.option("--yaw-deg", type=Number(0, 60, "deg"), default=0.0, metavar="X",
              help="Yaw of the test, for a force.")
def command(figure: str, targets: str, power: str | None, test_density_kgm3: float | None,
            yaw_deg: float, **options: Any) -> None:
    """Convert FIGURE, such as "30 g @ 45 km/h", to other units and back.

    A number without "saves" or "costs" counts as the size of a saving, grams without a word as
    drag, watts as those at the wheel unless they say "at the cranks". The
    comparison is at --speed or --power; without them at the speed of the figure, or else at the
    rider's critical power.

    \b
    Example:
      kitpace convert "30 g @ 45 km/h" --to W,s/40km,CdA
      kitpace convert "5-6 W at the cranks @ 30 mph" --rider ann.toml
      kitpace convert "saves 15 s / 40 km @ 45 km/h" --to "W, CdA" --cda-m2 0.24
    """  # noqa: D301 - click reads the \b
    from optimizer.evidence.convert import change_of
    from optimizer.evidence.express import express, read_target
    from optimizer.evidence.figures import read_figure
    from optimizer.evidence.pool import require_possible

    stated = read_figure(figure, grams="drag")
    wanted = [read_target(text) for text in targets.split(",") if text.strip()]
    if not wanted:
        raise InputError("--to", "", "names no unit", "write W,s/40km,CdA")
    here, assumed = _reference(stated, power, options)
    found = [(target, express(stated, target, here, air_density=test_density_kgm3,
                              yaw=math.radians(yaw_deg))) for target in wanted]
    require_possible(stated.text, found[0][1].channel, change_of(
        stated, here, air_density=test_density_kgm3, yaw=math.radians(yaw_deg)).value, here,
        "given")
    saves = (stated.value > 0) == stated.counts.more_is_better
    say(f'"{stated.text}", as a {"saving" if saves else "cost"}:')
    table(("", "At"), [_row(target, change, here) for target, change in found], left=(0, 1))
    say()
    if stated.read_as:
        say(f"Read as: {stated.read_as}.")
    for line in dict.fromkeys(_constant_force(stated, wanted, here)):
        say(line)
    words = dict.fromkeys(words for _, change in found for words in change.assumptions)
    if words:
        said = "; ".join(words)
        say(f"{said[0].upper()}{said[1:]}.")
    if here.assumptions or assumed:
        say("Not given, so assumed: " + "; ".join((*here.assumptions, *assumed)) + ".")
    at = "cranks" if stated.at_cranks else "wheel"
    taken = f"Your watts were taken as those at the {at}. " if stated.quantity == "power" else ""
    say(f"{taken}Grams are at the wheel, all on a flat road without wind; ± is half of the "
        "90 % range.")


def _constant_force(stated: Figure, wanted: list[Target], here: Reference) -> list[str]:
    """Say what a source that keeps grams constant would give at the speeds asked for."""
    from optimizer.evidence.constant_force import at_other_speed

    out = []
    for target in wanted:
        speed = target.speed or here.speed
        kept = at_other_speed(stated, speed)
        if (target.counts.name != "power" or target.power is not None or kept is None
                or abs(speed / (stated.speed or speed) - 1.0) < 0.02):
            continue
        out.append(f"A source that keeps grams constant over speed, as some do, would say "
                   f"{abs(kept):.1f} W at {speed * 3.6:.0f} km/h; ask which one yours means.")
    return out


def _reference(stated: Figure, power: str | None,
               options: dict[str, Any]) -> tuple[Reference, tuple[str, ...]]:
    """Rider and speed to compare at, and what the rider file assumed."""
    from optimizer.evidence.priors import default_priors
    from optimizer.evidence.quantities import read_quantity

    speed = read_speed(options.pop("speed"))
    watts = None if power is None else read_quantity(power, "power", "--power")
    if speed is not None and watts is not None:
        raise InputError("--power", "", "does not go with --speed", "give one of the two")
    if speed is None and watts is None:
        speed, watts = stated.speed, stated.power
        if speed is None and watts is None and options["rider"] is None:
            speed = default_priors().speed  # that at which the figure is assumed to be found
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
    value = f"{amount(abs(change.value), sd)} {target.unit}"
    if target.counts.name == "power":
        value += (" at the wheel, "
                  f"{amount(abs(change.value) / here.efficiency, sd / here.efficiency)} at the "
                  "cranks")
    return value, where
