"""One self-contained page: text, tables and charts that work offline and escape what they show.

Parts of a section are values: a `str` is a paragraph (escaped), `Markup` a fragment that the
caller vouches for, and `Points`, `Table`, `Chart`, `Folded` say themselves what they are. Charts
are SVG in the page, there before any script runs; scripts only lay something over them.
"""

from __future__ import annotations

import base64
import hashlib
import json
import math
import re
from dataclasses import dataclass, field, replace
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import numpy as np
from markupsafe import Markup, escape

from optimizer.report.svg import HALF_SHEET, SHEET, drawn

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from numpy.typing import NDArray

    from optimizer.report.svg import Drawing, Look

__all__ = ["Chart", "Folded", "Markup", "Part", "Points", "Section", "Table", "asset", "bare",
           "fragment", "laid_out", "render", "script_json", "tidied"]


@dataclass(frozen=True)
class Table:
    """Rows under headings.

    Columns of figures stand right, others left; `left` overrides that. `ident` gives the table
    an anchor and, with `tools`, buttons that sort, copy and save it as CSV. `stretches` are the
    kilometres (from, to) of the rows, so that a row and its stretch in the charts light each
    other; with `at_end` a row is about the place where its stretch ends.
    """

    headings: Sequence[str]
    rows: Sequence[Sequence[object]]
    caption: str = ""
    ident: str = ""
    tools: bool = False
    left: tuple[int, ...] = (0,)
    stretches: Sequence[tuple[float, float]] = ()
    at_end: bool = False


@dataclass(frozen=True)
class Chart:
    """A picture that answers `question`, with its figures as a table.

    Attributes
    ----------
    draw : gives the picture at one width
    finding : what is to be seen, in a sentence; it is also what a screen reader is told
    note : how to read the picture
    kilometres : length of the course, in a picture that lies along it; 0 for others
    half : whether half the width of a sheet is enough for it
    sheet : another drawing for paper, where the one for the screen is too tall
    """

    ident: str
    question: str
    draw: Callable[[Look], Drawing]
    table: Table
    finding: str
    note: str = ""
    kilometres: float = 0.0
    half: bool = False
    sheet: Callable[[Look], Drawing] | None = None


@dataclass(frozen=True)
class Points:
    """A list of short statements."""

    items: Sequence[str | Markup]


@dataclass(frozen=True)
class Folded:
    """Detail behind a line that opens it."""

    summary: str
    parts: Sequence[Part]


Part = str | Markup | Table | Chart | Points | Folded


@dataclass(frozen=True)
class Section:
    """A heading and what stands under it."""

    ident: str
    heading: str
    parts: Sequence[Part] = field(default_factory=tuple)


def render(title: str, lead: str | Sequence[str | Markup], sections: Sequence[Section], *,
           opening: Markup | Chart | str = "", kicker: str = "", foot: Sequence[str | Markup] = (),
           language: str = "en", along: Mapping[str, Any] | Markup | None = None,
           data: Mapping[str, Any] | None = None, script: str = "", style: str = "",
           workers: bool = False) -> str:
    """Give the whole page as HTML.

    Parameters
    ----------
    lead : the sentences of the first screen
    opening : the picture above them; a chart comes after the first of them, which it shows
    kicker : small line above the title
    foot : paragraphs at the end
    along : what is read out at a place of the course, as `optimizer.report.along.read_out` gives it
    data : values for `script`, which finds them as `kitpace.data`; those that are Markup, and such
        an `along`, come from `script_json`
    script, style : of this page alone, trusted
    workers : whether the scripts start workers, made of their own text
    """
    scripts = [asset("page.js"), *([asset("along.js")] if along else []),
               *([script] if script else [])]
    styles = asset("page.css") + asset("picture.css") + style
    store = _object({"along": along, "page": _object(data or {})})
    sentences = [lead] if isinstance(lead, str) else lead
    shown = isinstance(opening, Chart)
    return tidied(_trusted(asset("page.html").removesuffix("\n")).format(
        language=language, title=title, policy=_policy(scripts, styles, workers=workers),
        style=_trusted(styles), kicker=_each('<p class="kicker">{}</p>\n', [kicker] * bool(kicker)),
        answer=_paragraphs(sentences[:1] if shown else ()),
        opening=_chart(opening, first=True) if isinstance(opening, Chart) else opening,
        lead=_paragraphs(sentences[1:] if shown else sentences),
        contents=_contents(sections), sections=_trusted("").join(map(_section, sections)),
        foot=_each("<p>{}</p>\n", foot), store=store,
        scripts=_each("<script>{}</script>\n", map(_trusted, scripts))))


def _each(pattern: str, texts: Iterable[str]) -> Markup:
    """Texts, each within some markup."""
    return _trusted("").join(_trusted(pattern).format(text) for text in texts)


def _paragraphs(sentences: Sequence[str]) -> Markup:
    """Give sentences of the first screen, each a paragraph."""
    return _each('<div class="lead">\n{}</div>\n', [_each("<p>{}</p>\n", sentences)] * bool(
        sentences))


def _contents(sections: Sequence[Section]) -> Markup:
    """List the sections where there are more than two."""
    if len(sections) <= _FEW_SECTIONS:
        return _trusted("")
    return _trusted('<nav aria-label="On this page">\n<ol>\n{}</ol>\n</nav>\n').format(
        _trusted("").join(_trusted('<li><a href="#{}">{}</a></li>\n').format(
            section.ident, section.heading) for section in sections))


def _section(section: Section) -> Markup:
    return _trusted('<section id="{ident}" aria-labelledby="{ident}-h">\n'
                    '<h2 id="{ident}-h">{heading}</h2>\n{parts}</section>\n').format(
        ident=section.ident, heading=section.heading,
        parts=_each("{}\n", map(_body, section.parts)))


def laid_out(parts: Sequence[Part]) -> list[Part]:
    """Give parts with their pictures and tables as HTML already."""
    return [_body(part) for part in parts]


def fragment(parts: Sequence[Part]) -> Markup:
    """Give parts as they stand in a page, for one that is put together elsewhere."""
    return _trusted(tidied(Markup("").join(map(_body, parts))))


def bare(title: str, body: Markup, style: str, *, language: str = "en") -> str:
    """Give a page that is one fragment with its own style: no script, no chart."""
    return tidied(Markup(
        '<!doctype html>\n<html lang="{language}">\n<head>\n<meta charset="utf-8">\n'
        '<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<meta name="generator" content="kitpace">\n'
        "<title>{title}</title>\n<style>{style}</style>\n</head>\n<body>\n<main>{body}</main>\n"
        "</body>\n</html>\n",
    ).format(language=language, policy=_policy((), style), title=title,
             style=_trusted(style), body=body))


_TURNS = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
_OUTSIDE = re.compile(r"(<(script|style|textarea|option)\b.*?</\2>)|>[^<]+", re.DOTALL)
_UNIT = re.compile(
    r"(?<=[0-9–])[ ](?=(?:W/kg|kW|W|kJ|J|km/h|km|cm²|cm|mm|m/s²|m/s|m²|m|ms|s|min|h|%|°C|kg/m³|kg"
    r"|g|hPa|Hz|N|MB|[A-Z]{3})(?![\w/²³]))"
    r"|(?<=±)[ ](?=\d)|(?<=[\d ]min)[ ](?=\d\d[ \u00a0]s\b)")


def tidied(html: str) -> str:
    """Page in whose text no value parts from its unit and no name turns the line around.

    Characters that override the direction of writing (Unicode Bidirectional Algorithm, UAX 9,
    2.1 to 2.4) are left out of what is shown; scripts keep them, as escapes. What a form sends
    back stays as it is.
    """
    def tied(match: re.Match[str]) -> str:
        return match[0] if match[1] else _UNIT.sub("\u00a0", match[0])

    for turn in _TURNS:
        html = html.replace(turn, "")
    return _OUTSIDE.sub(tied, str(html))


def script_json(value: object) -> Markup:
    """JSON that is safe inside a script element; keys sorted, nan and inf as null."""
    text = json.dumps(_plain(value), ensure_ascii=False, sort_keys=True, separators=(",", ":"),
                      allow_nan=False)
    for char in f"<>&\u2028\u2029{_TURNS}":
        text = text.replace(char, f"\\u{ord(char):04x}")
    return _trusted(text)


def _object(entries: Mapping[str, Any]) -> Markup:
    """JSON object of values, some of which may be JSON already."""
    return _trusted("{" + ",".join(
        f"{script_json(key)}:{value if isinstance(value, Markup) else script_json(value)}"
        for key, value in sorted(entries.items())) + "}")


def _trusted(text: str) -> Markup:
    """Text of ours, or made safe by the caller, as it is."""
    return Markup(text)  # noqa: S704


# --- fragments --------------------------------------------------------------------------


def _body(part: Part) -> Markup:
    """One part as HTML."""
    if isinstance(part, Markup):
        return part
    if isinstance(part, str):
        return Markup("<p>{}</p>").format(part)
    if isinstance(part, Points):
        return Markup("<ul>{}</ul>").format(
            Markup("").join(Markup("<li>{}</li>").format(item) for item in part.items))
    if isinstance(part, Folded):
        return Markup("<details><summary>{}</summary>{}</details>").format(
            part.summary, Markup("").join(map(_body, part.parts)))
    return _table(part) if isinstance(part, Table) else _chart(part)


def _chart(chart: Chart, *, first: bool = False) -> Markup:
    """Figure with its question, what is to be seen, the picture and the table below.

    The `first` of a page stands under no section, so that its question heads one itself.
    """
    note = Markup('<p class="note">{}</p>').format(chart.note) if chart.note else ""
    finding = Markup('<p class="finding">{}</p>').format(chart.finding) if chart.finding else ""
    table = chart.table if chart.table.caption else replace(chart.table, caption=chart.question)
    return Markup(
        '<figure class="chart{half}" id="{ident}" aria-labelledby="{ident}-q">'
        '<figcaption><{h} class="question" id="{ident}-q">{question}</{h}>{finding}</figcaption>'
        "{picture}{note}"
        "<details><summary>The same in figures</summary>{table}</details></figure>",
    ).format(h="h2" if first else "h3", ident=chart.ident, question=chart.question,
             finding=finding, note=note, half=" half" if chart.half else "", table=_table(table),
             picture=drawn(chart.ident, chart.draw, chart.question,
                           f"{chart.finding} A table with the figures follows.".strip(),
                           kilometres=chart.kilometres,
                           sheet=(chart.sheet or chart.draw,
                                  HALF_SHEET if chart.half else SHEET)))


_FEW_SECTIONS = 2  # that need no list of them
_LONG = 40  # characters of a cell that needs room
_BRIEF = 16  # characters of a cell that stay on one line
_FEW_COLUMNS = 3  # that a phone holds side by side
_ROW_HEADING = '<th role="rowheader" scope="row"{}{}>{}</th>'
_CELL = '<td role="cell"{}{}>{}</td>'
_FIGURES = re.compile(r"([+−–(<≈≤~-]?\s?\d.{0,34}|–|under .*|)")


def _holds_figures(cells: Sequence[object]) -> bool:
    """Whether a column is one of figures, with a short word here and there."""
    words = [_trusted(_cell(cell)).striptags() for cell in cells]
    figures = [bool(_FIGURES.fullmatch(text)) for text in words]
    return any(figures) and all(figure or (text.isalpha() and len(text) < 9)
                                for figure, text in zip(figures, words, strict=True))


def _table(table: Table) -> Markup:
    """Table in a frame that scrolls by itself; on a phone its rows are stacked entries."""
    columns = range(len(table.headings))
    right = [k not in table.left and _holds_figures([row[k] for row in table.rows])
             for k in columns]
    widest = [max((len(_trusted(_cell(row[k])).striptags()) for row in table.rows), default=0)
              for k in columns]
    kind = [Markup(' class="n"') if right[k] else Markup(' class="long"') if widest[k] > _LONG
            else "" for k in columns]
    cell = [kind[k] or (Markup(' class="brief"') if widest[k] <= _BRIEF else "") for k in columns]
    named = [Markup(' data-h="{}"').format(heading) for heading in table.headings]
    # Plain strings put together, each escaped: a page has hundreds of cells.
    head = "".join(f'<th role="columnheader" scope="col"{kind[k]}>{escape(table.headings[k])}</th>'
                   for k in columns)
    rows = "".join(
        f'<tr role="row"{_stretch(table, number)}>' + "".join(
            (_ROW_HEADING if k == 0 else _CELL).format(
                cell[k], named[k] if k or right[0] else "",
                row[k] if isinstance(row[k], Markup) else escape(_cell(row[k])))
            for k in columns) + "</tr>"
        for number, row in enumerate(table.rows))
    return Markup(
        '{caption}<div class="scroll" role="group" tabindex="0" aria-label="{name}">'
        '<table role="table"{ident}{tools}{wide} aria-label="{name}">'
        '<thead role="rowgroup"><tr role="row">{head}</tr></thead>'
        '<tbody role="rowgroup">{rows}</tbody></table></div>',
    ).format(name=table.caption or "Table", head=_trusted(head), rows=_trusted(rows),
             ident=Markup(' id="{}"').format(table.ident) if table.ident else "",
             tools=Markup(" data-tools") if table.tools else "",
             wide=Markup(' class="stacks"') if len(table.headings) > _FEW_COLUMNS else "",
             caption=Markup('<p class="caption">{}</p>').format(table.caption)
             if table.caption else "")


def _stretch(table: Table, number: int) -> Markup:
    """Attributes of a row that stands for a stretch of the course."""
    if not table.stretches:
        return Markup("")
    start, end = table.stretches[number]
    return Markup(' data-from-km="{}" data-to-km="{}"{}').format(
        f"{start:.5g}", f"{end:.5g}", Markup(" data-at-end") if table.at_end else "")


def _cell(value: object) -> str:
    """Text of a cell; a figure without a value is a dash."""
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return "–"
    return str(value)


# --- safety -----------------------------------------------------------------------------

def _plain(value: Any) -> Any:  # noqa: PLR0911
    """Values of JSON from numpy and tuples; numbers to seven digits, nan and inf as None."""
    if isinstance(value, str | bool | int) or value is None:
        return value
    if isinstance(value, float | np.floating):
        number = float(f"{value:.7g}")
        if not math.isfinite(number):
            return None
        return int(number) if number.is_integer() and abs(number) < 1e15 else number
    if isinstance(value, np.ndarray):
        if value.dtype.kind != "f" or value.ndim == 0:
            return _plain(value.tolist())
        return _nested(_digits(value.ravel()), value.shape)
    if isinstance(value, np.integer | np.bool_):
        return value.item()
    if hasattr(value, "items"):
        return {str(key): _plain(item) for key, item in value.items()}
    items = list(value)
    if len(items) > 20 and all(type(item) is float for item in items):
        return _digits(np.array(items))
    return [_plain(item) for item in items]


def _nested(flat: list[float | int | None], shape: tuple[int, ...]) -> list[Any]:
    """Give lists in lists of a shape."""
    if len(shape) == 1:
        return flat
    size = len(flat) // shape[0] if shape[0] else 0
    return [_nested(flat[k * size:(k + 1) * size], shape[1:]) for k in range(shape[0])]


def _digits(values: NDArray[np.float64]) -> list[float | int | None]:
    """Round to seven digits as `_plain` does, all at once; long profiles take most of a page."""
    known = np.isfinite(values)
    size = np.where(known & (values != 0.0), np.abs(values), 1.0)
    power = np.clip(6 - np.floor(np.log10(size)).astype(int), -22, 22)
    up, down = 10.0 ** np.maximum(power, 0), 10.0 ** np.maximum(-power, 0)
    rounded = np.round(np.where(known, values, 0.0) * up / down) * down / up
    return [(int(number) if number.is_integer() and abs(number) < 1e15 else number)
            if there else None
            for number, there in zip(rounded.tolist(), known.tolist(), strict=True)]


def _policy(scripts: Sequence[str], styles: str, *, workers: bool = False) -> str:
    """Content policy: nothing from outside, only these scripts and styles, by their hash.

    A `style="..."` attribute does not work in such a page; use a class and `style` of `render`.
    """
    return "; ".join([
        "default-src 'none'", "script-src " + (" ".join(map(_hash, scripts)) or "'none'"),
        f"style-src {_hash(styles)}", *(["worker-src blob:"] if workers else []),
        "img-src data:", "base-uri 'none'", "form-action 'none'"])


def _hash(text: str) -> str:
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"


@cache
def asset(name: str) -> str:
    """Text of a file beside this module, with the line ends that a browser hashes."""
    text = files("optimizer.report").joinpath(name).read_text(encoding="utf-8")
    return text.replace("\r\n", "\n")
