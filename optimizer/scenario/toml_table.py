"""What every table of a TOML file has in common: numbers may have their unit."""

from __future__ import annotations

import typing
from typing import TYPE_CHECKING, Any

from pydantic import BaseModel, ConfigDict, Field, model_validator

from optimizer.scenario.units import parse_quantity, unit_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pydantic.fields import FieldInfo

    from optimizer.defaults import Default

__all__ = ["TomlTable", "assumed", "parts_of", "words_of"]

_UNITS = {"km": "km", "minutes": "min", "seconds": "s"}  # of keys that are nothing but a unit


class TomlTable(BaseModel):
    """A table of a file: no key but the known ones, no text where a number belongs.

    But "68 kg" is 68 where a key is a number in that unit. What cannot be read so stays, for the
    check to refuse.
    """

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)

    @model_validator(mode="before")
    @classmethod
    def _without_units(cls, data: Any) -> Any:
        return {key: _plain(cls, key, value) for key, value in data.items()} if isinstance(
            data, dict) else data


def _plain(table: type[BaseModel], key: str, value: object) -> object:
    """Value of a key without its unit."""
    unit = _UNITS.get(key) or unit_of(key)
    if not (unit and isinstance(value, str) and key in table.model_fields):
        return value
    bare = value[-1:].isdigit() and ":" not in value
    if bare or not _is_number(table.model_fields[key].annotation):
        return value
    try:
        return parse_quantity(value, unit)
    except ValueError:
        return value


def _is_number(kind: Any) -> bool:
    kinds = {plain for part in parts_of(kind)
             if isinstance(plain := typing.get_origin(part) or part, type)}
    return bool(kinds & {float, int}) and not kinds & {str, list}


def parts_of(hint: Any) -> Iterator[Any]:
    """Yield all that a type is made of."""
    todo = [hint]
    while todo:
        part = todo.pop(0)
        yield part
        if typing.get_origin(part) is not typing.Literal:
            todo += typing.get_args(part)


def assumed(known: Default, words: str = "", **how: Any) -> Any:
    """Field with the default `known`, whose source forms show; `how` is as for any field.

    `words` say in a plan what was assumed; `{}` is the value, `{half}` half of a 90 % range.
    """
    extra: dict[str, Any] = {"from": known, "words": words}
    return Field(default=known.value, json_schema_extra=extra, **how)


def words_of(info: FieldInfo) -> str:
    """Say what the default of a field assumes; empty where that is not told."""
    extra = info.json_schema_extra
    return str(extra.get("words", "")) if isinstance(extra, dict) else ""
