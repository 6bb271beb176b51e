"""What tests need of the system: without it a test skips, but not where all must run."""

from __future__ import annotations

import os
import shutil
from typing import NoReturn

import pytest

__all__ = ["missing", "required"]


def required(*names: str) -> str:
    """Path of the first of some programs; skips without, or fails where KITPACE_TEST_ALL is set."""
    found = next(filter(None, map(shutil.which, names)), None)
    if found is None:
        missing(names[0])
    return found


def missing(what: str) -> NoReturn:
    """Skip a test that has not what it needs; fail it where KITPACE_TEST_ALL is set."""
    words = f"no {what} here"
    if os.environ.get("KITPACE_TEST_ALL"):
        pytest.fail(f"{words}, and KITPACE_TEST_ALL asks for every test")
    pytest.skip(words)
