"""Marks of a course as posts through all rows of a picture, named at their heads."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from markupsafe import Markup

from optimizer.report.svg.elements import el, group, text
from optimizer.report.svg.lettering import levels, width_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimizer.report.svg.drawing import Look
    from optimizer.report.svg.scale import Scale

__all__ = ["Heads", "Post", "heads"]

_LONGEST_NAME = 26  # letters of a name that are drawn


@dataclass(frozen=True)
class Post:
    """A mark: where it is [m], the letter it goes by, its name."""

    distance: float
    letter: str
    name: str


@dataclass(frozen=True)
class Heads:
    """The heads of posts: what is drawn, how tall it is [px], and where each post begins [px].

    `named` tells whether the names found room; without it there are only letters.
    """

    drawn: Markup
    height: float
    starts: tuple[tuple[float, float], ...]
    named: bool

    def uprights(self, bottom: float) -> Markup:
        """Draw the posts down to `bottom` [px]."""
        return Markup("").join(el("path", d=f"M{x:.1f},{top:.1f}V{bottom:.1f}", cls="post")
                               for x, top in self.starts)


def heads(posts: Sequence[Post], look: Look, km: Scale, top: float, *,
          names: bool = True) -> Heads:
    """Name the posts below `top`: with their names on up to three lines where they fit."""
    if not posts:
        return Heads(Markup(""), 0.0, (), named=True)
    places = [km.at(post.distance) for post in posts]
    letter_room = [width_of(post.letter, look.size, bold=True) + 5.0 for post in posts]
    found = None
    if names and not look.small:
        rooms = [width_of(f"{post.letter}  {_short(post.name)}", look.size) + 14.0
                 for post in posts]
        found = levels(places, rooms, 0.0, look.width, 0.35 * float(np.mean(rooms)), 3)
    named = found is not None
    if found is None:
        found = levels(places, letter_room, 0.0, look.width, 8.0, 3) or levels(
            places, letter_room, 0.0, look.width, look.width, 12)
    lines, centres = found or (np.zeros(len(posts), dtype=np.int64), np.array(places))
    drawn, starts = [], []
    for post, place, line, centre in zip(posts, places, lines, centres, strict=True):
        base = top + look.size + float(line) * look.line
        words = (Markup("{} {}").format(el("tspan", post.letter, cls="strong"), _short(post.name))
                 if named else el("tspan", post.letter, cls="strong"))
        drawn.append(text(float(centre), base, words, "halo", "middle"))
        starts.append((place, base + 0.35 * look.size))
    return Heads(group(*drawn, cls="heads"), (int(lines.max()) + 1) * look.line, tuple(starts),
                 named)


def _short(name: str) -> str:
    return name if len(name) <= _LONGEST_NAME else name[:_LONGEST_NAME - 1].rstrip() + "…"
