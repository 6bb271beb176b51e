from __future__ import annotations

import numpy as np
import pytest

from optimizer.course.cleaning import Log
from optimizer.course.heights import road_heights
from tests.course.drawn import on_ellipsoid


def heights(where, height, skip=(), penalty=None, place=None, step=10.0):
    """Heights of a straight road, or of one whose nodes lie at `place` (east, north)."""
    nodes = np.linspace(0.0, where[-1], round(where[-1] / step) + 1)
    east, north = place(nodes) if place else (nodes, np.zeros(len(nodes)))
    log = Log("file.gpx", frozenset(skip))
    out = road_heights(where, np.asarray(height, float), nodes, *on_ellipsoid(east, north),
                       penalty, log)
    return nodes, out, log


def count(log, option):
    return sum(c.count for c in log.corrections if c.option == option)


def ascent(z):
    return np.maximum(np.diff(z), 0).sum()


WAVES = [(900.0, 6.0), (2300.0, 15.0)]


def waves(s):
    return 200.0 + sum(a * np.sin(2 * np.pi * s / length) for length, a in WAVES)


def test_noise_does_not_inflate_the_ascent():
    """Raw ascent of noise alone is (N - 1) σ/√π (exact for independent normal noise)."""
    rng = np.random.default_rng(0)
    s = np.arange(0.0, 20_000.0, 5.0)
    noise = 1.5 * rng.standard_normal(len(s))
    raw = ascent(noise)
    assert raw == pytest.approx((len(s) - 1) * 1.5 / np.sqrt(np.pi), rel=0.03)
    _, flat, _ = heights(s, 100.0 + noise)
    assert ascent(flat.values) < 0.01 * raw
    nodes, wavy, _ = heights(s, waves(s) + noise)
    assert ascent(wavy.values) == pytest.approx(ascent(waves(nodes)), rel=0.02)


@pytest.mark.parametrize("sd", [0.2, 1.0, 3.0])
def test_the_stated_errors_are_the_true_ones(sd):
    rng = np.random.default_rng(1)
    s = np.arange(0.0, 30_000.0, 8.0)
    nodes, out, _ = heights(s, waves(s) + sd * rng.standard_normal(len(s)))
    assert out.noise_sd == pytest.approx(sd, rel=0.1)
    true = np.std(out.values - waves(nodes))
    assert 0.6 * true < out.height_sd < 1.6 * true
    error = out.values - waves(nodes)
    slope = np.std(error[10:] - error[:-10]) / 100.0
    assert 0.5 * slope < out.grade_sd < 1.7 * slope


def test_noise_that_hangs_together_is_seen_as_noise():
    """A terrain model of 60 m cells, drawn through by points every 5 m."""
    rng = np.random.default_rng(2)
    s = np.arange(0.0, 20_000.0, 5.0)
    cells = np.arange(0.0, 20_060.0, 60.0)
    model = np.interp(s, cells, waves(cells) + 3.0 * rng.standard_normal(len(cells)))
    nodes, out, _ = heights(s, model)
    assert ascent(model) > 2.0 * ascent(waves(s))
    assert ascent(out.values) == pytest.approx(ascent(waves(nodes)), rel=0.05)
    assert 1.5 < out.noise_sd < 4.0


def test_clean_heights_stay_as_they_are():
    s = np.arange(0.0, 10_000.0, 10.0)
    nodes, out, log = heights(s, waves(s))
    assert out.values == pytest.approx(waves(nodes), abs=0.05)
    assert not log.warnings


def test_stairs_become_slopes():
    s = np.arange(0.0, 20_000.0, 10.0)
    nodes, out, log = heights(s, 5.0 * np.round(waves(s) / 5.0))
    assert count(log, "steps") > 50
    # Little more than half of what the rounding alone makes, 5 m / √12.
    assert np.sqrt(np.mean((out.values - waves(nodes)) ** 2)) < 0.6 * 5 / np.sqrt(12)
    grade, true = np.diff(out.values) / 10, np.diff(waves(nodes)) / 10
    assert np.abs(grade).max() < 1.25 * np.abs(true).max()
    assert 0.9 < ascent(out.values) / ascent(waves(nodes)) < 1.03
    assert any("steps of 5 m" in warning for warning in log.warnings)


def test_rounded_hilltops_keep_their_height():
    """The parabola through the treads' edges: exact for a parabola."""
    s = np.arange(0.0, 4000.0, 2.0)
    top = 107.9 - 4e-5 * (s - 2000.0) ** 2
    _, out, _ = heights(s, 5.0 * np.round(top / 5.0))
    assert out.values.max() == pytest.approx(107.9, abs=0.6)


def test_spikes_are_dropped():
    s = np.arange(0.0, 5000.0, 10.0)
    z = waves(s)
    z[[100, 230, 231]] += [60.0, -40.0, -45.0]
    nodes, out, log = heights(s, z)
    assert count(log, "spikes") == 3
    assert out.values == pytest.approx(waves(nodes), abs=0.5)


def test_a_steep_real_hill_is_no_spike_and_no_bridge():
    """20 % up and down again, as the steepest racing hills are."""
    s = np.arange(0.0, 3000.0, 10.0)
    hill = np.interp(s, [0, 1000, 1400, 1800, 3000], [100, 100, 180, 100, 100])
    nodes, out, log = heights(s, hill)
    assert not count(log, "spikes") + count(log, "bridges")
    assert out.values.max() > 175.0
    del nodes


@pytest.mark.parametrize(("width", "depth"), [(80.0, -18.0), (300.0, -60.0), (700.0, 160.0)])
def test_bridges_and_tunnels_are_levelled(width, depth):
    """A valley under a bridge, a hill over a tunnel, with the flanks of a terrain model."""
    s = np.arange(0.0, 6000.0, 10.0)
    road = 200.0 + 0.01 * s
    off = depth * np.clip(1.4 * (1 - np.abs(s - 3000.0) / (width / 2)), 0, 1)
    rng = np.random.default_rng(0)
    nodes, out, log = heights(s, road + off + 0.2 * rng.standard_normal(len(s)))
    assert count(log, "bridges") == 1
    assert out.values == pytest.approx(200.0 + 0.01 * nodes, abs=3.0)
    assert np.abs(np.diff(out.values) / 10).max() < 0.08
    if width < 100.0:
        return  # so short a dip is smoothed away as noise even if no bridge is looked for
    _, kept, _ = heights(s, road + off, skip={"bridges"})
    assert np.abs(kept.values - (200.0 + 0.01 * nodes)).max() > 0.6 * abs(depth)


def test_a_barometer_that_drifts_on_a_loop_is_evened_out():
    around = 12_000.0
    s = np.arange(0.0, around + 1.0, 10.0)
    truth = 200.0 + 10 * np.sin(2 * np.pi * s / around) + 5 * np.cos(6 * np.pi * s / around)

    def circle(nodes):
        angle = 2 * np.pi * nodes / around
        return around / 2 / np.pi * np.sin(angle), around / 2 / np.pi * (1 - np.cos(angle))

    nodes, out, log = heights(s, truth + 9.0 * s / around, place=circle)
    assert count(log, "drift") >= 1
    assert abs(out.values[-1] - out.values[0]) < 1.5
    shift = out.values - np.interp(nodes, s, truth)
    assert np.std(shift) < 0.5


def test_out_and_back_gets_one_height_a_place():
    half = 6000.0
    s = np.arange(0.0, 2 * half + 1.0, 10.0)
    there = np.minimum(s, 2 * half - s)
    rng = np.random.default_rng(4)
    drift = np.cumsum(rng.standard_normal(len(s))) * 0.12
    truth = 100.0 + 8 * np.sin(there / 500.0)

    def back(nodes):
        return np.minimum(nodes, 2 * half - nodes), np.where(nodes > half, 5.0, 0.0)

    _, raw, _ = heights(s, truth + drift, place=back, skip={"drift"})
    nodes, out, _ = heights(s, truth + drift, place=back)
    assert np.abs(raw.values - raw.values[::-1]).max() > 3.0
    assert np.sqrt(np.mean((out.values - out.values[::-1]) ** 2)) < 0.6
    del nodes


def test_legs_of_a_hairpin_keep_their_heights():
    """Two legs 12 m apart and 40 m different in height: a hillside, not a drift."""
    s = np.arange(0.0, 1601.0, 10.0)
    climb = 100.0 + 0.09 * s

    def legs(nodes):
        return np.minimum(nodes, 1600.0 - nodes), np.where(nodes > 800.0, 12.0, 0.0)

    nodes, out, log = heights(s, climb, place=legs)
    assert out.values == pytest.approx(100.0 + 0.09 * nodes, abs=0.3)
    del log


def test_a_gap_is_crossed_in_a_straight_line():
    s = np.concatenate([np.arange(0, 2000.0, 10.0), np.arange(6000.0, 8000.0, 10.0)])
    z = np.where(s < 3000, 100 + 0.08 * s, 100 + 0.08 * 2000 - 0.08 * (s - 6000.0))
    nodes, out, _ = heights(s, z)
    inside = (nodes > 2200) & (nodes < 5800)
    assert out.values[inside] == pytest.approx(260.0, abs=8.0)


def test_fixed_penalty_and_switching_off():
    rng = np.random.default_rng(5)
    s = np.arange(0.0, 5000.0, 10.0)
    z = waves(s) + rng.standard_normal(len(s))
    bends = [np.abs(np.diff(heights(s, z, penalty=p)[1].values, 2)).sum()
             for p in (1.0, 100.0, 1e4)]
    assert bends[0] > 2 * bends[1] > 3 * bends[2]
    nodes, raw, log = heights(s, z, skip={"heights", "drift", "spikes", "bridges", "steps"})
    assert raw.values == pytest.approx(np.interp(nodes, s, z))
    assert not log.corrections


def test_the_grid_hardly_matters():
    """Twice as fine a grid gives the same road."""
    rng = np.random.default_rng(6)
    s = np.arange(0.0, 10_000.0, 8.0)
    z = waves(s) + 0.8 * rng.standard_normal(len(s))
    coarse_nodes, coarse, _ = heights(s, z)
    nodes, fine, _ = heights(s, z, step=5.0)
    assert np.interp(coarse_nodes, nodes, fine.values) == pytest.approx(coarse.values, abs=0.25)


def test_what_no_road_can_be_is_doubted():
    s = np.arange(0.0, 3000.0, 10.0)
    cliff = np.interp(s, [0, 1500, 1600, 3000], [100, 100, 145, 145])
    _, _, log = heights(s, cliff)
    assert any("jump by" in warning for warning in log.warnings)
