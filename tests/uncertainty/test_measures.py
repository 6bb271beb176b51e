"""Risk measures against their definitions, and by what every one of them has to obey."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.errors import InputError
from optimizer.uncertainty import MEASURES, measure_of

DRAWN = [measure for measure in MEASURES.values() if measure.of]
TIMES = st.lists(st.floats(3000.0, 4000.0), min_size=4, max_size=60)


def test_values_are_what_their_names_say():
    times = np.random.default_rng(0).normal(3600, 30, (3, 1000))
    assert MEASURES["mean"].value(times) == pytest.approx(times.mean(axis=1))
    assert MEASURES["quantile"].value(times, 0.8) == pytest.approx(
        np.quantile(times, 0.8, axis=1))
    worst = np.sort(times, axis=1)[:, 900:]
    assert MEASURES["cvar"].value(times, 0.9) == pytest.approx(worst.mean(axis=1))
    assert MEASURES["target"].value(times, target=3600.0) == pytest.approx(
        -(times <= 3600.0).mean(axis=1))
    # Normal times: the mean beyond the 90 % point is 1.755 standard deviations out (φ(z)/0.1).
    many = np.random.default_rng(1).normal(0, 1, (1, 200_000))
    assert MEASURES["cvar"].value(many, 0.9)[0] == pytest.approx(1.755, abs=0.02)


@given(times=TIMES, slower=st.lists(st.floats(0.0, 90.0), min_size=60, max_size=60),
       level=st.floats(0.5, 0.99))
@pytest.mark.parametrize("measure", DRAWN, ids=lambda measure: measure.name)
def test_days_that_are_nowhere_faster_are_never_better(measure, times, slower, level):
    """Monotonicity (Artzner, Delbaen, Eber and Heath 1999, Math. Finance 9:203, axiom M)."""
    fast = np.array([times])
    slow = fast + np.array([slower[:len(times)]])
    better, worse = (measure.value(some, level, 3500.0)[0] for some in (fast, slow))
    assert better <= worse + 1e-9


@given(times=TIMES, later=st.floats(-90.0, 90.0), level=st.floats(0.5, 0.99))
@pytest.mark.parametrize("measure", DRAWN, ids=lambda measure: measure.name)
def test_as_many_seconds_every_day_are_as_many_seconds(measure, times, later, level):
    """Translation invariance (the same, axiom T); a chance stays where its target moves along."""
    here = np.round(np.array([times]), 3)
    later = round(later, 3)
    before = measure.value(here, level, 3500.0005)[0]
    after = measure.value(here + later, level, 3500.0005 + later)[0]
    moved = 0.0 if measure.chance else later
    assert after == pytest.approx(before + moved, abs=1e-9)
    if not measure.chance:
        assert here.min() - 1e-9 <= before <= here.max() + 1e-9


def test_a_measure_that_is_none_is_refused_with_those_that_there_are():
    with pytest.raises(InputError, match="not a way to choose") as refused:
        measure_of("median-ish")
    assert all(name in str(refused.value) for name in MEASURES)
    with pytest.raises(ValueError, match="draws no days"):
        MEASURES["forecast"].value(np.zeros((1, 3)))


def test_words_of_every_measure_are_filled_in():
    for measure in MEASURES.values():
        said = measure.best_words(0.8, "57:30")
        assert "{" not in said
        assert ("57:30" in said) == measure.chance
