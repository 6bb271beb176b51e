"""The errors that a person sees, one per cause."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

__all__ = ["Infeasible", "InputError", "InputErrors", "KitpaceError"]


class KitpaceError(Exception):
    """Any failure that kitpace explains in its own words."""

    exit_code = 1


def _short(text: str, most: int) -> str:
    """Text without its middle where it is longer than a person reads."""
    return text if len(text) <= most else f"{text[:most // 2]} ... {text[-most // 4:]}"


class InputError(KitpaceError):
    """Input that cannot be used: which file, where in it, what is wrong, what would be right.

    Examples
    --------
    >>> print(InputError("kit.csv", "row 3, column price", '"cheap" is no number', "write 120"))
    kit.csv, row 3, column price: "cheap" is no number
      write 120
    """

    exit_code = 2

    def __init__(self, file: str, where: str, problem: str, remedy: str) -> None:
        # What is quoted comes from the file and may be of any length.
        where, problem, remedy = _short(where, 200), _short(problem, 600), _short(remedy, 1000)
        self.file, self.where, self.problem, self.remedy = file, where, problem, remedy
        place = f"{file}, {where}" if where else file
        super().__init__(f"{place}: {problem}\n  {remedy}" if remedy else f"{place}: {problem}")

    def __reduce__(self) -> tuple[type[InputError], tuple[str, str, str, str]]:
        """Pickle by the four parts, so that it survives the way back from another process."""
        return type(self), (self.file, self.where, self.problem, self.remedy)


_MOST_TOLD = 20
_LONGEST_TOLD = 2400  # characters


class InputErrors(InputError):  # noqa: N818 - several of the one above
    """Several mistakes, told at once so that one correction mends them all.

    `found` are the single ones, file by file in the order of the rows; `samples` show, by file,
    what would be right.
    """

    def __init__(self, found: Sequence[InputError], sample: str = "",
                 samples: Mapping[str, str] | None = None) -> None:
        self.found = tuple(found)
        self.samples = samples or ({found[0].file: sample} if sample else {})
        first = self.found[0]
        super().__init__(first.file, first.where, first.problem, first.remedy)
        lines, told, file = list[str](), set[str](), ""
        for k, one in enumerate(self.found):
            said = [f"  {one.where or 'file'}: {_short(one.problem, 120)}"]
            if one.file != file:
                lines += self._right(file)
                file = one.file
                count = sum(other.file == file for other in self.found)
                said.insert(0, f"{file}: {count} mistake{'s' if count > 1 else ''}")
            remedies = [line.strip() for line in one.remedy.split("\n")]
            said += [f"    {_short(line, 480)}" for line in remedies if line and line not in told]
            if k >= _MOST_TOLD or sum(map(len, [*lines, *said])) > _LONGEST_TOLD:
                lines.append(f"  and {len(self.found) - k} more")
                break
            lines += said
            told.update(remedies)
        self.args = ("\n".join([*lines, *self._right(file)]),)

    def _right(self, file: str) -> list[str]:
        """Say what would be right in a file, to stand behind what is wrong in it."""
        return [f"  {_short(self.samples[file], 500)}"] if file in self.samples else []

    @classmethod
    def joined(cls, errors: Sequence[InputError]) -> InputError:
        """One error of those of several files, each of which may be several."""
        if len(errors) == 1:
            return errors[0]
        found = [one for error in errors
                 for one in (error.found if isinstance(error, InputErrors) else (error,))]
        return cls(found, samples={
            file: sample for error in errors if isinstance(error, InputErrors)
            for file, sample in error.samples.items()})

    def __reduce__(self) -> tuple[type[InputErrors], tuple[Any, ...]]:
        """Pickle by its parts, as InputError does."""
        return type(self), (self.found, "", self.samples)


class Infeasible(KitpaceError):  # noqa: N818 - an outcome, not a mistake
    """No plan meets the limits; `limit` names the one that binds."""

    exit_code = 3

    def __init__(self, limit: str, remedy: str = "") -> None:
        self.limit, self.remedy = limit, remedy
        super().__init__(f"no plan meets the limits: {limit}\n  {remedy}" if remedy else
                         f"no plan meets the limits: {limit}")

    def __reduce__(self) -> tuple[type[Infeasible], tuple[str, str]]:
        """Pickle by its parts, as InputError does."""
        return type(self), (self.limit, self.remedy)
