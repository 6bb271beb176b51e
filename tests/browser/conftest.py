"""A browser for the tests, and pages that note every complaint."""

from __future__ import annotations

from contextlib import contextmanager

import pytest

from tests.fetched import fetched
from tests.programs import missing, required


def axe_findings(page, **options):
    """Everything but the minor that axe-core 4.14 (Deque) finds with all rules that are on.

    What it passes is not asked for: the lists of that take most of its time.
    """
    page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    page.evaluate(fetched("axe-core@4.14.1", "axe.min.js", npm=True).read_text(encoding="utf-8"))
    found = page.evaluate("(asked) => axe.run(document, asked)",
                          {"resultTypes": ["violations"], **options})
    return [(rule["id"], rule["impact"], rule["nodes"][0]["html"][:120])
            for rule in found["violations"] if rule["impact"] != "minor"]


# A family that is not there gives way to each generic one in turn.
HAS_FONT = """(family) => {
  const pen = document.createElement('canvas').getContext('2d');
  const width = (font) => {
    pen.font = `100px ${font}`;
    return pen.measureText('mmMWlli10').width;
  };
  return ['serif', 'sans-serif', 'monospace'].some(
    (generic) => width(`'${family}', ${generic}`) !== width(generic));
}"""


def with_font(page, family):
    """Say that a font is there, which a test is about; skip without, or fail where all must run."""
    if not page.evaluate(HAS_FONT, family):
        missing(f"font {family}")
    return family


@pytest.fixture(scope="session")
def chromium():
    """Chromium of the system, headless."""
    sync_api = pytest.importorskip("playwright.sync_api")
    found = required("chromium", "chromium-browser")
    with sync_api.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=found, args=[
            "--no-sandbox", "--disable-gpu", "--disable-background-networking"])
        yield browser
        browser.close()


@pytest.fixture
def open_page(chromium):
    """Open a file: `with open_page(path, width=..., dark=...) as page`.

    `before` is a script that runs ahead of the page's own. On leaving, the page must have said
    nothing on the console (but `said`, a part of the one line expected there) and asked for
    nothing.
    """
    @contextmanager
    def opened(path, *, width=1280, height=900, dark=False, said=None, before="", **options):
        context = chromium.new_context(
            viewport={"width": width, "height": height}, accept_downloads=True,
            color_scheme="dark" if dark else "light", **options)
        context.set_default_timeout(120_000)  # a machine may be busy with other things
        page = context.new_page()
        if before:
            page.add_init_script(before)
        complaints: list[str] = []
        page.on("console", lambda message: complaints.append(message.text))
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("dialog", lambda dialog: (complaints.append(dialog.message), dialog.dismiss()))
        page.on("request", lambda request: None
                if request.url.startswith(("file:", "blob:", "data:"))
                else complaints.append(request.url))
        page.goto(path.as_uri())
        yield page
        assert [line for line in complaints if said is None or said not in line] == []
        assert said is None or complaints
        context.close()

    return opened
