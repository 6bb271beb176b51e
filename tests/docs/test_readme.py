"""What the README shows is true."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from optimizer.cli import COMMANDS

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.mark.ci
def test_the_python_example_runs(tmp_path):
    (code,) = re.findall(r"```python\n(.*?)```", README, re.DOTALL)
    (tmp_path / "courses").symlink_to(ROOT / "courses")
    done = subprocess.run([sys.executable, "-W", "error", "-c", code], cwd=tmp_path,
                          capture_output=True, text=True, timeout=240, check=False)
    assert done.returncode == 0, done.stderr
    assert re.search(r"^\d+ s by the card, \d+ s in the ideal ride;\n"
                     r"no ride is more than 0\.\d\d s faster than that\nwith .+", done.stdout)
    assert (tmp_path / "reports" / "petrel-flats.html").stat().st_size > 500_000


def test_every_command_is_listed_and_every_one_listed_is_there():
    assert set(re.findall(r"^\| `kitpace (\w+)", README, re.MULTILINE)) == set(COMMANDS)


def test_every_option_of_plan_is_told():
    from optimizer.cli.plan import command

    (told,) = re.findall(r"`plan` takes (.*?)\n\n", README, re.DOTALL)
    options = {name for option in command.params for name in option.opts if name.startswith("--")}
    assert set(re.findall(r"`(--[a-z-]+)`", told)) == options


def test_every_file_and_option_it_names_is_there():
    from click.testing import CliRunner

    from optimizer.cli import group

    for pattern in (r"\]\(([\w./-]+)\)", r"(?:courses|optimizer)/[\w./-]+\.\w+"):
        names = re.findall(pattern, README)
        assert len(names) > 1, pattern
        for name in names:
            assert (ROOT / name).exists(), name
    shown = CliRunner().invoke(group, ["plan", "--help"]).output
    own = README.split("## Your own race")[1].split("## From")[0]
    options = re.findall(r"--[a-z][a-z-]*", own)
    assert {"--wind", "--kit-from"} <= set(options)
    for option in options:
        assert option == "--help" or option in shown


def test_the_install_commands_are_one_line_each_and_name_what_is_there():
    first, second = re.findall(r"^python3 -m venv .*$", README, re.MULTILINE)
    assert "kitpace plan courses/petrel-flats/scenario.toml" in first
    assert "[test]" in second
    assert second.rstrip().endswith("-m pytest -n auto")
    constraints = (ROOT / "constraints.txt").read_text(encoding="utf-8")
    pinned = {line.split("==")[0].lower().replace("_", "-") for line in constraints.splitlines()
              if "==" in line}
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    for need in project["dependencies"] + extras["test"] + extras["lint"]:
        assert re.split(r"[<>=~! ]", need)[0].lower().replace("_", "-") in pinned, need


@pytest.mark.long
def test_the_splits_are_those_of_the_demo(tmp_path):
    done = subprocess.run(
        [sys.executable, "-c", "from optimizer.cli import main; main()", "plan",
         str(ROOT / "courses" / "petrel-flats" / "scenario.toml"), "--out",
         str(tmp_path / "report.html")], capture_output=True, text=True, check=True)
    rows = re.findall(r"^\| ([A-Z][\w ]+?) \| ([\d.]+) \| ([\d:]+) \| ([\d:]+) \| ([\d:]+) \|$",
                      README, re.MULTILINE)
    assert len(rows) == 5
    for row in rows:
        assert re.search(r"\s+".join(map(re.escape, row)), done.stdout), row
