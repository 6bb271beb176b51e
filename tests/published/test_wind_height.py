"""Wind at the rider's height against published profiles."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.conditions.wind import height_factor
from optimizer.course import TERRAINS


def test_classes_of_terrain():
    """Davenport's classes as revised by Wieringa 1992, as tabulated by the Shodor foundation."""
    assert list(TERRAINS.values()) == [0.0002, 0.005, 0.03, 0.1, 0.25, 0.5, 1.0, 2.0]


@pytest.mark.parametrize(("wind", "at_two_metres"), [(3.2, 2.39), (5.0, 3.74)])
def test_fao_56(wind, at_two_metres):
    """Allen et al. 1998, FAO irrigation and drainage paper 56, equation 47 and example 14.

    u2 = uz 4.87 / ln(67.8 z - 5.42) is the log law over grass with z0 = 1/67.8 m above a
    displacement of 5.42/67.8 = 0.08 m.
    """
    displaced = 5.42 / 67.8
    factor = height_factor(1 / 67.8, 2.0 - displaced, 10.0 - displaced)
    assert wind * float(factor) == pytest.approx(at_two_metres, abs=0.005)


@pytest.mark.parametrize(("height", "factors"), [
    (1.0, (0.7872, 0.6971, 0.6036, 0.5000, 0.3758, 0.2314)),
    (1.2, (0.8040, 0.7211, 0.6350, 0.5396, 0.4252, 0.2922)),
    (2.0, (0.8513, 0.7883, 0.7229, 0.6505, 0.5637, 0.4628))])
def test_log_law(height, factors):
    """Regression values of ln(h/z0) / ln(10/z0) for the classes up to z0 = 0.5 m."""
    z0 = np.array([0.0002, 0.005, 0.03, 0.1, 0.25, 0.5])
    assert height_factor(z0, height) == pytest.approx(np.array(factors), abs=1e-4)


def test_among_houses_the_law_ends():
    """From z0 = 0.5 m on the value at 0.5 m is held: the law would say no wind at all."""
    assert height_factor(np.array([1.0, 2.0])) == pytest.approx(float(height_factor(0.5)))


def test_power_law():
    """The power law with the slope of the log law has the exponent α = 1 / ln(z/z0).

    Manwell, McGowan and Rogers, Wind Energy Explained (chapter on wind characteristics), from
    memory; the slope of the log law gives 1 / ln(10 / 0.03) = 0.172 by hand.
    """
    ratio = float(height_factor(0.03, 9.0))
    assert np.log(ratio) / np.log(0.9) == pytest.approx(0.172, abs=0.002)
