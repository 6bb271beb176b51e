# ruff: noqa: INP001, PLC0415 - a script
"""Draw the sample pictures of the report: run the demo and photograph it in Chromium.

Run `python reports/make_samples.py`; it needs the test extra and a Chromium on the path. The
demo and all that it names are invented.
"""

from __future__ import annotations

import shutil
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from optimizer.job import run
from optimizer.report import write_card, write_report
from optimizer.scenario import read_scenario

HERE = Path(__file__).parent
DEMO = HERE.parent / "courses" / "petrel-flats" / "scenario.toml"


def main() -> None:
    """Write the pictures beside this script."""
    from playwright.sync_api import sync_playwright

    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        sys.exit("no Chromium on the path")
    target = HERE / "samples"
    target.mkdir(exist_ok=True)
    result = run(read_scenario(DEMO))
    with TemporaryDirectory() as folder, sync_playwright() as play:
        report = write_report(result, Path(folder) / "report.html")
        card = write_card(result, Path(folder) / "card.html")
        browser = play.chromium.launch(executable_path=chromium,
                                       args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_page(viewport={"width": 1200, "height": 960})
        page.goto(report.as_uri())
        page.screenshot(path=target / "report.png")
        page.locator("#strip").scroll_into_view_if_needed()
        page.locator("#strip svg").first.wait_for()
        page.locator("#strip").screenshot(path=target / "how-hard-where.png")
        phone = browser.new_page(viewport={"width": 390, "height": 780}, color_scheme="dark")
        phone.goto(report.as_uri())
        phone.screenshot(path=target / "phone.png")
        slip = browser.new_page(viewport={"width": 480, "height": 640}, device_scale_factor=1.5)
        slip.goto(card.as_uri())
        slip.locator(".card").first.screenshot(path=target / "card.png")
        browser.close()


if __name__ == "__main__":
    main()
