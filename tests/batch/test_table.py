"""What a batch shows: the CSV, the page, the sentence."""

from __future__ import annotations

import csv
import io

from optimizer.batch.outcome import Outcome
from optimizer.batch.table import summary, table_csv, table_page

GOOD = Outcome("flat, <b>Anna</b>", "cases/flat-anna-1", "Flat", "Anna", "25 km/h from 225°",
               3600.4, 3550.0, 3700.0, 0.01, 251.2, 99.5, "EUR", ("Disc", "Helmet"))
KEPT = Outcome("hills", "cases/hills-2", "Hills", "Ben", "", 4000.0, 3900.0, 4200.0, 0.5, 240.0,
               0.0, "EUR", (), kept=True)
BAD = Outcome("=cmd|x", "cases/bad-3", failure="rider.toml, line 3: <script> is wrong",
              exit_code=2)


def test_the_table_has_a_row_a_case_and_no_figures_where_there_are_none():
    rows = list(csv.DictReader(io.StringIO(table_csv([GOOD, KEPT, BAD]))))
    assert [row["finish_time_s"] for row in rows] == ["3600.40", "4000.00", ""]
    assert rows[0]["items"] == "Disc;Helmet"
    assert rows[0]["report"] == "cases/flat-anna-1/report.html"
    assert rows[2]["problem"] == "rider.toml, line 3: <script> is wrong"
    assert rows[2]["case"] == "'=cmd|x"  # no spreadsheet computes it


def test_the_page_links_every_report_and_escapes_what_it_shows():
    page = table_page("Squad", [GOOD, KEPT, BAD])
    assert 'href="cases/flat-anna-1/report.html"' in page
    assert "flat, &lt;b&gt;Anna&lt;/b&gt;" in page
    assert "1:00:00" in page
    assert "&lt;script&gt; is wrong" in page
    assert "<script> is wrong" not in page
    assert "2 of 3 cases have a plan. 1 of them comes from an earlier run" in page


def test_a_batch_without_any_plan_still_has_a_page():
    page = table_page("Squad", [BAD])
    assert "The case failed." in page
    assert "What could not be planned" in page
    assert "The cases" not in page
    assert summary([GOOD]) == "The case has a plan."
