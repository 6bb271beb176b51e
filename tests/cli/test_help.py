"""Help: at once, for every command, with an example."""

from __future__ import annotations

import re
import subprocess
import sys

import pytest
from click.testing import CliRunner

from optimizer.cli import COMMANDS, group

HEAVY = {"numpy", "scipy", "pandas", "pyomo", "pydantic", "pint", "rich", "highspy",
         "gpxpy", "jinja2", "geographiclib"}


def test_help_imports_nothing_heavy():
    # A clock would measure the machine; what is imported is what takes the time.
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-c",
         "import sys; sys.argv = ['kitpace', '--help']; import optimizer.cli as c; c.main()"],
        capture_output=True, text=True, check=True, timeout=60)
    assert "Commands" in done.stdout
    imported = {line.rsplit("|", 1)[-1].strip().split(".")[0]
                for line in done.stderr.splitlines() if line.startswith("import time:")}
    assert "optimizer" in imported
    assert not imported & HEAVY


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_each_command_shows_an_example(name):
    done = CliRunner().invoke(group, [name, "--help"])
    assert done.exit_code == 0
    assert re.search(rf"Examples?:\n +kitpace {name} ", done.output), done.output
    assert max(map(len, done.output.splitlines())) <= 80


def test_the_list_names_every_command():
    done = CliRunner().invoke(group, ["--help"])
    assert all(re.search(rf"(?m)^  {name} ", done.output) for name in COMMANDS)


def test_version():
    from optimizer import __version__

    assert __version__ in CliRunner().invoke(group, ["--version"]).output
