"""Nothing on a card is ever hidden: not by its edge, not on paper."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from optimizer.cli import group
from optimizer.course import Mark
from optimizer.report import write_card
from tests.report.made_up import made_up_result, one_line

COURSES = Path(__file__).parents[2] / "courses"
LONG = "Upper Wolstonbridgeworth-under-Hollingsheaddown"  # invented

# What sticks out of a card, or of an element on it that cuts off what does not fit.
HIDDEN = """() => [...document.querySelectorAll('.card')].flatMap((card) => {
  const out = [];
  if (card.scrollHeight > card.clientHeight || card.scrollWidth > card.clientWidth) {
    out.push(`${card.className}: ${card.scrollHeight} px in ${card.clientHeight}`);
  }
  const box = card.getBoundingClientRect();
  const walk = document.createTreeWalker(card, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const holder = walk.currentNode.parentElement;
    const range = document.createRange();
    range.selectNodeContents(walk.currentNode);
    for (const line of range.getClientRects()) {
      if (line.bottom > box.bottom + 1 || line.right > box.right + 1) {
        out.push(walk.currentNode.textContent);
      }
    }
    for (let at = holder; at !== card; at = at.parentElement) {
      if (getComputedStyle(at).overflow !== 'visible' && (
        at.scrollHeight > at.clientHeight + 1 || at.scrollWidth > at.clientWidth)) {
        out.push(`cut: ${walk.currentNode.textContent}`);
      }
    }
  }
  return out;
})"""


@pytest.fixture(scope="module")
def result():
    return made_up_result()


def crowded(result, lines):
    """Long words, hard wind, wheels with a limit, rough road, ten marks and many positions."""
    course, ridden, day = result.job.course, result.rideable, result.day
    middle = 0.5 * (course.distance[:-1] + course.distance[1:])
    air = replace(result.job.conditions, wind_east=np.array([[14.2]]))
    course = replace(
        course, name=f"{LONG} hill circuit", rolling_factor=np.where(middle % 4000 < 900, 2.0, 1.0),
        marks=tuple(Mark(f"{LONG} {k}", 1900.0 * k) for k in range(1, 11)))
    edges = np.linspace(0.0, course.length, lines + 1)
    blocks = tuple(replace(
        ridden.blocks[k % 4], start=a, end=b, line=k, place=f"{LONG} {k}",
        comes="climb, 1.3 km at 7 %, then descent, 0.9 km at 5 %, then flat, 0.7 km")
        for k, (a, b) in enumerate(pairwise(edges)))
    nodes = result.plan.distance[:-1]
    problem = replace(result.plan.problem, position=((nodes // 900.0) % 2).astype(np.int64))
    kit = replace(result.job.catalogue, items=tuple(
        replace(item, crosswind_limit=(30.0 + k) / 3.6)
        for k, item in enumerate(result.job.catalogue.items)))
    return replace(
        result, rideable=replace(ridden, blocks=blocks), day=replace(day, conditions=air),
        plan=replace(result.plan, problem=problem),
        job=replace(result.job, course=course, conditions=air, catalogue=kit, baseline=replace(
            result.job.baseline, crosswind_limit=4.0)))


def hidden(open_page, path, width, height):
    found = []
    with open_page(path, width=width, height=height) as page:
        for media in ("screen", "print"):
            page.emulate_media(media=media)
            found += page.evaluate(HIDDEN)
        pages = len(re.findall(rb"/Type\s*/Page[^s]", page.pdf(prefer_css_page_size=True)))
    return found, pages


@pytest.mark.parametrize(("width", "height"), [(1200, 900), (390, 844)])
def test_nothing_on_a_card_is_hidden(open_page, result, tmp_path, width, height):
    cards = {"plain": result, "one": one_line(result),
             "hills": one_line(result, climb=270.0, descent=210.0)}
    cards |= {f"crowded{lines}": crowded(result, lines) for lines in (1, 2, 4, 8, 14)}
    for name, one in cards.items():
        path = write_card(one, tmp_path / f"{name}.html", change="12 s slower than yesterday.")
        found, pages = hidden(open_page, path, width, height)
        assert found == [], name
        # A pocket and a top tube; what a crowded one has too much goes on on the back.
        assert pages == 2 if not name.startswith("crowded") else 2 <= pages <= 8, name


def test_cautions_come_before_lists_of_places(open_page, result, tmp_path):
    path = write_card(crowded(result, 8), tmp_path / "card.html")
    with open_page(path) as page:
        for card in page.locator(".card").all():
            words = card.inner_text().replace("\u00a0", " ")
            places = [words.index(text) for text in (
                "law, marshals", "Do not ride these wheels", "Wind up to", "Cross wind over",
                "Hands at the brakes", "Brakes on", "Rough road", "Aero, but")]
            assert places == sorted(places)


@pytest.mark.long
@pytest.mark.parametrize("name", ["petrel-flats", "quern-pass", "tarn-loop"])
@pytest.mark.parametrize("wind", ["10@250", "45@20"])
def test_nothing_on_the_card_of_a_demo_is_hidden(open_page, tmp_path, name, wind):
    path = tmp_path / "card.html"
    done = CliRunner().invoke(group, [
        "plan", str(COURSES / name / "scenario.toml"), "--wind", wind, "--card", str(path),
        "--out", str(tmp_path / "report.html")])
    assert done.exit_code == 0, done.output
    found, pages = hidden(open_page, path, 1200, 900)
    assert (found, pages) == ([], 2)
