"""How soon a report is written, painted and answers in headless Chromium, and how large it is.

Run `python -m tests.benchmarks.report_speed [REPORT.html]`; without a page an invented one is
written first. The page is opened at full speed and at a quarter of it (the processor slowed by the
browser itself). Said are, from the start of loading: the first paint, the moment when the first
picture is there, and that when a place is told after its slider was moved at once; then how long a
try takes, and the longest time for which the page's own thread could not answer meanwhile.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from playwright.sync_api import Browser

# Before any script of the page: when the first picture is there, and each task over 50 ms.
_WATCH = """
window.longest = 0;
new PerformanceObserver((list) => list.getEntries().forEach((entry) => {
  window.longest = Math.max(window.longest, entry.duration);
})).observe({ type: 'longtask', buffered: true });
const look = () => {
  const svg = [...document.querySelectorAll('#ribbon svg.g')].find((one) => one.clientWidth > 0);
  if (svg) window.pictured = performance.now(); else requestAnimationFrame(look);
};
requestAnimationFrame(look);
"""


def written() -> Path:
    """Write an invented report, and say how long that takes."""
    from optimizer.report import write_report
    from tests.report.made_up import made_up_result

    result = made_up_result()
    for _ in range(2):
        start = time.perf_counter()
        path = write_report(result, Path(tempfile.mkdtemp()) / "report.html")
        print(f"written in {time.perf_counter() - start:.2f} s")
    return path


def timed(browser: Browser, file: Path, slower: int) -> str:
    """Open a page, move its slider, try another rider."""
    page = browser.new_page(viewport={"width": 1280, "height": 900})
    page.set_default_timeout(300_000)
    page.add_init_script(_WATCH)
    talk = page.context.new_cdp_session(page)
    talk.send("Emulation.setCPUThrottlingRate", {"rate": slower})
    page.goto(file.as_uri())
    page.locator("#place").fill("5")
    page.locator("#place-says").inner_text()
    answered = page.evaluate("performance.now()")
    painted = page.evaluate(
        "performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? NaN")
    said = (f"painted after {painted:.0f} ms, first picture {page.evaluate('pictured'):.0f} ms, "
            f"place told {answered:.0f} ms")
    if page.locator("#try-form").count():
        page.locator("#try-form").scroll_into_view_if_needed()
        page.locator("#try-splits table").wait_for()
        page.evaluate("window.longest = 0")
        start = page.evaluate("performance.now()")
        power = page.locator("#try-power")
        power.fill(str(int(power.input_value()) + 5))
        page.locator("#try-says .said", has_text="than the plan's").wait_for()
        taken = page.evaluate("performance.now()") - start
        said += f"; a try {taken / 1000:.2f} s, blocked {page.evaluate('longest'):.0f} ms at most"
    page.close()
    return said


def main(reports: list[str]) -> None:
    from playwright.sync_api import sync_playwright

    files = [Path(report).resolve() for report in reports] or [written()]
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=shutil.which("chromium"),
                                       args=["--no-sandbox", "--disable-gpu"])
        for file in files:
            print(f"{file}: {file.stat().st_size / 1e6:.2f} MB")
            for slower in (1, 1, 4, 4):
                speed = "full speed" if slower == 1 else f"1/{slower} of it"
                print(f"  {speed}: {timed(browser, file, slower)}")


if __name__ == "__main__":
    main(sys.argv[1:])
