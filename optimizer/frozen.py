"""Values whose arrays nobody can write to, and answers about them that are kept."""

from __future__ import annotations

from dataclasses import fields
from functools import wraps
from typing import TYPE_CHECKING, Any, ParamSpec, TypeVar

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["ReadOnlyArrays", "last_kept", "locked"]

_Asked = ParamSpec("_Asked")
_Answer = TypeVar("_Answer")


class ReadOnlyArrays:
    """For a frozen dataclass: each array becomes a read-only copy, one of floats from any list.

    What may be a plain number, and None, stays as it is. Copies through pickle are read-only too.
    """

    def __post_init__(self) -> None:
        for entry in fields(self):  # type: ignore[arg-type]
            value, kind = getattr(self, entry.name), str(entry.type)
            if kind.startswith("NDArray[np.float64]") and value is not None and not (
                    isinstance(value, int | float) and "float" in kind.partition("|")[2]):
                object.__setattr__(self, entry.name, locked(np.array(value, dtype=float)))
            elif isinstance(value, np.ndarray):
                object.__setattr__(self, entry.name, locked(value.copy()))

    def __setstate__(self, state: dict[str, Any]) -> None:
        for value in state.values():
            if isinstance(value, np.ndarray):
                locked(value)
        self.__dict__.update(state)


def locked(array: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """Make an array read-only, and give it back."""
    array.flags.writeable = False
    return array


def last_kept(work: Callable[_Asked, _Answer]) -> Callable[_Asked, _Answer]:
    """Keep the last answer of a function, for when it is asked the same again.

    The same are equal numbers and texts, and otherwise one object; arrays only if nobody can write
    to them. What is kept is one answer and what was asked.
    """
    last: tuple[tuple[Any, ...], _Answer] | None = None

    @wraps(work)
    def answer(*asked: _Asked.args, **named: _Asked.kwargs) -> _Answer:
        nonlocal last
        if named:
            return work(*asked, **named)
        known = last  # another thread may ask something else meanwhile
        if known is None or len(known[0]) != len(asked) or not all(map(_same, known[0], asked)):
            known = last = asked, work(*asked, **named)
        return known[1]

    return answer


def _same(one: Any, other: Any) -> bool:
    if isinstance(one, np.ndarray):
        return one is other and not one.flags.writeable
    if isinstance(one, int | float | str):
        return type(one) is type(other) and one == other
    return one is other
