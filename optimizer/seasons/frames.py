"""The kit of a season as a pandas DataFrame."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

    from optimizer.seasons.values import SeasonKit

__all__ = ["season"]


def season(result: SeasonKit) -> pd.DataFrame:
    """Who rides what where, and what that saves.

    Parameters
    ----------
    result : of `run_season`

    Returns
    -------
    a row for each ride: `rider`, `race`, `date`, `time_s`, `saved_s` against what the rider has
    with its 90 % range `low_s` to `high_s` on common drawn days, `items` and `hired` as tuples

    Examples
    --------
    >>> from optimizer import read_season, run_season
    >>> list(season(run_season(read_season("courses/club.toml"))).columns)[:3]
    ['rider', 'race', 'date']
    """
    import pandas as pd

    rows = []
    for ride in result.rides:
        entry = result.season.entries[ride.entry]
        rows.append((entry.rider, entry.race, entry.first, ride.time, ride.saved, ride.low,
                     ride.high, ride.items, ride.hired))
    return pd.DataFrame(rows, columns=["rider", "race", "date", "time_s", "saved_s", "low_s",
                                       "high_s", "items", "hired"])
