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
