"""Pages that stand alone: what they escape, what they allow, and that bytes do not change."""

from __future__ import annotations

import base64
import gzip
import hashlib
import json
import re
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from optimizer.report.page import (
    Chart,
    Folded,
    Markup,
    Points,
    Section,
    Table,
    bare,
    render,
    script_json,
)

EVIL = '</script><img src=x onerror=alert(1)> "quoted" & \'so\''


def chart(name: str = "Line", **layout: object) -> Chart:
    x = np.linspace(0.0, 4.0, 5)
    return Chart("c", f"Where is {name}?", {
        "data": [{"type": "scatter", "x": x, "y": x**2, "name": name, "line": {"color": "@plan"}}],
        "layout": {"xaxis": {"title": f"{name}, km"}, **layout}},
        Table(("km", "y"), [(1, "1.0"), (2, float("nan"))], f"Figures of {name}"), note=name)


def page(name: str = "Line") -> str:
    return render(f"Title {name}", [f"Lead {name}."], [
        Section("one", f"Heading {name}", [f"Words {name}", Points([name]), chart(name)]),
        Section("two", "Tables", [Folded(name, [Table((name, "n"), [(name, "1:02:03")], name,
                                                      ident="t", tools=True)])])],
        kicker=name, foot=[name], data={"name": name})


class Reader(HTMLParser):
    """Tags with their attributes, and the text of each style and script element."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.raw: dict[str, list[str]] = {"style": [], "script": [], "data": []}
        self._into: str | None = None
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        self._into = ("data" if "type" in dict(attrs) else tag) if (
            tag in {"style", "script"}) else None
        if self._into:
            self.raw[self._into].append("")

    def handle_endtag(self, _tag):
        self._into = None

    def handle_data(self, data):
        if self._into:
            self.raw[self._into][-1] += data

    def named(self, tag: str) -> list[dict[str, str | None]]:
        return [attrs for name, attrs in self.tags if name == tag]


def policy(reader: Reader) -> dict[str, list[str]]:
    (content,) = [attrs["content"] for attrs in reader.named("meta")
                  if attrs.get("http-equiv") == "Content-Security-Policy"]
    return {part.split()[0]: part.split()[1:] for part in content.split("; ")}


def digest(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def test_names_cannot_become_markup():
    reader = Reader(page(EVIL))
    assert reader.named("img") == []
    assert not any(attr.startswith("on") for _, attrs in reader.tags for attr in attrs)
    plain = Reader(page())
    assert [tag for tag, _ in reader.tags] == [tag for tag, _ in plain.tags]


def test_data_for_scripts_is_the_data_again():
    store = Reader(page(EVIL)).raw["data"][0]
    assert "<" not in store
    assert json.loads(store)["page"]["name"] == EVIL


def test_plotly_gets_no_markup_of_its_own():
    store = Reader(page("<b>bold</b><br><a href='javascript:1'>x</a> & co")).raw["data"][0]
    name = json.loads(store)["charts"]["c"]["data"][0]["name"]
    assert name == "&lt;b>bold&lt;/b><br>&lt;a href='javascript:1'>x&lt;/a> &amp; co"


def test_only_the_scripts_and_styles_of_the_page_are_allowed():
    # W3C, Content Security Policy Level 3: a hash source allows an inline element of that text.
    reader = Reader(page())
    allowed = policy(reader)
    assert allowed["default-src"] == ["'none'"]
    assert allowed["script-src"][:-1] == [digest(text) for text in reader.raw["script"]]
    assert set(allowed["style-src"]) == {digest(reader.raw["style"][0]), digest("")}
    assert not any("unsafe" in word for words in allowed.values() for word in words)
    assert not any("style" in attrs for _, attrs in reader.tags)


def test_nothing_is_loaded_from_outside():
    reader = Reader(page())
    for tag, attrs in reader.tags:
        assert "src" not in attrs, tag
        assert (attrs.get("href") or "#").startswith("#"), tag


def test_a_page_without_charts_does_not_carry_the_chart_library():
    text = render("T", "L", [Section("s", "S", [Table(("a",), [("b",)])])])
    assert "Plotly, Inc." not in text
    assert len(text) < 40_000
    assert len(page()) > 1_000_000


def test_a_bare_page_runs_nothing():
    reader = Reader(bare("T", Markup("<p>{}</p>").format(EVIL), "p { margin: 0 }"))
    assert policy(reader)["script-src"] == ["'none'"]
    assert reader.named("script") == []
    assert reader.named("img") == []


def test_same_values_same_bytes():
    assert page() == page()


def test_json_knows_no_nan():
    text = script_json({"a": [float("nan"), float("inf"), np.float64(1.25), 3.0]})
    assert json.loads(text) == {"a": [None, None, 1.25, 3]}
    assert json.loads(script_json({"b": np.arange(2), "a": np.bool_(True)})) == {
        "a": True, "b": [0, 1]}


def test_figures_stand_right_and_words_left():
    text = render("T", "L", [Section("s", "S", [Table(
        ("Item", "Cost", "Time", "Why", "Set"),
        [("10 mm tube", "owned", "1:02:03", "3 tests by a seller in a tunnel somewhere far", "yes"),
         ("x", "1,500", "−3.4 s", "", "no"), ("y", "62", float("nan"), "none", "no")])])])
    heads = [attrs.get("class") for attrs in Reader(text).named("th") if attrs["scope"] == "col"]
    assert heads == [None, "n", "n", "long", None]
    assert ">–</td>" in text


def test_every_chart_has_a_label_and_its_figures_in_a_table():
    text = page()
    reader = Reader(text)
    (plot,) = [attrs for attrs in reader.named("div") if "data-chart" in attrs]
    assert plot["role"] == "img"
    assert "Where is Line?" in plot["aria-label"]
    figure = text[text.index("<figure"):text.index("</figure>")]
    assert "<table" in figure
    assert "<details>" in figure


@pytest.mark.parametrize("tag", ["header", "nav", "main", "footer", "h1"])
def test_landmarks(tag):
    reader = Reader(render("T", "L", [Section(i, i, []) for i in "abc"], foot=["f"]))
    assert len(reader.named(tag)) == 1
    skip = reader.named("a")[0]
    assert skip["class"] == "skip"
    assert any(attrs.get("id") == skip["href"][1:] for _, attrs in reader.tags)


def test_links_within_the_page_lead_somewhere():
    reader = Reader(page())
    ids = [attrs["id"] for _, attrs in reader.tags if "id" in attrs]
    assert len(ids) == len(set(ids))
    for attrs in reader.named("a"):
        assert attrs["href"][1:] in ids


def test_the_library_is_that_of_the_plotly_package_and_the_only_one_allowed():
    import plotly

    text = page()
    (packed,) = re.findall(r'id="library">([A-Za-z0-9+/=]+)</script>', text)
    code = gzip.decompress(base64.b64decode(packed))
    origin = Path(plotly.__file__).with_name("package_data") / "plotly.min.js"
    assert code == origin.read_bytes()
    assert b"MIT" in code[:200]
    assert policy(Reader(text))["script-src"][-1] == digest(code.decode())
    assert page() == text


def test_a_page_without_charts_holds_no_library():
    text = render("T", "L", [Section("a", "a", ["b"])])
    assert 'id="library"' not in text
