"""All mistakes of a table at once, and what is taken in good part said once."""

from __future__ import annotations

import pickle

import pytest
from click.testing import CliRunner

from optimizer.cli import group
from optimizer.errors import InputError, InputErrors
from optimizer.evidence import Effect
from optimizer.kit.catalogue import PLACES
from optimizer.scenario.catalogue_file import read_catalogue
from optimizer.scenario.evidence_file import read_evidence
from optimizer.scenario.scenario import named_as_listed, read_scenario
from optimizer.scenario.starter import write_starter


def table(tmp_path, text):
    path = tmp_path / "sheet.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_every_mistake_is_told_in_the_order_of_rows(tmp_path):
    with pytest.raises(InputErrors) as caught:
        read_evidence(table(tmp_path, "item;figure;test;runs;yaw_deg\n"
                            "Helmet;saves 8 bananas;pub;none;200\n"
                            "Socks;saves 1 W;field;;\n"
                            ";saves 1 W;;;\n"))
    said = str(caught.value)
    assert caught.value.exit_code == 2
    assert "6 mistakes" in said
    places = ["row 2, column figure", "row 2, column test", "row 2, column yaw_deg",
              "row 2, column runs", "row 4, column item", "row 4, column test"]
    assert sorted(places) == sorted(error.where for error in caught.value.found)
    rows = [error.where.split(",")[0] for error in caught.value.found]
    assert rows == sorted(rows)
    assert "Aero helmet;saves 30 g @ 45 km/h;tunnel with rider" in said  # as this file separates
    assert str(pickle.loads(pickle.dumps(caught.value))) == said  # noqa: S301 - our own


def test_at_most_twenty_and_how_many_more(tmp_path):
    rows = "".join(f"Item {k},helm,\n" for k in range(17))
    with pytest.raises(InputErrors) as caught:
        read_catalogue(table(tmp_path, f"item,place,price\n{rows}"))
    said = str(caught.value)
    assert len(caught.value.found) == 34
    assert "34 mistakes" in said
    assert "and 14 more" in said
    assert said.count("\n  row ") == 20
    assert len(said) < 3000
    assert said.count("For any other place") == 1  # a remedy is told once


def test_what_one_mistake_brings_about_is_not_another(tmp_path):
    with pytest.raises(InputError) as caught:
        read_catalogue(table(tmp_path, "item,place,price,requires\n"
                             "Disc,rear wheel,x,\nCover,other: cover,5,Disc\n"))
    assert not isinstance(caught.value, InputErrors)
    assert "row 2, column price" in str(caught.value)


def test_unknown_columns_are_left_out_with_a_note(tmp_path):
    notes = []
    [datum] = read_evidence(table(tmp_path, "item,figure,test,Bought in,colour\n"
                                  "Helmet,saves 8 W,field,May,red\n"), notes)
    assert datum.item == "Helmet"
    assert notes == ["not used: the columns Bought in, colour"]


@pytest.mark.parametrize("heading", ["prise", "mass_change_kg", "need_fitter", "hire_prise"])
def test_a_slip_in_a_heading_does_not_lose_its_figures(tmp_path, heading):
    with pytest.raises(InputError, match="did you mean"):
        read_catalogue(table(tmp_path, f"item,place,price,{heading}\nA,helmet,5,1\n".replace(
            ",price,prise", ",prise").replace("5,1", "5" if heading == "prise" else "5,1")))


@pytest.mark.parametrize("heading", ["prise", "hire_prise"])
def test_a_slip_in_a_heading_does_not_hide_the_rows(tmp_path, heading):
    wrong = (f"item,place,{'' if heading == 'prise' else 'price,'}{heading},mass_change_g\n"
             f"A,helm,{'' if heading == 'prise' else '5,'}1,heavy\n")
    with pytest.raises(InputError) as caught:
        read_catalogue(table(tmp_path, wrong))
    said = str(caught.value)
    assert "did you mean" in said
    assert '"helm" is not a known place' in said
    assert '"heavy" is not a number' in said
    assert "is empty" not in said


@pytest.mark.parametrize(("cell", "kilograms"), [
    ("+60 g", 0.06), ("140g", 0.14), ("0.14 kg", 0.14), ("-0.2kg", -0.2), ("60", 0.06)])
def test_masses_with_their_unit(tmp_path, cell, kilograms):
    notes = []
    item, = read_catalogue(table(tmp_path, f"item,Slot,price,mass_change_g\nA,helmet,5,{cell}\n"),
                           notes=notes).items
    assert item.mass == pytest.approx(kilograms)
    assert ("masses such as" in "\n".join(notes)) == ("g" in cell)
    assert 'columns read: "Slot" as place' in notes


@pytest.mark.parametrize("cell", ["60 lb", "g", "30 kg", "x g"])
def test_masses_that_are_none(tmp_path, cell):
    with pytest.raises(InputError, match="column mass_change_g"):
        read_catalogue(table(tmp_path, f"item,place,price,mass_change_g\nA,helmet,5,{cell}\n"))


def test_kind_is_the_kind_of_test(tmp_path):
    datum, = read_evidence(table(tmp_path, "item,figure,kind\nHelm,5 W,Tunnel\n"))
    assert datum.test.startswith("tunnel")


def test_headings_and_words_of_ones_own_are_echoed(tmp_path):
    notes = []
    data = read_evidence(table(
        tmp_path, "Name;Saving (as stated);Method;±;Notes\n"
        "Helm;5-6 W;Magazine;;\nCables;~8 watts;my own test;2 W;\nWheel;-30 g @ 45 km/h;Tunnel;;\n"
        "Suit;2-3 %;tunnel;;\nTyre;-0,0004 Crr;track;;\n"), notes)
    assert [(d.test, d.measured_by) for d in data] == [
        ("rule of thumb", "independent"), ("field", "independent"), ("tunnel without rider", ""),
        ("tunnel with rider", ""), ("velodrome", "")]
    said = "\n".join(notes)
    for words in ('columns read: "Name" as item, "Saving (as stated)" as figure, "Method" as test',
                  'row 2, column figure: "5-6 W" read as saves 5.5 W ± 0.5 W (90 %)',
                  'test "Magazine" read as rule of thumb, independent',
                  "the more cautious of the two", "for a percentage, which needs one"):
        assert words in said
    assert "row 6, column figure" not in said  # plain figures are not echoed


@pytest.mark.parametrize(("cell", "price"), [
    ("€ 240,00", 240.0), ("240 €", 240.0), ("EUR 1.234,50", 1234.5), ("€1,234.50", 1234.5),
    ("1 234,50 EUR", 1234.5), ("€ 1.234", 1234.0), ("€ 1,234", 1234.0), ("€ 12,-", 12.0),
    ("240", 240.0), ("240,5", 240.5)])
def test_prices_as_spreadsheets_show_them(tmp_path, cell, price):
    notes = []
    [item] = read_catalogue(table(tmp_path, f"item;place;price\nA;helmet;{cell}\n"), None, notes,
                            currency="EUR").items
    assert item.price == price
    assert bool(notes) == (not cell[0].isdigit() or not cell[-1].isdigit())


@pytest.mark.parametrize(("cell", "says"), [
    ("£ 240", "is in GBP, and the scenario counts in EUR"), ("2.Jan", "not a number"),
    ("€ 12.5.2031", "not a number"), ("€", "not a number"), ("€ -5", "not a number"),
    ("2026-05-12", "did a spreadsheet turn 12.5 or 12-5 into a date")])
def test_prices_that_are_none(tmp_path, cell, says):
    with pytest.raises(InputError, match="row 2, column price") as caught:
        read_catalogue(table(tmp_path, f"item;place;price\nA;helmet;{cell}\n"), currency="EUR")
    assert says in str(caught.value)


@pytest.mark.parametrize(("word", "places"), [
    ("stem", ["cockpit"]), ("Bar", ["cockpit"]), ("feet", ["shoes", "overshoes", "socks"]),
    ("legs", ["body", "clothing", "socks"]), ("helmit", ["helmet"])])
def test_a_place_is_hinted_at_and_the_choices_listed(tmp_path, word, places):
    with pytest.raises(InputError) as caught:
        read_catalogue(table(tmp_path, f"item,place,price\nA,{word},5\n"))
    said = str(caught.value)
    assert f'did you mean "{places[0]}"' in said
    for place in (*places, *PLACES):
        assert place in said
    assert f'"other: {word}"' in said


def test_evidence_for_no_item_is_said_with_the_nearest_name():
    effects, notes = named_as_listed(
        (Effect("aero-helmet"), Effect("Disk weel"), Effect("Unicorn")),
        ["Aero helmet", "Disc wheel"])
    assert [effect.item for effect in effects] == ["Aero helmet", "Disk weel", "Unicorn"]
    assert notes == [
        'the evidence for "aero-helmet" counts for "Aero helmet"',
        ('the evidence for "Disk weel" does not belong to any item of the catalogue; did you mean '
         '"Disc wheel"?'),
        'the evidence for "Unicorn" does not belong to any item of the catalogue']


def test_a_hyphen_or_a_capital_makes_no_other_item(tmp_path):
    notes = []
    data = read_evidence(table(tmp_path, "item,figure,test,source\naero-helmet,saves 8 W,field,a\n"
                               "Aero helmet,saves 9 W,field,b\nAERO HELMET,saves 7 W,field,c\n"),
                         notes)
    assert {datum.item for datum in data} == {"aero-helmet"}
    assert notes == ['"Aero helmet" and "aero-helmet" are taken as one item',
                     '"AERO HELMET" and "aero-helmet" are taken as one item']


def test_headings_below_a_title_are_found(tmp_path):
    notes = []
    items = read_catalogue(table(tmp_path, "Club kit;;;\n;;;\nPart;Where;Price (EUR);Have it?\n"
                                 "Hat;helmet;5;yes\n"), None, notes).items
    assert (items[0].name, items[0].owned) == ("Hat", True)
    assert notes[0] == "the headings are those of row 3"
    with pytest.raises(InputError, match="row 4, column place"):
        read_catalogue(table(tmp_path, "Club kit\n\nPart,Where,Price\nHat,hat,5\n"))


def test_what_is_alike_is_echoed_once(tmp_path):
    notes = []
    read_evidence(table(tmp_path, "item,figure,test\n" + "".join(
        f"Item {k},{k + 1} W @ 45 km/h,magazine\n" for k in range(9))), notes)
    assert notes == ['figures without "saves" or "costs" are read as savings',
                     'test "magazine" read as rule of thumb, independent']


def test_both_tables_of_a_scenario_are_told_at_once(tmp_path):
    path = write_starter(tmp_path / "race")
    path.with_name("kit.csv").write_text("item,place,price\nHat,hat,5\nCap,cap,x\n")
    path.with_name("evidence.csv").write_text("item,figure,test\nHat,8 bananas,pub\n")
    with pytest.raises(InputErrors) as caught:
        read_scenario(path)
    said = str(caught.value)
    assert "kit.csv: 3 mistakes" in said
    assert "evidence.csv: 2 mistakes" in said
    assert said.index("kit.csv") < said.index("evidence.csv")
    assert said.count("known places are") == 1
    assert said.count("a right row") == 2
    assert len(said) < 3000


def test_worth_reads_a_name_that_differs_by_a_hyphen(tmp_path):
    path = write_starter(tmp_path / "race")
    name = read_catalogue(path.with_name("kit.csv")).items[0].name
    other = name.upper().replace(" ", "-")
    path.with_name("evidence.csv").write_text(
        f"item,figure,test\n{other},saves 5 W @ 45 km/h,field\n")
    result = CliRunner().invoke(group, ["worth", str(path.with_name("evidence.csv")),
                                        "--scenario", str(path)])
    assert result.exception is None, result.output
    assert f'the evidence for "{other}" counts for "{name}"' in " ".join(result.output.split())


def test_a_right_row_stands_under_the_headings_of_the_file_beside_its_own_mistakes(tmp_path):
    path = write_starter(tmp_path / "race")
    path.with_name("kit.csv").write_text(
        "Part;Where;Mine;Price;owned;mass_change_g\nHat;hat;;55,50;no;3\nCap;cap;;x;no;4\n")
    path.with_name("evidence.csv").write_text(
        "item,baseline,figure,yaw_deg,test,measured_by\nHat,,8 bananas,,pub,\n")
    with pytest.raises(InputErrors) as caught:
        read_scenario(path)
    for said in (str(caught.value), str(pickle.loads(pickle.dumps(caught.value)))):  # noqa: S301
        lines = [line.strip() for line in said.splitlines()]
        of_kit = lines.index("a right row: Aero helmet;helmet;;240,00;no;")
        assert lines[of_kit + 1] == "under the headings: Part;Where;Mine;Price;owned;mass_change_g"
        of_evidence = lines.index("a right row: Aero helmet,Road helmet,saves 30 g @ 45 km/h,0-15,"
                                  "tunnel with rider,independent")
        begin = next(k for k, line in enumerate(lines) if "evidence.csv:" in line)
        assert of_kit < begin < of_evidence


@pytest.mark.parametrize(("text", "price", "note"), [
    ("free", 0.0, 'prices such as "free" are read as 0'),
    ("Free", 0.0, 'prices such as "Free" are read as 0'),
    ("about 45 EUR", 45.0, 'row 2, column price: "about 45 EUR" read without "about"'),
    ("~45", 45.0, 'row 2, column price: "~45" read without "~"'),
    ("ca. 45 €", 45.0, 'row 2, column price: "ca. 45 €" read without "ca."')])
def test_prices_in_words(tmp_path, text, price, note):
    notes = []
    item, = read_catalogue(table(tmp_path, f"item,place,price\nHat,helmet,{text}\n"), None, notes,
                           currency="EUR").items
    assert item.price == price
    assert note in notes


@pytest.mark.parametrize("text", ["about", "freebie", "about much", "about 45 GBP"])
def test_prices_in_words_that_mean_no_price(tmp_path, text):
    with pytest.raises(InputError, match="column price"):
        read_catalogue(table(tmp_path, f"item,place,price\nHat,helmet,{text}\n"), None, [],
                       currency="EUR")
