"""The outputs of a command, checked before it starts, so that no file is lost."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from optimizer.errors import InputError
from optimizer.files import Output, check_outputs
from optimizer.report import marks

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["beside", "check_run", "fit", "gpx", "json", "overwrite_option", "page", "row",
           "season_json", "table", "tables_option", "xlsx"]


def page(option: str, path: Path | str) -> Output:
    """Give an HTML page as an output."""
    return Output(option, Path(path), marks.PAGE, 100_000)


def json(option: str, path: Path | str) -> Output:
    """Give the JSON of a plan as an output."""
    return Output(option, Path(path), marks.JSON, 50_000)


def season_json(option: str, path: Path | str) -> Output:
    """Give the JSON of a season as an output."""
    return Output(option, Path(path), marks.SEASON_JSON, 50_000)


def gpx(option: str, path: Path | str) -> Output:
    """Give a GPX as an output."""
    return Output(option, Path(path), marks.GPX)


def fit(option: str, path: Path | str) -> Output:
    """Give a course for head units as an output."""
    return Output(option, Path(path), marks.FIT, 20_000)


def table(option: str, path: Path | str, kind: str) -> Output:
    """Give a CSV as an output: of a "card", a "batch" or a "season"."""
    return Output(option, Path(path), marks.TABLES[kind])


def beside(path: Path | str, ending: str) -> Path:
    """Give the name of an output beside an input: its name without suffix, and `ending`.

    Raises InputError for a folder such as ".", which has no name.
    """
    file = Path(path)
    if not file.name:
        raise InputError(str(path), "", "is a folder", "name a file in it")
    return file.with_name(f"{file.stem}{ending}")


def row(option: str, path: Path | str) -> Output:
    """Give a file, or the file of a sheet, as an output that keeps its content."""
    from optimizer.scenario.spreadsheet_file import without_sheet

    return Output(option, without_sheet(path)[0], None)


def check_run(outputs: Iterable[Output], inputs: Iterable[Path | str | None], *,
              overwrite: bool) -> None:
    """Refuse outputs that are inputs of this run, equal each other, or cannot be written.

    Inputs are what was named to the command and, where that is TOML, all that it names. Raises
    InputError.
    """
    from optimizer.scenario.spreadsheet_file import without_sheet

    read: list[Path] = []
    for path in inputs:
        if path is not None and Path(path).suffix.lower() == ".toml":
            from optimizer.scenario.named_files import named_files

            read += named_files(Path(path))
        elif path is not None:
            read.append(without_sheet(path)[0])
    check_outputs(list(outputs), read, overwrite=overwrite)


def xlsx(option: str, path: Path | str) -> Output:
    """Give a spreadsheet as an output. Raises InputError for another ending."""
    if Path(path).suffix.lower() != ".xlsx":
        raise InputError(str(path), option, "is not the name of a spreadsheet", "end it in .xlsx")
    return Output(option, Path(path), marks.XLSX, 20_000)


def tables_option(command: Any) -> Any:
    """`--tables FILE.xlsx`: the results as a spreadsheet."""
    return click.option("--tables", metavar="FILE.xlsx", type=click.Path(),
                        help="Write the results as a spreadsheet as well.")(command)


def overwrite_option(command: Any) -> Any:
    """`--overwrite`: replace also what kitpace did not write."""
    return click.option("--overwrite", is_flag=True, help="Replace an output file that exists, "
                        "even one that kitpace did not write.")(command)
