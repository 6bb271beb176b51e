"""What is different from an earlier plan, in sentences."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from optimizer.report.inputs import changed_evidence, changed_inputs
from optimizer.report.stated import stated
from optimizer.report.weather import wind_met
from optimizer.report.words import clock, compass, listing, seconds, watts

if TYPE_CHECKING:
    from datetime import datetime

    from optimizer.job import Earlier, Result

__all__ = ["changes"]

_NO_WIND = 0.5  # m/s
_SAME_RANGE = 0.05  # relative, less is not worth a sentence


def changes(result: Result, earlier: Earlier) -> str:
    """Say what changed against an earlier plan: time, wind, power, kit."""
    times, air = stated(result), result.job.conditions
    now, low, high = times.finish, times.low, times.high
    slower = round(now) - round(earlier.finish_time)  # of the times as they are shown
    verdict = ("as fast" if slower == 0 else
               f"{_whole(abs(slower))} {'slower' if slower > 0 else 'faster'}")
    instead = f"{clock(now)} instead of {clock(earlier.finish_time)}"
    said = [f"Against {earlier.name}: {instead}, {verdict}."]
    if earlier.high - earlier.low > 1.0:  # nan where the earlier plan tells none
        change = (high - low) / (earlier.high - earlier.low) - 1.0
        if abs(change) >= _SAME_RANGE:
            said.append(
                f"The 90 % range of the time is {_whole(round(high) - round(low))} wide instead of "
                f"{_whole(round(earlier.high) - round(earlier.low))}, {100 * abs(change):.0f} % "
                f"{'narrower' if change < 0 else 'wider'}.")
    if (words := _start(air.start_time, earlier.start)):
        said.append(words)
    east, north = wind_met(result)
    wind = (float(east.mean()), float(north.mean()))
    before = (earlier.wind_east, earlier.wind_north)
    if math.dist(wind, before) > _NO_WIND:  # never where the earlier plan tells none: nan
        said.append(f"Mean wind of the ride: {_wind(*wind)} instead of {_wind(*before)}.")
    if inputs := [*changed_inputs(result.job, earlier.inputs),
                  *changed_evidence(result.job, earlier.evidence)]:
        said.append(f"Changed: {'; '.join(inputs)}.")
    if abs(result.plan.mean_power - earlier.mean_power) >= 1.0:
        said.append(f"Mean power of the ideal ride: {watts(result.plan.mean_power)} instead of "
                    f"{watts(earlier.mean_power)}.")
    added = [name for name in result.choice.best.items if name not in earlier.items]
    dropped = [name for name in earlier.items if name not in result.choice.best.items]
    if added:
        said.append(f"New in the kit: {listing(added)}.")
    if dropped:
        said.append(f"No longer in it: {listing(dropped)}.")
    return " ".join(said)


def _start(now: datetime | None, before: datetime | None) -> str:
    """Say that the start changed, with its day where that is another one."""
    if now == before:
        return ""
    if now is None or before is None:
        return (f"Start: {now:%H:%M}, which the earlier plan does not name." if now else
                f"Start: not given any more; it was {before:%H:%M}.")
    day = "%d %B, %H:%M" if now.date() != before.date() else "%H:%M"
    return f"Start: {now.strftime(day)} instead of {before.strftime(day)}."


def _whole(amount: int) -> str:
    """Say a difference of times that are shown to the second."""
    return f"{amount} s" if amount < 10 else seconds(amount)


def _wind(east: float, north: float) -> str:
    speed = math.hypot(east, north)
    if speed < _NO_WIND:
        return "none"
    return f"{3.6 * speed:.0f} km/h from the {compass(east, north)}"
