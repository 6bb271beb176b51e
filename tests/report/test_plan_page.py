"""The report of a plan: its order, its figures, its size."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from optimizer.kit.choice import Alternative
from optimizer.kit.crosswind import OWN_WHEELS
from optimizer.kit.rivals import Rival
from optimizer.report import write_report
from optimizer.report.money import clearly_different
from optimizer.report.plan_page import plan_page
from optimizer.report.words import clock
from tests.report.made_up import EVIL, made_up_result, one_line
from tests.report.test_page import Reader

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def text(result):
    return plan_page(result)


@pytest.fixture(scope="module")
def store(text):
    return json.loads(Reader(text).raw["data"][0])


def words(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", html))


def test_answers_in_the_order_of_the_questions(text):
    places = [text.index(f'<section id="{name}"')
              for name in ("sure", "kit", "ride", "time", "try", "basis")]
    assert places == sorted(places)


def test_the_first_screen_says_it_in_sentences(result, text):
    lead = words(text[text.index('<div class="lead"'):text.index('<section id="sure"')])
    price = result.rideable.price
    low, high = result.spread[0] + price, result.spread[2] + price
    assert f"{clock(result.rideable.finish_time)} by the card" in lead
    assert f"90 % range {clock(low)} to {clock(high)}" in lead
    assert f"The ideal ride takes {clock(result.plan.finish_time)}" in lead
    assert "Spend 430 of 1,500 EUR on Smooth helmet, Light tyres and Tucked cables" in lead
    saved = result.choice.owned.finish_time - result.choice.best.finish_time
    assert f"{saved:.0f} s" in lead
    assert "Deep wheels" in lead
    assert "no ride beats that by more than 0.01 s" in lead
    assert "In 5 blocks: hardest" in lead
    assert len(lead.split()) < 165  # of them 11 on what is bought without being a clear gain
    assert "One power all the way is 40 s slower" in words(text)
    assert "<table" not in lead


def test_many_items_are_named_by_their_largest(result):
    """By what the kit loses without each, not by what each would save alone."""
    names = tuple(item.name for item in result.job.catalogue.items)
    best = replace(result.choice.best, items=names)
    lost = dict(zip(names, (1.0, 2.0, 0.5, 30.0, 20.0), strict=True))
    without = tuple(Alternative(name, best, seconds) for name, seconds in lost.items())
    text = plan_page(replace(result, choice=replace(
        result.choice, best=best, frontier=result.choice.frontier[:1],
        alternatives=without)))
    assert "5 new items, above all Deep wheels, Old shoe covers and Light tyres" in text


def test_money_that_buys_no_certain_gain_is_said(result):
    # What it saves is the difference of the times at every price, not the middle of the draws.
    kit = replace(result.choice.frontier[2], finish_time=result.choice.best.finish_time + 7.04)
    for chance, told in ((0.91, True), (0.89, False)):
        rival = Rival(kit, 0.0, 0.0, 0.0, 0.0, (-2.0, 9.0, 20.0), chance)
        uncertain = replace(result, rivals=(rival,))
        assert clearly_different(uncertain)[2] is told
        lead = words(plan_page(uncertain))
        assert ("The last 240 EUR likely save 7.0 s, but not surely" in lead) is not told
    even = replace(result, rivals=(replace(rival, chance=0.55),))
    assert "The last 240 EUR buy little that is sure" in words(plan_page(even))


def test_nothing_to_buy_is_said(result):
    choice = replace(result.choice, best=result.choice.owned, frontier=(result.choice.owned,))
    text = words(plan_page(replace(result, choice=choice)))
    assert "Buy nothing: no kit for" in text


def test_works_without_the_extras(result):
    bare = replace(result, splits=(), worth=(), sensitivities=())
    flat = np.zeros(len(result.job.course.distance))
    course = replace(result.job.course, latitude=flat, longitude=flat, marks=(), corners=())
    bare = replace(bare, job=replace(bare.job, course=course))
    assert "How to ride it" in plan_page(bare)


def test_colours_are_those_of_the_page(text):
    from optimizer.report.page import asset

    style = asset("page.css")
    light, dark = (set(re.findall(rf"--{name}-([a-z-]+):", style)) for name in ("light", "dark"))
    assert light == dark
    assert len(light) > 5
    pictures = re.findall(r"<svg.*?</svg>", text, re.DOTALL)
    assert len(pictures) > 10
    for picture in pictures:
        assert not re.search(r"#[0-9a-f]{3}|rgb|(?:fill|stroke)=", picture)


def test_the_read_out_holds_the_plan(result, store):
    along = store["along"]
    values = {reading["say"]: reading["values"] for reading in along["readings"]}
    assert along["km"] == pytest.approx(result.plan.distance / 1000, abs=1e-4)
    assert along["time"] == pytest.approx(result.rideable.time, abs=0.051)
    assert values["ideal"] == pytest.approx(result.plan.power, abs=0.051)
    assert values["ride"] == pytest.approx(result.rideable.power, abs=0.051)
    assert values["speed"] == pytest.approx(3.6 * result.rideable.speed, abs=0.051)


def test_the_first_picture_shows_blocks_and_marks(result, text):
    ribbon = text[text.index('<figure id="ribbon"'):text.index('<div class="lead"')]
    for block in result.rideable.blocks:
        assert ribbon.count(f">{block.power:.0f}</text>") >= 3
    for mark in result.job.course.marks:
        assert clock(float(np.interp(mark.distance, result.plan.distance,
                                     result.rideable.time))) in ribbon
        assert mark.name in ribbon
    assert ribbon.count(f">{clock(result.rideable.finish_time)}</text>") == 4


def test_a_card_of_one_line_has_a_picture_and_a_layout_of_its_own(result):
    there = one_line(result)
    text = plan_page(there)
    ribbon = text[text.index('<figure id="ribbon"'):text.index('<div class="lead"')]
    assert ribbon.count(">250\N{NO-BREAK SPACE}W all the way</text>") == 4
    card = text[text.index('<figure id="card"'):]
    assert card.count('<b class="w">250</b>') == 2  # in two sizes
    for mark in result.job.course.marks:  # there is room for the marks and their times
        at = np.interp(mark.distance, result.plan.distance, result.rideable.time)
        assert card.count(f'<td class="where">{mark.name}</td><td class="t">{clock(at)}</td>') == 2


def test_figures_for_hills_are_in_the_first_picture(result):
    text = plan_page(result)
    ribbon = text[text.index('<figure id="ribbon"'):text.index('<div class="lead"')]
    block = result.rideable.blocks[0]
    assert f"climbs {block.climb:.0f}, descents {block.descent:.0f}" in ribbon
    # What climbs ask for is drawn as well: as many heights of the line as the card has figures.
    line = re.search(r'<path d="([^"]*)" class="line plan thin"', ribbon)[1]
    heights = {point.split(",")[1] for point in line.removeprefix("M").split()}
    assert len(heights) == len(set(result.rideable.asked))


def test_the_items_of_the_best_kit_are_counted_as_they_are_listed(result):
    catalogue = result.job.catalogue
    some = [replace(item, owned=k == 0) for k, item in enumerate(catalogue.items)]
    kit = replace(result.choice.best, items=tuple(item.name for item in some))
    text = words(plan_page(replace(
        result, job=replace(result.job, catalogue=replace(catalogue, items=tuple(some))),
        choice=replace(result.choice, best=kit))))
    paid = sum(item.cost > 0 for item in some[1:])
    free = len(some) - 1 - paid
    each = f"{paid} to pay for and 1 owned" if not free else (
        f"{paid} to pay for, {free} free and 1 owned")
    assert f"{len(some)} items, {each}." in text


def test_the_range_is_about_the_time_that_is_stated(result, text):
    said = words(text)
    assert f"on which the card takes {clock(result.rideable.finish_time)}: one in twenty" in said
    assert "half of them" not in said


def test_every_input_is_said(result, text):
    said = words(text)
    for figure in ("71.0 kg", "262 ± 10 W", "18.5 ± 4.1 kJ", "0.248 ± 0.013 m²", "20.00 km",
                   "± 2.3 m", "18 °C", "1009 hPa", "60 %", "18 km/h from south-west", "dry",
                   "2031-06-07 09:30", "0.0046", "400, 1", "course.gpx", "sha256 0123abcd",
                   "points closer than 1 m merged", "Generic time trial rules", "numpy"):
        assert figure in said, figure
    for line in (*result.job.assumptions, *result.job.rider.assumed, *result.job.course.warnings):
        assert line in said


def test_cautions_stand_on_the_page(text):
    for word in ("marshals", "qualified mechanic", "descents", "doctor", "brakes", "heat"):
        assert word in text


def test_names_from_files_are_harmless(text):
    reader = Reader(plan_page(made_up_result(EVIL, EVIL)))
    assert reader.named("img") == []
    assert len(reader.named("script")) == len(Reader(text).named("script"))


def test_all_that_was_understood_of_the_files_is_on_the_page(result):
    notes = tuple(f"kit.csv, row {k}: read as {k} EUR" for k in range(30))
    page = words(plan_page(replace(result, job=replace(result.job, notes=notes))))
    assert "How your files were read" in page
    assert all(note in page for note in notes)
    bare = words(plan_page(replace(result, job=replace(result.job, notes=()))))
    assert "How your files were read" not in bare


def test_small(result, tmp_path):
    # How soon it is written: tests/benchmarks/report_speed.py.
    path = write_report(result, tmp_path / "report.html")
    assert path.stat().st_size < 800_000  # the page may be 2.5 MB; its planner is a part


def test_same_bytes_in_another_process(text):
    script = ("import sys; sys.path.insert(0, '.')\n"
              "from tests.report.made_up import made_up_result\n"
              "from optimizer.report.plan_page import plan_page\n"
              "sys.stdout.buffer.write(plan_page(made_up_result()).encode())")
    done = subprocess.run([sys.executable, "-c", script], cwd=ROOT, check=True,
                          capture_output=True, env={**os.environ, "PYTHONHASHSEED": "7"})
    assert done.stdout.decode() == text


def test_the_bikes_own_wheels_are_no_item_that_was_not_chosen(result):
    windy = replace(result, choice=replace(result.choice, left_out=(
        *result.choice.left_out, (OWN_WHEELS, "above their limit"))))
    lead = words(plan_page(windy)).split("Not chosen :")[1].split(".")[0]
    assert lead == words(plan_page(result)).split("Not chosen :")[1].split(".")[0]


def test_what_the_efforts_say_against_the_rider_stands_among_the_warnings(result):
    said = "205 W over 12 min is 20 W below the curve"
    rider = replace(result.job.rider, warnings=(said,))
    text = words(plan_page(replace(result, job=replace(result.job, rider=rider))))
    assert said in text
