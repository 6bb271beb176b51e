"""Pictures in a browser: letters of any family keep apart, on every width and on paper."""

from __future__ import annotations

import re

import pytest

from optimizer.report import write_report
from tests.browser.conftest import with_font
from tests.report.made_up import made_up_result

pytestmark = pytest.mark.browser
FAMILIES = ("DejaVu Sans", "Liberation Sans", "Liberation Serif")

OVERLAPS = """() => {
  const found = [];
  for (const svg of document.querySelectorAll('svg.g')) {
    if (!svg.getClientRects().length) continue;
    const boxes = [...svg.querySelectorAll('text')].filter((t) => t.textContent.trim())
      .map((t) => [t.textContent, t.getBoundingClientRect()]);
    const frame = svg.getBoundingClientRect();
    boxes.forEach(([words, a], k) => {
      if (a.left < frame.left - 2 || a.right > frame.right + 2) found.push(`${words} sticks out`);
      boxes.slice(k + 1).forEach(([other, b]) => {
        const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
        const tall = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
        // Line boxes are taller than letters: a quarter may overlap.
        const most = 0.3 * Math.min(a.height, b.height);
        if (wide > 1 && tall > most) found.push(`${words} | ${other}`);
      });
    });
  }
  return found;
}"""


@pytest.fixture(scope="module")
def report(tmp_path_factory):
    return write_report(made_up_result(), tmp_path_factory.mktemp("pictures") / "report.html")


def set_in(page, family):
    with_font(page, family)
    page.add_style_tag(content=f":root {{ --figures: '{family}' !important; "
                               f"--text: '{family}' !important; }}")


@pytest.mark.parametrize("family", FAMILIES)
def test_letters_keep_apart(open_page, report, family):
    with open_page(report, bypass_csp=True) as page:
        set_in(page, family)
        for width in (1280, 768, 390):
            page.set_viewport_size({"width": width, "height": 900})
            assert page.evaluate(OVERLAPS) == [], width


@pytest.mark.parametrize("family", FAMILIES)
def test_two_pages_with_every_picture(open_page, report, family):
    with open_page(report, bypass_csp=True) as page:
        set_in(page, family)
        assert len(re.findall(rb"/Type\s*/Page[^s]", page.pdf(prefer_css_page_size=True))) == 2
        # The try is for the screen; all else is on paper.
        charts = page.locator("figure.chart, #ribbon").count() - page.locator(
            "#try figure.chart").count()
        page.emulate_media(media="print")
        page.set_viewport_size({"width": 794, "height": 1123})
        assert page.evaluate(OVERLAPS) == []
        shown = page.locator("figure.chart svg.g:visible, #ribbon svg.g:visible")
        assert shown.count() == charts == 7


def test_everything_is_there_without_scripts(chromium, report):
    context = chromium.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(report.as_uri())
    tried = page.locator("#try figure.chart svg.g:visible").count()
    assert page.locator("figure.chart svg.g:visible").count() - tried == 6
    assert page.locator("#ribbon svg.g:visible text").count() > 20
    assert page.locator("svg.map:visible").count() == 1
    assert page.locator("#blocks tbody tr").count() == 5
    context.close()
