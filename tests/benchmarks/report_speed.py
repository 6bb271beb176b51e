"""How soon a report answers in headless Chromium, and how large it is.

Run `python -m tests.benchmarks.report_speed REPORT.html`. A page is opened three times and its
slider moved at once; said are the wall time until the place is told and what the page's own thread
had done by then.
"""

from __future__ import annotations

import shutil
import sys
from pathlib import Path


def main(report: str) -> None:
    from playwright.sync_api import sync_playwright

    file = Path(report).resolve()
    print(f"{file.stat().st_size / 1e6:.1f} MB")
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=shutil.which("chromium"),
                                       args=["--no-sandbox", "--disable-gpu"])
        for _ in range(3):
            page = browser.new_page(viewport={"width": 1280, "height": 900})
            talk = page.context.new_cdp_session(page)
            talk.send("Performance.enable", {"timeDomain": "threadTicks"})
            page.goto(file.as_uri())
            page.locator("#place").fill("5")
            page.locator("#place-says").inner_text()
            answered = page.evaluate("performance.now()") / 1000
            spent = {row["name"]: row["value"]
                     for row in talk.send("Performance.getMetrics")["metrics"]}
            print(f"answered after {answered:.2f} s, busy for {spent['TaskDuration']:.2f} s")
            page.close()


if __name__ == "__main__":
    main(sys.argv[1])
