"""A picture in the page: three widths, one name, and what a reader who cannot see it is told."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from optimizer.report.svg.elements import el, number

if TYPE_CHECKING:
    from collections.abc import Callable

    from markupsafe import Markup

__all__ = ["HALF_SHEET", "SHEET", "WIDTHS", "Area", "Drawing", "Look", "drawn", "look_for"]

WIDTHS = (1000.0, 680.0, 350.0)
"""Widths for which pictures are drawn [px]: desk; tablet and paper; phone."""
_NAMES = {1000.0: "wide", 680.0: "middle", 350.0: "narrow"}


@dataclass(frozen=True)
class Look:
    """Sizes at one width [px]: the letters, the margins left and right of what is drawn.

    `tall` scales the heights of rows.
    """

    width: float
    size: float
    left: float
    right: float
    small: bool = False  # for a phone, with names above what they name
    tall: float = 1.0

    @property
    def line(self) -> float:
        """Distance of lines of text."""
        return 1.35 * self.size


def look_for(width: float) -> Look:
    """Sizes that go with a width; the same for all pictures, so that their axes agree."""
    if width > 800.0:
        return Look(width, 13.0, 46.0, 16.0)
    if width > 500.0:
        return Look(width, 11.5, 40.0, 12.0)
    return Look(width, 11.5, 34.0, 8.0, small=True)


HALF_SHEET = Look(330.0, 9.5, 30.0, 8.0, tall=0.52)
SHEET = Look(680.0, 10.0, 34.0, 12.0, tall=0.42)
"""Sizes for half and for all of the width of a sheet."""


@dataclass(frozen=True)
class Area:
    """Where the axes of a picture lie [px], for what is laid over it later.

    `high` is the value at the top of a single row that begins at 0.
    """

    left: float
    right: float
    top: float
    bottom: float
    high: float = 0.0


@dataclass(frozen=True)
class Drawing:
    """What is drawn at one width, and how tall it came out."""

    height: float
    body: Markup
    area: Area | None = None


def drawn(ident: str, draw: Callable[[Look], Drawing], title: str, finding: str, *,
          kilometres: float = 0.0, widths: tuple[float, ...] = WIDTHS, cls: str = "",
          sheet: tuple[Callable[[Look], Drawing], Look] | None = None) -> Markup:
    """Give a picture in all its widths.

    Parameters
    ----------
    title, finding : its name and what is to be seen, for those who cannot see it
    kilometres : length of the course, in a picture that lies along it
    cls : further classes of the frame
    sheet : another drawing for paper, with its sizes; without it paper gets the middle width
    """
    frames = []
    cases = [(_NAMES.get(width, "wide") if len(widths) > 1 else "only", draw, look_for(width))
             for width in widths]
    if sheet is not None:
        cases.append(("sheet", *sheet))
        cls = f"{cls} has-sheet"
    for name, make, look in cases:
        picture, width = make(look), look.width
        key = f"{ident}-{name}"
        place = picture.area
        frames.append(el(
            "svg", el("title", title, id=f"{key}-t"), el("desc", finding, id=f"{key}-d"),
            picture.body, cls=f"g {name}", viewBox=f"0 0 {number(width)} {number(picture.height)}",
            role="img", aria_labelledby=f"{key}-t", aria_describedby=f"{key}-d",
            **({} if place is None else {
                "data_left": place.left, "data_right": place.right,
                "data_top": place.top, "data_bottom": place.bottom,
                "data_high": f"{place.high:.7g}" if place.high else None})))
    return el("div", *frames, cls=f"drawn {cls}".strip(),
              **({"data_km": f"{kilometres:.6g}"} if kilometres else {}))
