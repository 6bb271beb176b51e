"""The pages of `kitpace worth` and `kitpace cables` in a browser."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from optimizer.cli import group

pytestmark = pytest.mark.browser
DEMO = Path(__file__).parents[2] / "courses" / "petrel-flats"


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pages")
    for arguments in (["worth", str(DEMO / "evidence.csv"), "--speed", "45", "--out",
                       str(folder / "worth.html")],
                      ["cables", "4 x 5 mm x 300 mm @ 60 deg", "--out",
                       str(folder / "cables.html")]):
        result = CliRunner().invoke(group, arguments)
        assert result.exception is None, result.output
    return folder


@pytest.mark.parametrize("width", [1200, 360])
@pytest.mark.parametrize(("name", "charts"), [("worth", 3), ("cables", 1)])
def test_opens_offline_without_a_complaint_and_fits(pages, name, charts, width, open_page):
    with open_page(pages / f"{name}.html", width=width) as page:
        assert page.locator("figure.chart svg:visible").count() == charts
        assert page.evaluate("document.documentElement.scrollWidth") <= width
