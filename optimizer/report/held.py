"""Whether the rider can hold the plan: beside studies, on bad days, and with a run to come."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from optimizer.report.cautions import uncounted
from optimizer.report.page import Folded, Table
from optimizer.report.words import clock, days, kilometres, listing, seconds, watts

if TYPE_CHECKING:
    from optimizer.job import Result
    from optimizer.pacing import Block
    from optimizer.report.page import Part
    from optimizer.uncertainty import Fork

__all__ = ["ForkLine", "fork_line", "fork_rule", "fork_sentence", "held_parts", "reserve_spare",
           "risk_rule", "risk_sentence"]

_MORE = 0.005  # of the days, less is as many
_REACHED = 0.99  # of a limit, from which it is what limits the ride
_MUCH = 0.25  # of the reserve, from which what is left says that it does not limit the ride
_ENDS = "; this limits the ride"


def risk_sentence(result: Result) -> str:
    """Say how often the plan cannot be held, and what less of that costs; empty if unknown."""
    risk = result.risk
    if risk is None:
        return ""
    asked = result.job.options.empty_risk
    if asked is None:
        fewer = _less(result)
        instead = f"averages {watts(fewer)} less and " if fewer else ""
        less = (f"A plan that fails on {_at_most(risk.other)} {instead}takes "
                f"{seconds(risk.price)} longer."
                if risk.chance > risk.other + _MORE else "That is rare enough to need no margin.")
        return (f"The plan is for the expected day. On {days(risk.chance)} you could not hold its "
                f"printed powers to the finish{_not_counted(result)}. {less}")
    kept = (f"To keep to that it holds back {100 * risk.margin:.1f} % of the power, which costs "
            f"{seconds(risk.price)}." if risk.margin > 0 else "It needs no margin for that.")
    return (f"You accept to run out on {days(asked)}. Ridden as printed, this card runs out on "
            f"{days(risk.chance)}{_not_counted(result)}. {kept}")


def _not_counted(result: Result) -> str:
    """Say what the chance leaves out, behind it."""
    left_out = uncounted(result)
    return f", {left_out} not counted" if left_out else ""


def risk_rule(result: Result) -> str:
    """Say in one line how often the printed powers are too high, and what is safer."""
    risk = result.risk
    if risk is None:
        return ""
    words = f"Too hard to hold on {days(risk.chance)}{_not_counted(result)}"
    less = _less(result)
    if risk.chance <= risk.other + _MORE or not less:
        return f"{words}."
    return f"{words}; with {watts(less)} less, on at most {100 * risk.other:.0f}."


def _less(result: Result) -> float:
    """Watts that a safer plan averages less, at least 1; 0 where that is not known.

    A difference also fits the watts of the card, whose mean is another one than that of the plan.
    """
    risk = result.risk
    if risk is None or not math.isfinite(risk.safe_power):
        return 0.0
    return max(result.plan.mean_power - risk.safe_power, 1.0)


def fork_sentence(fork: Fork) -> str:
    """Say what one decision on the way wins."""
    return (f"Decide once, at {fork.name} ({kilometres(fork.place)}), how good the day is. On "
            f"average that is {seconds(fork.single_time - fork.mean_time)} faster than one careful "
            f"plan, and you run out no more often. To know the day before the start would save "
            f"another {seconds(fork.mean_time - fork.known_time)}.")


def held_parts(result: Result) -> list[Part]:
    """Give the part of the report on whether the plan can be ridden."""
    parts: list[Part] = []
    if words := risk_sentence(result):
        parts.append(words)
    if result.fork is not None:
        parts += _fork(result, result.fork)
    if result.bike_run:
        parts += _bike_run(result)
    if result.realism is not None:
        parts.append(Folded("Could I ride that? The card beside studies", _realism(result)))
    return parts


@dataclass(frozen=True)
class ForkLine:
    """Watts of a line of the card with one decision: up to the fork, and after it by the day.

    `before` is None for a line that lies behind the fork, `after` is empty for one before it;
    both are those of the flat where climbs and descents have figures of their own.
    """

    before: float | None
    after: tuple[float, ...]


def fork_line(result: Result, block: Block) -> ForkLine:
    """Give the watts of a block with the decision of `result.fork`, to the watt."""
    fork = result.fork
    assert fork is not None  # noqa: S101 - asked for where it is there
    expected = block.power / result.day.kept  # the card keeps a margin, the fork has its own
    return ForkLine(
        round(expected * fork.first) if block.start < fork.place else None,
        tuple(float(round(expected * branch.factor)) for branch in fork.branches)
        if block.end > fork.place else ())


def fork_rule(result: Result) -> str:
    """Say the decision on a card of one line; a longer card has it in the report and as CSV."""
    fork, lines = result.fork, result.rideable.lines
    if fork is None or len(lines) > 1:
        return ""
    line = fork_line(result, lines[0])
    days = listing([f"{power:.0f} W on a {branch.name}"
                    for power, branch in zip(line.after, fork.branches, strict=True)])
    return f"Or {line.before:.0f} W to {fork.name}, and from there {days}."


def _fork(result: Result, fork: Fork) -> list[Part]:
    rows = []
    for block in result.rideable.blocks:
        line = fork_line(result, block)
        rows.append((block.place or kilometres(block.start), block.comes,
                     "–" if line.before is None else f"{line.before:.0f}",
                     *(f"{power:.0f}" for power in line.after),
                     *("–" for _ in fork.branches if not line.after)))
    return [fork_sentence(fork),
            Table(("From", "What comes", f"To {fork.name}",
                   *(branch.name.capitalize() for branch in fork.branches)), rows,
                  f"Watts with one decision at {fork.name}; a bad day and a good day are three in "
                  "ten each", left=(0, 1))]


def _bike_run(result: Result) -> list[Part]:
    best = min(result.bike_run, key=lambda row: row.total)
    rows = [(f"{100 * row.share:.0f} %", clock(row.ride), clock(row.run),
             f"{clock(row.total)}{', the least' if row is best else ''}")
            for row in result.bike_run]
    return [Table(("Share of what you could hold", "Ride", "Run", "Sum"), rows,
                  "Bike and run: endurance shared out by one law, an assumption of ours. The "
                  "choice is yours; try it in training")]


def _at_most(chance: float) -> str:
    """Say of how many days at most."""
    said = days(chance)
    return said if said.startswith("fewer") else f"at most {said}"


def reserve_spare(result: Result) -> bool:
    """Whether so much of the reserve is left wherever the ideal ride has least that it limits none.

    What is left at the finish does not tell: a reserve that was empty at a pass comes back on the
    way down. The card's may stay a little above the floor where the ideal ride's does not.
    """
    reserve = result.plan.reserve
    spare = float(reserve.min()) - result.day.rider.reserve_floor
    return spare > _MUCH * float(reserve[0])


def _reserve_says(result: Result) -> str:
    """Say whether the reserve is what limits the ride, where it is clear."""
    reserve = result.plan.reserve
    if float(reserve.min()) - result.day.rider.reserve_floor <= (1 - _REACHED) * float(reserve[0]):
        return "; the ideal ride uses all of it, and that limits it"
    return "; this is not what limits the ride" if reserve_spare(result) else ""


def _realism(result: Result) -> list[Part]:
    found = result.realism
    assert found is not None  # noqa: S101 - asked for where it is there
    rider, reserve = result.day.rider, result.rideable.reserve
    p, floor, whole, least = (rider.effort_exponent, rider.reserve_floor, float(reserve[0]),
                              float(reserve.min()))
    rows = [
        ("Variation of power (standard deviation over mean)", f"{100 * found.variation:.0f} %",
         ("10 % in the usual trials of variable pacing (Atkinson et al. 2007); ±15 % for 28 min "
         "was no harder to bear (Front. Physiol. 2020, 11:1098)")),
        (f"Mean of power to the exponent {p:g}, as its root", watts(found.power_mean),
         (f"at most {watts(found.limit)}, which you can hold evenly for this time in these "
         f"positions{_ENDS if found.power_mean >= _REACHED * found.limit else ''}")),
        ("Least reserve (W′) on the way", f"{least / 1000:.1f} kJ",
         (f"of {whole / 1000:.1f} kJ; never below {floor / 1000:.1f} kJ"
         f"{_reserve_says(result)}")),
        ("Hardest stretch of two minutes or more", f"{100 * found.stretch:.0f} %",
         "of the mean power that you can hold for as long; above 100 % it could not be ridden"),
        ("Time at the highest power", f"{100 * found.at_limit:.1f} %", "–"),
        ("Time without pedalling", f"{100 * found.coasting:.1f} %",
         "on descents above the speed at which you stop pedalling, and before corners"),
    ]
    return [Table(("What", "The card", "Beside it"), rows, "", left=(0, 2)),
            ("Riders do not always finish what their numbers promise: 9 of 15 could not hold the "
            "mean power in their 20 km trial evenly (Thomas et al. 2013, Eur. J. Appl. "
            "Physiol. 113:3001). No plan is a promise.")]
