"""What a scenario leaves to be assumed, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimizer import defaults
from optimizer.course import TERRAINS, Handling
from optimizer.kit.catalogue import REGION_FACTOR
from optimizer.scenario.toml_table import words_of
from optimizer.scenario.weather import standard_pressure

if TYPE_CHECKING:
    from optimizer.conditions import Conditions
    from optimizer.course import Course
    from optimizer.kit import Catalogue
    from optimizer.scenario.scenario import Scenario

__all__ = ["defaults_in_words", "of_heights", "of_limits"]

_DESCENT = -0.02  # rise over run, from which a rider may not want to roll freely


def defaults_in_words(scenario: Scenario, conditions: Conditions,
                      course: Course) -> list[str]:
    """Every default that acts in the plan, in words; a forecast may have filled some in."""
    found = []
    said = scenario.conditions
    steady = conditions.members is not None or not np.any(conditions.wind_speed)
    turns = any(corner.u_turn for corner in course.corners)
    idle = {  # keys whose default does nothing here
        "temperature_c": conditions.temperature != said.temperature_c + defaults.ZERO_CELSIUS,
        "humidity_percent": conditions.humidity != said.humidity_percent / 100,
        "wind_uncertainty_percent": steady, "wind_uncertainty_deg": steady, "u_turn_kmh": not turns,
        "skill_percent": not course.corners, "braking_mps2": not course.corners,
        "least_gain_s": scenario.kit is None}
    for table in (said, scenario.handling, scenario.bike, scenario.options):
        for key, info in type(table).model_fields.items():
            text = words_of(info)
            if text and key not in table.model_fields_set and not idle.get(key):
                value = getattr(table, key)
                found.append(text.format(f"{value:g}",
                                         half=f"{defaults.NINE_IN_TEN * value:.2g}"))
    if conditions.pressure == standard_pressure(conditions.reference_elevation):
        found.append("the pressure of the standard atmosphere")
    if said.wind is None and not np.any(conditions.wind_speed):
        found.append("no wind")
    return [*found, *_assumed_of_road(scenario, course), *_assumed_of_kit(scenario)]


def _assumed_of_road(scenario: Scenario, course: Course) -> list[str]:
    """Say what the files leave out of the road, and what they cannot state."""
    found = ["bearing friction as Martin et al. (1998) measured it"]
    if course.corners:
        friction = "wet" if scenario.conditions.wet else "dry"
        value = (Handling().friction_wet if scenario.conditions.wet else Handling().friction_dry)
        found.append(f"a friction of {value:g} between tyre and {friction} road, and a line "
                     f"{Handling().lane:g} m wide through corners (common practice)")
    fall = np.diff(course.elevation) / np.maximum(np.diff(course.distance), 1e-9)
    if scenario.handling.descent_cap_kmh is None and fall.min() < _DESCENT:
        found.append("no speed cap: descents are ridden as fast as the road and its corners allow "
                     "(`descent_cap_kmh` in [handling])")
    if np.all(course.rolling_factor == 1.0):
        found.append("smooth asphalt all the way (a judgement)")
    if np.all(course.roughness == TERRAINS["open"]) and np.all(course.shelter == 1.0):
        found.append("open land beside the road, without shelter from the wind")
    return found


def _assumed_of_kit(scenario: Scenario) -> list[str]:
    """Say what is believed of kit and its tests where the files do not say."""
    kit = scenario.kit
    if kit is None:
        return []
    found = [f"two gains in one flow region lose {100 * REGION_FACTOR:.0f} % of the smaller one"
             + (", except in the pairs that you listed" if kit.pairs else "")
             + " (no source)"]
    if kit.evidence is not None and kit.priors is None:
        found.append("how far to believe each kind of test and each seller: judgements of ours, "
                     "shown by `kitpace worth --show-priors`")
    return found


def of_heights(course: Course) -> list[str]:
    """Say how well the heights of a terrain model are known, and what shelter was reckoned."""
    sheltered = [] if course.shelter_from is None else [
        ("shelter as behind long rows across the wind, on level ground; there is less of it behind "
         "single things and in gusts")]
    if course.height_error is None:
        return sheltered
    low, high = np.percentile(course.height_error, [5.0, 95.0])
    return [(f"heights of a terrain model, with a standard error of {low:.1f} to {high:.1f} m by "
             "place"), *sheltered]


def of_limits(course: Course, conditions: Conditions, catalogue: Catalogue) -> list[str]:
    """Say how likely an ensemble makes it that kit meets more cross wind than it may."""
    from optimizer.kit.crosswind import ACCEPTED, limit_chances

    if conditions.members is None:
        return []  # then only what is forecast decides
    return [(f"{name} meets more cross wind than its limit with a chance of {chance:.0%}; up to "
             f"{ACCEPTED:.0%} is accepted")
            for name, chance in limit_chances(course, conditions, catalogue)]
