"""What the default run leaves to `.ci/run`: parameters that say little new for their time."""

from __future__ import annotations

import pytest

__all__ = ["later"]


def later(*values):
    """Values of a parameter, tuples for several, that only .ci/run tries (marker `ci`)."""
    return [pytest.param(*value, marks=pytest.mark.ci) if isinstance(value, tuple)
            else pytest.param(value, marks=pytest.mark.ci) for value in values]
