"""The report in a browser: every control, figures against the JSON, access, paper."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from optimizer.job.values import Risk
from optimizer.report import write_card, write_report
from optimizer.report.card import card_csv
from optimizer.report.result_json import result_document
from optimizer.report.words import clock
from tests.report.made_up import EVIL, made_up_result, one_line

COURSES = Path(__file__).parents[2] / "courses"
pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def result():
    return made_up_result()


@pytest.fixture(scope="module")
def document(result):
    return result_document(result)


@pytest.fixture(scope="module")
def report(result, tmp_path_factory):
    return write_report(result, tmp_path_factory.mktemp("report") / "report.html")


def cells(page, table):
    return [[re.sub(r"\s+", " ", cell).strip() for cell in row.locator("th, td").all_inner_texts()]
            for row in page.locator(f"#{table} tbody tr").all()]


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("width", [1280, 390])
def test_opens_offline_without_a_complaint_and_fits(open_page, report, width, dark):
    with open_page(report, width=width, dark=dark) as page:
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_answers_before_its_charts_are_drawn(open_page, report):
    # How soon: tests/benchmarks/report_speed.py.
    with open_page(report) as page:
        page.reload(wait_until="domcontentloaded")
        page.locator("#place").fill("5")
        assert "elapsed, 5.0" in page.locator("#place-says").inner_text()


def test_names_from_files_do_nothing(open_page, tmp_path):
    path = write_report(made_up_result(EVIL, EVIL), tmp_path / "evil.html")
    with open_page(path) as page:
        assert EVIL in page.locator(".kicker").inner_text()
        labels = page.locator("#items svg text").all_text_contents()
        assert any(label.startswith("</script>") for label in labels)


def test_foreign_scripts_are_blocked(open_page, report):
    with open_page(report, said="violates the following Content Security Policy") as page:
        ran = page.evaluate("""() => new Promise((done) => {
            document.addEventListener('securitypolicyviolation', () => done(window.ran || false));
            const script = document.createElement('script');
            script.textContent = 'window.ran = true';
            document.body.append(script);
        })""")
        assert ran is False


# --- figures against the JSON ---------------------------------------------------------------


def test_first_screen_has_the_figures_of_the_json(open_page, report, document):
    with open_page(report) as page:
        by_card, ideal = (clock(document[key]["finish_time_s"]) for key in ("rideable", "plan"))
        assert page.locator(".finish").inner_text() == by_card
        assert page.locator(".by").inner_text() == f"by the card; the ideal ride takes {ideal}"
        lead = re.sub(r"\s+", " ", page.locator(".lead").inner_text())
    spread, kit = document["rideable"]["spread_s"], document["kit"]
    assert lead.startswith(f"How fast {by_card} by the card; 90 % range "
                           f"{clock(spread['5'])} to {clock(spread['95'])}.")
    assert f"Spend {kit['spent']:.0f} of {kit['budget']:,.0f} {kit['currency']}" in lead
    assert f"{kit['saved_s']:.0f} s faster than your current kit" in lead
    assert f"In {len(document['rideable']['blocks'])} blocks" in lead


def test_blocks_are_those_of_the_json(open_page, report, document):
    with open_page(report) as page:
        rows = cells(page, "blocks")
    for row, block in zip(rows, document["rideable"]["blocks"], strict=True):
        assert row[:3] == [block["what_comes"], block["place"], f"{block['start_m'] / 1000:.1f}"]
        assert f"{block['power_w']:.0f} W" in row[3]
        assert row[6] == clock(block["elapsed_s"])


def test_splits_are_those_of_the_json(open_page, report, document):
    with open_page(report) as page:
        rows, heads = cells(page, "splits"), page.locator("#splits thead").inner_text()
    columns = list(zip(*rows, strict=True))
    assert list(columns[2]) == [clock(row["rideable_s"]) for row in document["splits"]]
    for column, entry in zip(columns[3:], document["set_splits"], strict=True):
        assert f"{entry['name']}, {entry['spend']:,.0f} EUR" in heads.replace("\u00a0", " ")
        assert list(column) == [f"{clock(t)} ({clock(a)} to {clock(b)})" for t, a, b in zip(
            entry["elapsed_s"], entry["low_s"], entry["high_s"], strict=True)]


def test_frontier_and_items_are_those_of_the_json(open_page, report, document):
    with open_page(report) as page:
        page.locator("#frontier summary").click()
        page.locator("#items summary").click()
        sets, items = cells(page, "frontier-table"), cells(page, "items-table")
    for row, entry in zip(sets, document["frontier"], strict=True):
        assert row[:2] == [f"{entry['spend']:,.0f}", clock(entry["finish_time_s"])]
    known = {entry["item"]: entry for entry in document["worth"]}
    assert len(items) == len(known)
    for row in items:
        assert float(row[3].replace("−", "-")) == pytest.approx(known[row[0]]["saved_s"], abs=0.051)


# --- controls -------------------------------------------------------------------------------


def test_one_place_is_marked_in_everything(open_page, report, document):
    with open_page(report) as page:
        page.locator("#place").fill("12.5")
        said = page.locator("#place-says").inner_text().replace("\N{NO-BREAK SPACE}", " ")
        profile = document["profile"]
        k = int(np.searchsorted(profile["distance_m"], 12500.0, side="right")) - 1
        elapsed = np.interp(12500.0, profile["distance_m"], document["rideable"]["time_s"])
        assert said.startswith(f"{clock(elapsed)} elapsed, 12.5 km: ")
        assert f"ideal {profile['power_w'][k]:.0f} W" in said
        assert f"ride {document['rideable']['power_w'][k]:.0f} W" in said
        speed = 3.6 * np.interp(12500.0, profile["distance_m"],
                                document["rideable"]["speed_mps"])
        assert f"speed {speed:.0f} km/h" in said
        cursors = page.locator("svg:visible .cursor")
        # The ride, what is ridden, energy, where kit wins, and the watts of the try.
        assert cursors.count() == 5
        assert page.locator('.cursor[visibility="hidden"]').count() == 0
        assert page.locator("#blocks tr.here th").inner_text().startswith("made-up road")
        dot = page.locator("svg.map .here")
        assert dot.get_attribute("visibility") == "visible"
        at = [dot.get_attribute(name) for name in ("cx", "cy")]
        page.locator("#place").fill("0")
        assert at != [dot.get_attribute(name) for name in ("cx", "cy")]


def test_a_row_lights_its_stretch_and_the_stretch_its_row(open_page, report, document):
    first, last = document["rideable"]["blocks"][0], document["rideable"]["blocks"][-1]
    length = document["course"]["distance_m"]
    with open_page(report) as page:
        lit = page.locator("#ribbon svg:visible .lit")
        assert lit.get_attribute("visibility") == "hidden"
        page.locator("#blocks tbody tr").last.hover()
        box, frame = lit.bounding_box(), page.locator("#ribbon svg:visible").bounding_box()
        axis = [float(page.locator("#ribbon svg:visible").get_attribute(f"data-{side}"))
                for side in ("left", "right")]
        scale = frame["width"] / 1000
        whole = scale * (axis[1] - axis[0])
        assert box["width"] == pytest.approx(
            whole * (last["end_m"] - last["start_m"]) / length, abs=2)
        assert page.locator("svg.map .lit-road").get_attribute("visibility") == "visible"
        page.locator("#blocks tbody tr").first.locator("button").focus()
        assert lit.bounding_box()["width"] == pytest.approx(
            whole * (first["end_m"] - first["start_m"]) / length, abs=2)
        assert page.locator("#place-says").inner_text().startswith("0:")
        page.locator("#ribbon .drawn").scroll_into_view_if_needed()
        page.locator("#ribbon .drawn").click(position={
            "x": scale * axis[1] - 5, "y": 60})
        assert page.locator("#blocks tr.here th").inner_text().replace(
            "\N{NO-BREAK SPACE}", " ") == last["what_comes"]


def test_a_mark_shows_its_own_place(open_page, report):
    with open_page(report) as page:
        for row in page.locator("#splits tbody tr").all():
            row.locator("button").click()
            shown = float(page.locator("#place").input_value())
            assert shown == pytest.approx(float(row.locator("td").first.inner_text()), abs=0.1)


def test_touch_moves_the_place(open_page, report):
    with open_page(report, width=390, has_touch=True) as page:
        page.locator("#ribbon .drawn").tap(position={"x": 200, "y": 80})
        assert 8 < float(page.locator("#place").input_value()) < 14


def test_the_place_moves_by_key_and_by_pointer(open_page, report):
    with open_page(report) as page:
        slider = page.locator("#place")
        slider.focus()
        page.keyboard.press("ArrowRight")
        assert slider.input_value() == "0.05"
        assert "elapsed, 0.1\N{NO-BREAK SPACE}km" in slider.get_attribute("aria-valuetext")
        page.locator("#strip .drawn").hover(position={"x": 600, "y": 200})
        middle = float(slider.input_value())
        assert 5 < middle < 15
        page.locator("svg.map").hover(position={"x": 200, "y": 300})
        assert float(slider.input_value()) != middle


def test_money_picks_a_kit_of_the_frontier(open_page, report, document):
    with open_page(report) as page:
        pick, says = page.locator("#set"), page.locator("#set-says")
        assert "This is the best kit within the budget" in says.inner_text()
        entry = document["frontier"][2]
        pick.fill(str(entry["spend"] + 20))  # less than the next kit costs
        assert clock(entry["finish_time_s"]) in says.inner_text()
        assert clock(entry["finish_time_s"]) in pick.get_attribute("aria-valuetext")
        for item in entry["items"]:
            assert item in says.inner_text()
        ring = page.locator("#frontier svg:visible .ring").bounding_box()
        svg = page.locator("#frontier svg:visible")
        frame = svg.bounding_box()
        left, right = (float(svg.get_attribute(f"data-{side}")) for side in ("left", "right"))
        top = 1.04 * max(document["frontier"][-1]["spend"], document["kit"]["budget"])
        wanted = frame["x"] + frame["width"] / 1000 * (
            left + (right - left) * entry["spend"] / top)
        assert ring["x"] + ring["width"] / 2 == pytest.approx(wanted, abs=1.5)
        thumb = pick.bounding_box()  # the slider lies below the axis
        assert thumb["x"] + 8 == pytest.approx(frame["x"] + frame["width"] / 1000 * left, abs=2)
        page.locator("#frontier .drawn").click(position={
            "x": frame["width"] / 1000 * (left + (right - left) * document["frontier"][1]["spend"]
                                          / top), "y": 120})
        assert document["frontier"][1]["items"][0] in says.inner_text()
        assert clock(document["frontier"][1]["finish_time_s"]) in says.inner_text()


def test_tables_sort(open_page, report):
    with open_page(report) as page:
        page.locator("#splits thead button", has_text="By the card").click()
        up = [row[0] for row in cells(page, "splits")]
        assert up[-1] == "Finish"  # the times of the places grow along the road
        assert page.locator('#splits th[aria-sort="ascending"]').inner_text().startswith("By the")
        page.locator("#splits thead button", has_text="By the card").click()
        assert [row[0] for row in cells(page, "splits")] == up[::-1]
        page.locator("#splits thead button", has_text="Place").click()
        names = [row[0] for row in cells(page, "splits")]
        assert names == sorted(names)


def test_tables_can_be_saved_and_copied(open_page, report, document):
    with open_page(report, permissions=["clipboard-read", "clipboard-write"]) as page:
        tools = page.locator(".scroll:has(> #splits) + .tools")
        with page.expect_download() as caught:
            tools.get_by_text("Save as CSV").click()
        assert caught.value.suggested_filename == "splits.csv"
        saved = caught.value.path().read_text(encoding="utf-8-sig").splitlines()
        assert saved[0].startswith("Place,km,By the card,")
        first = document["splits"][0]["rideable_s"]
        assert saved[1].startswith(f"A Pump house,3.2,{clock(first)},")
        assert len(saved) == 1 + len(document["splits"])
        tools.get_by_text("Copy the table").click()
        page.locator("#status", has_text="Copied").wait_for()
        copied = page.evaluate("navigator.clipboard.readText()").splitlines()
        assert copied[0].split("\t")[0] == "Place"
        assert clock(first) in copied[1]


def test_the_card_can_be_saved_and_printed(open_page, report, result):
    with open_page(report) as page:
        with page.expect_download() as caught:
            page.get_by_text("Save the card as CSV").click()
        saved = caught.value.path().read_bytes().decode("utf-8-sig")
        assert saved == card_csv(result)
        page.evaluate("window.print = () => { window.printed = document.body.className; }")
        page.get_by_text("Print the card").click()
        assert page.evaluate("window.printed") == "only-card"
        assert pages_of(page.pdf(prefer_css_page_size=True)) == 2  # a pocket, a top tube
        page.evaluate("dispatchEvent(new Event('afterprint'))")
        assert page.evaluate("document.body.className") == ""


CROWDED = """() => [...document.querySelectorAll('.card.tube')].flatMap((card) => {
  const edge = card.querySelector('.sliver').getBoundingClientRect().left;
  return [...card.querySelectorAll('tr.line, tr.place')].flatMap((row) => {
    const drawn = [...row.querySelectorAll('td.w, td.t, td.km, td.where')].map((cell) => {
      const range = document.createRange();
      range.selectNodeContents(cell);
      return [cell.textContent, range.getBoundingClientRect()];
    });
    return drawn.flatMap(([words, a], k) => [...(a.right > edge ? [`${words} sticks out`] : []),
      ...drawn.slice(k + 1).filter(([, b]) => Math.min(a.right, b.right) > Math.max(a.left, b.left)
        - 1.5 && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 0.4 * Math.min(
          a.height, b.height)).map(([other]) => `${words} | ${other}`)]);
  });
})"""


def test_nothing_runs_together_on_the_card_for_the_top_tube(open_page, result, tmp_path):
    """Three powers a line, as on a course with climbs and descents; few lines and many."""
    few = replace(result, rideable=replace(result.rideable, blocks=result.rideable.blocks[:2]))
    nodes = result.plan.distance[:-1]
    problem = replace(result.plan.problem, position=((nodes // 850.0) % 2).astype(np.int64))
    wordy = one_line(replace(result, plan=replace(result.plan, problem=problem),
                             risk=Risk(0.44, 0.46, 0.0, 102.0, 0.1, 231.0)),
                     climb=270.0, descent=210.0)
    for name, one in (("few", few), ("many", result), ("one", wordy)):
        path = write_card(one, tmp_path / f"{name}.html")
        with open_page(path) as page:
            assert page.evaluate(CROWDED) == [], name
            assert page.evaluate("""() => [...document.querySelectorAll('.card.tube tr.place')]
              .filter((row) => Math.abs(row.querySelector('.km').getBoundingClientRect().top
                - row.querySelector('.t').getBoundingClientRect().top) > 8).length""") == 0
            assert page.evaluate("""() => [...document.querySelectorAll('.card')].filter((card) =>
              card.querySelector('.law').getBoundingClientRect().bottom
                > card.getBoundingClientRect().bottom).length""") == 0, name


# --- access ---------------------------------------------------------------------------------


def test_the_keyboard_reaches_everything(open_page, report):
    with open_page(report) as page:
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.className") == "skip"
        page.keyboard.press("Enter")
        assert page.evaluate("document.activeElement.id") == "content"
        left = {"set", "place", "try-speed", "try-from", "try-plan", "Print the card"}
        for _ in range(120):
            page.keyboard.press("Tab")
            left.discard(page.evaluate("document.activeElement.id || "
                                       "document.activeElement.textContent"))
            if not left:
                break
        assert not left


def test_motion_is_reduced_where_asked(open_page, report):
    for wish, behaviour in (("reduce", "auto"), ("no-preference", "smooth")):
        with open_page(report, reduced_motion=wish) as page:
            assert page.evaluate(
                "getComputedStyle(document.documentElement).scrollBehavior") == behaviour


# --- paper ----------------------------------------------------------------------------------


def pages_of(pdf: bytes) -> int:
    return len(re.findall(rb"/Type\s*/Page[^s]", pdf))


@pytest.mark.parametrize("dark", [False, True])
def test_two_pages_on_paper(open_page, report, dark):
    with open_page(report, dark=dark) as page:
        pdf = page.pdf(prefer_css_page_size=True)
        assert pages_of(pdf) == 2


def test_print_is_dark_on_light_in_dark_mode_too(open_page, report):
    with open_page(report, dark=True) as page:
        page.emulate_media(media="print")
        ink = page.evaluate("getComputedStyle(document.body).color")
        assert ink == "rgb(0, 0, 0)"


def test_the_card_of_its_own_fits_a_phone_and_one_sheet(open_page, result, tmp_path):
    path = write_card(result, tmp_path / "card.html")
    with open_page(path, width=360, height=640) as page:
        assert page.evaluate("document.documentElement.scrollWidth") <= 360
        size = page.locator("td.w").first.evaluate(
            "(cell) => parseFloat(getComputedStyle(cell).fontSize)")
        # Three figures, for climbs, flat and descents, share the width of one.
        three = page.locator("th.w").count() > 2  # on both sizes of the card
        assert size >= (24 if three else 30)
        assert pages_of(page.pdf(prefer_css_page_size=True)) == 2  # a pocket, a top tube
