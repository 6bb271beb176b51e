"""What the project keeps goes into its source archive, so that README and guide hold there."""

from __future__ import annotations

import shutil
import subprocess
from fnmatch import fnmatch
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
BY_ITSELF = ("optimizer/*", "pyproject.toml", "README.md", "LICENSE", "MANIFEST.in")
NEEDLESS = (".gitignore",)


def test_every_kept_file_is_in_the_source_archive():
    if not (ROOT / ".git").exists() or shutil.which("git") is None:
        pytest.skip("needs the history to know which files are kept")
    kept = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True,
                          check=True).stdout.split()
    named = list(BY_ITSELF)
    for line in (ROOT / "MANIFEST.in").read_text(encoding="utf-8").splitlines():
        word, _, rest = line.partition(" ")
        named += rest.split() if word == "include" else [f"{rest}/*"] if word == "graft" else []
    assert [name for name in kept if name not in NEEDLESS
            and not any(fnmatch(name, pattern) for pattern in named)] == []
