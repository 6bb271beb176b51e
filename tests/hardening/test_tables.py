"""Nasty spreadsheets: read rightly, or refused with row and reason."""

from __future__ import annotations

import time

import pytest

from optimizer.conditions import Conditions
from optimizer.errors import InputError
from optimizer.scenario.batch_file import read_batch
from optimizer.scenario.catalogue_file import read_catalogue
from optimizer.scenario.course_file import read_features
from optimizer.scenario.earlier_file import read_earlier
from optimizer.scenario.evidence_file import read_evidence
from optimizer.scenario.forecast_file import read_forecast
from optimizer.scenario.power_file import read_efforts
from optimizer.scenario.priors_file import read_priors
from optimizer.scenario.ride_file import read_ride
from optimizer.scenario.rider_file import read_rider
from optimizer.scenario.scenario import read_scenario

READERS = {
    "catalogue": ("kit.csv", read_catalogue), "evidence": ("evidence.csv", read_evidence),
    "features": ("features.csv", read_features), "batch": ("batch.csv", read_batch),
    "forecast": ("forecast.csv", lambda path: read_forecast(path, None, Conditions())),
    "ride": ("ride.csv", read_ride), "GPX ride": ("ride.gpx", read_ride),
    "head unit": ("ride.fit", read_ride), "rider": ("rider.toml", read_rider),
    "scenario": ("scenario.toml", read_scenario), "priors": ("priors.toml", read_priors),
    "batch in TOML": ("batch.toml", read_batch), "earlier plan": ("plan.json", read_earlier),
}
JUNK = {
    "empty": b"", "blank lines": b"\n\n\r\n", "BOM only": b"\xef\xbb\xbf", "NUL": b"a\0b,c\n1,2\n",
    "a picture": b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 20,
    "latin-1": "Gewichtsänderung;Größe\n1;2\n".encode("latin-1"),
    "half of UTF-16": b"\xff\xfea\0,\0b", "lone quote": b'item,place,price\n"a,b,c\n',
    "HTML": b"<html><body>Sign in</body></html>", "headings only": b"what,ever\n",
    "one long line": b"a," * 200_000, "one long cell": b"a" * 2_000_000,
    "many brackets": b"a = " + b"[" * 100_000, "many braces": b'{"a":' * 100_000,
    "many quotes": b'"' * 100_001, "CR only": b"a,b\r1,2\r", "many dots": b"a" + b".a" * 100_000,
    "huge number": b"[1e999999, -1e999999]", "long integer": b"a = " + b"9" * 10_000,
    "NaN": b'{"schema": "kitpace-result-1", "plan": {"finish_time_s": NaN}}',
    "surrogates": b'{"schema": "\\ud800"}', "null": b"null", "a number": b"7",
}


# A file of priors that says nothing is one: all stay as they are.
CASES = [(kind, junk) for kind in READERS for junk in JUNK
         if (kind, junk) not in {("priors", "empty"), ("priors", "blank lines"),
                                 ("priors", "BOM only")}]


@pytest.mark.parametrize(("kind", "junk"), CASES)
def test_junk_is_refused_at_once(tmp_path, kind, junk):
    name, read = READERS[kind]
    (tmp_path / name).write_bytes(JUNK[junk])
    begun = time.perf_counter()
    with pytest.raises(InputError) as error:
        read(tmp_path / name)
    assert name in str(error.value)
    assert len(str(error.value)) < 3000
    assert time.perf_counter() - begun < 10


@pytest.mark.parametrize("kind", READERS)
def test_what_is_no_file_is_refused(tmp_path, kind):
    name, read = READERS[kind]
    for path in (tmp_path / name, tmp_path / "no" / name):
        with pytest.raises(InputError):
            read(path)
    (tmp_path / name).mkdir()
    with pytest.raises(InputError):
        read(tmp_path / name)


HEAD = ("item", "place", "price", "mass_change_g", "owned")
ROWS = (("Disc", "rear wheel", "1234.5", "-20.25", "no"), ("Hat", "helmet", "99", "0", "yes"))


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
@pytest.mark.parametrize(("separator", "comma"), [(",", "."), (";", "."), (";", ","), ("\t", ",")])
def test_the_ways_of_spreadsheets_give_the_same_catalogue(tmp_path, separator, comma, encoding,
                                                          ending):
    table = [[cell.replace(".", comma) for cell in row] for row in ROWS]
    wide = [[*row, "", ""] for row in [HEAD, *table]]  # empty trailing columns
    text = ending.join(separator.join(row) for row in [*wide, [""] * 7]) + ending
    (tmp_path / "kit.csv").write_bytes(text.encode(encoding))
    disc, hat = read_catalogue(tmp_path / "kit.csv").items
    assert (disc.price, disc.mass, disc.owned) == (1234.5, -0.02025, False)
    assert (hat.price, hat.owned) == (99.0, True)


@pytest.mark.parametrize("cell", ["1,234", "12.5.2031", "1.2.3", "=1+1", "12 foo", "--5", "0x10",
                                  "1e", "٣", "½", "1_000", "nan", "inf", "-inf", "1e400", "#REF!"])
def test_a_price_that_can_be_misread_is_refused_with_its_row(tmp_path, cell):
    (tmp_path / "kit.csv").write_text(f'item,place,price\nA,helmet,1\nB,visor,"{cell}"\n',
                                      encoding="utf-8")
    with pytest.raises(InputError, match="row 3, column price"):
        read_catalogue(tmp_path / "kit.csv")


@pytest.mark.parametrize("time", ["2030-13-01T09:00", "25:00", "9", "45457", "2030-06-16", "noon",
                                  "2030-06-16T09:00+99:00", "", "nan"])
def test_times_that_are_none(tmp_path, time):
    (tmp_path / "f.csv").write_text(f"time,wind_kmh,wind_from_deg\n{time},10,90\n")
    with pytest.raises(InputError, match="row 2, column time"):
        read_forecast(tmp_path / "f.csv", None, Conditions())


@pytest.mark.parametrize("wind", ["-5", "nan", "inf", "251", ""])
def test_forecast_winds_that_are_none(tmp_path, wind):
    (tmp_path / "f.csv").write_text(f"time,wind_kmh,wind_from_deg\n2030-06-16T09:00,{wind},90\n")
    with pytest.raises(InputError, match="row 2"):
        read_forecast(tmp_path / "f.csv", None, Conditions())


def test_a_table_of_a_thousand_rows_is_read_in_seconds(tmp_path):
    rows = "".join(f"Item {k},other: place {k},10\n" for k in range(1_000))
    (tmp_path / "kit.csv").write_text("item,place,price\n" + rows)
    begun = time.perf_counter()
    assert len(read_catalogue(tmp_path / "kit.csv").items) == 1_000
    assert time.perf_counter() - begun < 10


@pytest.mark.parametrize("kind", ["features", "pairs", "batch", "efforts"])
def test_a_column_of_ones_own_is_not_used_and_said(tmp_path, kind):
    """As in tables of kit and evidence; a slip in a heading is refused still."""
    text = {"features": "what,from_km,to_km,value,my remark\nsurface,1,2,cobbles,x\n",
            "pairs": "first,second,factor,my remark\nA,B,-0.2,x\n",
            "batch": "scenario,my remark\na.toml,x\n",
            "efforts": "minutes,power_w,my remark\n5,300,x\n20,250,\n"}[kind]
    path = tmp_path / "t.csv"
    path.write_text(text, encoding="utf-8")
    for name in ("a.toml", "kit.csv"):
        (tmp_path / name).write_text("item,place,price\nA,helmet,1\nB,visor,2\n", encoding="utf-8")
    notes = []
    if kind == "features":
        read_features(path, notes)
    elif kind == "pairs":
        read_catalogue(tmp_path / "kit.csv", path, notes)
    elif kind == "batch":
        read_batch(path, notes)
    else:
        notes += read_efforts(path).notes
    assert len(notes) == 1
    assert notes[0].endswith("not used: the column my remark")
    path.write_text(text.replace("power_w", "powr_w").replace("factor", "facter").replace(
        "value", "valu").replace("scenario,", "scenaro,"), encoding="utf-8")
    with pytest.raises(InputError):
        {"features": read_features, "batch": read_batch, "efforts": read_efforts,
         "pairs": lambda table: read_catalogue(tmp_path / "kit.csv", table)}[kind](path)
