"""Rows of tables change; comments, spelling, encoding and foreign columns stay."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.errors import InputError
from optimizer.scenario.grid import read_grid

TEXT = ("# kept by hand\r\n"
        "Item;Place;Price;# mine\r\n"
        "Visor;visor;55,50;a\r\n"
        "# next season\r\n"
        "\r\n"
        '"Fast; tyres";tyres;120;"two\r\nlines"\r\n')


def read(text=TEXT, mark=b""):
    return read_grid(mark + text.encode(), "kit.csv")


def test_a_table_is_taken_apart():
    grid = read()
    assert grid.headings == ("Item", "Place", "Price", "# mine")
    assert [(row.number, row.cells[0]) for row in grid.rows] == [(3, "Visor"), (6, "Fast; tyres")]
    assert (grid.separator, grid.end) == (";", "\r\n")


def test_rows_that_stay_are_written_as_they_were():
    grid = read()
    assert grid.with_rows([(row.number, row.cells) for row in grid.rows]).decode() == TEXT


def test_a_changed_row_is_the_only_one_written_anew():
    grid = read()
    visor, tyres = grid.rows
    new = grid.with_rows([(visor.number, ["Visor", "visor", "60", "a"]),
                          (tyres.number, tyres.cells), (0, ["Chain", "chain", "50", ""])]).decode()
    assert new == TEXT.replace("55,50", "60") + "Chain;chain;50\r\n"


def test_a_row_that_is_not_named_is_gone_and_comments_stay():
    grid = read()
    assert grid.with_rows([(6, grid.rows[1].cells)]).decode() == TEXT.replace(
        "Visor;visor;55,50;a\r\n", "")


def test_a_new_column_stands_behind_the_others():
    grid = read("item,place\na,chain\nb,tyres\n")
    assert grid.with_rows([(2, ["a", "chain", "12"]), (3, ["b", "tyres", ""])],
                          ["price"]) == b"item,place,price\na,chain,12\nb,tyres\n"


@pytest.mark.parametrize("mark", [b"\xef\xbb\xbf", b"\xff\xfe"])
def test_encodings_stay(mark):
    data = mark + TEXT.encode("utf-8" if len(mark) == 3 else "utf-16-le")
    grid = read_grid(data, "kit.csv")
    assert grid.with_rows([(row.number, row.cells) for row in grid.rows]) == data


def test_what_is_no_table_is_refused():
    with pytest.raises(InputError, match="is empty"):
        read("# nothing\n")
    with pytest.raises(InputError, match="is not a table"):
        read('a,b\n"open,1\n')


CELLS = st.text(st.characters(codec="utf-8", exclude_categories=["Cs", "Cc", "Z"]),
                min_size=1, max_size=6).filter(lambda text: not text.startswith("#"))
ROWS = st.lists(st.lists(CELLS, min_size=3, max_size=3), max_size=6)


@given(ROWS, ROWS)
def test_what_is_written_is_read_back(old, new):
    # Oracle: the csv module of the standard library.
    out = io.StringIO()
    csv.writer(out).writerows([["one", "two", "three"], *old])
    grid = read_grid(out.getvalue().encode(), "t.csv")
    rows = [(row.number, row.cells) for row in grid.rows][::2] + [(0, row) for row in new]
    found = list(csv.reader(io.StringIO(grid.with_rows(rows).decode(), newline="")))
    assert found == [["one", "two", "three"], *(list(cells) for _, cells in rows)]
