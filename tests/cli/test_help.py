"""Help: at once, for every command, with an example."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from optimizer import read_scenario
from optimizer.cli import COMMANDS, group
from optimizer.cli._numbers import TellingAll
from tests.cli.typed import kitpace, starter

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


def test_a_race_morning_imports_no_package_for_one_function():
    """What would take longer to import than to do: half of a race morning, once."""
    read_scenario("courses/petrel-flats/scenario.toml")  # its course is kept since the day before
    done = subprocess.run([sys.executable, "-c", (
        "from optimizer import read_scenario\n"
        "from optimizer.job.replan import replan\n"
        "from optimizer.report.plan_page import plan_page\n"
        "import sys\n"
        "plan_page(replan(read_scenario('courses/petrel-flats/scenario.toml'), ()))\n"
        "print(*sys.modules)")], capture_output=True, text=True, check=True, timeout=60)
    assert "optimizer.report.plan_page" in done.stdout.split()
    assert not set(done.stdout.split()) & {
        "scipy.linalg", "scipy.special", "scipy.sparse", "scipy.optimize", "scipy.interpolate",
        "scipy.stats", "pandas", "pyomo", "pint", "highspy"}


@pytest.mark.skipif(not Path("/proc/self/task").is_dir(), reason="the system lists no threads")
def test_the_linear_algebra_of_a_command_starts_no_thread_unless_asked_to():
    code = ("import os, sys; sys.argv = ['kitpace', '--version']; from optimizer.cli import main; "
            "main(); import numpy, optimizer.lapack; "
            "print(len(os.listdir('/proc/self/task')), file=sys.stderr)")
    free = {key: value for key, value in os.environ.items() if not key.endswith("NUM_THREADS")}
    threads = [int(subprocess.run([sys.executable, "-c", code], env=free | more, check=True,
                                  capture_output=True, text=True, timeout=60).stderr)
               for more in ({}, {"OMP_NUM_THREADS": "2"})]
    assert threads[0] == 1
    assert threads[1] > 1 or (os.cpu_count() or 1) == 1


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


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_every_command_tells_all_mistakes_in_its_options(name):
    assert isinstance(group.get_command(None, name), TellingAll)


@pytest.mark.parametrize(("typed", "wrong"), [
    (("plan", "race.toml", "--budget", "lots", "--wind", "25@north-by", "--start-time", "25:00"),
     ("--budget", "25@north-by", "--start-time")),
    (("season", "club.toml", "--budget", "-5", "--least-gain", "x"), ("--budget", "--least-gain")),
    (("convert", "30 g @ 45 km/h", "--yaw-deg", "90", "--test-density-kgm3", "thin"),
     ("--yaw-deg", "--test-density-kgm3")),
    (("kit", "--level", "2", "--by", "luck"), ("SCENARIO", "--level", "--by"))])
def test_mistakes_in_options_come_together(tmp_path, typed, wrong):
    done = kitpace(*typed, cwd=tmp_path)
    assert done.returncode == 2
    assert f"{len(wrong)} mistakes" in done.stderr
    assert all(words in done.stderr for words in wrong), done.stderr


@pytest.mark.parametrize("name", ["plan", "course", "rider", "worth", "season", "batch", "kit"])
@pytest.mark.parametrize("folder", [".", "..", "/"])
def test_a_folder_is_no_file(tmp_path, name, folder):
    done = kitpace(name, folder, cwd=tmp_path)
    assert done.returncode == 2
    assert "folder" in done.stderr


def test_files_that_are_mixed_up_are_sent_where_they_belong(tmp_path):
    race = starter(tmp_path)
    (race / "club.toml").write_text('name = "Club"\n[[race]]\nname = "Hill"\n')
    for name, file, words in (
            ("plan", "rider.toml", "is a rider's file, not a scenario"),
            ("rider", "scenario.toml", "is a scenario, not a rider's file\n  run kitpace plan"),
            ("rider", "club.toml", "is a season file, not a rider's file\n  run kitpace season"),
            ("plan", "club.toml", "is a season file, not a scenario"),
            ("season", "scenario.toml", "is a scenario, not a season file"),
            ("season", "rider.toml", "is a rider's file, not a season file")):
        done = kitpace(name, file, cwd=race)
        assert (done.returncode, words in done.stderr) == (2, True), done.stderr
