"""Every kind of page by axe, all rules, at two widths and in dark mode."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from optimizer.batch.outcome import Outcome
from optimizer.batch.table import table_page
from optimizer.cli import group
from optimizer.report import write_card, write_report
from tests.fetched import fetched
from tests.report.made_up import made_up_result

pytestmark = pytest.mark.browser
DEMO = Path(__file__).parents[2] / "courses" / "petrel-flats"
LONG = "W" * 60


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
    result = made_up_result(LONG, LONG)
    write_report(result, folder / "plan.html", change="12 s slower than yesterday.")
    write_card(result, folder / "card.html", change="12 s slower than yesterday.")
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


@pytest.mark.parametrize(("width", "dark"), [(1280, False), (390, True)])
@pytest.mark.parametrize("name", ["plan", "card", "batch", "worth", "cables", "rider", "course",
                                  "compare"])
def test_axe_finds_nothing_serious_or_moderate(open_page, pages, name, width, dark):
    # axe-core 4.14 (Deque), every rule that is on by itself.
    source = fetched("axe-core@4.14.1", "axe.min.js", npm=True).read_text(encoding="utf-8")
    with open_page(pages / f"{name}.html", width=width, dark=dark) as page:
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
        page.evaluate(source)
        found = page.evaluate("axe.run(document)")
    assert [(rule["id"], rule["impact"], rule["nodes"][0]["html"][:120])
            for rule in found["violations"] if rule["impact"] != "minor"] == []


@pytest.mark.parametrize("family", ["DejaVu Sans", "Liberation Sans", "Liberation Serif"])
def test_cards_fit_their_paper(open_page, pages, family):
    # A6 is 105 x 148 mm (ISO 216:2007); CSS takes 96 px an inch (W3C, CSS Values 3, 6.2).
    with open_page(pages / "card.html", bypass_csp=True) as page:
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
