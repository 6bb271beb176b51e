"""Where `kitpace` and `python -m optimizer` begin: before any import that takes time."""

from __future__ import annotations

import os
import signal
import sys

__all__ = ["main"]


def main() -> None:
    """Run the command line; a stop at any moment is one word and exit code 130."""
    try:
        _with_docstrings()
        from optimizer.cli import main as run

        run()
    except KeyboardInterrupt:
        sys.stderr.write("stopped\n")
        sys.exit(130)
    finally:  # nothing is left to stop, and all is said
        signal.signal(signal.SIGINT, signal.SIG_IGN)


def _with_docstrings() -> None:
    """Begin anew where Python drops docstrings: help is made of them, and libraries need them."""
    if sys.flags.optimize < 2:
        return
    setting = {**os.environ, "PYTHONOPTIMIZE": "1"}
    os.execve(sys.executable, [sys.executable, "-m", "optimizer", *sys.argv[1:]],  # noqa: S606
              setting)


if __name__ == "__main__":
    main()
