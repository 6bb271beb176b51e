"""The catalogue, its pairs and rule sets as files."""

from __future__ import annotations

import pytest

from optimizer.errors import InputError
from optimizer.kit.catalogue import PairFactor
from optimizer.scenario.catalogue_file import read_catalogue
from optimizer.scenario.rules_file import read_rules

KIT = """\
Item;Place;Price;Owned;Hire price;Mass change g;Region;Requires;Needs fitter;Crosswind limit kmh;\
Cornering percent;Wheel inertia change kgm2
deep wheels;wheels;1 900,50;;120;250;wheel;;no;45;;0,02
hidden cables;cables;150;;;-30;front;new bar;yes;;;
new bar;cockpit;200;;;-50;front;;;;"97,5";
old tyres;tyres;;yes;;;;;;;;
bell;other: bell;3;;;;;;;;;
"""
PAIRS = "first,second,factor\nfront,front,0.3\ndeep wheels,hidden cables,-0.1\n"


def write(tmp_path, text, name="kit.csv"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def test_a_spreadsheet_with_decimal_commas_is_read(tmp_path):
    found = read_catalogue(write(tmp_path, KIT), write(tmp_path, PAIRS, "pairs.csv"))
    wheels, cables, bar, tyres, bell = found.items
    assert (wheels.price, wheels.hire_price, wheels.mass) == (1900.5, 120.0, 0.25)
    assert wheels.crosswind_limit == pytest.approx(12.5)
    assert wheels.wheel_inertia == pytest.approx(0.02)
    assert cables.requires == ("new bar",)
    assert "qualified mechanic" in cables.caution
    assert bar.cornering_factor == pytest.approx(0.975)
    assert tyres.owned
    assert tyres.cost == 0.0
    assert bell.place == "other: bell"
    assert found.pairs == (PairFactor("deep wheels", "hidden cables", -0.1),)
    assert found.region_factors == (("front", 0.3),)


@pytest.mark.parametrize(("old", "new", "where", "what"), [
    ("1 900,50", "-3", "row 2, column price", "out of range"),
    ("1 900,50", "nan", "row 2, column price", "not a number"),
    (";wheels;", ";wheel;", "row 2, column place", 'or "rear wheel" or "wheels"'),
    ("new bar;yes", "new bra;yes", "row 3, column requires", 'did you mean "new bar"'),
    ("old tyres;tyres", "new bar;tyres", "row 5, column item", "twice"),
    ("150;;;-30", ";;;-30", "row 3, column price", "empty"),
    ("Needs fitter", "Needs a fitter", "row 1", "not a known heading"),
    ("new bar;yes", "hidden cables;yes", "row 3, column requires", "cannot name itself"),
])
def test_a_slip_is_named_with_row_and_column(tmp_path, old, new, where, what):
    assert old in KIT
    with pytest.raises(InputError) as caught:
        read_catalogue(write(tmp_path, KIT.replace(old, new, 1)))
    assert where in str(caught.value)
    assert what in str(caught.value)


@pytest.mark.parametrize(("row", "what"), [
    ("deep wheels,nothing,0.2", "no item"), ("deep wheels,deep wheels,0.2", "two items"),
    ("deep wheels,new bar,3", "out of range"),
    ("hidden cables,deep wheels,0.2", "twice"),
])
def test_slips_in_the_pairs(tmp_path, row, what):
    with pytest.raises(InputError, match=what):
        read_catalogue(write(tmp_path, KIT), write(tmp_path, PAIRS + row + "\n", "pairs.csv"))


def test_a_rule_set_marks_what_it_forbids(tmp_path):
    catalogue = read_catalogue(write(tmp_path, KIT))
    nothing = 'name = "none"\n# Places, each with the reason.\n[places]\n[items]\n'
    assert read_rules(write(tmp_path, nothing, "rules.toml"), catalogue).items == ()
    rules = read_rules(write(tmp_path, 'name = "club"\n[items]\n"deep wheels" = "none"\n'
                             '[places]\ncockpit = "as it is"\n', "rules.toml"), catalogue)
    marked = rules.apply(catalogue)
    assert marked["deep wheels"].forbidden_by == ("club",)
    assert marked["new bar"].forbidden_by == ("club",)
    assert marked["hidden cables"].forbidden_by == ()


def test_a_rule_for_nothing_is_a_slip(tmp_path):
    catalogue = read_catalogue(write(tmp_path, KIT))
    with pytest.raises(InputError, match="line 3") as caught:
        read_rules(write(tmp_path, 'name = "club"\n[items]\n"deep wheel" = "none"\n',
                         "rules.toml"), catalogue)
    assert 'did you mean "deep wheels"' in str(caught.value)


def test_a_catalogue_has_a_stated_limit(tmp_path):
    def table(count):
        file = tmp_path / "kit.csv"
        file.write_text("item,place,price,requires\n" + "".join(
            f"I{k},other: p{k},10,{f'I{k + 1}' if k + 1 < count else ''}\n" for k in range(count)))
        return file

    assert len(read_catalogue(table(1000)).items) == 1000
    with pytest.raises(InputError, match=r"row 1002: is beyond the 1,000 items"):
        read_catalogue(table(3000))
