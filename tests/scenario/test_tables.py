"""Spreadsheet tables: what is read, and what is refused with row and column."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.errors import InputError
from optimizer.scenario.tables import parse_number, read_rows


def rows(tmp_path, text, required=("item", "price"), optional=("note",)):
    path = tmp_path / "table.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_rows(path, required, optional)


def test_semicolons_decimal_commas_a_bom_and_odd_spaces(tmp_path):
    found = rows(tmp_path, "\ufeffItem;Price;;\r\nfast\u00a0tyre; 1.234,50 ;;\r\n"
                 ";;;\r\ntube;12,5\r\n")
    assert [row.text("item") for row in found] == ["fast tyre", "tube"]
    assert [row.number("price") for row in found] == [1234.5, 12.5]
    assert [row.line for row in found] == [2, 4]


def test_rows_count_as_in_a_spreadsheet_with_newlines_in_quotes(tmp_path):
    found = rows(tmp_path, 'item,price,note\na,1,"two\nlines"\nb,x,\n')
    assert found[0].text("note") == "two\nlines"
    with pytest.raises(InputError, match="row 3, column price"):
        found[1].number("price")


def test_utf16_of_a_spreadsheet(tmp_path):
    found = rows(tmp_path, "item\tprice\nvélo\t1,5\n".encode("utf-16"))
    assert (found[0].text("item"), found[0].number("price")) == ("vélo", 1.5)


def test_comments_and_columns_of_ones_own_are_left_out(tmp_path):
    found = rows(tmp_path, "# invented\nitem,price,#mine\na,1,secret\n")
    assert found[0].cells == {"item": "a", "price": "1"}


@pytest.mark.parametrize(("text", "says"), [
    ("item,prise\na,1\n", 'column prise.*\n.*did you mean "price"'),
    ("item\na\n", 'no column "price"'),
    ("item,price,price\na,1,2\n", "twice"),
    ("item,price\na,1,5\n", "row 2: has a cell without a heading.*\n.*decimal comma"),
    ("", "is empty"),
    ('item,price\n"a,1\n', "not a table"),
    (b"item,price\n\xe9,1\n", "line 2: is not UTF-8"),
    (b"item,price\na\0,1\n", "NUL"),
])
def test_refused_tables(tmp_path, text, says):
    with pytest.raises(InputError, match=says):
        rows(tmp_path, text)


def test_a_missing_file_names_its_neighbour(tmp_path):
    (tmp_path / "kit.csv").write_text("item,price\n")
    with pytest.raises(InputError, match=r"no such file\n.*did you mean kit\.csv"):
        read_rows(tmp_path / "kits.csv", ["item"])
    with pytest.raises(InputError, match="is a folder"):
        read_rows(tmp_path, ["item"])


def test_a_missing_file_is_found_one_folder_down_where_only_one_has_the_name(tmp_path):
    for folder, name in (("a", "squad.csv"), ("a", "kit.csv"), ("b", "kit.csv")):
        (tmp_path / folder).mkdir(exist_ok=True)
        (tmp_path / folder / name).write_text("item,price\n")
    with pytest.raises(InputError, match=r"did you mean .*a.squad\.csv\?"):
        read_rows(tmp_path / "squad.csv", ["item"])
    with pytest.raises(InputError, match="check the name and the folder"):
        read_rows(tmp_path / "kit.csv", ["item"])


@pytest.mark.parametrize(("cell", "says"), [
    ("nan", "not a number"), ("inf", "not a number"), ("1e999", "not a finite number"),
    ("-3", "out of range"), ("1,500", "thousands or as a fraction"), ("12 W", "not a number"),
    ("01-Feb", "a date"), ("1.2.3", "not a number"), ("", "is empty"), ("٣", "not a number"),
])
def test_refused_numbers_name_row_and_column(tmp_path, cell, says):
    row = rows(tmp_path, f'item,price\na,"{cell}"\n')[0]
    with pytest.raises(InputError, match=f"row 2, column price: .*{says}"):
        row.number("price", low=0.0)


def test_empty_cells_take_the_default(tmp_path):
    row = rows(tmp_path, "item,price,note\na,,\n")[0]
    assert row.number("price", None) is None
    assert row.number("price", 2.0) == 2.0
    assert row.text("note", "none") == "none"
    assert row.flag("note") is False
    assert row.names("note") == ()


def test_yes_no_and_lists(tmp_path):
    row = rows(tmp_path, 'item,price,note\n"a; b ;",YES,maybe\n')[0]
    assert row.names("item") == ("a", "b")
    assert row.flag("price") is True
    with pytest.raises(InputError, match="neither yes nor no"):
        row.flag("note")


@given(st.floats(-1e6, 1e6).map(lambda x: round(x, 4)), st.booleans())
def test_a_number_is_read_as_it_is_written(value, comma):
    text = f"{value:.4f}"
    assert parse_number(text.replace(".", ",") if comma else text, decimal_comma=comma) == value


@given(st.integers(1000, 999_999_999), st.integers(0, 99), st.sampled_from(["., ", ",.", " .", "'.",
                                                                            "\u00a0,"]))
def test_thousands_are_read_where_a_fraction_tells_them_apart(whole, cents, marks):
    thousands, point = marks[0], marks[1]
    text = f"{whole:,}".replace(",", thousands) + f"{point}{cents:02d}"
    assert parse_number(text) == pytest.approx(whole + cents / 100)


@pytest.mark.parametrize(("separator", "decimal"), [(",", "."), (";", ","), ("\t", ",")])
@pytest.mark.parametrize("title", ["What we bought", "Kit, spring 2031", "Kit; spring", '"A, b"'])
def test_a_title_above_the_headings_is_no_heading(tmp_path, title, separator, decimal):
    path, notes = tmp_path / "table.csv", []
    line = separator.join
    path.write_text(f"{title}\n\n{line(['Item', 'Note', 'Price'])}\n"
                    f"{line(['tube', 'x', f'12{decimal}5'])}\n")
    (row,) = read_rows(path, ("item", "price"), ("note",), notes)
    assert (row.text("item"), row.number("price")) == ("tube", 12.5)
    assert notes == ["the headings are those of row 3"]
