"""Pages that stand alone: what they escape, what they allow, and that bytes do not change."""

from __future__ import annotations

import base64
import hashlib
import json
from html.parser import HTMLParser

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
from optimizer.report.svg import Axis, Line, Row, plot

EVIL = '</script><img src=x onerror=alert(1)> "quoted" & \'so\''


def chart(name: str = "Line") -> Chart:
    x = np.linspace(0.0, 4.0, 5)
    rows = [Row(f"{name}, km", [Line(x, x**2, "plan", name)])]
    return Chart("c", f"Where is {name}?", lambda look: plot(look, Axis(0.0, 4.0, name), rows),
                 Table(("km", "y"), [(1, "1.0"), (2, float("nan"))], f"Figures of {name}"),
                 f"{name} rises.", note=name)


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


def test_only_the_scripts_and_styles_of_the_page_are_allowed():
    # W3C, Content Security Policy Level 3: a hash source allows an inline element of that text.
    reader = Reader(page())
    allowed = policy(reader)
    assert allowed["default-src"] == ["'none'"]
    assert allowed["script-src"] == [digest(text) for text in reader.raw["script"]]
    assert allowed["style-src"] == [digest(reader.raw["style"][0])]
    assert not any("unsafe" in word for words in allowed.values() for word in words)
    assert not any("style" in attrs for _, attrs in reader.tags)


def test_nothing_is_loaded_from_outside():
    reader = Reader(page())
    for tag, attrs in reader.tags:
        assert "src" not in attrs, tag
        assert (attrs.get("href") or "#").startswith("#"), tag


def test_a_page_is_small():
    assert len(render("T", "L", [Section("s", "S", [Table(("a",), [("b",)])])])) < 40_000
    assert len(page()) < 60_000


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


def test_every_picture_has_a_name_and_says_what_is_to_be_seen():
    # W3C, SVG Accessibility API Mappings 1.0: title names an image, desc describes it.
    text = page()
    reader = Reader(text)
    pictures = reader.named("svg")
    assert len(pictures) == 4  # a desk, a tablet, a phone, paper
    ids = {attrs["id"] for _, attrs in reader.tags if "id" in attrs}
    for attrs in pictures:
        assert attrs["role"] == "img"
        assert {attrs["aria-labelledby"], attrs["aria-describedby"]} <= ids
    assert text.count("<title id=") == text.count("<desc id=") == 4
    assert text.count("Line rises. A table with the figures follows.</desc>") == 4
    figure = text[text.index("<figure"):text.index("</figure>")]
    assert "<table" in figure
    assert "<details>" in figure


def test_the_answer_comes_first_and_its_picture_next():
    html = render("T", ["The answer.", "More of it."], [Section("s", "S", ["text"])],
                  opening=chart())
    order = [html.index(part) for part in ("<h1>", "The answer.", '<h2 class="question"', "<svg",
                                           "More of it.", "<h2 id=")]
    assert order == sorted(order)


def test_pictures_come_before_any_script():
    text = page()
    assert text.rindex("</svg>") < text.index("<script")


def test_a_value_keeps_its_unit_and_a_name_its_direction():
    # Unicode 16, UAX 9, 2.1 to 2.4: embeddings, overrides, isolates and their ends.
    text = render("T", ["57 W at 30 km/h, ± 5 s, 2 min 04 s; 12 men."], [
        Section("s", "S", ["evil \u202egnp.exe\u2066 name"])])
    assert "57\u00a0W at 30\u00a0km/h, ±\u00a05\u00a0s, 2\u00a0min\u00a004\u00a0s" in text
    assert "12 men" in text
    assert "evil gnp.exe name" in text


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
