"""`kitpace cables`."""

from __future__ import annotations

import re

import pytest
from click.testing import CliRunner

from optimizer.cli import group
from optimizer.errors import InputError
from optimizer.evidence import Reference, pool_effects
from optimizer.scenario.evidence_file import read_evidence


def run(*arguments):
    result = CliRunner().invoke(group, ["cables", *map(str, arguments)])
    assert result.exception is None, result.output
    return result.output


def test_what_do_my_four_exposed_cables_cost():
    output = run("4 x 5 mm x 300 mm @ 60 deg", "--speed", "45")
    watts = re.search(r"about ([\d.]+) W at 45 km/h.*?\(([\d.]+) to\s+([\d.]+)\)", output,
                      re.DOTALL)
    expected, low, high = map(float, watts.groups())
    assert 0 < low < expected < high
    assert high / low > 4  # a wide band
    assert "Both across the flow" in output
    assert "times as thick" in output
    assert max(len(line) for line in output.splitlines() if "strip theory" not in line) <= 80


def test_a_page_with_a_picture(tmp_path):
    page = tmp_path / "cables.html"
    run("4 x 5 mm x 300 mm @ 60 deg", "plate 150 x 180 mm", "--out", page)
    text = page.read_text(encoding="utf-8")
    assert text.count('class="part"') == 4
    assert "<svg" in text
    assert "qualified mechanic" in text
    run("plate 150 x 180 mm", "--out", page)
    assert 'class="part"' not in page.read_text(encoding="utf-8")


def test_its_row_fits_the_evidence_table(tmp_path):
    output = run("4 x 5 mm x 300 mm @ 60 deg")
    row = next(line.strip() for line in output.splitlines() if "strip theory" in line)
    table = tmp_path / "evidence.csv"
    table.write_text(f"item,figure,test,measured_by,uncertainty,note\n{row}\n", encoding="utf-8")
    [effect] = pool_effects(read_evidence(table), Reference.of())
    # The prior for computed figures takes it from clean air to where rider and bike are.
    near = re.search(r"Near rider and bike\s+([\d.]+) to ([\d.]+)", output)
    assert float(near[1]) < -effect.drag_area[0] < float(near[2])


@pytest.mark.parametrize("arguments", [
    [], ["bananas"], ["4 x 5 mm"], ["4 x 0 mm x 300 mm"], ["4 x 5 mm x 300 mm", "--speed", "0"],
    ["4 x 5 mm x 300 mm", "--out", "."], ["4 x 5 mm x 300 mm", "--priors", "none.toml"]])
def test_refuses(arguments):
    result = CliRunner().invoke(group, ["cables", *arguments])
    assert isinstance(result.exception, InputError)


def saved(output):
    return re.search(r"Saved\s+(\S+) to (\S+)", output)


def test_before_and_after_in_one_call(tmp_path):
    output = run("4 x 5 mm x 300 mm", "--after", "2 x 5 mm x 120 mm", "--row", "Cables, tidied",
                 "--out", tmp_path / "a.html")
    assert "Saved by 2 x 5 mm x 120 mm instead of 4 x 5 mm x 300 mm" in " ".join(output.split())
    text = (tmp_path / "a.html").read_text(encoding="utf-8")
    assert text.count('class="part"') == 6  # both are drawn
    assert ">before</text>" in text
    assert ">after</text>" in text
    for words in ("Before, near rider and bike", "After", "Saved"):
        assert re.search(rf"^{words}\s", output, re.MULTILINE)
    row = next(line.strip() for line in output.splitlines() if "strip theory" in line)
    table = tmp_path / "evidence.csv"
    table.write_text(f"item,figure,test,measured_by,uncertainty,note\n{row}\n", encoding="utf-8")
    [datum] = read_evidence(table)
    assert datum.item == "Cables, tidied"
    assert datum.figure.value < 0
    assert "<svg" in (tmp_path / "a.html").read_text(encoding="utf-8")


@pytest.mark.parametrize("parts", [
    ["bottle 74 mm x 200 mm"], ["4 x 5 mm x 300 mm @ 60 deg", "bottle 74 mm x 200 mm"]])
def test_nothing_in_their_place_saves_all_of_it(parts):
    """What is there less nothing is what is there, range and all."""
    ends = r"\s+(\S+) to (\S+)\s+(\S+) to (\S+)\s+(\S+) to (\S+)"
    whole = re.search(rf"Near rider and bike{ends}", run(*parts))
    output = run(*parts, "--after", "nothing")
    for row in ("Before, near rider and bike", r"\nSaved"):
        assert re.search(row + ends, output).groups() == whole.groups()
    assert output.startswith(f"Saved without {parts[0]}")


def test_more_instead_of_less_is_a_cost():
    output = run("2 x 5 mm x 120 mm", "--after", "4 x 5 mm x 300 mm apart")
    assert output.startswith("Lost by")
    assert ",costs 0.00" in output


@pytest.mark.parametrize(("runs", "item"), [
    (["4 x 5 mm x 300 mm"], "4 cables hidden"), (["2 hoses 5.5 mm x 250 mm"], "2 hoses hidden"),
    (["bottle 74 mm x 200 mm", "plate 150 x 180 mm"], "1 bottle and 1 plate hidden"),
    (["4 x 5 mm x 300 mm", "--after", "2 x 5 mm x 100 mm"], "2 cables instead of 4 cables")])
def test_a_row_is_named_by_what_it_is(runs, item):
    row = next(line.strip() for line in run(*runs).splitlines() if "strip theory" in line)
    assert row.startswith(f"{item},")


def test_a_streamlined_section_and_the_round_cable_with_its_drag():
    said = " ".join(run("section 20 mm x 60 mm chord x 300 mm", "--speed", "45").split())
    assert "20 mm thick on a chord of 60 mm (thickness ratio 33%)" in said
    low, high = map(float, re.search(r"round cable ([\d.]+) to ([\d.]+) mm thick", said).groups())
    # Typical aerofoil 0.045 by its thickness (NASA Glenn) against a cylinder near 1: about 1 mm;
    # Hoerner's strut, from memory, some 0.12.
    assert 0.6 < low < 1.2 < high < 3.5


@pytest.mark.parametrize("angle", [0, 0.05, 45, 90])
def test_angles_from_along_to_across(angle):
    for part in ("4 x 5 mm x 300 mm", "section 20 mm x 60 mm x 300 mm", "bottle 74 mm x 200 mm"):
        assert "near rider and bike" in " ".join(run(f"{part} @ {angle} deg").split())


@pytest.mark.parametrize("text", [
    "4 x 5 mm x 300 mm @ 91 deg", "4 x 5 mm x 300 mm @ 90.1 deg",
    "section 60 mm x 20 mm x 300 mm", "section 1 mm x 60 mm x 300 mm",
    "section 20 mm x 0 mm x 300 mm", "section 20 mm x 60 mm"])
def test_refuses_sections_and_angles_that_are_none(text):
    result = CliRunner().invoke(group, ["cables", text])
    assert isinstance(result.exception, InputError)
    assert result.exception.remedy


def test_a_misspelt_after_is_refused():
    result = CliRunner().invoke(group, ["cables", "4 x 5 mm x 300 mm", "--after", "nix"])
    assert isinstance(result.exception, InputError)
