"""Results as a spreadsheet: numbers as numbers, nothing that a spreadsheet would run."""

from __future__ import annotations

import io

import openpyxl
import pytest

from optimizer.errors import InputError
from optimizer.files import Output, check_outputs
from optimizer.job.frames import frontier, splits, worth
from optimizer.report import marks
from optimizer.report.workbook import plan_sheets, workbook
from tests.report.made_up import made_up_result


@pytest.fixture(scope="module")
def book():
    result = made_up_result(item="=cmd|' /C calc'!A0")
    data = workbook(plan_sheets(result), "a.xlsx")
    return result, data, openpyxl.load_workbook(io.BytesIO(data))


def test_sheets_hold_what_the_frames_hold(book):
    result, _, found = book
    assert found.sheetnames == ["Splits", "Best kit", "Items"]
    for name, frame in (("Splits", splits(result)), ("Items", worth(result)),
                        ("Best kit", frontier(result))):
        rows = list(found[name].values)
        assert len(rows) == 1 + len(frame)
    heads = next(found["Splits"].values)
    arrivals = [row[heads.index("ideal_s")] for row in list(found["Splits"].values)[1:]]
    assert arrivals == pytest.approx(splits(result).ideal_s.tolist())
    spent = [row[0] for row in list(found["Best kit"].values)[1:]]
    assert spent == frontier(result).spend.tolist()


def test_text_from_files_becomes_no_formula(book):
    cells = [cell for sheet in book[2] for row in sheet for cell in row]
    assert not any(cell.data_type == "f" for cell in cells)
    assert any("cmd|" in str(cell.value) and str(cell.value).startswith("'") for cell in cells)


def test_what_kitpace_wrote_is_replaced_and_nothing_else(book, tmp_path):
    path = tmp_path / "a.xlsx"
    path.write_bytes(book[1])
    check_outputs([Output("--tables", path, marks.XLSX)], [])
    openpyxl.Workbook().save(path)
    with pytest.raises(InputError, match="kitpace did not write it"):
        check_outputs([Output("--tables", path, marks.XLSX)], [])


def test_no_number_is_an_empty_cell():
    data = workbook([("A", ["x"], [[float("nan")], [float("inf")], [None], [True], [1.5]])], "a")
    values = [row[0] for row in openpyxl.load_workbook(io.BytesIO(data))["A"].values]
    assert values == ["x", None, None, None, "yes", 1.5]
