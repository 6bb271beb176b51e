"""What a season is said to save: against what each rider owns, whoever has it in the season."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from optimizer.evidence import Effect
from optimizer.kit import Catalogue, Item
from optimizer.report.season_page import frontier_table, lead, rider_sentences
from optimizer.report.words import days
from optimizer.seasons import run_season
from optimizer.seasons.build import Stock, season_of
from optimizer.seasons.solve import solve_season
from optimizer.seasons.values import Entry, Money
from tests.season.invented_seasons import FIRST, job_of, linear_times


@pytest.fixture(scope="module")
def lent():
    """Ann owns the only helmet; Ben's race of the same day counts three times."""
    job = job_of(Catalogue((Item("helmet", "helmet", 200.0),)),
                 (Effect("helmet", drag_area=np.array([-0.005])),))
    entries = [Entry("Ann", "here", FIRST, FIRST, 1.0, job),
               Entry("Ben", "there", FIRST, FIRST, 3.0, job)]
    return run_season(season_of(
        "club", "EUR", entries, [Money(None, 0.0)], {"Ann": ["helmet"]},
        {"helmet": Stock(lent=True, most=0)}, least_gain=0.0))


def test_what_a_rider_owns_and_lends_is_in_their_current_kit(lent):
    ann, ben = lent.rides
    assert (ann.items, ann.before) == ((), ("helmet",))
    assert (ben.items, ben.before) == (("helmet",), ())
    assert ann.saved < -1.0
    # Both have the same course and body: what one loses is what the other wins.
    assert ann.saved == pytest.approx(-ben.saved, abs=0.01)
    assert lent.saved == pytest.approx(2.0 * ben.saved, abs=0.02)


def test_the_loan_has_its_price(lent):
    ann, ben = lent.rides
    ((item, whom, cost),) = ann.lends
    assert (item, whom) == ("helmet", "Ben")
    assert cost == pytest.approx(-ann.saved, rel=0.05)
    assert ben.lends == ()


def test_sharing_alone_saves(lent):
    assert lent.frontier[0].saved == pytest.approx(lent.saved, abs=0.02)
    assert "sharing what there is saves" in lead(lent)[0]


def test_what_is_ones_own_needs_no_days_to_hand_over():
    """A race a day later: what is lent is still away then, and what is one's own is not."""
    item = Item("wheel", "wheels", 100.0)
    job = job_of(Catalogue((item,)), (Effect("wheel", drag_area=np.array([-0.009])),))
    for lent, second, rides in ((False, "Ann", 2), (True, "Ben", 1)):
        entries = [Entry(rider, rider, day, day, 1.0, job) for rider, day in (
            ("Ann", FIRST), (second, FIRST + timedelta(days=1)))]
        season = season_of("days", "EUR", entries, [Money(None, 100.0)], {},
                           {"wheel": Stock(lent=lent)}, least_gain=0.0, handover=1)
        _, best, _ = solve_season(season, times=linear_times(season, [1.0, 1.0]))
        assert sum(map(bool, best.sets)) == rides


@pytest.fixture(scope="module")
def hopeless():
    """Ann may beat her time; Ben's is out of reach, he owns a wheel, and a helmet is for sale."""
    job = job_of(Catalogue((Item("wheel", "wheels", 300.0), Item("helmet", "helmet", 200.0))),
                 (Effect("wheel", drag_area=np.array([-0.005])),
                  Effect("helmet", drag_area=np.array([-0.006]))))
    plain = run_season(season_of("one", "EUR", [Entry("Ann", "here", FIRST, FIRST, 1.0, job)],
                                 [Money(None, 0.0)], {}, {}, least_gain=0.0))
    entries = [Entry("Ann", "here", FIRST, FIRST, 1.0, job, plain.rides[0].time + 60.0),
               Entry("Ben", "there", FIRST, FIRST, 1.0, job, 60.0)]
    return run_season(season_of("club", "EUR", entries, [Money(None, 200.0)], {"Ben": ["wheel"]},
                                {}, least_gain=0.0), by="target")


def test_a_target_out_of_reach_is_said_and_takes_nothing_off_a_rider(hopeless):
    ann, ben = hopeless.rides
    assert "wheel" in ben.items
    assert ben.saved >= 0.0
    assert hopeless.saved > 1.0  # the money buys seconds where it buys no chance
    assert ben.chance == 0.0 < ann.chance <= 1.0
    assert ann.fastest is None
    assert ben.fastest <= ben.time + 0.1
    (said,) = [one for one in lead(hopeless) if "out of reach" in one]
    assert said.startswith("1:00 is out of reach for Ben in there: best ")
    first, second = rider_sentences(hopeless)
    assert f"on {days(ann.chance)}." in first
    assert "1:00 in there on fewer than 1 day in 100" in second


def test_another_criterion_has_its_season_in_the_table_of_seconds(hopeless):
    (chosen,) = [point for point in hopeless.frontier if point.chosen]
    assert (chosen.budget, chosen.spend) == (200.0, hopeless.spend)
    assert chosen.saved == pytest.approx(hopeless.saved, abs=1e-6)
    table = frontier_table(hopeless)
    assert [row[4] for row in table.rows].count("yes") == 1
    assert "has, race by race, the best chance to beat the target" in table.caption
