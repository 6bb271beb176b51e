"""What a person knows about a course: surfaces, terrain, shelter, limits, marks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.course.course import Mark, Stretch
    from optimizer.course.shelter import Obstacle

__all__ = ["SURFACES", "TERRAINS", "Features", "Limit", "lay"]

# Factors on the Crr of a tyre on smooth asphalt; common practice, no source.
SURFACES = {"smooth asphalt": 1.0, "asphalt": 1.2, "rough asphalt": 1.8, "concrete": 1.3,
            "chip seal": 2.0, "paving": 1.8, "cobbles": 3.5, "gravel": 3.0, "wood track": 0.6}

# Roughness lengths z0 [m]: classes of Davenport as revised by Wieringa 1992, J. Wind Eng. Ind.
# Aerodyn. 41:357.
TERRAINS = {"sea": 0.0002, "smooth": 0.005, "open": 0.03, "roughly open": 0.1, "rough": 0.25,
            "very rough": 0.5, "closed": 1.0, "chaotic": 2.0}


@dataclass(frozen=True)
class Limit:
    """A speed that the rider sets for one place [m/s]; it replaces what the corner there allows.

    `distance` [m]; None puts it at the mark called `name`.
    """

    name: str
    distance: float | None
    speed: float


@dataclass(frozen=True)
class Features:
    """Everything that no track holds.

    `stretches` of kind "surface", "terrain", "shelter" or "speed" (a cap, m/s); where two of
    a kind overlap the later one holds. `obstacles` beside the road shelter it by direction.
    """

    stretches: tuple[Stretch, ...] = ()
    limits: tuple[Limit, ...] = ()
    marks: tuple[Mark, ...] = ()
    obstacles: tuple[Obstacle, ...] = ()


def lay(stretches: tuple[Stretch, ...], kind: str, distance: NDArray[np.float64],
        default: float) -> NDArray[np.float64]:
    """Lay the stretches of one kind on the steps.

    Parameters
    ----------
    stretches : stated
    kind : of stretch
    distance : (n + 1,) m
    default : where no stretch lies

    Returns
    -------
    (n,) value on each step
    """
    middle = 0.5 * (distance[:-1] + distance[1:])
    values = np.full(len(middle), default)
    for stretch in stretches:
        if stretch.kind == kind:
            values[(middle >= stretch.start) & (middle <= stretch.end)] = stretch.value
    return values
