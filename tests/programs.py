"""Programs of the system that tests drive: without one a test skips, but not where all must run."""

from __future__ import annotations

import os
import shutil

import pytest

__all__ = ["required"]


def required(*names: str) -> str:
    """Path of the first of some programs; skips without, or fails where KITPACE_TEST_ALL is set."""
    for name in names:
        found = shutil.which(name)
        if found is not None:
            return found
    words = f"no {names[0]} here"
    if os.environ.get("KITPACE_TEST_ALL"):
        pytest.fail(f"{words}, and KITPACE_TEST_ALL asks for every test")
    pytest.skip(words)
