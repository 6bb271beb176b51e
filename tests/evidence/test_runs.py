"""Exposed parts in words, and their drag."""

from __future__ import annotations

import math

import pytest

from optimizer.errors import InputError
from optimizer.evidence.bluff_body import (
    AIR_VISCOSITY,
    Run,
    bluff_drag,
    cylinder_drag_coefficient,
    equal_drag_thickness,
    length_factor,
    shielding,
    strut_drag_coefficient,
)
from optimizer.evidence.priors import Trust
from optimizer.evidence.runs import read_run

CLEAN = Trust(1.0, 0.0)
NEAR = Trust(0.7, 0.35)


def drag(text, near=CLEAN):
    return bluff_drag((read_run(text),), 12.5, near)


@pytest.mark.parametrize(("text", "run"), [
    ("4 x 5 mm x 300 mm @ 60 deg", Run("round", 0.005, 0.3, math.radians(60), 4)),
    ("5 x 300 mm", Run("round", 0.005, 0.3)),
    ("4 cables 5 mm × 30 cm at 60°", Run("round", 0.005, 0.3, math.radians(60), 4)),
    ("2 hoses 5,5 mm x 250 mm bundled",
     Run("round", 0.0055, 0.25, count=2, arrangement="bundled")),
    ("3 x 5 mm x 300 mm behind 20 mm",
     Run("round", 0.005, 0.3, count=3, arrangement="behind", spacing=0.02)),
    ("bottle 74 mm x 200 mm @ 70 deg", Run("bottle", 0.074, 0.2, math.radians(70))),
    ("number plate 15 cm x 18 cm", Run("plate", 0.15, 0.18))])
def test_reads_a_run(text, run):
    found = read_run(text)
    for field in ("shape", "count", "arrangement"):
        assert getattr(found, field) == getattr(run, field)
    for field in ("width", "length", "angle", "spacing"):
        assert getattr(found, field) == pytest.approx(getattr(run, field))


@pytest.mark.parametrize("text", [
    "", "5 mm", "cables", "4 x 5 mm", "0 x 5 mm x 300 mm", "4 x 0 mm x 300 mm",
    "4 x 5 mm x 0 mm", "4 x 5 mm x 300 mm @ 90.5 deg", "4 x 5 mm x 300 mm @ 120 deg",
    "4 bananas 5 mm x 300 mm", "300 mm x 5 mm", "4 x 5 mm x 300 mm behind", "-4 x 5 mm x 300 mm",
    "4 x 5 mm x 300 mm behind 2 mm", "1000000 x 5 mm x 300 mm", "4 x 1,500 mm x 3000 mm",
    "4 x nan mm x 300 mm"])
def test_refuses_what_is_no_run(text):
    with pytest.raises(InputError):
        read_run(text)


def test_arrangements_are_in_their_order():
    """Apart is the most; a bundle, a row and the unknown lie between one and all."""
    one = drag("5 mm x 300 mm").clean
    apart = drag("4 x 5 mm x 300 mm apart").clean
    assert apart == pytest.approx(4 * one)
    for how in ("bundled", "behind 20 mm", "behind 100 mm", ""):
        assert one < drag(f"4 x 5 mm x 300 mm {how}").clean < apart
    assert drag("4 x 5 mm x 300 mm behind 15 mm").clean < (
        drag("4 x 5 mm x 300 mm behind 100 mm").clean)


def test_the_unknown_is_surely_less_sure():
    unknown, apart = drag("4 x 5 mm x 300 mm"), drag("4 x 5 mm x 300 mm apart")
    assert unknown.clean_sd / unknown.clean > 2 * apart.clean_sd / apart.clean


@pytest.mark.parametrize("run", [
    Run("round", 0.0, 0.3), Run("round", 0.005, -0.3), Run("round", 0.005, 0.3, count=0),
    Run("round", 0.005, 0.3, count=2, arrangement="behind", spacing=0.004)])
def test_refuses_a_size_that_no_body_has(run):
    with pytest.raises(InputError):
        bluff_drag((run,), 12.5, CLEAN)


def test_plates():
    one = drag("plate 150 x 180 mm")
    assert one.clean == pytest.approx(0.15 * 0.18 * 1.22)
    assert math.isnan(one.thickness[0])
    assert drag("2 plates 150 x 180 mm apart").clean == pytest.approx(2 * one.clean)
    assert one.clean < drag("2 plates 150 x 180 mm").clean < 2 * one.clean
    assert drag("plate 150 x 180 mm @ 20 deg").clean < 0.4 * one.clean


def test_drag_falls_with_the_angle():
    areas = [drag(f"5 mm x 300 mm @ {angle} deg").clean for angle in (15, 30, 45, 60, 75, 90)]
    assert areas == sorted(areas)


def test_runs_add_up_with_common_doubt():
    one = bluff_drag((Run("round", 0.005, 0.3),), 12.5, NEAR)
    two = bluff_drag((Run("round", 0.005, 0.3),) * 2, 12.5, NEAR)
    assert two.near == pytest.approx(2 * one.near)
    assert two.near_sd == pytest.approx(2 * one.near_sd)
    assert one.near == pytest.approx(0.7 * one.clean)


def test_free_ends_have_less_drag_than_held_ones():
    held = bluff_drag((Run("round", 0.074, 0.2),), 12.5, CLEAN)
    free = bluff_drag((Run("bottle", 0.074, 0.2),), 12.5, CLEAN)
    assert free.clean < held.clean


def test_what_a_coach_reads_about_four_cables():
    # One to four watts at 45 km/h: what the trade says of four exposed cables, common practice,
    # no source; the band here has to meet it.
    found = drag("4 x 5 mm x 300 mm @ 60 deg", NEAR)
    watts = 0.5 * 1.2 * 12.5**3
    assert 1.0 < found.near * watts < 4.0
    assert found.near_sd > 0.4 * found.near


def test_seven_cables_fill_a_bundle_of_three_diameters():
    # Plane geometry: six circles fit round one of their size, and all in a circle of three.
    def endless(text, width):
        """Undo the mean of free and held ends, by which a wide body loses more."""
        return drag(text).clean / (0.5 + 0.5 * float(length_factor(0.3 / width)))

    assert endless("7 x 5 mm x 300 mm bundled", 0.005) == pytest.approx(
        endless("15 mm x 300 mm", 0.015), rel=0.03)
    assert drag("1 x 5 mm x 300 mm bundled").clean == drag("5 mm x 300 mm").clean


def test_a_row_is_its_first_and_what_the_wakes_leave_the_others():
    one = drag("5 mm x 300 mm").clean
    cd = float(cylinder_drag_coefficient(12.5 * 0.005 / AIR_VISCOSITY))
    near, far = (float(shielding(k * 8.0, cd)) for k in (1, 2))
    assert drag("2 x 5 mm x 300 mm behind 40 mm").clean == pytest.approx(one * (1 + near))
    # Deficits of speed in two wakes add by their squares.
    both = math.hypot(1 - math.sqrt(near), 1 - math.sqrt(far))
    assert drag("3 x 5 mm x 300 mm behind 40 mm").clean == pytest.approx(
        one * (1 + near + (1 - both) ** 2))


def test_doubts_of_the_laws_and_of_the_arrangement():
    across, oblique = drag("5 mm x 300 mm apart"), drag("5 mm x 300 mm @ 45 deg apart")
    ends = (across.apart - across.clean) * 2  # from free ends to held ones
    assert across.clean_sd == pytest.approx(math.hypot(0.1 * across.clean, ends / math.sqrt(12)))
    assert drag("5 mm x 300 mm @ 30 deg").clean_sd / drag("5 mm x 300 mm @ 30 deg").clean == (
        pytest.approx(oblique.clean_sd / oblique.clean))
    assert oblique.clean_sd == pytest.approx(math.hypot(
        oblique.clean * math.hypot(0.1, 0.2), ends * oblique.clean / across.clean / math.sqrt(12)))
    near = drag("5 mm x 300 mm", NEAR)
    assert near.near_sd == pytest.approx(math.hypot(0.7 * near.clean_sd, 0.35 * near.clean))
    unknown = drag("3 plates 150 x 180 mm")
    one = drag("plate 150 x 180 mm").clean
    assert unknown.clean == pytest.approx(2 * one)  # from one to three
    assert unknown.apart == pytest.approx(3 * one)


def test_a_section_of_equal_drag_has_it():
    for diameter, speed in ((0.004, 10.0), (0.005, 12.5), (0.008, 16.0)):
        low, high = equal_drag_thickness(diameter, speed)
        wire = float(cylinder_drag_coefficient(speed * diameter / AIR_VISCOSITY)) * diameter
        chord = low * 180**0.25
        assert low * float(strut_drag_coefficient(speed * chord / AIR_VISCOSITY)) == (
            pytest.approx(wire, rel=1e-9))
        assert high * 0.045 == pytest.approx(wire)
    assert drag("5 mm x 300 mm").thickness == equal_drag_thickness(0.005, 12.5)


def test_in_a_dense_row_all_but_the_first_two_are_in_dead_air():
    assert drag("4 x 5 mm x 300 mm behind 6 mm").clean == pytest.approx(
        drag("2 x 5 mm x 300 mm behind 6 mm").clean)
