"""A row more in an evidence table: the old bytes stay, the new row is written as they are."""

from __future__ import annotations

import zipfile

import openpyxl
import pytest

from optimizer.errors import InputError
from optimizer.scenario.evidence_file import check_item, read_evidence, with_row

ROW = {"item": "Hat B", "baseline": "Hat A", "figure": "saves 0.00412 m2", "test": "field",
       "yaw_deg": "0-11", "air_density_kgm3": "1.204", "measured_by": "independent", "runs": "4",
       "uncertainty": "0.00150 m2", "note": "at 40 km/h; 38.2 km in all",
       "source": "field test of our own"}
HEAD = ("source", "Item", "Figure", "test", "baseline", "uncertainty", "air density kgm3", "note",
        "# mine", "")


def table(separator, end, decimal):
    rows = [HEAD, ("shop", "Disc", "saves 40 g @ 50 km/h", "tunnel with rider", "", "4 g",
                   f"1{decimal}195", "", "x", ""),
            ("", "Hat C", f"-0{decimal}004 m2 CdA", "field", "Hat A", "", "", "", "", "")]
    return end.join(separator.join(row) for row in rows)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-be"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize(("separator", "decimal"), [(",", "."), (";", "."), (";", ","),
                                                    ("\t", ",")])
@pytest.mark.parametrize("closed", [True, False])
def test_every_way_of_a_spreadsheet_is_kept(tmp_path, separator, decimal, end, encoding, closed):
    path = tmp_path / "e.csv"
    text = table(separator, end, decimal) + end * closed
    mark = b"\xfe\xff" if encoding == "utf-16-be" else b""
    old = mark + text.encode(encoding)
    path.write_bytes(old)
    new, left_out = with_row(path, ROW)
    assert path.read_bytes() == old  # nothing is written yet
    assert new.startswith(old)
    path.write_bytes(new)
    *before, found = read_evidence(path)
    assert [datum.item for datum in before] == ["Disc", "Hat C"]
    assert (found.item, found.baseline, found.test) == ("Hat B", "Hat A", "field")
    assert found.figure.value == pytest.approx(-0.00412)
    assert found.uncertainty == pytest.approx(0.0015)
    assert found.air_density == pytest.approx(1.204)
    assert found.source == "field test of our own"
    assert left_out == ("yaw_deg", "measured_by", "runs")
    added = new[len(old):].decode({"utf-8-sig": "utf-8", "utf-16": "utf-16-le"}.get(
        encoding, encoding))
    assert added.endswith(end)
    assert f"0{decimal}00412" in added


def test_a_table_of_three_columns_takes_the_uncertainty_into_the_figure(tmp_path):
    path = tmp_path / "e.csv"
    path.write_text("item,figure,test\nDisc,saves 40 g @ 50 km/h,tunnel with rider\n")
    new, left_out = with_row(path, ROW)
    path.write_bytes(new)
    found = read_evidence(path)[-1]
    assert (found.figure.uncertainty or found.uncertainty) == pytest.approx(0.0015)
    assert "baseline" in left_out


@pytest.mark.parametrize("old", [None, b"", b"\n", b"\xef\xbb\xbf"])
def test_a_table_that_is_not_there_begins_with_headings(tmp_path, old):
    path = tmp_path / "e.csv"
    if old is not None:
        path.write_bytes(old)
    new, left_out = with_row(path, ROW)
    path.write_bytes(new)
    (found,) = read_evidence(path)
    assert found.item == "Hat B"
    assert found.runs == 4
    assert left_out == ()


def test_headings_alone_take_a_row(tmp_path):
    path = tmp_path / "e.csv"
    path.write_text("# what was tested\nitem;figure;test;note\n")
    path.write_bytes(with_row(path, ROW)[0])
    assert [datum.item for datum in read_evidence(path)] == ["Hat B"]


def test_one_result_counts_once(tmp_path):
    path = tmp_path / "e.csv"
    path.write_bytes(with_row(path, ROW)[0])
    old = path.read_bytes()
    for again in (ROW, {**ROW, "item": "hat  b", "source": "typed anew"}):
        with pytest.raises(InputError, match=r"row 2: has this result already"):
            with_row(path, again)
    assert path.read_bytes() == old
    other = {**ROW, "figure": "saves 0.00390 m2", "note": "at 41 km/h; 30.0 km in all"}
    path.write_bytes(with_row(path, other)[0])
    assert len(read_evidence(path)) == 2


@pytest.mark.parametrize("old", [b"item,figure\nA,saves 4 g\n", b"what is this", b"\x89PNG\r\n",
                                 b"item,figure,test\nA,saves 4 apples,field\n"])
def test_what_is_no_evidence_table_is_left_alone(tmp_path, old):
    path = tmp_path / "e.csv"
    path.write_bytes(old)
    for call in (lambda: with_row(path, ROW), lambda: check_item(path, "Hat B", "Hat A")):
        with pytest.raises(InputError, match=r"e\.csv"):
            call()
    assert path.read_bytes() == old


def test_another_baseline_is_told_before_the_work(tmp_path):
    path = tmp_path / "e.csv"
    check_item(path, "Hat B", "Hat A")  # no table as yet
    path.write_bytes(with_row(path, ROW)[0])
    check_item(path, "Hat B", "hat a")
    check_item(path, "Hat Z", "Hat Q")
    with pytest.raises(InputError, match="row 2"):
        check_item(path, "HAT B", "Hat Q")


def workbook(path):
    """An invented club's workbook: a title, formulas, an empty row with a style, another sheet."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Tests & results"
    sheet.append(["What we know"])
    sheet.append(["Item", "Figure", "Test", "Runs", "Against", "remark"])
    sheet.append(["Disc", "saves 40 g @ 50 km/h", "tunnel with rider", 3, None, "=1+1"])
    sheet["A5"].font = openpyxl.styles.Font(bold=True)
    sheet["A9"].value = ""
    book.create_sheet("Prices").append(["item", "place", "price"])
    book.save(path)
    return path


def with_a_row(path, name):
    """Add the row to a sheet; give the parts of the archive that changed, and what was left out."""
    check_item(name, "Hat B", "Hat A")
    new, left_out = with_row(name, {**ROW, "note": "a < b & c"})
    with zipfile.ZipFile(path) as old:
        before = {part: old.read(part) for part in old.namelist()}
    path.write_bytes(new)
    with zipfile.ZipFile(path) as archive:
        changed = [part for part in archive.namelist() if archive.read(part) != before[part]]
        assert archive.namelist() == list(before)
    return changed, left_out


def test_a_row_goes_into_a_workbook_and_nothing_else_changes(tmp_path):
    path = workbook(tmp_path / "club.xlsx")
    name = f"{path}#tests & results"
    changed, left_out = with_a_row(path, name)
    assert changed == ["xl/worksheets/sheet1.xml"]
    # Read again by a library that is not the one behind read_evidence.
    rows = list(openpyxl.load_workbook(path)["Tests & results"].iter_rows(values_only=True))
    assert rows[2][5] == "=1+1"
    assert rows[3][:4] == ("Hat B", "saves 0.00412 ± 0.00150 m2", "field", 4)
    assert {"note", "source"} <= set(left_out)
    found = read_evidence(name)[-1]
    assert found.item == "Hat B"
    assert found.figure.value == pytest.approx(-0.00412)
    with pytest.raises(InputError, match="has this result already"):
        with_row(name, {**ROW, "note": "a < b & c"})


def open_document(path):
    """An invented club's sheets as OpenDocument, made by another library, with a million rows."""
    from odf import opendocument, table, text

    book = opendocument.OpenDocumentSpreadsheet()

    def row(*cells, many=1, **attributes):
        out = table.TableRow(numberrowsrepeated=many, **attributes)
        for cell in cells:
            out.addElement(made := table.TableCell(valuetype="string"))
            made.addElement(text.P(text=cell))
        return out

    sheets = {"Prices": [row("item", "place", "price")],
              "Tests & results": [
                  row("What we know"), row(many=2),
                  row("Item", "Figure", "Test", "Runs", "Against", "remark"),
                  row("Disc", "saves 40 g @ 50 km/h", "tunnel with rider", "3"),
                  row(many=1048571)]}
    for name, rows in sheets.items():
        book.spreadsheet.addElement(sheet := table.Table(name=name))
        for one in rows:
            sheet.addElement(one)
    book.save(path)
    return path


def test_a_row_goes_into_an_open_document_and_nothing_else_changes(tmp_path):
    from odf import opendocument, table, teletype

    path = open_document(tmp_path / "club.ods")
    name = f"{path}#tests & results"
    changed, left_out = with_a_row(path, name)
    with zipfile.ZipFile(path) as archive:
        assert archive.infolist()[0].compress_type == zipfile.ZIP_STORED  # "mimetype", as asked for
    assert changed == ["content.xml"]
    # Read again by a library that is not the one behind read_evidence.
    sheet = opendocument.load(path).spreadsheet.getElementsByType(table.Table)[1]
    rows = sheet.getElementsByType(table.TableRow)
    cells = [[teletype.extractText(cell) for cell in row.getElementsByType(table.TableCell)]
             for row in rows]
    assert cells[3][0] == "Disc"
    assert cells[4][:4] == ["Hat B", "saves 0.00412 ± 0.00150 m2", "field", "4"]
    assert rows[4].getElementsByType(table.TableCell)[3].getAttribute("value") == "4"
    assert sum(int(row.getAttribute("numberrowsrepeated") or 1) for row in rows) == 1048576
    assert {"note", "source"} <= set(left_out)
    again, _ = with_row(name, {**ROW, "figure": "saves 0.00390 m2"})
    path.write_bytes(again)
    assert [datum.item for datum in read_evidence(name)] == ["Disc", "Hat B", "Hat B"]
    with pytest.raises(InputError, match="has this result already"):
        with_row(name, {**ROW, "figure": "saves 0.00390 m2"})


def test_what_is_no_workbook_takes_no_row(tmp_path):
    (tmp_path / "club.ods").write_bytes(b"PK")
    with pytest.raises(InputError):
        with_row(tmp_path / "club.ods", ROW)
    with pytest.raises(InputError):
        with_row(tmp_path / "none.xlsx", ROW)
