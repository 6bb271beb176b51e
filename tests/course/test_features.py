from __future__ import annotations

import numpy as np

from optimizer.course.course import Stretch
from optimizer.course.features import SURFACES, TERRAINS, lay


def test_later_stretches_hold_over_earlier_ones_and_kinds_do_not_mix():
    distance = np.linspace(0, 100, 11)
    stretches = (Stretch(0, 50, "surface", 2.0), Stretch(30, 80, "surface", 3.0),
                 Stretch(0, 100, "terrain", 0.5))
    assert lay(stretches, "surface", distance, 1.0).tolist() == [2, 2, 2, 3, 3, 3, 3, 3, 1, 1]


def test_classes_are_in_order_of_roughness():
    assert SURFACES["wood track"] < SURFACES["smooth asphalt"] < SURFACES["rough asphalt"]
    assert SURFACES["rough asphalt"] < SURFACES["cobbles"]
    assert list(TERRAINS.values()) == sorted(TERRAINS.values())
