"""`kitpace new`: a starter scenario in a folder."""

from __future__ import annotations

import click

from optimizer.cli._numbers import TellingAll
from optimizer.cli._terminal import say

__all__ = ["command"]


@click.command("new", cls=TellingAll)
@click.argument("folder", metavar="DIR", type=click.Path())
def command(folder: str) -> None:
    """Write a commented starter scenario into the folder DIR.

    Its course, rider, kit and evidence are invented, and each field is explained beside it. You can
    plan it at once.

    \b
    Example:
      kitpace new my-race
      kitpace plan my-race/scenario.toml
    """  # noqa: D301 - click reads the \b
    from optimizer.scenario.starter import FILES, write_starter

    path = write_starter(folder)
    say(f"{path.parent} now contains {', '.join(FILES[:-1])} and {FILES[-1]}, all invented.",
        "Put your own data in their place; the comments say how.")
    say(f"Plan it with: kitpace plan {path}")
