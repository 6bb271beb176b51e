"""Results as pandas DataFrames, for notebooks and spreadsheets; units stand in the column names."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import pandas as pd

    from optimizer.job.values import Result

__all__ = ["frontier", "profile", "splits", "worth"]


def splits(result: Result) -> pd.DataFrame:
    """Arrival at each mark and at the finish: by the card, and in the ideal ride of each kit.

    Parameters
    ----------
    result : of `run` or `plan`

    Returns
    -------
    a row for each set and place, the plan's set first: `kit`, `place`, `km`; `card_s` by the card,
    the time that report and terminal state (nan for the other sets, which have no card); `ideal_s`
    of the set's ideal ride, and its 90 % range on common drawn days, `ideal_low_s` and
    `ideal_high_s`

    Examples
    --------
    >>> import optimizer
    >>> result = optimizer.run(optimizer.read_scenario("courses/tarn-loop/scenario.toml"))
    >>> table = optimizer.splits(result)
    >>> bool((table.ideal_low_s <= table.ideal_high_s).all())
    True
    >>> finish = table.query("place == 'Finish'").iloc[0]
    >>> finish.kit == result.splits[0].name
    True
    >>> bool(finish.card_s == result.rideable.finish_time)
    True
    """
    import pandas as pd

    course = result.job.course
    places = [*((mark.name, mark.distance) for mark in course.split_marks),
              ("Finish", course.length)]
    by_card = np.interp([metres for _, metres in places], result.plan.distance,
                        result.rideable.time)
    none = np.full(len(places), np.nan)
    return pd.DataFrame(
        [(run.name, place, metres / 1e3, card, ideal, low, high)
         for k, run in enumerate(result.splits) for (place, metres), card, ideal, low, high in zip(
             places, none if k else by_card, run.arrival, run.low, run.high, strict=True)],
        columns=["kit", "place", "km", "card_s", "ideal_s", "ideal_low_s", "ideal_high_s"])


def frontier(result: Result) -> pd.DataFrame:
    """Best kit at every price, from what costs nothing up.

    Parameters
    ----------
    result : of `run` or `plan`

    Returns
    -------
    a row for each set: `spend` in the currency of the job, `ideal_s` of its ideal ride, `saved_s`
    against the first row, `items` as a tuple of names, `chosen` for the one of the plan

    Examples
    --------
    >>> import optimizer
    >>> result = optimizer.run(optimizer.read_scenario("courses/tarn-loop/scenario.toml"))
    >>> table = optimizer.frontier(result)
    >>> bool(table.ideal_s.is_monotonic_decreasing), int(table.chosen.sum())
    (True, 1)
    """
    import pandas as pd

    sets = result.choice.frontier
    first = sets[0].finish_time if sets else 0.0
    return pd.DataFrame(
        [(kit.spend, kit.finish_time, first - kit.finish_time, kit.items,
          set(kit.items) == set(result.choice.best.items)) for kit in sets],
        columns=["spend", "ideal_s", "saved_s", "items", "chosen"])


def profile(result: Result) -> pd.DataFrame:
    """Road, weather and plan along the course, a row a step of the computation.

    Parameters
    ----------
    result : of `run` or `plan`

    Returns
    -------
    `km` and `elevation_m` at the start of the step, `length_m`, `grade_percent`, `headwind_kmh`,
    `crosswind_kmh` (at the rider, head wind positive), `speed_kmh` and `power_w` of the
    ideal ride, its `time_s` and `reserve_kj` at the start of the step; `card_w` and `card_time_s`
    by the card

    Examples
    --------
    >>> import optimizer
    >>> result = optimizer.run(optimizer.read_scenario("courses/tarn-loop/scenario.toml"))
    >>> table = optimizer.profile(result)
    >>> bool(abs(table.length_m.sum() - result.job.course.length) < 1e-6)
    True
    """
    import pandas as pd

    plan, course = result.plan, result.job.course
    p, at = plan.problem, plan.distance[:-1]
    return pd.DataFrame({
        "km": at / 1e3, "elevation_m": np.interp(at, course.distance, course.elevation),
        "length_m": p.step, "grade_percent": 100 * p.grade, "headwind_kmh": 3.6 * p.headwind,
        "crosswind_kmh": 3.6 * p.crosswind, "speed_kmh": 3.6 * p.step / np.diff(plan.time),
        "power_w": plan.power, "card_w": result.rideable.power, "time_s": plan.time[:-1],
        "card_time_s": result.rideable.time[:-1], "reserve_kj": plan.reserve[:-1] / 1e3})


def worth(result: Result) -> pd.DataFrame:
    """Seconds that each item saves on its own on top of the current kit, the most first.

    Parameters
    ----------
    result : of `run` or `plan`

    Returns
    -------
    a row for each item: `item`, `seconds`, its 90 % range `low_s` to `high_s`, `cost`, `chosen`,
    `based_on` ("tested", "seller", "mass", "none")

    Examples
    --------
    >>> import optimizer
    >>> result = optimizer.run(optimizer.read_scenario("courses/tarn-loop/scenario.toml"))
    >>> table = optimizer.worth(result)
    >>> bool((table.low_s <= table.seconds).all())
    True
    """
    import pandas as pd

    catalogue, best = result.job.catalogue, result.choice.best.items
    return pd.DataFrame(
        [(one.item, one.seconds, one.low, one.high, catalogue[one.item].cost, one.item in best,
          one.grounds) for one in result.worth],
        columns=["item", "seconds", "low_s", "high_s", "cost", "chosen", "based_on"],
    ).sort_values("seconds", ascending=False, ignore_index=True)
