"""Changes to a TOML file as a person with a text editor makes them: comments and order stay.

A key that stands there commented out, with its explanation, is brought to life; a key that is
taken away becomes a comment again.
"""

from __future__ import annotations

import copy
import re
import tomllib
from datetime import date, datetime, time
from typing import TYPE_CHECKING, Any

from optimizer.scenario.toml_file import key_lines

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

__all__ = ["with_list", "with_values"]

Key = tuple[str, ...]


def with_values(text: str, changes: Mapping[Key, Any]) -> str:
    """Give the text of a file in which keys, by their paths, have new values; None takes one away.

    Tables that are not there are made. Raises ValueError where the text is no TOML, or a path
    leads through something that is no table.
    """
    for table, values in _new_within(text, changes).items():
        text = _with(text, table, values)
    for key, value in changes.items():
        text = _without(text, key) if value is None else _with(text, key, value)
    return text


def _new_within(text: str, changes: Mapping[Key, Any]) -> dict[Key, dict[str, Any]]:
    """Collect the new keys of tables that stand commented out within one line, `# wind = {...}`."""
    data = tomllib.loads(text)
    found: dict[Key, dict[str, Any]] = {}
    for key, value in changes.items():
        if len(key) > 2 and value is not None and _at(data, key[:-1]) is None and _awakened(
                text, key[:-1], inline=True):
            found.setdefault(key[:-1], {})[key[-1]] = value
    return found


def with_list(text: str, name: str, rows: Sequence[Mapping[str, Any]],
              was: Sequence[int | None] | None = None) -> str:
    """Give the text of a file in which the list of tables `name` has these rows.

    `was` says which row of the file each row was, in rising order; None is a new row, and new ones
    are the last. Without it they count from the first. Rows that stay keep their comments.
    """
    import tomlkit

    document: Any = tomlkit.parse(text)
    known = document.get(name)
    plain = known is not None and not isinstance(known, tomlkit.items.AoT)
    if plain or not rows:
        if known is None:
            return text
        if plain:
            document[name] = [dict(row) for row in rows]
        else:
            del document[name]
        return str(tomlkit.dumps(document))
    have = len(known) if known is not None else 0
    stay = [k for k in (range(have) if was is None else was) if k is not None][:len(rows)]
    for k in sorted(set(range(have)) - set(stay), reverse=True):
        del known[k]
    for k in range(len(stay)):
        for key in [key for key in known[k] if key not in rows[k]]:
            del known[k][key]
        for key, value in rows[k].items():
            if key not in known[k] or known[k][key] != value:
                known[k][key] = value
    text = str(tomlkit.dumps(document))
    for row in rows[len(stay):]:
        entry = f"[[{name}]]\n" + "".join(f"{key} = {_written(value)}\n"
                                          for key, value in row.items())
        text = _added(text, name, entry)
    return text


def _added(text: str, name: str, entry: str) -> str:
    """Put an entry behind the last of its kind, in front of the comments that follow it."""
    lines = text.splitlines(keepends=True)
    last = max((line for key, line in key_lines(text) if key[:1] == (name,)), default=0)
    expected = tomllib.loads(text)
    expected.setdefault(name, []).append(tomllib.loads(entry)[name][0])
    if last:
        for end in range(last, len(lines) + 1):  # a list may go on over lines
            candidate = "".join([*_ended(lines[:end]), "\n", entry, *lines[end:]])
            if _holds(candidate, expected):
                return candidate
    return "".join([*_ended(lines), "\n" if lines else "", entry])


def _ended(lines: list[str]) -> list[str]:
    return [*lines[:-1], lines[-1].rstrip("\n") + "\n"] if lines else []


def _with(text: str, key: Key, value: Any) -> str:
    """Set one key."""
    import tomlkit

    expected = tomllib.loads(text)
    _put(expected, key, value)
    for candidate in (text, _awakened(text, key, inline=isinstance(value, dict))):
        document: Any = tomlkit.parse(candidate) if candidate else {}
        place = _at(document, key[:-1])
        if place is not None and key[-1] in place:
            if isinstance(value, dict):
                place[key[-1]].clear()
                place[key[-1]].update(value)
            else:
                place[key[-1]] = value
            found = str(tomlkit.dumps(document))
            if _holds(found, expected):
                return found
    for candidate in (_inserted(text, key, value), _appended(text, key, value)):
        if candidate and _holds(candidate, expected):
            return candidate
    document = tomlkit.parse(text)
    place = document
    for part in key[:-1]:
        place = place.setdefault(part, tomlkit.table())
    place[key[-1]] = value
    return str(tomlkit.dumps(document))


def _without(text: str, key: Key) -> str:
    """Take one key away: as a comment where it has a line of its own."""
    import tomlkit

    expected = tomllib.loads(text)
    place = _at(expected, key[:-1])
    if place is None or key[-1] not in place:
        return text
    del place[key[-1]]
    line = dict(key_lines(text)).get(key)
    if line is not None:
        lines = text.splitlines(keepends=True)
        if not lines[line - 1].lstrip().startswith("["):
            lines[line - 1] = f"# {lines[line - 1]}"
            candidate = "".join(lines)
            if _holds(candidate, expected):
                return candidate
    document: Any = tomlkit.parse(text)
    del _at(document, key[:-1])[key[-1]]
    return str(tomlkit.dumps(document))


def _awakened(text: str, key: Key, *, inline: bool = False) -> str:
    """Bring a key to life that stands there as a comment; empty where none does.

    `inline` looks for a table that is written within one line, `# wind = { ... }`.
    """
    if not key:
        return ""
    lines = text.splitlines(keepends=True)
    span = _section(lines, key[:-1])
    if span is None:
        return ""
    form = re.compile(rf"#[ \t]*({re.escape(key[-1])}[ \t]*={'[ ]*{' if inline else ''}.*)",
                      re.DOTALL)
    for k in range(*span):
        match = form.fullmatch(lines[k])
        if match:
            lines[k] = match[1]
            head = span[0] - 1
            if key[:-1] and lines[head].startswith("#"):
                lines[head] = lines[head].lstrip("# \t")
            candidate = "".join(lines)
            return candidate if _reads(candidate) else ""
    return ""


def _section(lines: list[str], table: Key) -> tuple[int, int] | None:
    """Lines (from, to) below the heading of a table, which may be a comment; None without one."""
    heading = re.compile(r"(?:#[ \t]*)?\[\[?([A-Za-z0-9_.-]+)\]\]?[ \t]*(?:#.*)?\n?")
    found = [(k, match[1], lines[k].lstrip("# \t").startswith("[["))
             for k in range(len(lines)) if (match := heading.fullmatch(lines[k]))]
    ends = [k for k, _, _ in found] + [len(lines)]
    if not table:
        return 0, ends[0]
    wanted = [(lines[k].startswith("#"), k, ends[n + 1]) for n, (k, name, of_list) in
              enumerate(found) if name == ".".join(table) and not of_list]
    if not wanted:
        return None
    _, start, end = min(wanted)  # a living heading before a commented one
    return start + 1, end


def _inserted(text: str, key: Key, value: Any) -> str:
    """Write the key behind the last one of its table; empty where the table has no heading."""
    lines = text.splitlines(keepends=True)
    line = f"{key[-1]} = {_written(value)}\n"
    span = _section(lines, key[:-1])
    if span is None or (key[:-1] and lines[span[0] - 1].startswith("#")):
        outer = _section(lines, key[:-2]) if len(key) > 1 else None
        if len(key) < 3 or outer is None or lines[outer[0] - 1].startswith("#"):
            return ""
        span, line = outer, f"{key[-2]} = {{ {key[-1]} = {_written(value)} }}\n"
    numbers = [number for known, number in key_lines(text)
               if span[0] < number <= span[1] and known]
    at = max(numbers, default=span[0])
    for end in range(at, span[1] + 1):  # a value may go on over lines
        candidate = "".join([*_ended(lines[:end]), line, *lines[end:]])
        if _reads(candidate):
            return candidate
    return ""


def _appended(text: str, key: Key, value: Any) -> str:
    """Write a table of its own at the end."""
    if len(key) < 2:
        return ""
    lines = text.splitlines(keepends=True)
    return "".join([*_ended(lines), f"\n[{'.'.join(map(_bare, key[:-1]))}]\n",
                    f"{key[-1]} = {_written(value)}\n"])


def _bare(part: str) -> str:
    if re.fullmatch(r"[A-Za-z0-9_-]+", part):
        return part
    return _written(part)


def _written(value: Any) -> str:
    import tomlkit

    return str(tomlkit.item(value).as_string())


def _at(data: Any, path: Key) -> Any:
    for part in path:
        if not isinstance(data, dict) or part not in data:
            return None
        data = data[part]
    return data if isinstance(data, dict) else None


def _put(data: dict[str, Any], key: Key, value: Any) -> None:
    for part in key[:-1]:
        data = data.setdefault(part, {})
        if not isinstance(data, dict):
            raise ValueError(f"{part} is no table")  # noqa: TRY004 - as for text that is no TOML
    data[key[-1]] = copy.deepcopy(value)


def _reads(text: str) -> bool:
    try:
        tomllib.loads(text)
    except ValueError:
        return False
    return True


def _holds(text: str, expected: dict[str, Any]) -> bool:
    """Tell whether a text says what is expected, and nothing else."""
    return _reads(text) and _typed(tomllib.loads(text)) == _typed(expected)


def _typed(value: Any) -> Any:
    """Value with its kind, so that 1, 1.0 and true differ."""
    if isinstance(value, dict):
        return {key: _typed(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [_typed(inner) for inner in value]
    if isinstance(value, datetime | date | time):
        return value
    return type(value).__name__, value
