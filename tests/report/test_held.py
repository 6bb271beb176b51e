"""How often the card is too hard stands beside its time: on page, card and terminal."""

import math
from dataclasses import replace

import numpy as np
import pytest

from optimizer.cli._terminal import show
from optimizer.cli.plan import _tell
from optimizer.job.plans import as_ridden
from optimizer.job.values import Risk
from optimizer.pacing import Realism, realism
from optimizer.report.card import card_lines, card_page, day_words, figures
from optimizer.report.held import risk_rule
from optimizer.report.plan_page import plan_page
from tests.report.made_up import made_up_result, one_line
from tests.report.test_card import said

SAFE = Risk(0.44, 0.46, 0.0, 102.0, 0.1, 231.0)


@pytest.fixture
def result():
    return replace(made_up_result(), risk=SAFE)


def test_the_risk_is_said_beside_the_time_everywhere(result, capsys):
    less = result.plan.mean_power - 231.0
    words = f"Too hard to hold on 44 days in 100; with {less:.0f} W less, on at most 10."
    page = said(plan_page(result))
    assert page.index('<p class="finish">') < page.index(words) < page.index('id="ribbon"')
    assert said(card_page(result)).count(words) == 2  # on both sizes
    _tell(result)
    out = " ".join(capsys.readouterr().out.split())
    assert out.index("44 days in 100") < out.index("Spend ")
    assert f"averages {less:.0f} W less and takes" in out
    assert f"Ride {result.rideable.mean_power:.0f} W on average." in out


@pytest.mark.parametrize("risk", [
    replace(SAFE, chance=0.08), replace(SAFE, safe_power=math.nan)])
def test_no_safer_power_is_named_where_none_is_needed_or_known(result, risk):
    rule = risk_rule(replace(result, risk=risk))
    assert rule == f"Too hard to hold on {100 * risk.chance:.0f} days in 100."
    assert not risk_rule(replace(result, risk=None))


def test_the_terminal_has_the_powers_of_every_line(result, capsys):
    _tell(result)
    show(card_lines(result))
    out = capsys.readouterr().out
    table = out[out.index("The card\n"):]
    for block in result.rideable.lines:
        for _, power in figures(block):
            assert f"{power:.0f} W" in table
    _tell(one_line(result, climb=270.0, descent=210.0))
    out = " ".join(capsys.readouterr().out.split())
    assert "The card has one line, climbs 270 W, flat 250 W, descents 210 W, and is" in out


def test_what_is_set_beside_studies_is_the_ride_by_the_card(result):
    card = result.rideable
    coasting = replace(card, power=np.where(np.arange(len(card.power)) < 40, 0.0, card.power))
    found = realism(as_ridden(result.plan, coasting), result.day.rider)
    assert found.coasting == pytest.approx(card.time[40] / card.time[-1], abs=1e-3)


def test_the_card_of_a_race_morning_names_wind_and_start(result):
    # 4 m/s to the east and 3 to the north: 5 m/s or 18 km/h, from 180 + atan(4 / 3) degrees.
    assert day_words(result) == "Wind 18 km/h from 233°, start 09:30"


def test_the_limit_that_ends_the_ride_is_named_with_one_figure(result):
    found = Realism(0.1, 231.8, 239.4, 232.2, 0.9, 0.0, 0.0)
    page = said(plan_page(replace(result, realism=found)))
    assert page.count("in these positions; this limits the ride") == 1
    assert "232 W in the positions ridden" in page
    assert "239 W" not in page
    page = said(plan_page(replace(result, realism=replace(found, power_mean=200.0))))
    assert "in these positions; this limits the ride" not in page


def test_the_reserve_limits_the_ride_only_where_the_ideal_ride_uses_it_up(result):
    found = Realism(0.1, 231.8, 239.4, 232.2, 0.9, 0.0, 0.0)
    whole = float(result.rideable.reserve[0])

    def page(ideal, card):
        def left(share):
            return np.linspace(whole, share * whole, len(result.plan.reserve))
        return said(plan_page(replace(
            result, realism=found, plan=replace(result.plan, reserve=left(ideal)),
            rideable=replace(result.rideable, reserve=left(card)))))
    assert "the ideal ride uses all of it" in page(0.0, 0.1)
    assert "not what limits the ride" in page(0.8, 0.8)
    near = page(0.05, 0.1)
    assert "the ideal ride uses all of it" not in near
    assert "not what limits the ride" not in near


def test_a_reserve_that_came_back_on_the_way_down_was_not_left_unused(result):
    found = Realism(0.1, 231.8, 239.4, 232.2, 0.9, 0.0, 0.0)
    whole, steps = float(result.rideable.reserve[0]), len(result.plan.reserve)

    def page(least):
        back = np.interp(np.arange(steps), [0, steps // 2, steps - 1],
                         [whole, result.day.rider.reserve_floor + least * whole, 0.6 * whole])
        return said(plan_page(replace(
            result, realism=found, plan=replace(result.plan, reserve=back, seconds_per_effort=0.1),
            rideable=replace(result.rideable, reserve=back))))
    empty = page(0.0)
    assert "the ideal ride uses all of it" in empty
    assert "are left at the finish" not in empty
    plenty = page(0.4)
    assert "this is not what limits the ride" in plenty
    assert "are left at the finish: the effort that can be held for so long" in plenty


def test_fewer_days_than_one_are_not_also_said_to_be_the_most(result):
    page = said(plan_page(replace(result, risk=replace(SAFE, other=0.001))))
    assert "fails on fewer than 1 day in 100" in page
    assert "at most fewer" not in page
    assert "fails on at most 10 days in 100" in said(plan_page(result))
