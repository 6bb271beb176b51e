"""Cells for spreadsheets: the dangerous beginnings of the published list, and plain numbers.

OWASP Foundation, "CSV Injection": cells that begin with =, +, -, @, tab, carriage return, line
feed and the full-width forms of the signs.
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess

import pytest

from optimizer.report.page import asset
from optimizer.report.spreadsheet import harmless

BAD = ["=1+1", "=cmd|' /C calc'!A0", "-2+3+cmd|' /C calc'!A0", "+1+1", "@SUM(1+1)", "\t=1", "\r=1",
       "\n=1", "＝1+1", "＋1", "－1+2", "＠x", " =1+1", '"=1', "'=1", "-A1", "+5-3", "-1|2",
       "-2+3", "%0A=1", "|x", "-1 cmd|x", "+49 (0) 151", "-"]
GOOD = ["", "Disc", "1,500", "−3.4 s to −2 s", "57:42", "a = b", "rear wheel", "0-15"]
NUMBERS = ["-3.4", "+12", "-3.4 s", "-1e-5", "+3 %", "-0.004 m²"]


@pytest.mark.parametrize("cell", BAD)
def test_a_formula_becomes_text(cell):
    assert harmless(cell) == f"'{cell}"


@pytest.mark.parametrize("cell", GOOD)
def test_what_is_no_formula_is_left_alone(cell):
    assert harmless(cell) == cell


def test_the_page_guards_its_cells_in_the_same_way():
    node = shutil.which("node")
    if node is None:
        pytest.skip("no JavaScript engine here")
    found = re.search(r"const harmless = .*?\n  };", asset("page.js"), re.DOTALL)
    given = json.dumps([*BAD, *GOOD, *NUMBERS])
    code = f"{found[0]} console.log(JSON.stringify({given}.map(harmless)))"
    done = subprocess.run([node, "-e", code], capture_output=True, text=True, check=True,
                          timeout=60)
    assert json.loads(done.stdout) == [*(f"'{cell}" for cell in BAD), *GOOD, *NUMBERS]
