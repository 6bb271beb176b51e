"""What every unit has to obey, whichever there are."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.evidence import Figure, Reference
from optimizer.evidence.express import read_target
from optimizer.evidence.figures import read_figure, say_figure
from optimizer.evidence.units import TARGETS, UNITS

RIDER = Reference.of(drag_area=0.25, mass=78.0, rolling_resistance=0.0038, efficiency=0.976,
                     air_density=1.18, speed=45 / 3.6)
DISTANCE = 40_000.0
OWN = {"rolling_resistance", "efficiency", "mass"}


def figure_of(name, share):
    """A figure of one unit, as large a share of what is possible."""
    unit = UNITS[name]
    return Figure(name, share * 0.02 * unit.largest, speed=RIDER.speed,
                  distance=DISTANCE if unit.over_distance else None,
                  acts_on=name if name in OWN else "drag_area")


@pytest.mark.parametrize("name", UNITS)
@given(share=st.floats(-0.5, 0.5).filter(lambda share: abs(share) > 1e-3))
def test_to_a_change_of_kit_and_back(name, share):
    figure = figure_of(name, share)
    change = figure.counts.change(figure, RIDER)
    # A time is ridden at the power of the test, which is that of the speed before the change.
    back = figure.counts.figure(figure.acts_on, change, RIDER, DISTANCE)
    assert back == pytest.approx(figure.value, rel=1e-6)


@pytest.mark.parametrize("name", UNITS)
@given(share=st.floats(-0.5, 0.5).filter(lambda share: abs(share) > 1e-3))
def test_a_figure_reads_as_it_is_said(name, share):
    figure = figure_of(name, share)
    read = read_figure(say_figure(figure))
    assert (read.quantity, read.acts_on) == (figure.quantity, figure.acts_on)
    assert read.value == pytest.approx(figure.value, rel=1e-5)
    assert read.distance == figure.distance


@pytest.mark.parametrize("target", TARGETS)
def test_every_unit_that_is_named_can_be_asked_for(target):
    found = read_target(f"{target} @ 45 km/h")
    assert found.counts in UNITS.values()
    assert found.speed == pytest.approx(12.5)
    assert (found.distance > 0) == found.counts.over_distance
