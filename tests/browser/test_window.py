"""Days of use in the window, from an empty folder, by clicking and typing only.

The people and their days are those of `../shared/people.md`; all figures are invented.
"""

from __future__ import annotations

import re
import signal
import subprocess
import sys
import tomllib
from contextlib import contextmanager

import pytest

from tests.browser.conftest import axe_findings
from tests.window.conftest import track
from tests.window.test_views import recorded

pytestmark = pytest.mark.browser
KIT = ("Item\tPlace\tPrice\tMass change, g\n"
       "Visor\tvisor\t55,50\t35\n"
       "Fast tyres\ttyres\t120,00\t-60\n"
       "Deep wheel\tfront wheel\t560,00\t20\n")
EVIDENCE = ("Item\tFigure\tTest\tMeasured by\tSource\n"
            "Visor\tsaves 12 s / 40 km @ 45 km/h\tfield\tindependent\tInvented field test\n"
            "Fast tyres\tsaves 8 W @ 45 km/h\trule of thumb\tseller\tInvented leaflet\n"
            "Deep wheel\tsaves 90 g @ 50 km/h\ttunnel without rider\tindependent\tInvented notes\n")


@contextmanager
def served(folder, *words):
    """Run `kitpace open`; give the address that it prints."""
    process = subprocess.Popen(
        [sys.executable, "-c", "from optimizer.cli import main; main()", "open", str(folder),
         "--no-browser", *words], stdout=subprocess.PIPE, text=True)
    try:
        yield process.stdout.readline().strip(), process
    finally:
        process.send_signal(signal.SIGINT)
        process.wait(20)
        process.stdout.close()


@pytest.fixture
def visit(chromium):
    """Open an address: nothing may be said on the console, and nothing asked of others."""
    @contextmanager
    def opened(address, *, width=1280, dark=False, said=()):
        home = address.partition("/?")[0]
        context = chromium.new_context(viewport={"width": width, "height": 900},
                                       color_scheme="dark" if dark else "light",
                                       permissions=["clipboard-read", "clipboard-write"])
        context.set_default_timeout(120_000)
        page = context.new_page()
        page.home = home
        complaints = []
        page.on("console", lambda message: complaints.append(message.text))
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("request", lambda request: None if request.url.startswith(
            (home, "blob:", "data:")) else complaints.append(request.url))
        page.goto(address)
        yield page
        assert [line for line in complaints if not any(part in line for part in said)] == []
        context.close()

    return opened


@pytest.fixture
def folder(tmp_path):
    root = tmp_path / "races"
    root.mkdir()
    (tmp_path / "leg.gpx").write_text(track(), encoding="utf-8")
    return root


def control(page, name):
    return page.locator(f"[id='{name}']")


def begun(page, folder):
    """Drop the course, and say three things of the rider."""
    page.set_input_files("#gpx", folder.parent / "leg.gpx")
    page.get_by_role("button", name="Make the race").click()
    page.wait_for_url("**/race/rider**")
    control(page, "r:mass_kg").fill("63")
    control(page, "r:efforts.0.power_w").fill("265")
    control(page, "r:efforts.1.power_w").fill("210")
    page.locator("#live svg:visible").first.wait_for()


def planned(page):
    """Wait for what the work says in the end."""
    page.locator(".outcome").wait_for()
    return page.locator(".outcome").inner_text().replace("\u00a0", " ")


def view(page, name):
    page.get_by_role("navigation", name="This race").get_by_role("link", name=name).click()


def tables(page, folder):
    """Paste a coach's spreadsheet into both tables, and say what may be spent."""
    view(page, "Kit")
    control(page, "s:budget").fill("250")
    page.get_by_role("button", name="Save", exact=True).click()
    page.wait_for_url("**saved**")
    for key, text in (("kit", KIT), ("evidence", EVIDENCE)):
        page.evaluate("(text) => navigator.clipboard.writeText(text)", text)
        control(page, f"{key}.0.item").click()
        page.keyboard.press("Control+V")
        page.locator(f"section#{key}").get_by_role("button", name="Save the table").click()
        page.wait_for_url(f"**saved#{key}")
    assert (folder / "evidence.csv").is_file()


@pytest.mark.ci
def test_a_track_is_dropped_as_from_a_file_manager(visit, folder):
    """The drag comes from the browser itself, with a file of the disk, not from a script."""
    with served(folder) as (address, _), visit(address) as page:
        box = page.locator("form.drop").bounding_box()
        at = {"x": box["x"] + box["width"] / 2, "y": box["y"] + box["height"] / 2,
              "data": {"items": [], "files": [str(folder.parent / "leg.gpx")],
                       "dragOperationsMask": 1}}
        drag = page.context.new_cdp_session(page)
        for kind in ("dragEnter", "dragOver"):
            drag.send("Input.dispatchDragEvent", {"type": kind, **at})
        page.locator("form.drop.over").wait_for()
        drag.send("Input.dispatchDragEvent", {"type": "drop", **at})
        page.wait_for_url("**/race/rider**")
        assert len([path for path in folder.iterdir() if path.suffix == ".gpx"]) == 1


def test_a_first_plan_by_dropping_a_course_and_typing_three_numbers(visit, folder):
    with served(folder) as (address, _), visit(address) as page:
        begun(page, folder)
        page.get_by_role("button", name="Save and plan").click()
        said = planned(page)
        assert re.match(r"\d+:\d\d by the card, 90 % range \d+:\d\d to \d+:\d\d", said)
        report = page.frame_locator("iframe")
        assert report.locator(".finish").inner_text() == said.partition(" ")[0]
        page.goto(page.home)
        assert said.partition(" ")[0] in page.locator("article.race").inner_text()
        page.get_by_role("button", name="Stop kitpace").click()
        page.get_by_text("kitpace has stopped").wait_for()
    assert tomllib.loads((folder / "rider.toml").read_text(encoding="utf-8"))["mass_kg"] == 63


@pytest.mark.long
def test_day_1_the_rider_a_week_before_by_keyboard_only(visit, folder):
    with served(folder) as (address, _), visit(address) as page:
        page.set_input_files("#gpx", folder.parent / "leg.gpx")  # a file dialog is the system's
        press = page.keyboard.press

        def to(text, most=120):
            """Go on by the tab key until the focus is on what has this name or id."""
            for _ in range(most):
                press("Tab")
                if page.evaluate("""(text) => {
                    const at = document.activeElement;
                    return at.id === text || at.textContent.trim() === text;
                }""", text):
                    return
            raise AssertionError(text)

        to("Make the race")
        press("Enter")
        page.wait_for_url("**/race/rider**")
        for name, text in (("r:mass_kg", "63"), ("r:efforts.0.power_w", "265"),
                           ("r:efforts.1.power_w", "210")):
            to(name)
            page.keyboard.type(text)
        to("A run to follow, or something to be kept back")
        press("Enter")
        for name, text in (("r:long.run_target_min", "45"), ("r:long.run_fresh_min", "42")):
            to(name)
            page.keyboard.type(text)
        to("Save and plan")
        press("Enter")
        planned(page)
        report = page.frame_locator("iframe")
        report.get_by_text("bike and run", exact=False).first.wait_for(state="attached")
        to("open the card")
        with page.context.expect_page() as card:
            press("Enter")
        assert "watts" in card.value.locator("main").inner_text()


@pytest.mark.long
def test_day_2_the_coach_with_a_budget(visit, folder):
    with served(folder) as (address, _), visit(address) as page:
        begun(page, folder)
        page.get_by_role("button", name="Save", exact=True).click()
        page.wait_for_url("**saved")
        tables(page, folder)
        page.reload()
        assert control(page, "kit.0.price").input_value() == "55,50"
        control(page, "evidence.1.figure").fill("saves 8 bananas")
        page.locator("[id='evidence.1.figure-m']").get_by_text("bananas").wait_for()
        control(page, "evidence.1.figure").fill("saves 6 W @ 45 km/h")
        page.locator("section#evidence").get_by_role("button", name="Save the table").click()
        page.wait_for_url("**saved#evidence")
        page.get_by_role("button", name="Work it out").click()
        page.locator(".outcome").wait_for()
        page.frame_locator("iframe").get_by_text("Visor").locator("visible=true").first.wait_for()


@pytest.mark.long
def test_day_3_the_comparer(visit, folder):
    with served(folder) as (address, _), visit(address) as page:
        begun(page, folder)
        page.get_by_role("button", name="Save", exact=True).click()
        page.wait_for_url("**saved")
        tables(page, folder)
        view(page, "Course")
        picture = page.locator("#live .drawn[data-km]").first
        box = picture.bounding_box()
        for share, name in ((0.3, "Old mill"), (0.7, "Bridge")):
            page.mouse.click(box["x"] + share * box["width"], box["y"] + 0.4 * box["height"])
            page.get_by_role("button", name="Set a mark here").click()
            page.keyboard.type(name)
            page.evaluate("scrollTo(0, 0)")
        page.get_by_role("button", name="Save", exact=True).click()
        page.wait_for_url("**saved")
        view(page, "Compare")
        for k, (name, items) in enumerate((("As it is", ()), ("Visor", ("Visor",)),
                                           ("Both", ("Visor", "Deep wheel")))):
            control(page, f"s:set.{k}.name").fill(name)
            group = page.locator("fieldset").nth(k)
            group.locator("summary").click()
            for item in items:
                group.get_by_label(item).check()
            page.get_by_role("button", name="Save", exact=True).click()
            page.wait_for_url("**saved")
        page.get_by_role("button", name="Compare the sets").click()
        page.locator(".outcome").wait_for()
        page.frame_locator("iframe").get_by_text("Old mill").first.wait_for(state="attached")
    marks = tomllib.loads((folder / "scenario.toml").read_text(encoding="utf-8"))["mark"]
    # The road of 5.33 km lies between the margins of the picture, some per cent of its width.
    assert [mark["km"] for mark in marks] == pytest.approx([1.5, 3.8], abs=0.2)


@pytest.mark.long
def test_day_4_race_morning_on_a_phone(visit, folder):
    with served(folder) as (address, _), visit(address, width=390) as page:
        begun(page, folder)
        page.get_by_role("button", name="Save and plan").click()
        planned(page)
        view(page, "Weather")
        control(page, "s:conditions.wind.speed_kmh").fill("25")
        control(page, "s:conditions.wind.from_deg").fill("225")
        page.locator("#live").get_by_text("wind 25 km/h").first.wait_for()
        page.get_by_role("button", name="Save", exact=True).click()
        page.wait_for_url("**saved")
        view(page, "Plan")
        page.get_by_text("A file changed since this plan").wait_for()
        page.get_by_label("keep the kit of the last plan").check()
        page.get_by_role("button", name="Plan", exact=True).click()
        assert "Mean wind of the ride: 25 km/h from the south-west instead of none" in planned(page)
        assert page.evaluate("document.documentElement.scrollWidth") <= 390


@pytest.mark.long
def test_day_5_the_evening_after(visit, folder):
    with served(folder) as (address, _), visit(address) as page:
        begun(page, folder)
        page.get_by_role("button", name="Save and plan").click()
        planned(page)
        (folder.parent / "ride.csv").write_text(recorded(folder), encoding="utf-8")
        view(page, "Debrief")
        page.set_input_files("#ride", folder.parent / "ride.csv")
        page.get_by_role("button", name="Compare it with the plan").click()
        planned(page)
        page.frame_locator("iframe").get_by_text("Where the time went").first.wait_for()


@pytest.mark.long
def test_a_file_edited_outside_is_noticed_and_its_change_stays(visit, folder):
    with served(folder) as (address, _), visit(address) as page:
        begun(page, folder)
        page.get_by_role("button", name="Save", exact=True).click()
        page.wait_for_url("**saved")
        control(page, "r:height_cm").fill("181")
        rider = folder / "rider.toml"
        rider.write_text(rider.read_text(encoding="utf-8").replace("mass_kg = 63", "mass_kg = 64"),
                         encoding="utf-8")
        page.locator(".changed").get_by_text("rider.toml changed outside").wait_for()
        page.get_by_role("button", name="Save", exact=True).click()
        page.wait_for_url("**saved")
        said = tomllib.loads(rider.read_text(encoding="utf-8"))
        assert (said["mass_kg"], said["height_cm"]) == (64, 181)


@pytest.mark.long
def test_rows_taken_away_and_added_keep_their_own_cells(visit, folder):
    with served(folder) as (address, _), visit(address) as page:
        begun(page, folder)
        rows = page.locator("[data-rows='r:efforts']")
        rows.get_by_role("button", name="Remove").nth(0).click()
        rows.get_by_role("button", name="Add a row").click()
        assert rows.locator("input[type=text]").evaluate_all(
            "(all) => new Set(all.map((one) => one.name)).size === all.length")
        for k, (minutes, power) in enumerate((("20", "210"), ("5", "262"), ("60", "190"))):
            row = rows.locator("tbody tr").nth(k)
            row.get_by_label("Duration").fill(minutes)
            row.get_by_label(f"Mean power, W, row {k + 1}").fill(power)
        page.get_by_role("button", name="Save", exact=True).click()
        page.wait_for_url("**saved**")
        assert tomllib.loads((folder / "rider.toml").read_text(encoding="utf-8"))["efforts"] == [
            {"minutes": 20, "power_w": 210}, {"minutes": 5, "power_w": 262},
            {"minutes": 60, "power_w": 190}]
        view(page, "Kit")
        table = page.locator("section#kit")
        table.get_by_role("button", name="Remove").nth(0).click()
        table.get_by_role("button", name="Add a row").click()
        assert table.locator("tbody input").evaluate_all(
            "(all) => new Set(all.map((one) => one.name)).size === all.length")


@pytest.mark.ci
def test_a_restart_in_the_middle_loses_nothing(visit, folder):
    with served(folder) as (address, first):
        port = re.search(r":(\d+)/", address)[1]
        with visit(address, said=("Failed to load resource",)) as page:
            begun(page, folder)
            page.get_by_role("button", name="Save", exact=True).click()
            page.wait_for_url("**saved")
            first.send_signal(signal.SIGINT)
            first.wait(20)
            control(page, "r:height_cm").fill("182")
            page.get_by_text("kitpace does not answer this page").wait_for()
            with served(folder, "--port", port) as (again, _):
                page.get_by_role("button", name="Save", exact=True).click()
                page.get_by_text("Nothing was read or changed").wait_for()
                assert "height_cm = 182" not in (folder / "rider.toml").read_text(encoding="utf-8")
                page.goto(again)
                page.get_by_role("link", name="Heron Lane").click()
                view(page, "Rider")
                assert control(page, "r:mass_kg").input_value() == "63"


@pytest.mark.long
@pytest.mark.parametrize(("width", "dark"), [(1280, False), (390, True)])
def test_axe_finds_nothing_serious_or_moderate(visit, folder, width, dark):
    with served(folder) as (address, _), visit(address, width=width, dark=dark) as page:
        begun(page, folder)
        page.get_by_role("button", name="Save and plan").click()
        planned(page)
        tables(page, folder)
        found = {}
        for path in ("/", "/race", "/race/course", "/race/rider", "/race/weather", "/race/kit",
                     "/race/settings", "/race/compare", "/race/debrief"):
            page.goto(f"{page.home}{path}?race=scenario.toml")
            page.wait_for_timeout(500)
            found[path] = axe_findings(page, iframes=False)
            assert page.evaluate("document.documentElement.scrollWidth") <= width, path
        assert {path: rules for path, rules in found.items() if rules} == {}


@pytest.mark.ci
def test_the_sealed_report_reaches_nothing_of_the_window(visit, folder):
    (folder / "report.html").write_text(
        '<!doctype html><meta name="generator" content="kitpace"><title>x</title><p id="out"></p>'
        "<script>fetch('/', {credentials: 'include'}).then(() => 'in', () => 'out')"
        ".then((said) => { document.getElementById('out').textContent = said; });"
        "try { parent.document.title = 'in'; } catch { document.title = 'out'; }"
        "</script>", encoding="utf-8")
    with served(folder) as (address, _), visit(
            address, said=("violates the following Content Security Policy",
                           "Refused to connect")) as page:
        page.evaluate("""() => {
            const frame = document.createElement("iframe");
            frame.src = "/page/report.html";
            document.body.append(frame);
        }""")
        page.frame_locator("iframe").locator("#out").get_by_text("out", exact=True).wait_for()
        report = page.frames[1]
        assert report.evaluate("origin") == "null"
        assert report.title() == "out"
        assert page.title() != "in"
