"""Spreadsheets: the same as their CSV, and hostile ones bounded."""

from __future__ import annotations

import contextlib
import datetime as dt
import io
import tracemalloc
import zipfile

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.errors import InputError
from optimizer.scenario.catalogue_file import read_catalogue
from optimizer.scenario.evidence_file import read_evidence
from optimizer.scenario.spreadsheet_file import read_sheet, without_sheet

HEAD = ("item", "place", "price", "owned", "mass_change_g")
ROWS = (("Disc", "rear wheel", 1234.5, False, 20.125), ("Hat", "helmet", "€ 99,00", True, None))


def xlsx(path, sheets):
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    book.save(path)
    return path


def cell_of_ods(value):
    if value is None:
        return "<table:table-cell/>"
    if isinstance(value, bool):
        return (f'<table:table-cell office:value-type="boolean" office:boolean-value="{value}">'
                f"</table:table-cell>").lower()
    if isinstance(value, float):
        return f'<table:table-cell office:value-type="float" office:value="{value}"/>'
    return ('<table:table-cell office:value-type="string"><text:p>'
            f"{value}</text:p></table:table-cell>")


def ods(path, sheets, extra=""):
    """Write the least that the standard (OASIS OpenDocument 1.2, part 1) asks of a spreadsheet."""
    body = "".join(
        f'<table:table table:name="{name}">' + "".join(
            f"<table:table-row>{''.join(map(cell_of_ods, row))}</table:table-row>" for row in rows)
        + extra + "</table:table>" for name, rows in sheets.items())
    content = (
        '<?xml version="1.0"?><office:document-content office:version="1.2" '
        'xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" '
        'xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" '
        'xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0"><office:body>'
        f"<office:spreadsheet>{body}</office:spreadsheet></office:body></office:document-content>")
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        kind = "application/vnd.oasis.opendocument.spreadsheet"
        archive.writestr("mimetype", kind)
        archive.writestr("META-INF/manifest.xml", (
            '<?xml version="1.0"?><manifest:manifest xmlns:manifest="urn:oasis:names:tc:'
            'opendocument:xmlns:manifest:1.0"><manifest:file-entry manifest:full-path="/" '
            f'manifest:media-type="{kind}"/></manifest:manifest>'))
        archive.writestr("content.xml", content)
    return path


@pytest.mark.parametrize("make", [xlsx, ods])
def test_a_sheet_reads_like_its_csv(tmp_path, make):
    name = "kit.xlsx" if make is xlsx else "kit.ods"
    found = read_catalogue(make(tmp_path / name, {"Kit": [HEAD, *ROWS]}))
    (tmp_path / "kit.csv").write_text(
        "item;place;price;owned;mass_change_g\nDisc;rear wheel;1234,5;no;20,1250\n"
        "Hat;helmet;€ 99,00;yes;\n", encoding="utf-8")
    assert found == read_catalogue(tmp_path / "kit.csv")


@pytest.mark.parametrize("make", [xlsx, ods])
def test_a_sheet_is_named_or_found_by_its_headings(tmp_path, make):
    path = make(tmp_path / f"club.{make.__name__}", {
        "Notes": [("to do", "call"), ("a", "b")], "Kit": [HEAD, *ROWS],
        "Tests": [("Item", "Figure", "Test"), ("Disc", "5-6 W", "field")]})
    notes = []
    assert [item.name for item in read_catalogue(path, None, notes).items] == ["Disc", "Hat"]
    assert 'the sheet "Kit" of 3 was read' in notes
    assert read_evidence(f"{path}#tests")[0].place.endswith('sheet "Tests", row 2')
    with pytest.raises(InputError, match=r'no sheet "Kat"\n.*"Notes", "Kit", "Tests"'):
        read_catalogue(f"{path}#Kat")
    with pytest.raises(InputError, match="it is not clear which one is meant"):
        read_sheet(path, lambda _text: False)


def test_mistakes_name_the_row_of_the_spreadsheet(tmp_path):
    path = xlsx(tmp_path / "kit.xlsx", {"Kit": [
        (), HEAD, (), ("Disc", "rear wheel", dt.date(2026, 5, 12), False, 0.0),
        ("Hat", "helmet", 12.125, False, 0.0)]})
    with pytest.raises(InputError, match=r"row 4, column price.*turn 12.5 or 12-5 into a date"):
        read_catalogue(path)


def test_a_formula_counts_by_its_last_value_and_is_never_run(tmp_path):
    path = xlsx(tmp_path / "kit.xlsx", {"Kit": [HEAD, ("Disc", "rear wheel", "=1+1", False, 0.0)]})
    with pytest.raises(InputError, match="row 2, column price: is empty"):
        read_catalogue(path)  # no spreadsheet program has worked it out


def test_a_number_is_never_taken_for_thousands(tmp_path):
    path = xlsx(tmp_path / "kit.xlsx", {"Kit": [HEAD, ("A;", "x", 1.0, False, 0.0)]})
    rows = xlsx(path, {"Kit": [HEAD, ("A", "helmet", 1.234, False, 12.345),
                               ("B", "visor", "2,5", False, 1.5)]})
    assert [item.price for item in read_catalogue(rows).items] == [1.234, 2.5]


# --- hostile ---------------------------------------------------------------------------------


def bounded(path, says, *, most=250e6):
    tracemalloc.start()
    with pytest.raises(InputError, match=says) as caught:
        read_catalogue(path)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < most
    assert caught.value.exit_code == 2
    assert str(path) in str(caught.value)


def repacked(path, part, data):
    """Put other bytes in place of one part of an archive."""
    old = io.BytesIO(path.read_bytes())
    with zipfile.ZipFile(old) as source, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as target:
        for name in source.namelist():
            target.writestr(name, data if name == part else source.read(name))
    return path


@pytest.mark.ci
def test_an_archive_that_unpacks_to_a_gigabyte(tmp_path):
    path = xlsx(tmp_path / "kit.xlsx", {"Kit": [HEAD]})
    with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as archive, archive.open(
            "xl/media/x.bin", "w") as part:
        for _ in range(1000):
            part.write(bytes(1 << 20))
    assert path.stat().st_size < 2e6
    bounded(path, "unpacks to more than 200 MB", most=50e6)


def test_an_archive_of_many_parts(tmp_path):
    path = xlsx(tmp_path / "kit.xlsx", {"Kit": [HEAD]})
    with zipfile.ZipFile(path, "a") as archive:
        for k in range(3000):
            archive.writestr(f"x/{k}.txt", "")
    bounded(path, "unpacks to more")


@pytest.mark.parametrize("far", ["XFD1048576", "A1048576", "XFD1"])
def test_a_cell_far_off(tmp_path, far):
    book = openpyxl.Workbook()
    book.active.append(HEAD)
    book.active[far] = "x"
    book.save(tmp_path / "kit.xlsx")
    bounded(tmp_path / "kit.xlsx", "has a sheet of", most=50e6)


def test_cells_that_are_repeated_without_end(tmp_path):
    bomb = ('<table:table-row table:number-rows-repeated="1048000"><table:table-cell '
            'table:number-columns-repeated="16384" office:value-type="float" office:value="1"/>'
            "</table:table-row>")
    bounded(ods(tmp_path / "kit.ods", {"Kit": [HEAD]}, bomb), "has a sheet of", most=50e6)


def test_empty_rows_to_the_end_of_the_sheet_are_usual(tmp_path):
    usual = ('<table:table-row table:number-rows-repeated="1048000"><table:table-cell '
             'table:number-columns-repeated="16384"/></table:table-row>')
    path = ods(tmp_path / "kit.ods", {"Kit": [HEAD, *ROWS]}, usual)
    assert len(read_catalogue(path).items) == 2


ENTITIES = ('<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">'
            + "".join(f'<!ENTITY a{k} "{f"&a{k - 1 or chr(32).strip()};" * 10}">'
                      for k in range(1, 10)) + "]><x>&a9;</x>")


@pytest.mark.parametrize(("name", "part"), [("kit.xlsx", "xl/workbook.xml"),
                                            ("kit.xlsx", "xl/worksheets/sheet1.xml"),
                                            ("kit.ods", "content.xml")])
def test_entities_are_refused(tmp_path, name, part):
    make = xlsx if name.endswith("xlsx") else ods
    bounded(repacked(make(tmp_path / name, {"Kit": [HEAD]}), part, ENTITIES),
            "document type or entities")


@pytest.mark.parametrize("name", ["kit.xlsx", "kit.ods"])
@pytest.mark.parametrize("data", [b"", b"PK\x03\x04", b"item,place,price\n", bytes(1000),
                                  b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600)])
def test_what_is_no_spreadsheet(tmp_path, name, data):
    (tmp_path / name).write_bytes(data)
    bounded(tmp_path / name, "is not a spreadsheet")


@given(st.integers(0, 6000), st.binary(min_size=1, max_size=8))
@settings(max_examples=80, deadline=None)
def test_mangled_files_are_read_or_refused(tmp_path_factory, at, patch):
    path = tmp_path_factory.getbasetemp() / "mangled.xlsx"
    data = bytearray(_SOUND)
    at %= len(data)
    data[at:at + len(patch)] = patch
    path.write_bytes(data)
    with contextlib.suppress(InputError):  # anything else is a defect
        read_catalogue(path)


def _sound():
    file = io.BytesIO()
    xlsx(file, {"Kit": [HEAD, *ROWS]})
    return file.getvalue()


_SOUND = _sound()


def test_a_name_with_a_mark_is_a_name_where_there_is_such_a_file(tmp_path):
    assert without_sheet("club.xlsx#Kit") == (type(tmp_path)("club.xlsx"), "Kit")
    odd = xlsx(tmp_path / "a.xlsx#b", {"Kit": [HEAD]})
    assert without_sheet(odd) == (odd, "")
    assert without_sheet("notes#1.csv") == (type(tmp_path)("notes#1.csv"), "")
