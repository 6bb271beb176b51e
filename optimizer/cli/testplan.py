"""`kitpace testplan`: a field test before it is ridden."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, cast

import click

from optimizer.cli._numbers import Number, TellingAll
from optimizer.cli._terminal import progress_line, say, table
from optimizer.defaults import NINE_IN_TEN
from optimizer.errors import InputError

if TYPE_CHECKING:
    from optimizer.ride.design import TestPlan

__all__ = ["command"]

# Gusts and slow change of the wind at the rider [m/s]; common practice, no source.
_AIR = {"calm": (0.2, 0.15), "light": (0.5, 0.4), "breezy": (1.0, 0.8)}


@click.command("testplan", cls=TellingAll)
@click.option("--change-w", metavar="W", type=Number(0.1, 200, "W"),
              help="Change worth seeing, in watts at the test's speed.")
@click.option("--change-percent", metavar="PERCENT", type=Number(0.1, 50, "%"),
              help="Or in percent of CdA.")
@click.option("--speed-kmh", metavar="KMH", type=Number(15, 65, "km/h"), required=True,
              help="Speed of the test.")
@click.option("--run-km", metavar="KM", type=Number(2, 60, "km"), default=10.0, show_default=True,
              help="Length of one run.")
@click.option("--course", type=click.Choice(["out and back", "laps"]), default="out and back",
              show_default=True, help="What the road allows.")
@click.option("--leg-km", metavar="KM", type=Number(0.2, 30, "km"), default=2.5, show_default=True,
              help="Length of the road there, or of the lap.")
@click.option("--cda", metavar="M2", type=Number(0.15, 0.6, "m2"), default=0.28, show_default=True,
              help="About what CdA is.")
@click.option("--mass", metavar="KG", type=Number(30, 250, "kg"), default=85.0, show_default=True,
              help="Rider with bike.")
@click.option("--air", type=click.Choice(list(_AIR)), default="light", show_default=True,
              help="How gusty it will be.")
@click.option("--no-heights", is_flag=True, help="No altimeter is recorded.")
def command(change_w: float | None, change_percent: float | None, speed_kmh: float,
            run_km: float, course: str, leg_km: float, cda: float, mass: float, air: str,
            no_heights: bool) -> None:
    """Say how many runs of which length a field test needs to show a change of drag.

    The answer comes from the model that `kitpace fieldtest` uses. The scale of the power meter
    drops out, since all runs share it. The answer may be that this course cannot show the change.

    \b
    Example:
      kitpace testplan --change-w 5 --speed-kmh 40 --run-km 12 --air calm
      kitpace testplan --change-percent 2.5 --speed-kmh 42 --course laps
    """  # noqa: D301 - click reads the \b
    from optimizer.ride.design import Intention, plan_test

    if (change_w is None) == (change_percent is None):
        raise InputError("--change-w", "", "or --change-percent is needed, and only one of them",
                         "state the change that the test has to show")
    if run_km / leg_km < 1.0:
        raise InputError("testplan", "--run-km", "a run is shorter than the road or lap",
                         "make the run longer or the leg shorter: a run has to pass each place "
                         "again")
    speed = speed_kmh / 3.6
    density = 1.2
    change = (cda * (change_percent or 0.0) / 100 if change_w is None
              else change_w / (0.5 * density * speed**3))
    gusts, turning = _AIR[air]
    with progress_line("Trying numbers of runs"):
        plan = plan_test(Intention(
            change=change, speed=speed, run_length=1000 * run_km,
            course=cast('Literal["out and back", "laps"]', course), leg=1000 * leg_km,
            drag_area=cda, mass=mass, air_density=density, gust_sd=gusts, turning_sd=turning,
            altimeter=not no_heights))
    _tell(plan, air)


def _tell(plan: TestPlan, air: str) -> None:
    intention = plan.intention
    asked = (f"{plan.watts:.1f} W at {3.6 * intention.speed:.0f} km/h ({intention.change:.4f} m², "
             f"{100 * intention.change / intention.drag_area:.1f} % of CdA)")
    where = f"runs of {intention.run_length / 1000:.0f} km in {air} air"
    if plan.best is not None:
        say(f"To show {asked} four times in five, ride {plan.best.runs} {where}, in the order "
            f"{'-'.join(plan.best.order)}: {plan.best.hours:.1f} hours with five minutes to "
            "change between runs.")
    else:
        last = min(plan.options, key=lambda option: option.smallest)
        say(f"This course cannot show {asked}: even {last.runs} {where} show no less than "
            f"{plan.least_watts:.0f} W. {'Longer laps' if last.share < 1.0 else 'Longer runs'}, "
            "calmer air or a higher speed would show smaller changes.")
    per_area = 0.5 * intention.air_density * intention.speed**3
    table(("runs", "order", "hours", "shows,\nm²", "shows,\nW", "chance to show\nyour change"),
          [(option.runs, option.order, f"{option.hours:.1f}", f"{option.smallest:.4f}",
            f"{per_area * option.smallest:.1f}", f"{100 * option.chance:.0f} %")
           for option in plan.options],
          "Smallest change that shows four times in five, by number of runs", left=(1,))
    say()
    least = plan.options[-1].share
    if least < 1.0:
        say("On laps this short a field test uses the first part of each run only, "
            f"{100 * least:.0f} % with {plan.options[-1].runs} runs.")
    repeats = NINE_IN_TEN * intention.repeat_sd
    say(f"Assumed: from run to run the rider's CdA differs by ± {repeats:.4f} m² (half of a "
        "90 % range; common practice, no source). A change shows if the 90 % range of the result "
        "leaves zero out, as on the page of `kitpace fieldtest`. The order of the runs separates "
        "the change from a drift. Test where traffic allows it.")
