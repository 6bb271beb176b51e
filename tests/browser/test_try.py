"""Other kit, weather and rider, tried in the page: answers against the full program's."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from optimizer.kit.crosswind import crosswind_draws, strongest_crosswind
from optimizer.report import write_report
from optimizer.report.result_json import result_document
from optimizer.report.weather import steady
from optimizer.report.words import clock
from tests.report.made_up import made_up_result
from tests.report.tried import Try, plan_tried

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def result():
    return made_up_result()


@pytest.fixture(scope="module")
def report(result, tmp_path_factory):
    return write_report(result, tmp_path_factory.mktemp("try") / "report.html")


def come_to_the_try(page):
    page.locator("#try-form").scroll_into_view_if_needed()
    page.locator("#try-splits table").wait_for()


def painted(page):
    """Wait until what was asked of the page is laid out and drawn."""
    page.evaluate("() => new Promise((done) => requestAnimationFrame(() => "
                  "requestAnimationFrame(done)))")


def says(page):
    return page.locator("#try-says").inner_text().replace("\u00a0", " ")


def wait_for_time(page, time):
    """Wait for an ideal ride of so many seconds."""
    page.locator("#try-says .said", has_text=re.compile(f"ideal ride takes {clock(time)},")
                 ).wait_for()


def pick(page, places):
    for place, name in places.items():
        options = page.locator(f'select[data-place="{place}"]')
        label = "as it stands" if name is None else next(
            text for text in options.locator("option").all_inner_texts() if name in text)
        options.select_option(label=label)


def test_the_page_finds_the_plan_again(open_page, report):
    with open_page(report) as page:
        assert says(page).startswith("Choose other kit")  # scripts run, and nothing is asked yet
        come_to_the_try(page)
        check = page.locator("#try-check[data-error]")
        check.wait_for()
        assert float(check.get_attribute("data-error")) < 0.01
        text = check.inner_text().replace("\u00a0", " ")
        assert "less than 0.01 s" in text
        assert "for the same kit and positions" in text
        assert "Positions are those of the plan" in text
        assert len(page.workers) == 1  # the page's own thread stays free


@pytest.mark.ci
def test_another_wind_and_kit(open_page, report, result):
    names = ("Light tyres", "Deep wheels")
    truth = plan_tried(result, Try(items=names, wind=(26.0, 120.0)))
    places = [*(mark.distance for mark in result.job.course.marks), result.job.course.length]
    with open_page(report) as page:
        come_to_the_try(page)
        page.locator("#try-speed").fill("26")
        page.locator("#try-from").fill("120")
        pick(page, {"head": None, "tyres": names[0], "cockpit": None, "wheels": names[1]})
        wait_for_time(page, truth.finish_time)
        rows = [re.sub(r"\s+", " ", row)
                for row in page.locator("#try-splits tbody tr").all_inner_texts()]
        text = says(page)
    assert "The kit costs 1,510 EUR, 10 EUR more than the budget of 1,500 EUR." in text
    # Far from the planned wind what is uncertain grows: the plan's range would be too narrow.
    assert "No range is given here" in text
    assert "90 % range" not in text
    assert "uncertain by ±" not in text
    for row, place in zip(rows, places, strict=True):
        here, plan = truth.time_at(place), result.plan.time_at(place)
        assert f" {clock(here)} " in row
        difference = float(re.search(r"([+−]?[\d.]+) s$", row)[1].replace("−", "-"))
        assert difference == pytest.approx(here - plan, abs=0.55)


@pytest.mark.ci
def test_near_the_planned_wind_there_is_a_range(open_page, report):
    with open_page(report) as page:
        come_to_the_try(page)
        speed = page.locator("#try-speed")
        speed.fill(str(float(speed.input_value()) + 3.0))
        pick(page, {"head": None})
        page.locator("#try-says", has_text="What the kit does to that is uncertain by ±").wait_for()
        assert "90 % range of the finish" in says(page)


@pytest.mark.ci
def test_kit_that_the_wind_is_too_strong_for_is_named(open_page, result, tmp_path):
    catalogue = result.job.catalogue
    frail = replace(catalogue, items=tuple(
        replace(item, crosswind_limit=5.0) if item.name == "Deep wheels" else item
        for item in catalogue.items))
    report = write_report(replace(result, job=replace(result.job, catalogue=frail)),
                          tmp_path / "report.html")
    with open_page(report) as page:
        come_to_the_try(page)
        page.locator("#try-speed").fill("60")
        page.locator("#try-from").fill("120")
        pick(page, {"wheels": "Deep wheels"})
        page.locator("#try-says li", has_text="above the limit of Deep wheels, 18").wait_for()


@pytest.mark.ci
def test_a_storm_is_told_with_the_days_on_which_kit_is_too_much(open_page, result, tmp_path):
    """As `kitpace plan` tells it: strong wind, and the chance of a cross wind above a limit."""
    job, angle = result.job, np.radians(120.0)
    blown = steady(result, *(-60.0 / 3.6 * np.array([np.sin(angle), np.cos(angle)])))
    drawn = crosswind_draws(job.course, blown, 4000)
    limit = float(np.quantile(drawn, 0.7))
    assert strongest_crosswind(job.course, blown) < limit
    frail = replace(job.catalogue, items=tuple(
        replace(item, crosswind_limit=limit) if item.name == "Deep wheels" else item
        for item in job.catalogue.items))
    report = write_report(replace(result, job=replace(job, catalogue=frail)),
                          tmp_path / "report.html")
    with open_page(report) as page:
        come_to_the_try(page)
        pick(page, {"wheels": "Deep wheels"})
        page.locator("#try-speed").fill("60")
        page.locator("#try-from").fill("120")
        page.locator("#try-says li", has_text="Strong wind").wait_for()
        line = page.locator("#try-says li", has_text="passes the limit of Deep wheels").inner_text()
        assert float(re.search(r"On (\d+) days in 100", line)[1]) == pytest.approx(30.0, abs=3.0)
        page.locator("#try-speed").fill("5")
        page.locator("#try-says li", has_text="Strong wind").wait_for(state="detached")
        assert "passes the limit" not in says(page)


@pytest.mark.ci
def test_another_rider_and_temperature(open_page, report, result):
    truth = plan_tried(result, Try(critical_power=280.0, w_prime=15_000.0, mass=75.0, celsius=30))
    with open_page(report) as page:
        come_to_the_try(page)
        for ident, value in {"power": 280, "reserve": 15, "mass": 75, "warm": 30}.items():
            page.locator(f"#try-{ident}").fill(str(value))
        wait_for_time(page, truth.finish_time)
        assert page.locator("#try-power-says").inner_text() == "280 W"
        # The new power lies over that of the plan, in every width of the picture.
        drawn = [path.get_attribute("d") for path in page.locator("#try-strip path.tried").all()]
        assert len(drawn) == page.locator("#try-strip svg.g").count() > 0
        assert all(line.startswith("M") for line in drawn)


@pytest.mark.ci
def test_only_kit_says_the_range_of_the_difference(open_page, report, result):
    truth = plan_tried(result, Try(items=()))
    with open_page(report) as page:
        come_to_the_try(page)
        pick(page, dict.fromkeys(("head", "tyres", "cockpit", "wheels")))
        wait_for_time(page, truth.finish_time)
        text = says(page)
    later = truth.finish_time - result.plan.finish_time
    assert re.search(rf"{later:.0f} s slower than the plan's; 90 % range \d+ s to \d+ s slower",
                     text)
    assert "The kit costs 0 EUR of 1,500 EUR." in text


@pytest.mark.ci
def test_it_goes_back(open_page, report, result):
    document = result_document(result)
    with open_page(report) as page:
        come_to_the_try(page)
        assert "as in the plan" in says(page)
        assert page.locator("#try-says strong").inner_text() == clock(
            document["rideable"]["finish_time_s"])
        page.locator("#try-owned").click()
        wait_for_time(page, document["baseline_plan"]["finish_time_s"])
        page.locator("#try-plan").click()
        wait_for_time(page, document["plan"]["finish_time_s"])
        assert "as in the plan" in says(page)


@pytest.mark.ci
@pytest.mark.parametrize("width", [1280, 390])
def test_the_answer_stays_in_view_beside_every_control(open_page, report, width):
    with open_page(report, width=width, height=844) as page:
        come_to_the_try(page)
        for control in page.locator("#try-form select, #try-form input").all():
            control.scroll_into_view_if_needed()
            painted(page)
            bar, box = page.locator("#try-bar").bounding_box(), control.bounding_box()
            assert bar["y"] >= -1
            assert bar["y"] + bar["height"] <= 844
            assert box["y"] >= 0


@pytest.mark.ci
def test_the_card_of_a_try(open_page, report):
    with open_page(report) as page:
        come_to_the_try(page)
        page.locator("#try-power").fill("290")
        page.locator("#try-works", has_text="Planning").wait_for()
        page.locator("#try-works", has_text="Planning").wait_for(state="detached")
        page.locator("#try-card summary").click()
        before, after = ([int(number) for number in re.findall(r"\d+", " ".join(
            page.locator(f"{place} .card td.w").all_inner_texts()))] for place in
            ("#card", "#try-card"))
        assert len(before) == len(after) > 0
        assert all(b >= a for a, b in zip(before, after, strict=True))
        assert sum(after) > sum(before)
        said = " ".join(page.locator("#try-card details > p").all_inner_texts())
        assert "Lines and places of the plan's card" in said
        assert ("For a card with its own lines write critical_power_w = 290 into rider.toml. "
                "Then run kitpace plan scenario.toml --card card.html;") in said
        page.evaluate("window.print = () => { window.printed = document.body.className; }")
        page.get_by_text("Print this card").click()
        assert page.evaluate("window.printed") == "only-card"
        assert "(tried)" in page.locator("#card").inner_text()
        page.evaluate("dispatchEvent(new Event('afterprint'))")
        assert "(tried)" not in page.locator("#card").inner_text()
        page.locator("#try-speed").fill("30")
        page.locator("#try-from").fill("225")
        page.locator("#try-card code", has_text="--wind '30@225' --card").wait_for()
        pick(page, {"head": None})
        page.locator("#try-card code", has_text="--wind '30@225' --budget 0 --card").wait_for()
        assert "mark the chosen items owned in kit.csv" in page.locator(
            "#try-card").inner_text()
        page.locator("#try-plan").click()
        page.locator("#try-says", has_text="as in the plan").wait_for()
        assert page.locator("#try-card code").count() == 0  # the plan's own card is the plan's


@pytest.mark.ci
def test_the_command_of_a_try_keeps_what_the_plan_was_asked_for(open_page, result, tmp_path):
    job, owned = result.job, "Old shoe covers"
    job = replace(job, sources=(("scenario", "May's ride.toml"), *job.sources), asked=(
        ("budget", "1500"), ("wind", "20@225"), ("start_time", "09:30:00"),
        ("least_gain", "2"), ("rider", "b.toml")))
    report = write_report(replace(result, job=job), tmp_path / "report.html")
    with open_page(report) as page:
        come_to_the_try(page)
        page.locator("#try-power").fill("290")
        page.locator("#try-works", has_text="Planning").wait_for()
        page.locator("#try-card code", has_text="--budget 1500").wait_for(state="attached")
        page.locator("#try-card summary").click()
        assert page.locator("#try-card code").inner_text() == (
            "kitpace plan 'May'\\''s ride.toml' --wind '20@225' --start-time 09:30:00 "
            "--budget 1500 --least-gain 2 --card card.html")
        assert "write rider = \"b.toml\" into May's ride.toml" in page.locator(
            "#try-card").inner_text()
        pick(page, {"feet": None, "head": None})
        page.locator("#try-card code", has_text="--budget 0").wait_for()
        assert f"and give {owned} a price there, not owned" in page.locator(
            "#try-card").inner_text()
        page.locator("#try-speed").fill("30")
        page.locator("#try-from").fill("90")
        page.locator("#try-card code", has_text="--wind '30@90' --start-time").wait_for()
        assert "one steady wind" not in page.locator("#try-card").inner_text()


@pytest.mark.ci
def test_without_workers_the_page_plans_by_itself(open_page, report, result):
    with open_page(report, before="delete window.Worker") as page:
        come_to_the_try(page)
        assert len(page.workers) == 0
        wait_for_time(page, result.plan.finish_time)
