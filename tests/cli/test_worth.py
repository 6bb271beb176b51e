"""`kitpace worth` as a coach meets it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from optimizer.cli import group
from optimizer.errors import InputError

DEMO = Path(__file__).parents[2] / "courses" / "petrel-flats"
HEAD = "item;figure;test;yaw_deg;measured_by;runs;uncertainty;source;;\n"
# The coach's table (invented): tunnel notes in grams, a seller's watts, a field test in seconds,
# two ways to hide hoses; semicolons, decimal commas, empty columns and rows at the end.
COACH = HEAD + (
    "Hose clips;saves 6 g @ 45 km/h;tunnel with rider;0;independent;4;5 g;club;;\n"
    "Hose cover;saves 14 g @ 45 km/h;tunnel with rider;0;independent;4;5 g;club;;\n"
    "Hoses inside;saves 30 g @ 45 km/h;tunnel with rider;0;independent;4;5 g;club;;\n"
    "Skinsuit;saves 8 W;rule of thumb;;seller;;;leaflet;;\n"
    "Skinsuit;saves 15 s / 40 km @ 45 km/h;field;;independent;6;8 s;coach;;\n"
    "Helmet;-0,0042 m2;tunnel with rider;0-10;independent;4;0,0008 m2;club;;\n"
    "Helmet;costs 0,002 m2;tunnel with rider;0-10;independent;4;0,0008 m2;other club;;\n"
    ";;;;;;;;;\n;;;;;;;;;\n")


@pytest.fixture
def coach(tmp_path):
    path = tmp_path / "notes.csv"
    path.write_text(COACH, encoding="utf-8-sig")
    return path


def run(*arguments, fails=False):
    result = CliRunner().invoke(group, [str(argument) for argument in arguments])
    if fails:
        assert isinstance(result.exception, InputError), result.output
        return result.exception
    assert result.exception is None, result.output
    return result.output


def test_a_coachs_table_is_ranked_with_its_doubt(coach):
    output = run("worth", coach, "--speed", "45")
    assert output.startswith("5 items from 7 figures")
    order = [output.index(f"\n{name}") for name in ("Hoses inside", "Skinsuit", "Hose clips")]
    assert order == sorted(order)
    assert "Sources disagree about Helmet" in output
    assert re.search(r"\b\d\d? % likely", output)
    assert max(len(line) for line in output.splitlines() if str(coach.parent) not in line) <= 80
    page = coach.with_name("notes-worth.html").read_text(encoding="utf-8")
    assert "test speed not stated" in page
    assert "saves 30 g @ 45 km/h" in page.replace("\N{NO-BREAK SPACE}", " ")
    assert "one source only: club" in page


def test_a_sellers_leaflet_is_no_clear_gain(tmp_path):
    table = tmp_path / "leaflets.csv"
    table.write_text(HEAD + "Coating;saves 12 W @ 45 km/h;tunnel without rider;;seller;;2 W;leaflet"
                     ";;\nCover;saves 14 g @ 45 km/h;tunnel with rider;;independent;4;2 g;club;;\n"
                     "Light seat;-300 g mass;field;;independent;;;scale;;\n")
    output = " ".join(run("worth", table, "--speed", "45").split())
    assert "The surest gain is Cover" in output
    assert "1 of 3 is a clear gain" in output
    assert "not tested: mass only" in output
    page = table.with_name("leaflets-worth.html").read_text()
    assert "the seller&#39;s word only" in page
    assert "1 of 3 is a clear gain" in page


def test_each_rider_gets_figures_of_their_own(coach, tmp_path):
    quick, slow = (run("worth", coach, "--speed", speed, "--out", tmp_path / "a.html")
                   for speed in ("28 mph", 30))
    assert "45.1 km/h" in quick
    assert "30.0 km/h" in slow
    assert "critical power" not in quick
    assert quick != slow


def test_rider_from_a_file(coach, tmp_path):
    output = run("worth", coach, "--rider", DEMO / "rider.toml", "--out", tmp_path / "a.html")
    assert "an assumed rider" not in output
    assert "W, critical power)" in " ".join(output.split())
    assert "CdA" not in output.split("Not given, so assumed")[1].split(".\n")[0]


def test_seconds_and_prices_on_the_riders_own_course(tmp_path):
    rows = DEMO.joinpath("evidence.csv").read_text(encoding="utf-8").splitlines()
    keep = [row for row in rows if row.startswith(("#", "item,", "Rear disc", "Raised-hand",
                                                   "Cables in"))]
    unlisted = "Magic stones,saves 1 W @ 45 km/h,rule of thumb,,,seller,,,,Invented leaflet"
    table = tmp_path / "some.csv"
    table.write_text("\n".join([*keep, unlisted]), encoding="utf-8")
    output = run("worth", table, "--scenario", DEMO / "scenario.toml", "--out", tmp_path / "a.html")
    assert "EUR" in output
    assert "90 to hire" in output
    assert '"Magic stones" does not belong to any item of the catalogue' in " ".join(output.split())
    page = (tmp_path / "a.html").read_text(encoding="utf-8")
    assert "What overlaps" in page
    assert "Cables in the cockpit and Raised-hand extensions" in page
    words = [line for line in output.splitlines() if str(tmp_path) not in line]
    assert max(map(len, words)) <= 80


def test_own_priors(coach, tmp_path):
    priors = tmp_path / "priors.toml"
    priors.write_text(run("worth", "--show-priors"), encoding="utf-8")
    out = ("--out", tmp_path / "a.html", "--speed", "45")
    plain = run("worth", coach, *out)
    assert run("worth", coach, "--priors", priors, *out) == plain
    priors.write_text("[measured_by.seller]\nfactor = 0.1\n", encoding="utf-8")
    assert run("worth", coach, "--priors", priors, *out) != plain


def test_an_empty_table(tmp_path):
    path = tmp_path / "empty.csv"
    path.write_text(HEAD, encoding="utf-8")
    assert "no evidence" in run("worth", path)


@pytest.mark.parametrize(("row", "column"), [
    ("Helmet;saves 2 %;tunnel without rider;;;;;;;", "figure"),
    ("Helmet;8 g;field;;;;;;;", "figure"),
    ("Helmet;saves 8 W;pub;;;;;;;", "test")])
def test_a_mistake_is_explained_with_row_and_column(coach, row, column):
    coach.write_text(COACH + row + "\n", encoding="utf-8")
    error = run("worth", coach, fails=True)
    assert f"row 11, column {column}" in str(error)
    assert not coach.with_name("notes-worth.html").exists()


@pytest.mark.parametrize("arguments", [
    ["--speed", "0"], ["--speed", "fast"], ["--speed", "45 W"], ["--speed", "-5"],
    ["--rider", "missing.toml"], ["--scenario", "missing.toml"], ["--priors", "missing.toml"],
    ["--scenario", "a.toml", "--rider", "b.toml"], ["--scenario", "a.toml", "--cda-m2", "0.25"],
    ["--out", "."]])
def test_refuses_bad_options(coach, arguments):
    run("worth", coach, *arguments, fails=True)


def test_a_missing_file_is_named(tmp_path):
    assert "there is no such file" in str(run("worth", tmp_path / "none.csv", fails=True))
    run("worth", fails=True)


def test_the_page_is_the_same_every_time(coach, tmp_path):
    pages = []
    for name in ("a.html", "b.html"):
        run("worth", coach, "--out", tmp_path / name)
        pages.append((tmp_path / name).read_bytes())
    assert pages[0] == pages[1]


def test_names_from_a_file_cannot_mark_up_the_page(coach):
    coach.write_text(HEAD + "<script>alert(1)</script>;saves 8 W;field;;;;;<b>x</b>;;\n",
                     encoding="utf-8")
    run("worth", coach)
    page = coach.with_name("notes-worth.html").read_text(encoding="utf-8")
    assert "<script>alert" not in page
    assert "<b>x</b>" not in page


def test_a_large_claim_without_a_speed_does_not_lead(tmp_path):
    table = tmp_path / "claims.csv"
    table.write_text("item,figure,test,measured_by,uncertainty\nMiracle wax,20 W,leaflet,,\n"
                     "Overshoes,saves 5 W @ 45 km/h,tunnel with rider,independent,1 W\n",
                     encoding="utf-8")
    output = run("worth", table)
    assert "The surest gain is Overshoes: " in " ".join(output.split())
    assert output.index("\nOvershoes") < output.index("\nMiracle wax")
    assert 'without "saves" or "costs" are read as savings' in " ".join(output.split())


def test_one_figure_at_three_speeds_is_said(tmp_path):
    table = tmp_path / "claims.csv"
    table.write_text("item,figure,test,source\n" + "".join(
        f"Wheel,{watts} W @ {kmh} km/h,seller,leaflet\n"
        for watts, kmh in ((2, 30), (3, 45), (4, 60))), encoding="utf-8")
    output = " ".join(run("worth", table).split())
    assert "1 item from 1 figure" in output
    assert "rows 2, 3, 4" in output
    assert "24 g at every speed" in output


def test_a_sheet_in_and_a_spreadsheet_out(coach, tmp_path):
    import openpyxl

    book = openpyxl.Workbook()
    book.active.title = "Notes"
    sheet = book.create_sheet("Tests")
    for line in COACH.splitlines():
        sheet.append(line.split(";")[:8])
    book.save(tmp_path / "club.xlsx")
    output = run("worth", f"{tmp_path / 'club.xlsx'}#Tests", "--tables", tmp_path / "out.xlsx")
    plain = run("worth", coach)
    assert output.split("Page:")[0] == plain.split("Page:")[0]
    rows = list(openpyxl.load_workbook(tmp_path / "out.xlsx")["Worth"].values)
    assert len(rows) == 6
    assert isinstance(rows[1][1], float)
    error = run("worth", coach, "--tables", tmp_path / "out.csv", fails=True)
    assert "end it in .xlsx" in str(error)
    error = run("worth", f"{tmp_path / 'club.xlsx'}#Tests", "--tables", tmp_path / "club.xlsx",
                fails=True)
    assert "which this run reads" in str(error) or "is a file that this run reads" in str(error)
