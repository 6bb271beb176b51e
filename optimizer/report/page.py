"""One self-contained page: text, tables and charts that work offline and escape what they show.

Parts of a section are values: a `str` is a paragraph (escaped), `Markup` a fragment that the
caller vouches for, and `Points`, `Table`, `Chart`, `Folded` say themselves what they are. Colours
in a chart are names, so that it follows light, dark and print: "@ink", "@quiet" (secondary text),
"@rule" (thin lines), "@paper", "@plan" and "@other" (the two accents), "@plan-band" and
"@other-band" (their doubt).
"""

from __future__ import annotations

import base64
import gzip
import hashlib
import json
import math
import re
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from markupsafe import Markup

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

__all__ = ["Chart", "Folded", "Markup", "Part", "Points", "Section", "Table", "asset", "bare",
           "render", "script_json"]


@dataclass(frozen=True)
class Table:
    """Rows under headings.

    Columns of figures stand right, others left; `left` overrides that. `ident` gives the table
    an anchor and, with `tools`, buttons that sort, copy and save it as CSV. `stretches` are the
    kilometres (from, to) of the rows, so that the place marked in the charts is marked here.
    """

    headings: Sequence[str]
    rows: Sequence[Sequence[object]]
    caption: str = ""
    ident: str = ""
    tools: bool = False
    left: tuple[int, ...] = (0,)
    stretches: Sequence[tuple[float, float]] = ()


@dataclass(frozen=True)
class Chart:
    """A plotly figure {data, layout} that answers `question`, with its figures as a table.

    `note` says in a sentence what is to be seen; it is also what a screen reader is told.
    Charts with `meta: {"along": True}` in their layout and km from the start as x share one
    cursor; traces with `meta: {"say": name, "unit": unit, "digits": 0}` are read out at it.
    `meta: {"print": (width, height)}` sizes a chart on paper, in pixels of a page 680 wide;
    (0, 0) leaves it out there.
    """

    ident: str
    question: str
    figure: Mapping[str, Any]
    table: Table
    note: str = ""


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
           opening: Markup | str = "", kicker: str = "", foot: Sequence[str | Markup] = (),
           language: str = "en", data: Mapping[str, Any] | None = None, script: str = "",
           style: str = "") -> str:
    """Give the whole page as HTML.

    Parameters
    ----------
    lead : the sentences of the first screen
    opening : the picture above them
    kicker : small line above the title
    foot : paragraphs at the end
    data : values for `script`, which finds them as `kitpace.data`
    script, style : of this page alone, trusted
    """
    charts = [chart for section in sections for chart in _charts(section.parts)]
    scripts = [asset("page.js")]
    if any(chart.figure.get("layout", {}).get("meta", {}).get("along") for chart in charts):
        scripts.append(asset("along.js"))
    if script:
        scripts.append(script)
    styles = asset("page.css") + asset("picture.css") + style
    store = {"charts": {chart.ident: _figure(chart.figure) for chart in charts},
             "page": dict(data or {})}
    return _settled(_template().render(
        title=title, kicker=kicker, opening=opening, lead=[lead] if isinstance(lead, str) else lead,
        sections=sections, foot=foot, language=language, style=_trusted(styles),
        scripts=[_trusted(text) for text in scripts], store=script_json(store), body=_body,
        library=_library().packed if charts else "",
        policy=_policy(scripts, styles, charts=bool(charts))))


def bare(title: str, body: Markup, style: str, *, language: str = "en") -> str:
    """Give a page that is one fragment with its own style: no script, no chart."""
    return _settled(Markup(
        '<!doctype html>\n<html lang="{language}">\n<head>\n<meta charset="utf-8">\n'
        '<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<meta name="generator" content="kitpace">\n'
        "<title>{title}</title>\n<style>{style}</style>\n</head>\n<body>\n<main>{body}</main>\n"
        "</body>\n</html>\n",
    ).format(language=language, policy=_policy((), style, charts=False), title=title,
             style=_trusted(style), body=body))


_TURNS = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
_OUTSIDE = re.compile(r"(<(?:script|style)\b.*?</(?:script|style)>)|>[^<]+", re.DOTALL)
_UNIT = re.compile(
    r"(?<=[0-9–])[ ](?=(?:W|kW|kJ|km/h|km|m²|m|mm|s|ms|min|h|%|°C|g|kg|hPa|EUR|N)(?![\w/²]))"
    r"|(?<=±)[ ](?=\d)|(?<=[\d ]min)[ ](?=\d\d[ \u00a0]s\b)")


def _settled(html: str) -> str:
    """Page in whose text no value parts from its unit and no name turns the line around.

    Characters that override the direction of writing (Unicode Bidirectional Algorithm, UAX 9,
    2.1 to 2.4) are left out of what is shown; scripts keep them, as escapes.
    """
    def tied(match: re.Match[str]) -> str:
        return match[0] if match[1] else _UNIT.sub("\u00a0", match[0])

    return _OUTSIDE.sub(tied, str(html).translate(dict.fromkeys(map(ord, _TURNS))))


def script_json(value: object) -> Markup:
    """JSON that is safe inside a script element; keys sorted, nan and inf as null."""
    text = json.dumps(_plain(value), ensure_ascii=False, sort_keys=True, separators=(",", ":"),
                      allow_nan=False)
    for char in f"<>&\u2028\u2029{_TURNS}":
        text = text.replace(char, f"\\u{ord(char):04x}")
    return _trusted(text)


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


def _chart(chart: Chart) -> Markup:
    """Figure with its question, the drawing place and the table below."""
    height = int(chart.figure.get("layout", {}).get("height", 320))
    return Markup(
        '<figure class="chart{paper}" id="{ident}" aria-labelledby="{ident}-q">'
        '<figcaption><h3 id="{ident}-q">{question}</h3>{note}</figcaption>'
        '<div class="plot" role="img" data-chart="{ident}" data-height="{height}" '
        'aria-label="{label}"></div>'
        "<details><summary>The same in figures</summary>{table}</details></figure>",
    ).format(ident=chart.ident, question=chart.question, height=height, paper=_on_paper(chart),
             note=Markup("<p>{}</p>").format(chart.note) if chart.note else "",
             label=f"Chart. {chart.question} {chart.note} A table with the figures follows.",
             table=_table(chart.table))


def _on_paper(chart: Chart) -> str:
    """Class of a chart by its width on paper."""
    width = (chart.figure.get("layout", {}).get("meta") or {}).get("print", (680, 0))[0]
    return " screen" if width == 0 else " half" if width < 400 else ""


_LONG = 40  # characters of a cell that needs room
_ROW_HEADING = Markup('<th scope="row"{}>{}</th>')
_CELL = Markup("<td{}>{}</td>")
_FIGURES = re.compile(r"([+−–(<≈≤~-]?\s?\d.{0,34}|–|under .*|)")


def _holds_figures(cells: Sequence[object]) -> bool:
    """Whether a column is one of figures, with a short word here and there."""
    words = [_trusted(_cell(cell)).striptags() for cell in cells]
    figures = [bool(_FIGURES.fullmatch(text)) for text in words]
    return any(figures) and all(figure or (text.isalpha() and len(text) < 9)
                                for figure, text in zip(figures, words, strict=True))


def _table(table: Table) -> Markup:
    """Table in a region that scrolls by itself on a narrow screen."""
    columns = range(len(table.headings))
    right = [k not in table.left and _holds_figures([row[k] for row in table.rows])
             for k in columns]
    kind = [Markup(' class="n"') if right[k] else Markup(' class="long"')
            if any(len(_cell(row[k])) > _LONG for row in table.rows) else "" for k in columns]
    head = Markup("").join(
        Markup('<th scope="col"{}>{}</th>').format(kind[k], table.headings[k]) for k in columns)
    rows = Markup("").join(
        Markup("<tr{}>{}</tr>").format(_stretch(table, number), Markup("").join(
            (_ROW_HEADING if k == 0 else _CELL).format(
                kind[k], row[k] if isinstance(row[k], Markup) else _cell(row[k]))
            for k in columns))
        for number, row in enumerate(table.rows))
    return Markup(
        '{caption}<div class="scroll" role="region" tabindex="0" aria-label="{name}">'
        '<table{ident}{tools} aria-label="{name}"><thead><tr>{head}</tr></thead>'
        "<tbody>{rows}</tbody></table></div>",
    ).format(name=table.caption or "Table", head=head, rows=rows,
             ident=Markup(' id="{}"').format(table.ident) if table.ident else "",
             tools=Markup(" data-tools") if table.tools else "",
             caption=Markup('<p class="caption">{}</p>').format(table.caption)
             if table.caption else "")


def _stretch(table: Table, number: int) -> Markup:
    """Attributes of a row that stands for a stretch of the course."""
    if not table.stretches:
        return Markup("")
    start, end = table.stretches[number]
    return Markup(' data-from-km="{}" data-to-km="{}"').format(f"{start:.4g}", f"{end:.4g}")


def _cell(value: object) -> str:
    """Text of a cell; a figure without a value is a dash."""
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return "–"
    return str(value)


def _charts(parts: Sequence[Part]) -> list[Chart]:
    found: list[Chart] = []
    for part in parts:
        if isinstance(part, Chart):
            found.append(part)
        elif isinstance(part, Folded):
            found += _charts(part.parts)
    return found


# --- safety -----------------------------------------------------------------------------

_MARKUP_OF_PLOTLY = re.compile(r"<(?!br>|extra>|/extra>)")


def _figure(figure: Mapping[str, Any]) -> dict[str, Any]:
    """Figure whose texts plotly shows as they are written.

    Plotly reads a few tags in any text; all but line breaks and `<extra>` are made harmless.
    """
    def clean(value: Any) -> Any:
        if isinstance(value, str):
            return _MARKUP_OF_PLOTLY.sub("&lt;", value.replace("&", "&amp;"))
        if isinstance(value, dict):
            return {key: clean(item) for key, item in value.items()}
        if isinstance(value, list):
            return [clean(item) for item in value]
        return value

    cleaned: dict[str, Any] = clean(_plain(figure))
    return cleaned


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
        return _digits(value) if value.dtype.kind == "f" and value.ndim == 1 else _plain(
            list(value) if value.ndim > 1 else value.tolist())
    if isinstance(value, np.integer | np.bool_):
        return value.item()
    if hasattr(value, "items"):
        return {str(key): _plain(item) for key, item in value.items()}
    items = list(value)
    if len(items) > 20 and all(type(item) is float for item in items):
        return _digits(np.array(items))
    return [_plain(item) for item in items]


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


def _policy(scripts: Sequence[str], styles: str, *, charts: bool) -> str:
    """Content policy: nothing from outside, only these scripts and styles, by their hash.

    Plotly adds an empty style element and fills it rule by rule, hence the hash of nothing.
    A `style="..."` attribute does not work in such a page; use a class and `style` of `render`.
    """
    allowed = [*map(_hash, scripts), *([_library().digest] if charts else [])]
    return "; ".join([
        "default-src 'none'", "script-src " + (" ".join(allowed) or "'none'"),
        "style-src " + " ".join(map(_hash, [styles, ""] if charts else [styles])),
        "img-src data:", "base-uri 'none'", "form-action 'none'"])


def _hash(text: str) -> str:
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"


class _Library(NamedTuple):
    """The library that draws: zipped, as base64, and the hash of its text for the policy."""

    packed: Markup
    digest: str


@cache
def _library() -> _Library:
    """Pack the script that comes with the plotly package, to a third of its size."""
    spec = find_spec("plotly")
    assert spec is not None  # noqa: S101 - it is installed with this package
    text = Path(str(spec.origin)).with_name("package_data").joinpath("plotly.min.js").read_bytes()
    packed = base64.b64encode(gzip.compress(text, 6, mtime=0)).decode("ascii")
    return _Library(_trusted(packed), _hash(text.decode("utf-8")))


@cache
def asset(name: str) -> str:
    """Text of a file beside this module, with the line ends that a browser hashes."""
    text = files("optimizer.report").joinpath(name).read_text(encoding="utf-8")
    return text.replace("\r\n", "\n")


@cache
def _template() -> Any:
    from jinja2 import Environment, StrictUndefined

    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True,
                              lstrip_blocks=True)
    return environment.from_string(asset("page.html"))
