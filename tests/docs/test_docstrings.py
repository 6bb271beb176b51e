"""What docstrings say is complete, and their examples are true."""

from __future__ import annotations

import doctest
import importlib
import inspect
import pkgutil
import re
from pathlib import Path

import pytest

import optimizer

ROOT = Path(__file__).parents[2]
ROOMS = ("course", "conditions", "rider", "day", "physics", "pacing", "evidence", "uncertainty",
         "kit", "job", "seasons")
QUANTITY = re.compile(r"power|speed|wind|density|step|time|duration|energy|arrival|nodes|angle")
SUFFIX = re.compile(r"_(kmh|deg|c|hpa|percent|m)$")  # units stand in names at the edges
UNIT = re.compile(r"\[|\b(W|s|m|m/s|kg|J|N|rad|km/h|metres|seconds|kg/m³|degrees|m/s²|m²)\b")
PLANS = {"run", "plan", "write_report", "splits", "frontier", "profile", "worth", "season",
         "run_season"}


def public_functions():
    """All that the modules of the core export, and the root names."""
    homes = [importlib.import_module(f"optimizer.{room}") for room in ROOMS]
    homes += [importlib.import_module(f"optimizer.{room}.{module.name}") for room in ROOMS
              for module in pkgutil.iter_modules(
                  importlib.import_module(f"optimizer.{room}").__path__)]
    named = {f"{one.__module__}.{one.__name__}": one for home in homes for name in home.__all__
             if inspect.isfunction(one := getattr(home, name))}
    roots = (getattr(optimizer, name) for name in dir(optimizer) if not name.startswith("_"))
    return list((named | {f"{one.__module__}.{one.__name__}": one for one in roots
                          if inspect.isfunction(one)}).values())


def section(doc, name):
    """Text of a numpydoc section; empty where there is none."""
    found = re.search(rf"^{name}\n-+\n(.*?)(?=^\w+\n-+\n|\Z)", doc, re.MULTILINE | re.DOTALL)
    return found[1] if found else ""


@pytest.mark.parametrize("function", public_functions(), ids=lambda one: one.__name__)
def test_a_public_function_says_what_it_takes_gives_and_refuses(function):
    """Sections as numpydoc has them; a unit beside each argument that is a quantity."""
    doc = inspect.getdoc(function)
    about = {}
    for names, words in re.findall(r"^(\w[\w, ]*) : (.*(?:\n    .*)*)",
                                   section(doc, "Parameters"), re.MULTILINE):
        about |= dict.fromkeys(names.split(", "), words)
    assert set(inspect.signature(function).parameters) == set(about)
    assert section(doc, "Returns").strip()
    for name, kind in inspect.signature(function).parameters.items():
        number = re.search(r"float|NDArray", str(kind.annotation))
        if number and QUANTITY.search(name) and not SUFFIX.search(name):
            assert UNIT.search(about[name]), name
    raised = set(re.findall(r"raise (InputError|Infeasible)\(", inspect.getsource(function)))
    assert raised <= set(section(doc, "Raises").split())


def test_a_function_without_its_sections_would_be_found():
    with pytest.raises(AssertionError):
        test_a_public_function_says_what_it_takes_gives_and_refuses(section)


@pytest.mark.parametrize("name", [
    pytest.param(name, marks=pytest.mark.long if name in PLANS else ())
    for name in [*dir(optimizer), "aerodynamic_force", "road_load"]
    if name not in {"__version__", "Infeasible"}])
def test_the_example_of_a_public_name_is_true(name, monkeypatch):
    monkeypatch.chdir(ROOT)
    one = getattr(optimizer, name, None) or getattr(importlib.import_module(
        "optimizer.physics"), name)
    home = importlib.import_module(one.__module__)
    (example,) = doctest.DocTestFinder(recurse=False).find(one, name, globs=dict(vars(home)))
    result = doctest.DocTestRunner().run(example)
    assert result.attempted > 0
    assert result.failed == 0
