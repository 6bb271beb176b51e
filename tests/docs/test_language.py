"""Plain words: phrases that no page, message, help or document may have, and why.

What people read are the string constants of the package (docstrings of commands are their help),
its templates and scripts, the starter files and the documents. Names of keys, options and
identifiers are not sentences: a word beside an underscore or in code is left alone.
"""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest
from markupsafe import Markup

from optimizer.report.card import card_page
from optimizer.report.page import bare
from optimizer.report.plan_page import plan_page
from tests.report.made_up import made_up_result
from tests.report.spaces import loose_units

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "optimizer"

# What not to write -> what to write instead.
BANNED = {
    r"\bdoubts?\b(?<!in doubt)": "uncertainty, or warning",
    r"nine (times|days) in ten|19 times in 20": "90 % range A to B",
    r"95 % (interval|range|limits|half)|\b95 %,": "90 % range",
    r"\brests? on\b": "is based on, evidence",
    r"\bt(ell|old) (from|apart)\b|\btell \w+ (two )?apart": "clear gain, clearly different",
    r"\b(what is|as) owned\b": "your current kit",
    r"\bfrontiers?\b": "best kit at every price",
    r"\bcurrenc(y|ies) of (evidence|tests?)|other currencies": "unit",
    r"\bmended\b|\bmends?\b|\bflaws?\b": "corrected, errors in the track",
    r"\bdead turns?\b": "U-turn",
    r"\bin the face\b": "head wind",
    r"2\.7-fold|\bfactor e\b": "per doubling of time",
    r"\bconvex relaxation\b|\bcriterion\b|\bcvar\b": "what it means for the reader",
    r"\bwould win nothing\b": "would not help",
    r"\bstays out\b|\bso do \d": "not chosen",
    r"\bat will\b": "optional",
    r"\bby itself\b|\bof (its|their|his|her) own\b": "on its own, own",
    r"\bnobody said otherwise\b": "your files do not say",
    r"\b(lock on its|without a) (door|lock)\b": "no access control",
    r"\bis there (twice|already)\b": "appears twice, exists already",
    r"(?<!there )\bis no (number|file|folder|name|scenario|ride|track|time|kind|way)\b": "is not a",
    r"\b(an?|one) (item|row|test result|hour|case|effort) a (row|case)\b": "one item per row",
    r"\bin 1 (blocks|lines|rides?)\b|\bfor 0 EUR\b": "a sentence of its own",
}

# Where such a phrase is right all the same: file, phrase as found, why.
ALLOWED = {
    ("uncertainty/measures.py", "cvar"): "value of an option, explained beside it",
    ("README.md", "frontier"): "function of the Python interface",
    ("DEVELOPERS.md", "frontier"): "for contributors, who meet the term of optimisation",
}


def sentences_of(path):
    """(line, text) of every string constant of a module that is no docstring; help texts count."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    skipped = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            skipped.add(id(node.value))
    if path.parent.name == "cli":  # the docstring of a command is its help
        for node in ast.walk(tree):
            if isinstance(node, ast.FunctionDef) and node.name == "command" and node.body:
                skipped.discard(id(getattr(node.body[0], "value", None)))
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            skipped |= {id(part) for part in node.values}
            yield node.lineno, "".join(part.value if isinstance(part, ast.Constant) else "{}"
                                       for part in node.values)
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and (
                id(node) not in skipped and " " in node.value.strip()):
            yield node.lineno, node.value


def documents():
    """Templates, scripts, starter files and documents, by lines."""
    for pattern in ("*.js", "*.html", "starter_files/*.toml", "starter_files/*.csv", "priors.toml",
                    "README.md"):
        yield from PACKAGE.rglob(pattern)
    yield from ROOT.glob("*.md")
    for pattern in ("*.md", "*.toml", "*.csv"):
        yield from (ROOT / "courses").rglob(pattern)


def banned_in(text):
    """Phrases that are banned, where they are words and not parts of a name."""
    text = re.sub(r"\s+", " ", text)
    for pattern, instead in BANNED.items():
        for found in re.finditer(pattern, text, re.IGNORECASE):
            before, after = text[:found.start()][-1:], text[found.end():][:1]
            if before not in tuple('_.-#"`') and after not in ("_", "(", "="):
                yield found[0].lower(), instead


def allowed(path, phrase):
    return any(path.as_posix().endswith(name) and phrase == known for name, known in ALLOWED)


@pytest.mark.parametrize("path", sorted(PACKAGE.rglob("*.py")),
                         ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_messages_and_help_are_in_plain_words(path):
    found = [(line, phrase, instead) for line, text in sentences_of(path)
             for phrase, instead in banned_in(text) if not allowed(path, phrase)]
    assert not found


@pytest.mark.parametrize("path", sorted(documents()),
                         ids=lambda path: path.relative_to(ROOT).as_posix())
def test_documents_and_templates_are_in_plain_words(path):
    text = path.read_text(encoding="utf-8")
    text = text.split("\n## Changes")[0]  # what was said then is history
    found = [(number, phrase, instead) for number, line in enumerate(text.splitlines(), 1)
             for phrase, instead in banned_in(line) if not allowed(path, phrase)]
    assert not found


def test_the_list_finds_what_it_is_for():
    for text in ("an evidence that rests on one test", "nine times in ten between 3 and 9 s",
                 "a flaw was mended", "a gain that can be told from nothing",
                 "Table: Doubt of one run", "95 % interval", "falls 2.7-fold"):
        assert list(banned_in(text)), text
    for text in ("ask a doctor if in doubt", "wind_uncertainty_percent", "frontier(result)",
                 "the 95 % point"):
        assert not list(banned_in(text)), text


# --- numbers and units on pages ---------------------------------------------------------------

def test_numbers_keep_their_units_on_plan_and_card(result):
    assert loose_units(plan_page(result)) == []
    assert loose_units(card_page(result)) == []


def test_loose_units_are_found():
    page = "<style>1 s</style><p>12 km, 250\u00a0W and 9 W/kg <b>for 3.5 km/h</b></p><pre>8 m</pre>"
    assert loose_units(page) == ["12 km", "9 W/kg", "3.5 km/h", "8 m"]
    assert loose_units(bare("8 s", Markup("<p>12 km</p>"), "")) == []


@pytest.fixture(scope="module")
def result():
    return made_up_result()
