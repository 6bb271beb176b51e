"""Numbers and units at the edge."""

from __future__ import annotations

import pytest
from scipy import constants

from optimizer.errors import InputError
from optimizer.evidence.quantities import read_quantity, tidy


@pytest.mark.parametrize(("text", "dimension", "value"), [
    ("45 km/h", "speed", 45 * constants.kmh), ("28 mph", "speed", 28 * constants.mph),
    ("45kph", "speed", 45 * constants.kmh), ("12,5 m/s", "speed", 12.5),
    ("250 W", "power", 250.0), ("0.25 kW", "power", 250.0), ("1 hp", "power", constants.hp),
    ("40 km", "length", 40_000.0), ("25 mi", "length", 25 * constants.mile),
    ("80 kg", "mass", 80.0), ("176 lb", "mass", 176 * constants.lb),
    ("45\u00a0km/h", "speed", 12.5)])
def test_units_agree_with_scipy_constants(text, dimension, value):
    assert read_quantity(text, dimension) == pytest.approx(value, rel=1e-5)


@pytest.mark.parametrize(("text", "problem"), [
    ("0 km/h", "zero or less"), ("-5 km/h", "zero or less"), ("45", "not a number with a unit"),
    ("45 W", "a power, and a speed"), ("45 furlongs/lightyear", "other quantity|known unit"),
    ("fast", "not a number"), ("1,500 m/s", "thousands")])
def test_refuses(text, problem):
    with pytest.raises(InputError, match=problem):
        read_quantity(text, "speed", "--speed")


def test_tidy_undoes_a_spreadsheet():
    assert tidy("\ufeff saves\u00a030\u202fg  ") == "saves 30 g"
    assert tidy("\u22120,004 m2") == "-0,004 m2"


def test_the_usual_units_are_those_of_pint():
    import pint

    from optimizer.evidence.quantities import _USUAL

    registry = pint.UnitRegistry()
    for unit, (factor, dimension) in _USUAL.items():
        quantity = registry.Quantity(1.0, unit)
        assert quantity.to_base_units().magnitude == pytest.approx(factor, rel=1e-14)
        assert quantity.check("[]" if dimension == "angle" else f"[{dimension}]")
