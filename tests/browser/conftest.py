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


@pytest.fixture(scope="session")
def idle_pages(chromium):
    """Pages that no test uses just now, by the options of their contexts.

    Each process of a new page takes longer to start than most tests to look at it.
    """
    assert chromium.is_connected()
    return {}


@pytest.fixture
def open_page(chromium, idle_pages):
    """Open a file: `with open_page(path, width=..., dark=...) as page`.

    `before` is a script that runs ahead of the page's own. On leaving, the page must have said
    nothing on the console (but `said`, a part of the one line expected there) and asked for
    nothing. The next test gets the same page, empty; our pages store nothing in the browser.
    """
    @contextmanager
    def opened(path, *, width=1280, height=900, dark=False, said=None, before="", **options):
        kind = repr(sorted(options.items()))
        page = None if before else idle_pages.pop(kind, None)
        if page is None:
            page = chromium.new_context(accept_downloads=True, **options).new_page()
            # A machine may be busy with other things.
            page.context.set_default_timeout(120_000)
        if before:
            page.add_init_script(before)
        page.set_viewport_size({"width": width, "height": height})
        page.emulate_media(media="null", color_scheme="dark" if dark else "light")
        complaints: list[str] = []
        listening = {
            "console": lambda message: complaints.append(message.text),
            "pageerror": lambda error: complaints.append(str(error)),
            "dialog": lambda dialog: (complaints.append(dialog.message), dialog.dismiss()),
            "request": lambda request: None
            if request.url.startswith(("file:", "blob:", "data:"))
            else complaints.append(request.url)}
        for event, hear in listening.items():
            page.on(event, hear)
        page.goto(path.as_uri())
        yield page
        assert [line for line in complaints if said is None or said not in line] == []
        assert said is None or complaints
        if before:
            page.context.close()
            return
        for event, hear in listening.items():
            page.remove_listener(event, hear)
        page.mouse.move(0, 0)
        page.goto("about:blank")
        assert page.context.pages == [page]
        idle_pages[kind] = page

    return opened
