"""Kit for a season: who buys what, who rides what where, for several riders and races."""

from optimizer.seasons.kit import run_season
from optimizer.seasons.values import Entry, Money, Pool, Season, SeasonKit

__all__ = ["Entry", "Money", "Pool", "Season", "SeasonKit", "run_season"]
