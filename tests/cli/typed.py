"""Commands as a person types them: words in, exit code and both streams out.

In this process, since a start of its own takes longer than most commands. What a process is needed
for (streams, signals, imports) has its tests in `tests/hardening`.
"""

from __future__ import annotations

import contextlib
import io
import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING
from unittest import mock

from optimizer.cli import _code

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["Said", "kitpace", "starter"]


@dataclass(frozen=True)
class Said:
    """How a command ended, and what it wrote."""

    returncode: int
    stdout: str
    stderr: str


def kitpace(*words, cwd: Path) -> Said:
    """Run what is typed in a folder; anything unforeseen is raised."""
    out, err = io.StringIO(), io.StringIO()
    with (mock.patch.object(sys, "argv", ["kitpace", *map(str, words)]), contextlib.chdir(cwd),
          contextlib.redirect_stdout(out), contextlib.redirect_stderr(err)):
        code = _code()
    return Said(code, out.getvalue(), err.getvalue())


def starter(where: Path, name: str = "race", draws: int = 60) -> Path:
    """Make a new race in a folder, with few draws and long steps, which are not the point."""
    done = kitpace("new", name, cwd=where)
    assert done.returncode == 0, done.stderr
    assert "kitpace plan" in done.stdout
    scenario = where / name / "scenario.toml"
    text = scenario.read_text(encoding="utf-8")
    for old, new in (("# draws = 400", f"draws = {draws}"), ("# step_m = 20", "step_m = 60")):
        assert old in text
        text = text.replace(old, new)
    scenario.write_text(text, encoding="utf-8")
    return where / name
