"""Reading the evidence table."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from optimizer.errors import InputError
from optimizer.evidence import Reference, pool_effects
from optimizer.scenario.evidence_file import read_evidence
from optimizer.scenario.priors_file import read_priors

HEAD = "item,figure,test,yaw_deg,measured_by,runs,uncertainty,source"


def table(tmp_path, *rows, head=HEAD, encoding="utf-8"):
    path = tmp_path / "evidence.csv"
    path.write_text("\n".join([head, *rows]) + "\n", encoding=encoding)
    return path


def refused(tmp_path, *rows, head=HEAD):
    with pytest.raises(InputError) as caught:
        read_evidence(table(tmp_path, *rows, head=head))
    assert caught.value.exit_code == 2
    return str(caught.value)


def test_a_row_in_si(tmp_path):
    [datum] = read_evidence(table(
        tmp_path, "helmet,saves 30 g @ 45 km/h,Tunnel with rider,0-15,seller,4,4 g,club"))
    assert datum.item == "helmet"
    assert datum.figure.speed == pytest.approx(45 / 3.6)
    assert datum.yaw == pytest.approx((0.0, math.radians(15)))
    assert (datum.test, datum.measured_by, datum.runs) == ("tunnel with rider", "seller", 4)
    assert datum.uncertainty == pytest.approx(0.004 * 9.80665)
    assert datum.place.endswith("row 2")


def test_a_coachs_spreadsheet(tmp_path):
    # Semicolons, decimal commas, a BOM, no-break spaces, empty rows and columns at the end.
    path = table(tmp_path,
                 "Kabel;saves 12,5\u00a0s / 40\u00a0km @ 45\u00a0km/h;field;;;4;2,5 s;Coach;;",
                 "Helm;\u22120,004 m2;tunnel with rider;7,5;independent;;0,0005;Club;;",
                 ";;;;;;;;;", ";;;;;;;;;",
                 head=HEAD.replace(",", ";") + ";;", encoding="utf-8-sig")
    first, second = read_evidence(path)
    assert first.figure.value == pytest.approx(-12.5)
    assert first.uncertainty == pytest.approx(2.5)
    assert second.figure.value == pytest.approx(-0.004)
    assert second.yaw == pytest.approx((math.radians(7.5),) * 2)


@pytest.mark.parametrize(("row", "words"), [
    ("helmet,saves 8 bananas,field,,,,,", ["row 2, column figure", "not a known unit"]),
    ("helmet,saves 8 W,,,,,,", ["row 2, column test", "is empty", "rule of thumb"]),
    ("helmet,05-Jun,field,,,,,", ["row 2, column figure", "is a date"]),
    ("helmet,120 g mass,field,,,,,", ["row 2, column figure", "direction"]),
    ("helmet,30 g,field,,,,,", ["row 2, column figure", "drag or of mass"]),
    ("wheel,saves 2 % drag,tunnel without rider,,,,,", ["row 2, column figure", "bike alone"]),
    ("helmet,saves 8 W @ 0 km/h,field,,,,,", ["row 2, column figure", "zero or less"]),
    ("helmet,saves -8 W,field,,,,,", ["row 2, column figure", "contradicts"]),
    (",saves 8 W,field,,,,,", ["row 2, column item", "empty"]),
    ("helmet,,field,,,,,", ["row 2, column figure", "empty"]),
    ("helmet,saves 8 W,pub,,,,,", ["row 2, column test", "tunnel with rider"]),
    ("helmet,saves 8 W,field,90,,,,", ["row 2, column yaw_deg"]),
    ("helmet,saves 8 W,field,15-0,,,,", ["row 2, column yaw_deg"]),
    ("helmet,saves 8 W,field,10-Dec,,,,", ["row 2, column yaw_deg"]),
    ("helmet,saves 8 W,field,,my uncle,,,", ["row 2, column measured_by"]),
    ("helmet,saves 8 W,field,,,2.5,,", ["row 2, column runs"]),
    ("helmet,saves 8 W,field,,,0,,", ["row 2, column runs"]),
    ("helmet,saves 8 W,field,,,,4 s,", [
        "row 2, column uncertainty", "cannot be the uncertainty of"]),
    ("helmet,saves 8 W ± 1 W,field,,,,2 W,", ["row 2, column uncertainty", "twice"]),
    ("tyre,saves 8 W @ 45 km/h,drum,,,,,", ["row 2, column test", "bench", "rolling"]),
])
def test_refuses_with_row_and_column(tmp_path, row, words):
    message = refused(tmp_path, row)
    for word in words:
        assert word in message


def test_refuses_a_row_that_is_there_twice(tmp_path):
    row = "helmet,saves 8 W,field,,,,,club"
    assert "repeats row 2" in refused(tmp_path, row, "socks,saves 1 W,field,,,,,club", row.upper())


def test_refuses_two_baselines_for_one_item(tmp_path):
    assert "row 3, column baseline" in refused(
        tmp_path, "helmet,old helmet,saves 8 W,field", "helmet,bare head,saves 9 W,field",
        head="item,baseline,figure,test")


def test_items_that_differ_in_case_or_blanks_only_are_one(tmp_path):
    data = read_evidence(table(tmp_path, "Aero helmet,saves 8 W,field,,,,,a",
                               "aero  helmet,saves 9 W,field,,,,,b"))
    assert {datum.item for datum in data} == {"Aero helmet"}


def test_an_empty_table_holds_nothing(tmp_path):
    assert read_evidence(table(tmp_path)) == []


@pytest.mark.parametrize("path", sorted(Path(__file__).parents[2].glob("courses/*/evidence.csv")),
                         ids=lambda path: path.parent.name)
def test_demo_tables_are_readable_and_pool(path):
    data = read_evidence(path)
    effects = pool_effects(data, Reference.of())
    assert len(effects) == len({datum.item for datum in data})
    assert all(effect.data for effect in effects)
    assert all(datum.source.startswith("Invented ") for datum in data)


def test_own_priors(tmp_path):
    own = tmp_path / "priors.toml"
    own.write_text("[measured_by.seller]\nfactor = 0.4\nfactor_sd = 0.1\n", encoding="utf-8")
    priors = read_priors(own)
    assert priors.measured_by["seller"].factor == 0.4
    assert priors.measured_by["independent"].factor == 1.0  # the rest stays as it is
    assert priors.test["field"].sd > 0


def test_a_bench_and_an_estimate_are_kinds_of_their_own(tmp_path):
    bench, sums = read_evidence(table(tmp_path, "tyre,Crr -0.0004,drum test,,independent,,,",
                                      "cover,saves 12 g @ 45 km/h,computed,,estimate,,,"))
    assert (bench.test, sums.measured_by) == ("bench", "estimate")
    # Nobody measured: no factor beside that of the kind of test, and no seller's either.
    assert read_priors(_empty(tmp_path)).measured_by["estimate"].factor == 1.0


def _empty(folder):
    path = folder / "empty.toml"
    path.write_text("", encoding="utf-8")
    return path


@pytest.mark.parametrize("text", [
    "[measured_by.uncle]\nfactor = 1.0\nfactor_sd = 0.1\n",
    "[measured_by.seller]\nfactor = 0.4\nfactor_sd = -0.1\n",
    "[measured_by.seller]\nfactor = -1\nfactor_sd = 0.1\n",
    "[measured_by.seller]\nfactor = nan\n",
    '[measured_by.seller]\nfactor = "much"\n',
    "[assumed]\nspeed_kmh = 0\n",
    "[assumed]\nspeeed_kmh = 40\n", "[", "[assumed]\nair_density_kgm3 = 12\n"])
def test_refuses_priors_that_make_no_sense(tmp_path, text):
    own = tmp_path / "priors.toml"
    own.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=r"priors\.toml"):
        read_priors(own)


def test_evidence_has_a_stated_limit(tmp_path):
    file = tmp_path / "evidence.csv"
    file.write_text("item,figure,test,note\n" + "".join(
        f"A,-0.002 m2 CdA,field,{k}\n" for k in range(5001)))
    with pytest.raises(InputError, match=r"row 5002: is beyond the 5,000 results"):
        read_evidence(file)


def test_a_test_called_an_estimate_was_measured_by_nobody(tmp_path):
    path = tmp_path / "e.csv"
    path.write_text("item,figure,test\nHat,saves 3 W @ 45 km/h,estimate\n", encoding="utf-8")
    (datum,) = read_evidence(path)
    assert (datum.test, datum.measured_by) == ("rule of thumb", "estimate")
