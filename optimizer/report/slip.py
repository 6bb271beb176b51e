"""How a card is drawn: for a pocket (A6) and for a top tube (45 x 140 mm), black on white.

A card with more to say than fits is longer; on paper it goes on on its back. Nothing is cut off.
What stands on it is the caller's; this module knows only how it is set.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from markupsafe import Markup

from optimizer.report.svg import Scale, area, el

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

__all__ = ["Slip", "SlipLine", "slips"]

_MOST = 8  # lines in large letters; more of them are set smaller
_WORDY = 380  # letters of all rules, from which they are set smaller
_FULL = 650  # letters of all lines and rules, from which the lines are set smaller
_PACKED = 850  # of them, from which smaller letters keep the card on one sheet
_FEW = 4  # lines for which there is room to spare
_ROOM = {"pocket": (16, 10, 6), "tube": (4, 2, 0)}  # clocks beside few, more and many lines
_LONG, _THIN = 1000.0, 60.0  # of the drawing of the ground


@dataclass(frozen=True)
class SlipLine:
    """One line: where it begins, what comes, the watts, the time on the clock there.

    `start` is its place [m]; `watts` are those of climbs, flat and descents, or one for all of
    the line; `more` is said in small letters below what comes.
    """

    start: float
    comes: str
    watts: tuple[str, str, str] | str
    clock: str
    more: str = ""


@dataclass(frozen=True)
class Slip:
    """Everything that is written on a card.

    `distance` and `height` (n,) [m] are the ground, drawn as a sliver on the edge; `note` says
    what changed; `rules` hold on every line. `places` are marks with the time on the clock there:
    a card of one line has room for them, and nothing else to say on the way. `clocks`
    are the same as short texts, for a card of several lines: all on the card for the pocket where
    it has few lines, some evenly chosen where there is less room.
    """

    title: str
    finish: str
    lines: Sequence[SlipLine]
    distance: NDArray[np.float64]
    height: NDArray[np.float64]
    rules: Sequence[str | Markup] = ()
    note: str = ""
    places: Sequence[tuple[float, str, str]] = ()
    clocks: Sequence[str] = ()


def slips(slip: Slip) -> Markup:
    """Give the card in both sizes."""
    return Markup('<div class="slips">{}{}</div>').format(
        _slip(slip, "pocket", "The card for a pocket, A6"),
        _slip(slip, "tube", "The card for the top tube, 45 by 140 mm"))


def _slip(slip: Slip, cls: str, name: str) -> Markup:
    """One size: the same table, set by the style sheet."""
    hilly = any(not isinstance(line.watts, str) for line in slip.lines)
    if len(slip.lines) == 1:
        return _framed(slip, cls, name, _one_line(slip), "single hilly" if hilly else "single")
    rows = Markup("").join(
        Markup('<tr class="line"><td class="km">{}{}</td><td class="where">{}{}</td>{}'
               '<td class="t">{}</td></tr>').format(f"{line.start / 1000:.1f}", Markup(
                   ' <small class="clock">{}</small>').format(line.clock) if hilly else "",
                        line.comes,
                        Markup(" <small>{}</small>").format(line.more) if line.more else "",
                        _watts(line, hilly=hilly), line.clock)
        for line in slip.lines)
    end = _end(slip, Markup('<td class="w">&nbsp;</td>'), hilly=hilly)
    heads = Markup('<th scope="col" class="w">{}</th>')
    watts = (Markup("").join(map(heads.format, ("climbs", "flat", "descents"))) if hilly
             else heads.format("watts"))
    count = len(slip.lines)
    letters = sum(map(len, slip.rules)) + sum(len(line.comes + line.more) for line in slip.lines)
    many = ("many" if count > _MOST else "full packed" if letters > _PACKED else
            "full" if letters > _FULL else
            "few" if count <= _FEW else "") + (" hilly" if hilly else "")
    return _framed(slip, cls, name, Markup(
        '<table><thead><tr><th scope="col">km</th><th scope="col">what comes</th>{}'
        '<th scope="col" class="t">clock</th></tr></thead><tbody>{}{}</tbody></table>').format(
            watts, rows, end), many)


def _end(slip: Slip, watts: Markup | str, *, hilly: bool = False) -> Markup:
    """Write the row of the finish; its time has room beside three columns of watts."""
    return Markup('<tr class="end"><td class="km">{}</td><td class="where">finish</td>{}'
                  '<td class="t"{}>{}</td></tr>').format(
        f"{slip.distance[-1] / 1000:.1f}", watts, Markup(' colspan="2"') if hilly else "",
        slip.finish)


def _one_line(slip: Slip) -> Markup:
    """Set a card of one line: its figures as large as there is room, then the marks."""
    line = slip.lines[0]
    watts = ([("watts", line.watts)] if isinstance(line.watts, str) else
             list(zip(("climbs", "flat", "descents"), line.watts, strict=True)))
    figures = Markup("").join(Markup('<span><small>{}</small> <b class="w">{}</b></span>').format(
        *figure) for figure in watts)
    rows = Markup("").join(
        Markup('<tr class="place"><td class="km">{}</td><td class="where">{}</td>'
               '<td class="t">{}</td></tr>').format(f"{at / 1000:.1f}", name, when)
        for at, name, when in slip.places)
    return Markup(
        '<p class="line">{}</p><p class="comes">{}</p><table><thead><tr><th scope="col">km</th>'
        '<th scope="col">place</th><th scope="col" class="t">clock</th></tr></thead>'
        "<tbody>{}{}</tbody></table>").format(figures, line.comes, rows, _end(slip, ""))


def _framed(slip: Slip, cls: str, name: str, body: Markup, kind: str) -> Markup:
    """Give a card with its head, its rules and the ground."""
    note = Markup('<p class="note">{}</p>').format(slip.note) if slip.note else ""
    said = [*slip.rules, *_clocks(slip, cls)]
    if sum(map(len, said)) > _WORDY:
        kind = f"{kind} wordy"
    rules = Markup('<ul class="rules">{}</ul>').format(Markup("").join(
        Markup("<li>{}</li>").format(rule) for rule in said)) if said else ""
    return Markup(
        '<section class="card {cls} {kind}" aria-label="{name}"><p class="who"><span>{title}</span>'
        ' <b>{finish}</b></p>{note}{body}'
        '<p class="law">Ride by what you see: law, marshals and the road come first.</p>'
        "{rules}{ground}</section>",
    ).format(cls=cls, kind=kind.strip(), name=name, title=slip.title, finish=slip.finish,
             note=note, body=body, rules=rules, ground=_ground(slip, upright=cls == "tube"))


def _clocks(slip: Slip, cls: str) -> list[str]:
    """Say the time on the clock at as many marks as there is room for."""
    lines = len(slip.lines)
    room = _ROOM[cls][0 if lines <= _FEW else 1 if lines <= _MOST else 2]
    count = min(len(slip.clocks), room)
    if count == 0:
        return []
    some = np.linspace(0, len(slip.clocks) - 1, count + 2)[1:-1] if (
        count < len(slip.clocks)) else np.arange(count)
    return [f"Clock: {', '.join(slip.clocks[k] for k in some.round().astype(int))}."]


def _watts(line: SlipLine, *, hilly: bool) -> Markup:
    """Cells of the watts: one, or one each for climbs, flat and descents."""
    if isinstance(line.watts, str):
        return Markup('<td class="w"{}>{}</td>').format(
            Markup(' colspan="3"') if hilly else "", line.watts)
    return Markup("").join(Markup('<td class="w">{}</td>').format(w) for w in line.watts)


def _ground(slip: Slip, *, upright: bool) -> Markup:
    """Draw the ground as a sliver, with a tick where each line begins; down the edge if upright."""
    low, high = float(slip.height.min()), float(slip.height.max())
    along = Scale(0.0, float(slip.distance[-1]), 0.0, _LONG)
    tall = Scale(low - 0.15 * max(high - low, 30.0), max(high, low + 30.0), _THIN, 0.0)
    x = along(slip.distance)
    shape = area(x, np.full(len(x), _THIN), tall(slip.height), "soil")
    ticks = Markup("").join(el("path", d=f"M{along.at(line.start):.1f},{_THIN:.1f}v-60")
                            for line in slip.lines[1:])
    if not upright:
        return Markup('<svg class="sliver" viewBox="0 0 {} {}" preserveAspectRatio="none" '
                      'aria-hidden="true">{}{}</svg>').format(_LONG, _THIN, shape, ticks)
    return Markup('<svg class="sliver" viewBox="0 0 {t} {l}" preserveAspectRatio="none" '
                  'aria-hidden="true"><g transform="matrix(0 1 1 0 0 0)">{s}{k}</g></svg>'
                  ).format(t=_THIN, l=_LONG, s=shape, k=ticks)
