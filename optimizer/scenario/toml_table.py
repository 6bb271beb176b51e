"""What every table of a TOML file has in common: numbers may have their unit."""

from __future__ import annotations

import typing
from typing import TYPE_CHECKING, Any

from pydantic import BaseModel, model_validator

from optimizer.scenario.units import parse_quantity, unit_of

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["TomlTable"]

_UNITS = {"km": "km", "minutes": "min", "seconds": "s"}  # of keys that are nothing but a unit


class TomlTable(BaseModel):
    """A table in which "68 kg" is 68 where a key is a number in that unit.

    What cannot be read so stays, for the check to refuse.
    """

    @model_validator(mode="before")
    @classmethod
    def _without_units(cls, data: Any) -> Any:
        return {key: _plain(cls, key, value) for key, value in data.items()} if isinstance(
            data, dict) else data


def _plain(table: type[BaseModel], key: str, value: object) -> object:
    """Value of a key without its unit."""
    unit = _UNITS.get(key) or unit_of(key)
    if not (unit and isinstance(value, str) and key in table.model_fields) or (
            value[-1:].isdigit() or not _is_number(table.model_fields[key].annotation)):
        return value
    try:
        return parse_quantity(value, unit)
    except ValueError:
        return value


def _is_number(kind: Any) -> bool:
    kinds = set(_parts_of(kind))
    return bool(kinds & {float, int}) and not kinds & {str, list}


def _parts_of(kind: Any) -> Iterator[type]:
    """Give the plain types that a hint is made of."""
    inner = [typing.get_args(kind)[0]] if typing.get_origin(kind) is typing.Annotated else (
        typing.get_args(kind))
    origin = typing.get_origin(kind) or kind
    if isinstance(origin, type):
        yield origin
    for part in inner:
        yield from _parts_of(part)
