"""Every kind of page by axe, all rules, at two widths and in dark mode."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from optimizer.batch.outcome import Outcome
from optimizer.batch.table import table_page
from optimizer.cli import group
from optimizer.course import read_course
from optimizer.job.values import Risk
from optimizer.report import write_card, write_report
from tests.browser.conftest import axe_findings, with_font
from tests.later import later
from tests.report.made_up import made_up_result, one_line
from tests.report.spaces import loose_units

pytestmark = pytest.mark.browser
DEMO = Path(__file__).parents[2] / "courses" / "petrel-flats"
LONG = "W" * 60
CLUB = f"""\
name = "{LONG}"
budget = 300
[[rider]]
name = "{LONG}"
file = "race/rider.toml"
[[rider]]
name = "Ben"
file = "race/rider.toml"
[[race]]
name = "Spring {LONG}"
scenario = "race/scenario.toml"
date = 2031-05-04
[[race]]
name = "Autumn"
scenario = "race/scenario.toml"
date = 2031-09-07
riders = ["Ben"]
"""


def squad() -> str:
    """Index of an invented squad."""
    return table_page("Squad", [
        Outcome(f"{course}, {rider}, {wind}", "cases/x", course, rider, wind, start + more,
                0.97 * start, 1.03 * start + 200.0, 0.01, 270.0, 0.0, "EUR")
        for course, start in (("Fen circuit", 3400.0), ("Moor road", 2500.0))
        for rider, more in (("Robin Vale", 0.0), (LONG, 90.0)) for wind in ("10@240", "25@300")])


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pages")
    result = replace(made_up_result(LONG, LONG), risk=Risk(0.44, 0.46, 0.0, 102.0, 0.1, 231.0))
    write_report(result, folder / "plan.html", change="12 s slower than yesterday.")
    write_card(result, folder / "card.html", change="12 s slower than yesterday.")
    hilly = one_line(result, climb=270.0, descent=205.0)
    write_report(hilly, folder / "one-line.html")
    write_card(hilly, folder / "one-line-card.html")
    write_card(one_line(result), folder / "one-power-card.html")
    (folder / "batch.html").write_text(squad(), encoding="utf-8")
    for arguments in (["worth", str(DEMO / "evidence.csv"), "--speed", "45"],
                      ["cables", "4 x 5 mm x 300 mm @ 60 deg"],
                      ["rider", str(DEMO / "rider.toml")],
                      ["course", str(DEMO / "scenario.toml")],
                      ["compare", str(DEMO / "scenario.toml"), "--draws", "50"]):
        done = CliRunner().invoke(group, [*arguments, "--out",
                                          str(folder / f"{arguments[0]}.html")])
        assert done.exception is None, done.output
    return folder


def findings(open_page, page, width, dark):
    """What axe finds on a page with all of it unfolded, its try worked out."""
    with open_page(page, width=width, dark=dark) as shown:
        assert shown.evaluate("document.documentElement.scrollWidth") <= width
        if shown.locator("#try-form").count():
            shown.locator("#try-form").scroll_into_view_if_needed()
            shown.locator("#try-splits table").wait_for()
        return axe_findings(shown)


def test_axe_sees_what_is_wrong(open_page, tmp_path):
    """Text in light grey on white, and a picture without words."""
    page = tmp_path / "bad.html"
    page.write_text('<!doctype html><html lang="en"><title>x</title><main><h1>x</h1>'
                    '<p style="color: #ccc; background: #fff">pale</p>'
                    '<img src="data:image/gif;base64,R0lGODlhAQABAAAAACw="></main>',
                    encoding="utf-8")
    with open_page(page) as shown:
        assert {rule for rule, *_ in axe_findings(shown)} == {"color-contrast", "image-alt"}


WAYS = pytest.mark.parametrize(("width", "dark"), [(1280, False), (390, True)])


@WAYS
@pytest.mark.parametrize("name", [  # the course has a module of its own
    "plan", "card", "batch", "cables", "rider", "compare", *later("worth", "one-line")])
def test_axe_finds_nothing_serious_or_moderate(open_page, pages, name, width, dark):
    assert findings(open_page, pages / f"{name}.html", width, dark) == []


def test_numbers_keep_their_units(pages):
    for page in pages.glob("*.html"):
        assert loose_units(page.read_text(encoding="utf-8")) == [], page.name


@pytest.fixture(scope="module")
def ridden(tmp_path_factory):
    """Pages of a race that was planned and ridden, and of the kit for it."""
    folder = tmp_path_factory.mktemp("ridden")
    race = folder / "race" / "scenario.toml"

    def typed(*words):
        done = CliRunner().invoke(group, [str(word) for word in words])
        assert done.exception is None, done.output

    typed("new", race.parent)
    typed("plan", race, "--budget", 0, "--out", folder / "p.html", "--json", folder / "p.json")
    profile = json.loads((folder / "p.json").read_text(encoding="utf-8"))["profile"]
    course = read_course(race.parent / "course.gpx")
    at = np.arange(0.0, profile["time_s"][-1])
    place = np.interp(at, profile["time_s"], profile["distance_m"])
    columns = {
        "elapsed_s": at, "distance_m": place,
        "speed_mps": np.interp(place, profile["distance_m"], profile["speed_mps"]),
        "power_w": np.interp(place, profile["distance_m"][:-1], profile["power_w"]),
        **{name: np.interp(place, course.distance, values) for name, values in (
            ("elevation_m", course.elevation), ("latitude_deg", course.latitude),
            ("longitude_deg", course.longitude))}}
    np.savetxt(folder / "ride.csv", np.transpose(list(columns.values())), delimiter=",",
               fmt="%.7f", header=",".join(columns), comments="")
    typed("debrief", race, folder / "ride.csv", "--budget", 0, "--out", folder / "debrief.html")
    typed("fieldtest", folder / "ride.csv", "--mass", 84, "--out", folder / "fieldtest.html")
    typed("kit", race, "--budget", 300, "--draws", 60, "--out", folder / "kit.html")
    (folder / "club.toml").write_text(CLUB, encoding="utf-8")
    typed("season", folder / "club.toml", "--out", folder / "season.html")
    return folder


@pytest.mark.long
@WAYS
@pytest.mark.parametrize("name", ["debrief", "fieldtest", "kit", "season"])
def test_axe_finds_nothing_on_pages_of_rides_and_kit(open_page, ridden, name, width, dark):
    assert findings(open_page, ridden / f"{name}.html", width, dark) == []


@pytest.mark.long
def test_numbers_keep_their_units_on_pages_of_rides_and_kit(ridden):
    for page in ridden.glob("*.html"):
        assert loose_units(page.read_text(encoding="utf-8")) == [], page.name


@pytest.mark.parametrize("family", ["DejaVu Sans", "Liberation Sans", "Liberation Serif"])
@pytest.mark.parametrize("name", ["card", "one-line-card", "one-power-card"])
def test_cards_fit_their_paper(open_page, pages, name, family):
    # A6 is 105 x 148 mm (ISO 216:2007); CSS takes 96 px an inch (W3C, CSS Values 3, 6.2).
    with open_page(pages / f"{name}.html", bypass_csp=True) as page:
        with_font(page, family)
        page.add_style_tag(content=f".card {{ font-family: '{family}' !important; }}")
        for kind, size in (("pocket", (105, 148)), ("tube", (45, 140))):
            card = page.locator(f".card.{kind}")
            box = card.bounding_box()
            assert (box["width"], box["height"]) == pytest.approx(
                tuple(mm * 96 / 25.4 for mm in size), abs=0.5)
            assert card.evaluate("(c) => c.scrollHeight - c.clientHeight") <= 1
            ends = card.locator("td.w:not([colspan])").evaluate_all(
                "(all) => all.filter((c) => c.offsetWidth)"
                ".map((c) => [c.cellIndex, c.getBoundingClientRect().right])")
            for column in {column for column, _ in ends}:  # watts stand below each other
                right = [end for k, end in ends if k == column]
                assert max(right) - min(right) < 0.5
