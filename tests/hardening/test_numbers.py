"""Numbers that people type: finite, within limits, and the message names the place."""

from __future__ import annotations

import importlib
import math
import re

import click
import pytest

from optimizer.cli import COMMANDS
from optimizer.cli._numbers import Number, WholeNumber
from optimizer.errors import InputError
from optimizer.evidence.express import read_target
from optimizer.evidence.figures import read_figure, read_uncertainty
from optimizer.evidence.quantities import read_quantity
from optimizer.evidence.runs import read_run
from tests.hardening.corpus import KIT, SCENARIO, kitpace, race

OPTIONS = [(name, option) for name in COMMANDS
           for option in importlib.import_module(f"optimizer.cli.{name}").command.params
           if isinstance(option, click.Option)]
NUMBERS = [(name, option) for name, option in OPTIONS if isinstance(option.type, Number)]
NONE = ["nan", "NaN", "-nan", "inf", "-inf", "Infinity", "1e400", "-1e400", "1e308", "-1e308", "",
        " ", "abc", "1,2,3", "0x10", "٣", "½", "1_000", "--5", "1e", "9" * 400, "5 apples",
        "\udcff", "\0", "=1+1"]
# What each command needs beside the option; the files need not be there.
BESIDE = {"open": ["."],
    "batch": ["b.toml"], "cables": ["4 x 5 mm x 300 mm"], "compare": ["s.toml"],
    "convert": ["30 g @ 45 km/h"], "course": ["c.gpx"], "debrief": ["s.toml", "r.csv"],
    "fieldtest": ["r.csv", "--mass", "80"], "kit": ["s.toml"], "new": ["d"], "plan": ["s.toml"],
    "rider": ["r.toml"], "season": ["club.toml"],
    "testplan": ["--change-w", "5", "--speed-kmh", "40"], "worth": ["e.csv"]}


def test_no_option_takes_a_number_in_another_way():
    others = [(name, option.name) for name, option in OPTIONS
              if isinstance(option.type, click.types.FloatParamType | click.FloatRange)
              and not isinstance(option.type, Number)]
    assert others == []
    assert len(NUMBERS) > 30


@pytest.mark.parametrize(("name", "option"), NUMBERS,
                         ids=[f"{name} {option.opts[0]}" for name, option in NUMBERS])
def test_what_is_no_number_or_out_of_range_names_its_option(name, option):
    kind = option.type
    outside = [f"{kind.low - abs(kind.low) * 0.01 - 0.01}", f"{kind.high * 1.01 + 0.01}"]
    if kind.above:
        outside.append(f"{kind.low:g}")
    for value in [*NONE, *outside]:
        code, said = kitpace(name, *BESIDE[name], f"{option.opts[0]}={value}")
        assert code == 2, value
        assert said.startswith(option.opts[0]), (value, said)
        assert f"{kind.high:.12g}" in said, said
        assert kind.unit in said
    for value in (kind.low if not kind.above else kind.high, kind.high):
        for text in (f"{value:.5f}", f"{value:.5f}{kind.unit}", f"{value:.5f} {kind.unit}"):
            assert kind.convert(text, option, None) == pytest.approx(value, abs=1e-5)


WORDS = [(name, option) for name, option in OPTIONS
         if not option.is_flag and not isinstance(
             option.type, Number | click.Choice | click.Path)]
RIGHT = {("1,2,3", "money")}


@pytest.mark.parametrize(("name", "option"), WORDS,
                         ids=[f"{name} {option.opts[0]}" for name, option in WORDS])
def test_every_other_option_refuses_nonsense(name, option):
    for value in [*NONE, "nan@nan", "inf@0", "1e308@0", "10@nan", "10@1e308", "nan km/h",
                  "1e308 km/h", "99:99:99", "²:30", "0:00", "9" * 400 + ":30", "0-nan", "9:0-1",
                  "nan,750", "1e20", "25:00", "0001-01-01T00:00:00+23:59", "W @ 1e308 km/h"]:
        if option.name in {"address", "setups", "row_name"} or (value, option.name) in RIGHT:
            continue
        code, said = kitpace(name, *BESIDE[name], f"{option.opts[0]}={value}")
        assert code == 2, (value, said)
        assert option.opts[0] in said, (value, said)


@pytest.mark.parametrize(("name", "option"), [
    (name, option) for name, option in OPTIONS if isinstance(option.type, WholeNumber)])
def test_counts_are_bounded(name, option):
    for value in ["nan", "inf", "2.5", "", "-1", "0", "9" * 40, "9" * 5000]:
        code, said = kitpace(name, *BESIDE[name], f"{option.opts[0]}={value}")
        assert code == 2, (value, said)
        assert option.opts[0] in said


def sensible(text):
    """The same words with numbers that can be."""
    speed = re.sub(r"@ (1e\S+|0\.1) (\S+)$", lambda found: "@ 200 W" if found[2] == "W"
                   else "@ 12 m/s", text)
    unit = {"Crr": "0.0004", "m2": "0.004", "lbf": "0.1"}
    number = next((value for word, value in unit.items() if word in text), "2")
    return re.sub(r"1e-?\d+|9{9,}(?=:00)|9{9,}|nan|inf", number, speed)


@pytest.mark.parametrize("text", [
    "saves 1e300 W @ 40 km/h", "saves 8 W @ 1e308 km/h", "saves 8 W @ 1e-300 km/h",
    "saves 8 W @ 1e300 W", "saves 12 s / 1e308 km @ 45 km/h", "saves 12 s / 1e-200 km @ 45 km/h",
    "saves 1e300 s / 40 km @ 45 km/h", "saves 1e300 % drag", "Crr -1e300", "efficiency +1e300 %",
    "+1e300 g mass", "-1e300 m2", "saves 8 ± 1e300 W @ 40 km/h", "saves 8 W @ 40 km/h ± 1e300 W",
    f"saves {'9' * 400} W @ 40 km/h", f"saves {'9' * 5000}:00 / 40 km @ 45 km/h",
    "saves 1e300 lbf @ 40 mph", "saves 5 g @ 1e99 furlong/fortnight"])
def test_figures_beyond_reason_are_refused(text):
    assert math.isfinite(read_figure(sensible(text)).value)  # nothing else is wrong with it
    with pytest.raises(InputError):
        read_figure(text)


@pytest.mark.parametrize("text", ["1e300", "1e300 W", "1e300 %", "9" * 400, "nan", "inf W"])
def test_uncertainties_beyond_reason_are_refused(text):
    assert read_uncertainty(sensible(text), read_figure("saves 8 W @ 40 km/h")) > 0.0
    with pytest.raises(InputError):
        read_uncertainty(text, read_figure("saves 8 W @ 40 km/h"))


@pytest.mark.parametrize("text", ["1e308 km/h", "1e-300 km/h", "1e308 mph", "0.1 m/s", "nan km/h"])
def test_speeds_beyond_reason_are_refused(text):
    with pytest.raises(InputError):
        read_quantity(text, "speed")
    with pytest.raises(InputError):
        read_target(f"W @ {text}")


@pytest.mark.parametrize("text", ["1e300 x 5 mm x 300 mm", "4 x 1e300 mm x 1e301 mm",
                                  "4 x 5 mm x 1e300 mm", "4 x 5 mm x 300 mm behind 1e300 mm",
                                  "4 x 1e-300 mm x 300 mm", f"{'9' * 5000} x 5 mm x 300 mm",
                                  "4 x 5 mm x 300 mm @ 90.1 deg", "4 x 5 mm x 300 mm @ -1 deg"])
def test_cables_beyond_reason_are_refused(text):
    # With numbers that can be, nothing else is wrong with it.
    read_run(re.sub(r"1e-?\d+ mm", "300 mm", text.replace("x 1e300 mm x 1e301", "x 5 mm x 300")
                    .replace("x 1e-300 mm", "x 5 mm").replace("9" * 5000, "4")
                    .replace("1e300 x 5", "4 x 5").replace("90.1", "90")
                    .replace("-1 deg", "1 deg")))
    with pytest.raises(InputError):
        read_run(text)


@pytest.mark.parametrize(("column", "value"), [
    ("price", "1e308"), ("price", "1e10"), ("hire_price", "1e308"), ("crosswind_limit_kmh", "1e9")])
def test_money_and_winds_of_a_catalogue_are_bounded(tmp_path, column, value):
    kit = KIT.replace("item,", "hire_price,crosswind_limit_kmh,item,").replace(
        "Disc,", ",,Disc,").replace("Helmet,h", ",,Helmet,h").replace("Old", ",,Old")
    head, first, *rest = kit.splitlines()
    cells = first.split(",")
    cells[head.split(",").index(column)] = value
    scenario = race(tmp_path, kit="\n".join([head, ",".join(cells), *rest]) + "\n")
    code, said = kitpace("plan", scenario)
    assert code == 2
    assert column in said


@pytest.mark.parametrize(("key", "value"), [("budget", "1e21"), ("budget", "1e308"),
                                            ("budget", "-1")])
def test_money_of_a_scenario_is_bounded(tmp_path, key, value):
    scenario = race(tmp_path, scenario=f"{key} = {value}\n{SCENARIO}")
    code, said = kitpace("plan", scenario)
    assert code == 2
    assert key in said
