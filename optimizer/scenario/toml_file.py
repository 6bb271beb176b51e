"""TOML files checked against a pydantic model; an error names the line and the key."""

from __future__ import annotations

import calendar
import difflib
import math
import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from pydantic import ValidationError

from optimizer.errors import InputError
from optimizer.files import is_file, near_file
from optimizer.scenario.spreadsheet_file import without_sheet
from optimizer.scenario.tables import read_text, suggest, together

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from pydantic import BaseModel
    from pydantic_core import ErrorDetails

__all__ = ["TomlFile", "check", "findings", "key_lines", "name_of", "read_toml", "toml_of"]

_Key = tuple[str | int, ...]
_LARGEST = 1_000_000  # bytes; people write these by hand
_MOST_DOTS = 2000  # in a line before its first "="
_Model = TypeVar("_Model", bound="BaseModel")

_WORDS = {
    "missing": "is missing",
    "extra_forbidden": "is not a known key",
    "bool_type": "has to be true or false",
    "string_type": "has to be text in quotation marks",
    "list_type": "has to be a list in [ ]",
    "tuple_type": "has to be a list in [ ]",
    "model_type": "has to be a table of keys",
    "too_short": "is empty",
    "dict_type": "has to be a table of keys",
    "datetime_type": "has to be a date and time, without quotation marks",
    "datetime_parsing": "has to be a date and time",
    "date_type": "has to be a date, without quotation marks",
    "date_parsing": "has to be a date",
    "date_from_datetime_parsing": "has to be a date",
    "date_from_datetime_inexact": "has to be a date without a time",
    "string_too_short": "is empty",
}
_LONG = {"string_too_long": "characters", "too_long": "entries"}
_NUMBERS = {"float_type", "float_parsing", "int_type", "int_parsing", "int_from_float"}


@dataclass(frozen=True)
class TomlFile:
    """A parsed file: its data, and the line on which each key stands (paths of keys)."""

    path: Path
    data: dict[str, Any]
    lines: dict[_Key, int]

    def where(self, *key: str | int) -> str:
        """Return "line 12, conditions.wind.speed_kmh", with the nearest line that is known."""
        line = next((self.lines[key[:k]] for k in range(len(key), 0, -1) if key[:k] in self.lines),
                    None)
        name = name_of(key)
        return name if line is None else f"line {line}, {name}"

    def error(self, problem: str, remedy: str, *key: str | int) -> InputError:
        """Return an InputError that names the key and its line, for the caller to raise."""
        return InputError(str(self.path), self.where(*key), problem, remedy)

    def beside(self, name: str) -> Path:
        """Path of a file that is named in this one: relative to the folder of this one."""
        return self.path.parent / name

    def there(self, name: str, *key: str | int) -> Path:
        """Return such a path; InputError that names the key where there is no such file."""
        path = self.beside(name)
        if not is_file(without_sheet(path)[0]):
            raise self.error(f'there is no file "{name}"', near_file(without_sheet(path)[0]), *key)
        return path


def name_of(key: _Key) -> str:
    """Write a path of keys as a person would: mark 2, km."""
    out = ""
    for part in key:
        if isinstance(part, int):
            out += f" {part + 1}"
        else:
            out += f"{', ' if out[-1:].isdigit() else '.' if out else ''}{part}"
    return out


def read_toml(path: Path | str) -> TomlFile:
    """Read a TOML file; NaN and infinity are refused."""
    file = Path(path)
    text = read_text(file, _LARGEST)
    for number, line in enumerate(text.splitlines(), 1):
        if line.partition("=")[0].count(".") > _MOST_DOTS:  # tomllib takes their square in time
            raise InputError(str(file), f"line {number}", "contains a key with too many dots",
                             "check that it is a text file of settings")
    try:
        data = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # also an integer without end
        message = str(error) or "it is nested too deeply"
        found = re.search(r" \(at line (\d+), column (\d+)\)", message)
        if found and (problem := _wrong_date(
                "".join(text.split("\n")[int(found[1]) - 1:][:1]), int(found[2]) - 1)):
            raise InputError(str(file), f"line {found[1]}", problem,
                             "write a day as 2031-06-22, a time after it as 2031-06-22T09:30:00"
                             ) from error
        where = f"line {found[1]}, column {found[2]}" if found else ""
        plain = message[:found.start()] if found else message
        raise InputError(str(file), where, f"is not valid TOML: {plain}",
                         "text needs quotation marks, decimals take a point, and each key "
                         "appears once") from error
    out = TomlFile(file, data, dict(key_lines(text)))
    for key in _not_finite(data, ()):
        raise out.error("is not a finite number", "write a number", *key)
    return out


_DATE = re.compile(r"(?P<year>\d{4})-(?P<month>\d{1,2})-(?P<day>\d{1,2})(?:[Tt ](?=\d))?"
                   r"(?P<clock>\d[\d:.]*)?|(?P<hour>\d{1,2}:[\d:.]*)")


def _wrong_date(line: str, column: int) -> str:
    """Say what is wrong with the date or time around a column of a line; empty for none there."""
    found = next((one for one in _DATE.finditer(line) if one.start() <= column <= one.end()), None)
    if found is None:
        return ""
    wrong = _wrong_day(found) or _wrong_clock(found["clock"] or found["hour"] or "")
    return f"{found[0]} is no {'date' if found['day'] else 'time of day'}: {wrong}" if wrong else ""


def _wrong_day(found: re.Match[str]) -> str:
    """Say what is wrong with a day of the calendar; empty where nothing is."""
    if not found["day"]:
        return ""
    year, month, day = (int(found[name]) for name in ("year", "month", "day"))
    if not 1 <= month <= 12:
        return f"there is no month {month}"
    if not 1 <= day <= calendar.monthrange(max(year, 1), month)[1]:
        return f"{calendar.month_name[month]} has no day {day}"
    two = len(found["month"]) == len(found["day"]) == 2
    return "" if two else "month and day take two digits each"


def _wrong_clock(clock: str) -> str:
    """Say what is wrong with a time of day; empty where nothing is."""
    parts = clock.split(":") if clock else ()
    for part, most, name in zip(parts, (23, 59, 59), ("hour", "minute", "second"), strict=False):
        if not re.fullmatch(r"\d\d(\.\d+)?" if name == "second" else r"\d\d", part):
            return "hours, minutes and seconds take two digits each"
        if float(part) >= most + 1:
            return f"there is no {name} {part}"
    return "" if len(parts) in {0, 3} else "a time has hours, minutes and seconds"


# Keys by which a file of each kind is known, and what to do with such a file.
_KINDS = {"season": ("race", "run kitpace season {}"),
          "scenario": ("course", "run kitpace plan {}"),
          "rider": ("mass_kg", 'name it in a scenario, as rider = "{}", or run kitpace rider {}')}


def toml_of(kind: str, path: Path | str) -> TomlFile:
    """Read a TOML file that has to be a scenario, a rider's file or a season.

    Raises InputError for another kind of these, which is sent where it belongs.
    """
    file = read_toml(path)
    own = next((other for other, (key, _) in _KINDS.items() if key in file.data), kind)
    if own != kind and _KINDS[kind][0] not in file.data:
        names = {"season": "a season file", "scenario": "a scenario", "rider": "a rider's file"}
        raise InputError(str(path), "", f"is {names[own]}, not {names[kind]}",
                         _KINDS[own][1].replace("{}", str(path)))
    return file


def _not_finite(value: Any, key: _Key) -> Iterator[_Key]:
    if isinstance(value, float) and not math.isfinite(value):
        yield key
    elif isinstance(value, dict):
        for name, inner in value.items():
            yield from _not_finite(inner, (*key, name))
    elif isinstance(value, list):
        for k, inner in enumerate(value):
            yield from _not_finite(inner, (*key, k))


_PART = r"""(?:[A-Za-z0-9_-]+|"[^"\n]*"|'[^'\n]*')"""
_PATH = rf"{_PART}(?:[ \t]*\.[ \t]*{_PART})*"
_HEAD = re.compile(rf"[ \t]*(\[\[?)[ \t]*({_PATH})[ \t]*\]\]?")
_ENTRY = re.compile(rf"[ \t]*({_PATH})[ \t]*=")
_TOKEN = re.compile(r'"""|\'\'\'|"(?:\\.|[^"\\\n])*"|\'[^\'\n]*\'|#[^\n]*|[\[\]{}]', re.DOTALL)


def key_lines(text: str) -> Iterator[tuple[_Key, int]]:
    """Yield each key of a table with its line; tomllib itself keeps no lines."""
    table: _Key = ()
    counts: dict[_Key, int] = {}
    depth, closing = 0, ""
    for number, line in enumerate(text.splitlines(), 1):
        if depth == 0 and not closing:
            head, entry = _HEAD.match(line), _ENTRY.match(line)
            if head:
                table = _resolve(_parts(head[2]), counts)
                if head[1] == "[[":
                    counts[table] = counts.get(table, -1) + 1
                    yield table, number  # an empty list is found at its first entry
                    table = (*table, counts[table])
                yield table, number
                continue
            if entry:
                yield (*table, *_parts(entry[1])), number
        depth, closing = _after(line, depth, closing)


def _parts(path: str) -> _Key:
    return tuple(part.strip("\"'") for part in re.findall(_PART, path))


def _resolve(path: _Key, counts: dict[_Key, int]) -> _Key:
    """Put the running number behind each array of tables on the way to the last part."""
    out: _Key = ()
    for k, part in enumerate(path):
        out = (*out, part)
        if out in counts and k < len(path) - 1:
            out = (*out, counts[out])
    return out


def _after(line: str, depth: int, closing: str) -> tuple[int, str]:
    """Depth of brackets, and the end of a long string that is still open, behind a line."""
    at = 0
    while at < len(line):
        if closing:
            end = line.find(closing, at)
            if end < 0:
                return depth, closing
            at, closing = end + 3, ""
            continue
        token = _TOKEN.search(line, at)
        if token is None:
            break
        at = token.end()
        if token[0] in {'"""', "'''"}:
            closing = token[0]
        elif token[0] in "[{":
            depth += 1
        elif token[0] in "]}":
            depth -= 1
    return depth, closing


def check(model: type[_Model], file: TomlFile, *key: str | int) -> _Model:
    """Validate a file, or the table at `key` in it, and return the model.

    Raises InputError for what is wrong, InputErrors where that is several things. A model may
    have `unknown_keys`: patterns of keys that people look for, each with what to write instead.
    """
    data: Any = file.data
    for part in key:
        data = data[part]
    try:
        return model.model_validate(data)
    except ValidationError as error:
        found = _explained(model, file, key, data, error.errors())
        raise together([one for _, one in found]) from error


def findings(model: type[BaseModel], file: TomlFile) -> list[tuple[_Key, InputError]]:
    """Give everything that validation finds wrong with a file, each with the path of its key."""
    try:
        model.model_validate(file.data)
    except ValidationError as error:
        return _explained(model, file, (), file.data, error.errors())
    return []


def _explained(model: type[BaseModel], file: TomlFile, key: _Key, data: Any,
               errors: Sequence[ErrorDetails]) -> list[tuple[_Key, InputError]]:
    """Turn the findings of pydantic into words, one a place; a slip explains a missing key."""
    places: dict[_Key, list[ErrorDetails]] = {}
    for found in errors:
        places.setdefault(_place_of(found["loc"], data), []).append(found)
    slips = {(*place[:-1], _near_key(model, place)) for place, alike in places.items()
             if alike[0]["type"] == "extra_forbidden"}
    out = []
    for place, alike in places.items():
        if alike[0]["type"] == "missing" and place in slips:
            continue
        # Of several kinds that a value may be, the one that it is tells most.
        telling = [one for one in alike if not one["type"].endswith("_type")] or alike
        problems = dict.fromkeys(_problem(one) for one in telling)
        problem = " or ".join(problems).replace(" or has to be ", " or ")
        out.append((place, InputError(str(file.path), file.where(*key, *place), problem,
                                      _remedy(model, place, alike[0]["type"]))))
    return out


def _place_of(location: tuple[str | int, ...], data: Any) -> _Key:
    """Path of keys in the data, without the names of types that may follow it."""
    place: _Key = ()
    for part in location:
        if isinstance(data, dict):
            data = data.get(part)
        elif isinstance(data, list) and isinstance(part, int):
            data = data[part]
        else:
            break
        place = (*place, part)
    return place


def _problem(found: ErrorDetails) -> str:
    kind, context = found["type"], found.get("ctx", {})
    if kind in _NUMBERS:
        return f"has to be a number, not {_quoted(found['input'])}"
    if kind.startswith(("greater_than", "less_than")):
        return f"{_quoted(found['input'])} is out of range: {_bounds(context)}"
    if kind == "literal_error":
        return f"has to be {_choices(context)}, not {_quoted(found['input'])}"
    if kind == "value_error":
        return str(context.get("error", found["msg"]))
    if kind in _LONG:
        return f"has more than {context['max_length']} {_LONG[kind]}"
    message = found["msg"]
    return _WORDS.get(kind, message[:1].lower() + message[1:])


def _quoted(value: Any) -> str:
    return f'"{value}"' if isinstance(value, str) else str(value)


def _choices(context: dict[str, Any]) -> str:
    """Values that a key may have, in double quotes as in the file."""
    return str(context.get("expected", "")).replace("'", '"')


def _bounds(context: dict[str, Any]) -> str:
    words = {"gt": "more than", "ge": "at least", "lt": "less than", "le": "at most"}
    return "it has to be " + " and ".join(
        f"{words[name]} {limit:g}" for name, limit in context.items() if name in words)


def _near_key(model: type[BaseModel], place: _Key) -> str:
    """Key that an unknown one may have been meant for, empty where none is near."""
    owner = _model_at(model, place[:-1])
    near = difflib.get_close_matches(str(place[-1]), owner.model_fields if owner else (), 1, 0.5)
    return near[0] if near else ""


def _remedy(model: type[BaseModel], place: _Key, kind: str) -> str:
    """Return what the documentation of the field says, or which key may have been meant."""
    from optimizer.scenario.fields import described

    if place and isinstance(place[-1], int):  # an entry of a list is what the list is of
        place = place[:-1]
    owner, key = _model_at(model, place[:-1]), str(place[-1]) if place else ""
    if kind == "extra_forbidden":
        for pattern, words in getattr(owner, "unknown_keys", {}).items():
            if re.search(pattern, key.lower()):
                return str(words)
        if home := _home_of(model, place):
            return home
        return suggest(key, owner.model_fields if owner else ())
    if not owner or key not in owner.model_fields:
        return ""
    about = described(owner, key)
    return f"{about.help}, in {about.unit}" if kind in _NUMBERS and about.unit else about.help


def _home_of(model: type[BaseModel], place: _Key) -> str:
    """Say where a key belongs that stands in a wrong table; empty where it belongs nowhere."""
    key = str(place[-1])
    if len(place) > 1 and key in model.model_fields:
        return f"{key} belongs above the first line in [brackets], not below one"
    tables = [name for name in model.model_fields
              if name != place[0] and (inner := _model_at(model, (name,))) is not None
              and key in inner.model_fields]
    return f"{key} belongs below the line [{tables[0]}]" if len(tables) == 1 else ""


def _model_at(model: type[BaseModel], place: _Key) -> type[BaseModel] | None:
    """Return the model that a path of keys leads to, None where it leads to none."""
    from optimizer.scenario.fields import table_at

    try:
        return table_at(model, *place)
    except KeyError:
        return None
