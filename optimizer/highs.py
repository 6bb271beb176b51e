"""HiGHS without a word and on one thread, for programs that are handed over as arrays."""

from __future__ import annotations

from typing import Any

__all__ = ["quiet_highs"]


def quiet_highs(**options: str | float) -> Any:
    """Give a solver that prints nothing.

    `highspy.Highs` writes a line about itself to standard output as it is made, whatever it is
    told; what is below it, and does the work, does not.

    Parameters
    ----------
    options : of HiGHS, by name; one thread unless they say otherwise, since it refuses any number
        but the first of a process

    Returns
    -------
    solver, as `highspy` describes it

    Raises
    ------
    ValueError
        for an option that it does not have, which would only weaken what it finds
    """
    import highspy

    quiet = getattr(getattr(highspy, "_core", None), "_Highs", highspy.Highs)
    highs = quiet()
    for name, value in {"output_flag": False, "threads": 1, **options}.items():
        if highs.setOptionValue(name, value) == highspy.HighsStatus.kError:
            raise ValueError(f"HiGHS has no option {name}, or none that may be {value!r}")
    return highs
