"""The errors that a person sees, one per cause."""

from __future__ import annotations

__all__ = ["Infeasible", "InputError", "KitpaceError"]


class KitpaceError(Exception):
    """Any failure that kitpace explains in its own words."""

    exit_code = 1


def _short(text: str, most: int) -> str:
    """Text without its middle where it is longer than a person reads."""
    return text if len(text) <= most else f"{text[:most // 2]} ... {text[-most // 4:]}"


class InputError(KitpaceError):
    """Input that cannot be used: which file, where in it, what is wrong, what would be right."""

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
