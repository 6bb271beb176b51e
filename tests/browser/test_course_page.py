"""The page of `kitpace course` in a browser."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from optimizer.course import Mark
from optimizer.job.start_times import StartTime
from optimizer.report.course_page import course_page
from optimizer.scenario import read_scenario
from tests.browser.conftest import axe_findings

pytestmark = pytest.mark.browser
DEMO = Path(__file__).parents[2] / "courses" / "quern-pass" / "scenario.toml"


@pytest.fixture(scope="module")
def page_file(tmp_path_factory):
    job = read_scenario(DEMO)
    hostile = replace(job.course, marks=(*job.course.marks, Mark("</script><b>", 19_000.0)))
    six = datetime(2030, 6, 16, 6)  # noqa: DTZ001 - local time
    starts = tuple(StartTime(six + timedelta(hours=k), 2400.0 + 20 * k, 0.5, 288.0, k > 2)
                   for k in range(4))
    path = tmp_path_factory.mktemp("course") / "course.html"
    path.write_text(course_page(hostile, job.conditions, starts), encoding="utf-8")
    return path


@pytest.mark.parametrize("width", [1280, 390])
def test_opens_offline_without_a_complaint_and_fits(open_page, page_file, width):
    with open_page(page_file, width=width) as page:
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        labels = ", ".join(page.locator("svg.map .mark text").all_text_contents()).split(", ")
        assert sorted(labels) == sorted(["Start", "Finish", *"ABCDEF"])  # five of the demo, ours


def test_one_place_is_shown_everywhere(open_page, page_file):
    with open_page(page_file) as page:
        slider = page.locator("#place")
        slider.focus()
        before = page.locator("#place-says").inner_text()
        for _ in range(5):
            page.keyboard.press("PageUp")
        after = page.locator("#place-says").inner_text()
    assert after != before
    assert "height" in after
    assert "grade over 100 m" in after


@pytest.mark.parametrize(("width", "dark"), [(1280, False), (390, True)])
def test_axe_has_no_finding(open_page, page_file, width, dark):
    with open_page(page_file, width=width, dark=dark) as page:
        assert axe_findings(page) == []


def test_cautions_are_on_paper_and_no_heading_stands_alone(open_page, page_file):
    with open_page(page_file) as page:
        page.emulate_media(media="print")
        assert "Corner and descent speeds are a model's" in page.locator("footer").inner_text()
        assert page.locator("footer").is_visible()
        assert page.evaluate("""() => [...document.querySelectorAll('main > section')]
          .filter((s) => s.offsetHeight && ![...s.children].some(
            (c) => c.tagName !== 'H2' && c.offsetHeight)).map((s) => s.id)""") == []
