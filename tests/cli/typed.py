"""Commands as a person types them, in a process of their own."""

from __future__ import annotations

import subprocess
import sys

__all__ = ["kitpace"]

RUN = [sys.executable, "-c", "from optimizer.cli import main; main()"]


def kitpace(*words, cwd):
    return subprocess.run([*RUN, *map(str, words)], cwd=cwd, capture_output=True, text=True,
                          timeout=240, check=False)
