"""Sums over sets of kit against every set, counted out."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.evidence import Effect
from optimizer.kit import Catalogue, Item
from optimizer.kit.bound import coordinates
from optimizer.kit.set_model import set_model
from optimizer.kit.terms import tabulate
from tests.kit.invented import BASELINE, RIDER, catalogue, every_set


def case(wanted, effects):
    terms = tabulate(BASELINE, wanted, effects)
    model = set_model(terms, BASELINE, RIDER.mass)
    sets = [terms.rows(names) for names in every_set(wanted)]
    chosen = np.zeros((len(sets), len(terms.names)), dtype=bool)
    for row, rows in zip(chosen, sets, strict=True):
        row[rows] = True
    return terms, model, chosen, [terms.setup(BASELINE, rows) for rows in sets]


def corners():
    factors = ((0.95, 1.03), (1.04,), (0.97, 0.99), (1.02, 1.05))
    items = tuple(Item(f"{p} {k}", ("tyres", "wheels", "bottles", "shoes")[p], 10.0,
                       mass=0.3 * k - 0.2 * p, cornering_factor=factor)
                  for p, here in enumerate(factors) for k, factor in enumerate(here))
    return Catalogue(items), tuple(Effect(item.name) for item in items)


def test_corner_terms_lie_above_the_product_and_touch_it():
    _, model, chosen, setups = case(*corners())
    effective = np.array([s.mass + RIDER.mass + s.wheel_inertia / s.wheel_radius**2
                          for s in setups]) / model.usual_effective
    gained = effective * (np.array([s.cornering_factor for s in setups]) ** 2 - 1.0)
    above = chosen @ model.corner_terms() - gained
    assert above.min() >= -1e-12
    single = chosen.sum(axis=1) == 1
    assert above[single].max() < 0.02  # of the square of corner speed
    assert above.max() < 0.05


@pytest.mark.parametrize("seed", range(3))
def test_ranges_hold_every_set_and_no_more_than_they_must(seed):
    wanted, effects = catalogue(np.random.default_rng(seed), (2, 2, 2, 2, 1, 2), crossed=0.0)
    _, model, _, setups = case(wanted, effects)
    effective = np.array([RIDER.mass + s.mass + s.wheel_inertia / s.wheel_radius**2
                          for s in setups])
    theta = np.array([coordinates(s, RIDER.mass) for s in setups])
    sums = theta * effective[:, None]
    assert np.all(sums >= model.low - 1e-12)
    assert np.all(sums <= model.high + 1e-12)
    # Places add up one by one, so that the ends are met, but for overlaps and products.
    masses = np.array([RIDER.mass + s.mass for s in setups])
    assert model.mass_range == pytest.approx((masses.min(), masses.max()))
    assert model.effective_range == pytest.approx((effective.min(), effective.max()))
    assert model.usual_effective == pytest.approx(0.5 * (effective.min() + effective.max()))
    m = len(setups[0].yaw)
    assert model.low[m + 1] == pytest.approx(sums[:, m + 1].min())
    assert model.high[m + 1] == pytest.approx(sums[:, m + 1].max())
    assert np.all(np.ptp(theta, axis=0) <= model.half_range() + 1e-15)
    size = 2 * np.ptp(theta, axis=0) + 0.05 * np.abs(theta).max(axis=0)
    assert np.all(model.half_range() <= size)


def test_rolling_is_exact_but_for_the_product_of_two_changes():
    wanted, effects = catalogue(np.random.default_rng(1), (2, 3, 1), crossed=0.0)
    _, model, chosen, setups = case(wanted, effects)
    mass, crr = 80.0, 0.004
    terms = model.rolling(mass, crr)
    for row, setup in zip(chosen, setups, strict=True):
        whole = RIDER.mass + setup.mass
        exact = whole * setup.rolling_resistance
        assert terms[0] + terms[1:][row].sum() == pytest.approx(
            exact - (whole - mass) * (setup.rolling_resistance - crr), rel=1e-12)


def test_terms_along_a_basis_are_what_sets_come_to_there():
    rng = np.random.default_rng(5)
    wanted, effects = catalogue(rng, (3, 3, 2, 2, 1, 2, 2, 1, 2), crossed=0.5)
    terms = tabulate(BASELINE, wanted, effects)
    model = set_model(terms, BASELINE, RIDER.mass)
    assert np.ptp(terms.rolling) > 0 < np.ptp(terms.mass)
    chosen = np.zeros((200, len(terms.names)), dtype=bool)
    for row in chosen:
        row[[int(rng.choice(rows)) for rows in terms.combinations.places
             if rng.random() < 0.6]] = True
    theta = model.coordinates(chosen)
    effective = (model.effective[0] + chosen @ model.effective[1:])[:, None] / model.usual_effective
    basis = rng.normal(size=(3, theta.shape[1])) / model.half_range()
    point = theta[0]
    exact = (theta - point) @ basis.T * effective
    start, item, overlap, slack = model.along(basis, point)
    near = start + chosen @ item + model.terms.combinations.overlapping(chosen) @ overlap
    assert np.all(np.abs(near - exact) <= slack + 1e-9)
    assert np.abs(near - exact).max() > 0  # m Crr is a product
    ends = model.ends(basis, point)
    assert np.all((exact >= ends[:, 0] - 1e-9) & (exact <= ends[:, 1] + 1e-9))
