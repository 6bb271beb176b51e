"""Results as a spreadsheet file (.xlsx): numbers as numbers, units in the headings."""

from __future__ import annotations

import io
import math
import zipfile
from typing import TYPE_CHECKING

from optimizer.defaults import NINE_IN_TEN
from optimizer.errors import InputError
from optimizer.report import marks
from optimizer.report.spreadsheet import harmless

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    import pandas as pd

    from optimizer.job import Result
    from optimizer.kit import KitSet
    from optimizer.report.worth_page import Valuation
    from optimizer.seasons import SeasonKit

    Sheet = tuple[str, Sequence[str], Iterable[Sequence[object]]]

__all__ = ["frontier_sheet", "plan_sheets", "season_sheets", "workbook", "worth_sheet"]

_WIDEST = 60  # characters of a column


def workbook(sheets: Sequence[Sheet], file: str) -> bytes:
    """Give the bytes of a spreadsheet with named sheets, each of headings and rows.

    Text from files is kept from becoming a formula. Raises InputError, with `file`, where the
    writer, an optional package, is not installed.
    """
    try:
        from openpyxl import Workbook
        from openpyxl.styles import Font
        from openpyxl.utils import get_column_letter
    except ImportError as error:
        raise InputError(file, "", "needs a writer of spreadsheets that is not installed",
                         'install it with: pip install "kitpace[spreadsheet]"') from error
    book = Workbook()
    book.remove(book.active)
    book.properties.creator = "kitpace"
    for name, headings, rows in sheets:
        sheet = book.create_sheet(name)
        sheet.append(list(headings))
        for row in rows:
            sheet.append([_cell(value) for value in row])
        for cell in sheet[1]:
            cell.font = Font(bold=True)
        sheet.freeze_panes = "A2"
        for k, column in enumerate(sheet.columns, 1):
            widest = max(len(str(cell.value or "")) for cell in column)
            sheet.column_dimensions[get_column_letter(k)].width = min(widest + 2, _WIDEST)
    out = io.BytesIO()
    book.save(out)
    with zipfile.ZipFile(out, "a") as archive:
        archive.comment = marks.XLSX
    return out.getvalue()


def _cell(value: object) -> object:
    """Value as a spreadsheet keeps it: nothing for what is no number."""
    if isinstance(value, str):
        return harmless("".join(c for c in value if c.isprintable()))
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return value if math.isfinite(value) else None
    return None if value is None else harmless(str(value))


def plan_sheets(result: Result) -> list[Sheet]:
    """Give splits by the card and of ideal rides, best kit at every price, what each item saves."""
    from optimizer.job.frames import splits, worth

    return [_of_frame("Splits", splits(result)),
            frontier_sheet(result.choice.frontier, result.choice.best.items, result.job.currency),
            _of_frame("Items", worth(result))]


def _of_frame(name: str, frame: pd.DataFrame) -> Sheet:
    return name, [str(column) for column in frame.columns], frame.astype(object).to_numpy().tolist()


def frontier_sheet(sets: Sequence[KitSet], chosen: Sequence[str], currency: str) -> Sheet:
    """Best kit at every price, from what costs nothing up."""
    first = sets[0].finish_time if sets else 0.0
    return ("Best kit", [f"spend_{currency}", "ideal_s", "saved_s", "items", "chosen"],
            [(kit.spend, round(kit.finish_time, 2), round(first - kit.finish_time, 2),
              "; ".join(kit.items), set(kit.items) == set(chosen)) for kit in sets])


def worth_sheet(valuation: Valuation) -> Sheet:
    """Give what each item is worth, in the order of the page, with 90 % ranges."""
    speed = f"{3.6 * valuation.speeds[1]:.0f}"
    headings = ["item", "saves_s_over_40km", "low_s", "high_s", f"saves_w_at_{speed}_kmh", "low_w",
                "high_w", "chance_of_a_gain_percent", "evidence", "based_on"]
    there = {row.item: row for row in valuation.on_course}
    if there:
        headings += ["on_course_s", "on_course_low_s", "on_course_high_s"]
    rows = []
    for worth in valuation.worths:
        row: list[object] = [worth.effect.item]
        for value, sd in ((worth.seconds, worth.seconds_sd), (worth.watts[1], worth.watts_sd[1])):
            row += [round(value + k * NINE_IN_TEN * sd, 2) for k in (0, -1, 1)]
        row += [round(100 * worth.chance), worth.effect.basis, worth.effect.grounds]
        if (here := there.get(worth.effect.item)) is not None:
            row += [round(here.seconds, 2), round(here.low, 2), round(here.high, 2)]
        rows.append(row)
    return "Worth", headings, rows


def season_sheets(found: SeasonKit) -> list[Sheet]:
    """Give the rides of a season, its purchases, and the best season at each budget."""
    season = found.season
    weighted = any(entry.weight != 1.0 for entry in season.entries)
    unit = "weighted s" if weighted else "s"  # of what is summed up over the races
    rides = [(season.entries[ride.entry].rider, season.entries[ride.entry].race,
              *(round(value, 2) for value in (ride.time, ride.saved, ride.low, ride.high)),
              ", ".join(ride.items), ", ".join(ride.hired))
             for ride in found.rides]
    bought = [(season.pools[one.pool].item, season.pools[one.pool].rider or "all", one.race,
               season.pools[one.pool].price, round(one.saves, 2)) for one in found.bought]
    # A gap is a bound: it is rounded up.
    points = [(point.budget, point.spend, round(point.saved, 2),
               math.ceil(100 * point.gap) / 100 if math.isfinite(point.gap) else None,
               point.chosen,
               ", ".join(point.bought), ", ".join(point.hired)) for point in found.frontier]
    money = season.currency
    return [("Rides", ("Rider", "Race", "Time, s", "Saved, s", "90 % range from, s", "to, s",
                       "Kit", "Hired"), rides),
            ("Purchases", ("Item", "For", "Needed for", f"Price, {money}",
                           f"Saves, {unit}"), bought),
            ("Best season at each budget", (f"Budget, {money}", f"Spent, {money}",
                                            f"Saved, {unit}", f"Gap, {unit}", "Chosen", "Bought",
                                            "Hired"), points)]
