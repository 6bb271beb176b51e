"""Pages of the window: templates in the style of the reports."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from starlette.responses import HTMLResponse

from optimizer.defaults import WHICH_EFFORTS
from optimizer.report.page import asset as report_asset
from optimizer.report.page import tidied
from optimizer.report.words import clock, listing

if TYPE_CHECKING:
    from optimizer.window.site import Site

__all__ = ["asset", "page", "style"]

VIEWS = {"plan": "Plan", "course": "Course", "rider": "Rider", "weather": "Weather", "kit": "Kit",
         "settings": "Settings", "compare": "Compare", "debrief": "Debrief"}
"""Pages of a race, in the order of the job."""


def page(template: str, site: Site | None, *, status: int = 200, **values: Any) -> HTMLResponse:
    """Render a template; `site` gives it the work that is under way and the state of files."""
    shown: dict[str, Any] = {"work": None, "stamps": {}, "folder": ""}
    if site is not None:
        root = site.folder.root
        shown = {"work": site.work.state, "stamps": site.folder.stamps(),
                 "folder": root.name or str(root)}
    html = _environment().get_template(template).render(views=VIEWS, **{
        "race": None, "about": None, "here": "", **shown, **values})
    return HTMLResponse(tidied(html), status)


@cache
def asset(name: str) -> str:
    """Text of a file beside this module."""
    return files("optimizer.window").joinpath(name).read_text(encoding="utf-8")


@cache
def style() -> str:
    """Style of the reports, and what forms need beside it."""
    return "".join(map(report_asset, ("page.css", "picture.css", "map.css"))) + asset("window.css")


@cache
def _environment() -> Any:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    found = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True,
                        lstrip_blocks=True, loader=PackageLoader("optimizer.window", "templates"))
    found.globals.update(which_efforts=WHICH_EFFORTS)
    found.filters.update(clock=clock, listing=listing,
                         query=lambda race: urlencode({"race": race}))
    return found
