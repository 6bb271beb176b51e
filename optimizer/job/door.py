"""What `plan` refuses from Python, as the files' door does: values that no ride can have."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from optimizer.errors import InputError, InputErrors

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from optimizer.job.values import Options
    from optimizer.kit import Catalogue
    from optimizer.physics import Setup
    from optimizer.rider import Rider

__all__ = ["check_values"]

_Ranges = tuple[tuple[str, float, float, str], ...]

# In SI, what files may state; a test holds the two together.
BIKE: Final[_Ranges] = (
    ("mass", 4.0, 60.0, "kg of bike, kit and bottles"),
    ("rolling_resistance", 0.001, 0.03, "Crr on smooth asphalt, such as 0.004"),
    ("drivetrain_efficiency", 0.7, 1.0, "a share, such as 0.976"),
    ("wheel_inertia", 0.0, 1.0, "kg m² of both wheels"),
    ("wheel_radius", 0.2, 0.45, "m, tyre included"))
RIDER: Final[_Ranges] = (
    ("mass", 30.0, 160.0, "kg with clothes and drink"), ("critical_power", 40.0, 650.0, "W"),
    ("w_prime", 1e3, 80e3, "J"), ("max_power", 50.0, 3000.0, "W"))
OPTIONS: Final[_Ranges] = (
    ("start_speed", 0.0, 70.0 / 3.6, "m/s"), ("blocks", 1, 60, "lines of the card"),
    ("draws", 20, 20_000, "days"), ("least_gain", 0.0, 600.0, "s"))
OPTIONAL: Final[_Ranges] = (
    ("step", 1.0, 500.0, "m, or None"),
    ("empty_risk", 1e-6, 0.5, "a chance, such as 0.1, or None"),
    ("power_rounding", 0.0, 50.0, "W, or None"))


def check_values(rider: Rider, bike: Setup, catalogue: Catalogue, budget: float,
                 rules: Sequence[str], options: Options) -> None:
    """Refuse what no ride can have, all of it at once.

    Parameters
    ----------
    rider, bike, catalogue, budget, rules, options : as `plan` takes them

    Returns
    -------
    nothing

    Raises
    ------
    InputError
        which names each value, what is wrong, and what would be right
    """
    found = [*_outside("rider", rider, RIDER), *_outside("bike", bike, BIKE),
             *_outside("options", options, OPTIONS),
             *_outside("options", options, tuple(
                 one for one in OPTIONAL if getattr(options, one[0]) is not None)),
             *_unknown(rules, catalogue)]
    if not 0.0 <= budget < math.inf:
        found.append(InputError("plan", "budget", f"{budget} is not an amount", "give 0 or more"))
    if found:
        raise found[0] if len(found) == 1 else InputErrors(found)


def _outside(what: str, values: object, ranges: _Ranges) -> Iterator[InputError]:
    for name, low, high, words in ranges:
        value = getattr(values, name)
        if not low <= value <= high:  # also where it is no number
            yield InputError("plan", f"{what}.{name}", f"{value:g} is not between {low:g} and "
                             f"{high:g}", f"give {words}")


def _unknown(rules: Sequence[str], catalogue: Catalogue) -> Iterator[InputError]:
    if isinstance(rules, str):
        yield InputError("plan", "rules", f'"{rules}" is one text', f'give ["{rules}"]')
        return
    known = sorted({rule for item in catalogue.items for rule in item.forbidden_by})
    for rule in rules:
        if rule not in known:
            yield InputError("plan", "rules", f'no item of the catalogue names the rules "{rule}"',
                             f"known: {', '.join(known)}" if known else
                             "items name them in forbidden_by")
