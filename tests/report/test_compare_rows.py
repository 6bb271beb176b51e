"""The forces of a comparison add up, by row, by column and to the clock."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from optimizer.kit.compare import CAUSES, Difference
from optimizer.report.kit_page import why_rows


def figures(row):
    return [float(cell.removesuffix(" s").replace("−", "-").replace("+", "").replace(",", ""))
            for cell in row[1:] if cell]


def rows_of(why, seconds):
    places = tuple((f"mark {k}", 1000.0 * (k + 1)) for k in range(len(why)))
    difference = Difference("B", "A", seconds, 0.0, 0.0, 1.0, np.zeros(len(why)), why,
                            seconds - float(why.sum()))
    return why_rows(SimpleNamespace(places=places), difference)


@pytest.mark.parametrize("seed", range(20))
def test_what_is_shown_adds_up_to_the_clock(seed):
    rng = np.random.default_rng(seed)
    why = rng.normal(0.0, 50.0, (4, len(CAUSES)))
    seconds = float(why.sum()) + rng.normal(0.0, 3.0)
    headings, rows = rows_of(why, seconds)
    stretches, total = [figures(row) for row in rows[:4]], figures(rows[4])
    for row in (*stretches, total):
        assert sum(row[:-1]) == pytest.approx(row[-1], abs=1e-6)
    assert np.sum(stretches, axis=0) == pytest.approx(total, abs=1e-6)
    if len(rows) > 5:
        (rest,), (clock,) = map(figures, rows[5:])
        assert total[-1] + rest == pytest.approx(clock, abs=1e-6)
    else:
        clock = total[-1]
    assert clock == pytest.approx(-seconds, abs=0.051)
    assert len(headings) == len(rows[0])


def test_without_a_rest_there_is_no_row_for_it():
    _, rows = rows_of(np.array([[1.0, 0.5, 0.0, 0.0, 0.0], [2.0, 0.0, 0.0, 0.0, 0.0]]), 3.5)
    assert [row[0] for row in rows] == ["to mark 0", "to mark 1", "In all"]
