"""Forms made of the tables of the files: controls to show, and what was typed as changes to a file.

A form carries what the file said when it was shown. Only what differs from that is a change, so
that two windows, or a window and a text editor, add up; where both changed one key, it says so.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from optimizer.errors import InputError
from optimizer.files import as_if, is_file
from optimizer.scenario.edit_toml import with_list, with_values
from optimizer.scenario.fields import described, fields_of, table_at
from optimizer.scenario.tables import decoded
from optimizer.scenario.toml_file import findings, name_of, read_toml
from optimizer.scenario.units import parse_direction, parse_quantity

if TYPE_CHECKING:
    from pydantic import BaseModel

    from optimizer.scenario.fields import Described
    from optimizer.window.folder import Folder

__all__ = ["Control", "Rows", "Sheet", "Tried", "control", "rows", "try_out"]

Path = tuple[str, ...]
Suggested = Mapping[str, Sequence[Mapping[str, str]]]
# What a comment of a file says of these keys means nothing in a form.
_HELPS = {
    ("Scenario", "budget"): "for what is not owned yet",
    ("Scenario", "rider"): "a file of this folder",
    ("CourseTable", "gpx"): "a GPX file of this folder",
    ("ConditionsTable", "forecast"): "name of a table with a row for each hour; or NetCDF, GRIB2",
    ("SeasonFile", "budget"): "for all purchases of the season"}
_GONE = object()


@dataclass(frozen=True)
class Sheet:
    """A TOML file behind a form.

    Attributes
    ----------
    prefix : of the names of its controls
    name : of the file in the folder
    model : its table
    fresh : text of a file that is not there yet
    """

    folder: Folder
    prefix: str
    name: str
    model: type[BaseModel]
    fresh: str = ""

    def text(self) -> str:
        """Text of the file as it is now. Raises InputError."""
        path = self.folder.path(self.name)
        if not is_file(path):
            return self.fresh
        return decoded(self.folder.read(self.name), path)

    def data(self) -> dict[str, Any]:
        """Values of the file as it is now. Raises InputError."""
        path = self.folder.path(self.name)
        if is_file(path):
            return read_toml(path).data
        with as_if({path: self.fresh.encode()}):
            return read_toml(path).data

    def key(self, *path: str | int) -> str:
        """Name of the control of a key."""
        return f"{self.prefix}:{'.'.join(map(str, path))}"


@dataclass(frozen=True)
class Control:
    """A key as it is shown: what stands in it, and what was wrong with it."""

    name: str
    about: Described
    value: str
    was: str
    message: str = ""
    choices: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Rows:
    """A list of tables as it is shown: a row each, and some that are empty."""

    name: str
    columns: tuple[Described, ...]
    rows: tuple[tuple[Control, ...], ...]
    was: str
    message: str = ""


@dataclass(frozen=True)
class Tried:
    """What was typed, tried on the files before anything is written.

    Attributes
    ----------
    texts : new text of each file that changes
    messages : by the name of a control, what is wrong there
    conflicts : controls whose key somebody else changed meanwhile
    notes : what is wrong elsewhere
    merged : files that somebody else changed meanwhile, whose changes stay
    """

    texts: dict[str, str] = field(default_factory=dict)
    messages: dict[str, str] = field(default_factory=dict)
    conflicts: frozenset[str] = frozenset()
    notes: tuple[str, ...] = ()
    merged: tuple[str, ...] = ()


# --- to be shown ----------------------------------------------------------------------------


def control(sheet: Sheet, data: Mapping[str, Any], path: Path, typed: Mapping[str, str],
            tried: Tried, choices: Sequence[tuple[str, str]] = ()) -> Control:
    """Give the control of a key: with what was typed, else with what the file says."""
    name = sheet.key(*path)
    table = table_at(sheet.model, *path[:-1])
    about = described(table, path[-1])
    about = replace(about, help=_HELPS.get((table.__name__, path[-1]), about.help))
    now = _said(_found(data, path))
    found = tuple(choices) or tuple((choice, choice) for choice in about.choices)
    was = now if name in tried.conflicts else typed.get(f"was {name}", now)
    return Control(name, about, typed.get(name, now), was, tried.messages.get(name, ""), found)


def rows(sheet: Sheet, data: Mapping[str, Any], key: str, typed: Mapping[str, str],
         tried: Tried, *, columns: Sequence[str] = (), empty: int = 1,
         suggested: Sequence[Mapping[str, str]] = (),
         choices: Mapping[str, Sequence[tuple[str, str]]] | None = None) -> Rows:
    """Give a list of tables as rows, `empty` ones behind them; `suggested` ones where it has none.

    `columns` are those to show, all of them by default; `choices` are offered in a column.
    """
    table = table_at(sheet.model, key)
    shown = tuple(about for about in fields_of(table) if not columns or about.key in columns)
    name = sheet.key(key)
    now = [{about.key: _said(entry.get(about.key)) for about in shown}
           for entry in _entries(data, key)]
    lines: list[dict[str, str]] = _typed_lines(typed, name) if name in typed else [
        *now, *([] if now else [dict(row) for row in suggested])]
    filled = len(lines)
    lines += [{}] * empty
    known, messages = choices or {}, tried.messages
    was = json.dumps(now) if name in tried.conflicts else typed.get(f"was {name}", json.dumps(now))
    return Rows(name, shown, tuple(
        tuple(Control(f"{name}.{k}.{about.key}", about, line.get(about.key, ""), "",
                      messages.get(f"{name}.{k}.{about.key}", "") if k < filled else "",
                      tuple(known.get(about.key, ())) or tuple((c, c) for c in about.choices))
              for about in shown) for k, line in enumerate(lines)),
        was, messages.get(name, ""))


def _found(data: Mapping[str, Any], path: Path) -> Any:
    for part in path:
        if not isinstance(data, dict) or part not in data:
            return None
        data = data[part]
    return data


def _entries(data: Mapping[str, Any], key: str) -> list[dict[str, Any]]:
    found = data.get(key)
    return [entry for entry in found if isinstance(entry, dict)] if isinstance(found, list) else []


def _said(value: Any) -> str:
    """Write a value as a person types it."""
    if value is None or value is False:
        return ""
    if value is True:
        return "true"
    if isinstance(value, int | float):
        return f"{value:.12g}"
    if isinstance(value, list):
        return "; ".join(map(_said, value))
    if isinstance(value, datetime):
        return value.isoformat(timespec="seconds" if value.second else "minutes")
    return str(value)


# --- what was typed -------------------------------------------------------------------------


def _meant(text: str, about: Described) -> Any:
    """Take a text as the value of a key; what it cannot be stays text, for the check to refuse."""
    plain = text.strip()
    if not plain:
        return None
    try:
        if about.kind in {"number", "whole"}:
            return _number(plain, about)
        return _MEANINGS.get(about.kind, str)(plain)
    except ValueError:
        return plain


def _number(text: str, about: Described) -> float:
    """Read a number, with its unit or without; a direction in words as well."""
    comma = "," in text
    value = (parse_direction(text, decimal_comma=comma) if about.key == "from_deg"
             else parse_quantity(text, about.unit, decimal_comma=comma))
    return int(value) if value.is_integer() and abs(value) < 1e15 else value


_MEANINGS: dict[str, Callable[[str], Any]] = {
    "flag": lambda text: text == "true",
    "moment": datetime.fromisoformat, "day": date.fromisoformat,
    "names": lambda text: [part.strip() for part in text.split(";") if part.strip()]}


def _typed_at(typed: Mapping[str, str], name: str) -> dict[int, dict[str, str]]:
    """Rows of a list as they were typed, by their numbers on the page, in their order."""
    found: dict[int, dict[str, str]] = {}
    for key, text in typed.items():
        match = re.fullmatch(rf"{re.escape(name)}\.([0-9]{{1,6}})\.(\w+)", key)
        if match:
            found.setdefault(int(match[1]), {})[match[2]] = text.strip()
    return {number: found[number] for number in sorted(found)}


def _typed_lines(typed: Mapping[str, str], name: str) -> list[dict[str, str]]:
    """Rows of a list by their place on the page, to be shown again; empty ones at the end go."""
    found = _typed_at(typed, name)
    last = max((number for number, row in found.items() if any(row.values())), default=-1)
    return [found.get(number, {}) for number in range(min(last + 1, len(typed)))]


def _numbers(typed: Mapping[str, str], name: str,
             suggested: Sequence[Mapping[str, str]] = ()) -> list[int]:
    """Numbers of the rows that are meant: whoever typed anything at all meant the row.

    Empty rows are none, nor are `suggested` ones as they were shown, where the file has no rows.
    """
    untouched = [{}, *(suggested if typed.get(f"was {name}") == "[]" else ())]
    return [number for number, row in _typed_at(typed, name).items()
            if {column: text for column, text in row.items() if text} not in untouched]


@dataclass(frozen=True)
class _Edit:
    """What a form changes in one file."""

    text: str
    conflicts: dict[str, str]
    merged: bool


def _edit(sheet: Sheet, typed: Mapping[str, str], suggested: Suggested) -> _Edit:
    """Put what differs from what was shown into the file as it is now."""
    text, data = sheet.text(), sheet.data()
    changes: dict[Path, Any] = {}
    messages: dict[str, str] = {}
    merged = False
    lists: dict[str, tuple[list[dict[str, Any]], list[int | None]]] = {}
    for name, said in typed.items():
        if not name.startswith(f"{sheet.prefix}:") or f"was {name}" not in typed:
            continue
        key = name[len(sheet.prefix) + 1:]
        was = typed[f"was {name}"]
        path = tuple(key.split("."))
        about = described(table_at(sheet.model, *path[:-1]), path[-1])
        if about.kind == "tables":
            numbers = _numbers(typed, name, suggested.get(name, ()))
            kept = [_typed_at(typed, name)[number] for number in numbers]
            now = [{column: _said(entry.get(column)) for column in _columns(was, kept)}
                   for entry in _entries(data, key)]
            if not _same(kept, json.loads(was)):
                if not (_same(now, json.loads(was)) or _same(now, kept)):
                    messages[name] = _conflict(sheet, f"{len(now)} rows")
                rows_of = [number if number < len(now) else None for number in numbers]
                lists[key] = _values(sheet, key, kept, [
                    _hidden(data, key, row, _columns(was, kept)) for row in rows_of]), rows_of
            else:
                merged |= not _same(now, json.loads(was))
            continue
        now_said = _said(_found(data, path))
        if said.strip() == was:
            merged |= now_said != was
            continue
        if now_said not in {was, said.strip()}:
            messages[name] = _conflict(sheet, now_said or "nothing")
        value = _meant(said, about)
        changes[path] = False if value is None and _found(data, path) is True else value
    text = with_values(text, _whole(sheet, data, changes))
    for key, (values, rows_of) in lists.items():
        text = with_list(text, key, values, rows_of)
    return _Edit(text, messages, merged)


def _whole(sheet: Sheet, data: Mapping[str, Any], changes: Mapping[Path, Any]) -> dict[Path, Any]:
    """Take an optional table away with the last of the keys that it needs."""
    out = dict(changes)
    for path, value in changes.items():
        outer = path[:-1]
        if value is not None or not outer or outer[0] == "positions" or not any(
                about.required for about in fields_of(table_at(sheet.model, *outer))):
            continue
        known = _found(data, outer)
        if isinstance(known, dict) and all(changes.get((*outer, key), _GONE) is None
                                           for key in known):
            for key in known:
                out.pop((*outer, key), None)
            out[outer] = None
    return {path: value for path, value in out.items()
            if value is not None or _found(data, path) is not None}


def _columns(was: str, kept: Sequence[Mapping[str, str]]) -> list[str]:
    found: dict[str, None] = {}
    for row in [*json.loads(was), *kept]:
        found.update(dict.fromkeys(row))
    return list(found)


def _hidden(data: Mapping[str, Any], key: str, row: int | None,
            shown: Sequence[str]) -> dict[str, Any]:
    """Keys of a row of the file that the form does not show."""
    entry = {} if row is None else _entries(data, key)[row]
    return {column: value for column, value in entry.items() if column not in shown}


def _same(one: Sequence[Mapping[str, str]], other: Sequence[Mapping[str, str]]) -> bool:
    """Tell whether rows say the same; names in a list may stand in any order."""
    def plain(rows: Sequence[Mapping[str, str]]) -> list[dict[str, list[str]]]:
        return [{key: sorted(part.strip() for part in text.split(";"))
                 for key, text in row.items() if text} for row in rows]

    return plain(one) == plain(other)


def _values(sheet: Sheet, key: str, kept: Sequence[Mapping[str, str]],
            hidden: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Values of rows; `hidden` keys of each stay as they are in the file."""
    abouts = {about.key: about for about in fields_of(table_at(sheet.model, key))}
    needs: dict[str, Any] = {column: [] for column, about in abouts.items()
                             if about.kind == "names" and about.required}
    out = []
    for row, stays in zip(kept, hidden, strict=True):
        values = {column: _meant(text, abouts[column]) for column, text in row.items()
                  if column in abouts}
        out.append({**needs, **{column: value for column, value in values.items()
                                if value is not None}, **stays})
    return out


def _conflict(sheet: Sheet, now: str) -> str:
    return (f"{sheet.name} was changed here meanwhile: it says {now} now. Save again to write "
            "yours over it.")


# --- tried on the files ---------------------------------------------------------------------


def try_out(sheets: Sequence[Sheet], typed: Mapping[str, str], deep: Callable[[], object], *,
            suggested: Suggested | None = None) -> Tried:
    """Try what was typed on the files, without writing: what would change, and what is wrong.

    Parameters
    ----------
    deep : reads the files as a plan does, and raises what that raises
    suggested : by the name of a list, the rows that are shown where the file has none

    Raises InputError where a file cannot be read as it is.
    """
    tried = Tried()
    contents = {}
    suggested = suggested or {}
    for sheet in sheets:
        edit = _edit(sheet, typed, suggested)
        path = sheet.folder.path(sheet.name)
        if edit.text != (sheet.text() if is_file(path) else ""):
            tried.texts[sheet.name] = edit.text
        contents[path] = edit.text.encode()
        tried.messages.update(edit.conflicts)
        tried = replace(tried, conflicts=tried.conflicts | frozenset(edit.conflicts))
        if edit.merged:
            tried = replace(tried, merged=(*tried.merged, sheet.name))
    with as_if(contents):
        for sheet in sheets:
            for key, error in findings(sheet.model, read_toml(sheet.folder.path(sheet.name))):
                at = _on_page(sheet, key, typed, suggested)
                tried = _told(tried, sheet, _control_name(sheet, at, typed), error)
        if tried.messages or tried.notes:
            return tried
        refused = _raised(deep)
    if refused is None:
        return tried
    return _placed(tried, sheets, typed, suggested, refused, before=_raised(deep))


def _placed(tried: Tried, sheets: Sequence[Sheet], typed: Mapping[str, str],
            suggested: Suggested, error: InputError, before: InputError | None) -> Tried:
    """Put what a reader refuses beside its control; what is not of this form is only told."""
    mine = next((sheet for sheet in sheets
                 if str(sheet.folder.path(sheet.name)) == error.file), None)
    if mine is None or str(error) == str(before):  # as bad as it was
        return replace(tried, notes=(*tried.notes, _beside(str(error), sheets[0])))
    return _told(tried, mine, _by_place(mine, error.where, typed, suggested), error)


def _raised(deep: Callable[[], object]) -> InputError | None:
    try:
        deep()
    except InputError as error:
        return error
    return None


def _told(tried: Tried, sheet: Sheet, name: str, error: InputError) -> Tried:
    """Put a message beside its control, or among the rest, where the form has none for it."""
    words = f"{error.problem}; {error.remedy}" if error.remedy else error.problem
    if name:
        tried.messages.setdefault(name, words)
        return tried
    tried.messages.setdefault("", _beside(str(error), sheet))
    return tried


def _beside(words: str, sheet: Sheet) -> str:
    return words.replace(f"{sheet.folder.root}/", "")


def _on_page(sheet: Sheet, key: tuple[str | int, ...], typed: Mapping[str, str],
             suggested: Suggested) -> tuple[str | int, ...]:
    """Give the path of a key with the number that its row has on the page."""
    if len(key) > 1 and isinstance(key[1], int):
        name = sheet.key(key[0])
        numbers = _numbers(typed, name, suggested.get(name, ()))
        if key[1] < len(numbers):
            return key[0], numbers[key[1]], *key[2:]
    return key


def _control_name(sheet: Sheet, key: tuple[str | int, ...], typed: Mapping[str, str]) -> str:
    """Name of the control that a key belongs to, or of one above it; empty without one."""
    for end in range(len(key), 0, -1):
        name = sheet.key(*key[:end])
        if name in typed:
            return name
        if end < len(key):
            within = next((other for other in typed if other.startswith(f"{name}.")), "")
            if within and not isinstance(key[end], int):
                return within
    return ""


def _by_place(sheet: Sheet, where: str, typed: Mapping[str, str], suggested: Suggested) -> str:
    """Find the control by the place that a message names: "line 12, conditions.wind"."""
    place = where.partition(", ")[2] if where.startswith("line ") else where
    best = ""
    for name in typed:
        if not name.startswith(f"{sheet.prefix}:"):
            continue
        parts: list[str | int] = [*name[len(sheet.prefix) + 1:].split(".")]
        if len(parts) > 1 and str(parts[1]).isdecimal():  # from its number on the page
            of = sheet.key(parts[0])
            numbers = _numbers(typed, of, suggested.get(of, ()))
            parts[1] = numbers.index(int(parts[1])) if int(parts[1]) in numbers else "none"
        said = name_of(tuple(parts))
        if said == place or (not best and said.startswith(f"{place}.")) or (
                not best and said.startswith(f"{place},")):
            best = name
            if said == place:
                break
    return best
