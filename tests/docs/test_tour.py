"""Every command of the guided tour runs as it stands."""

from __future__ import annotations

import json
import re
import shlex
import shutil
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from optimizer.cli import COMMANDS, group

ROOT = Path(__file__).parents[2]
TOUR = (ROOT / "courses" / "README.md").read_text(encoding="utf-8")
LINES = [line for block in re.findall(r"```sh\n(.*?)```", TOUR, re.DOTALL)
         for line in block.splitlines() if line.strip()]


def recording(plan, rows=slice(None)):
    """The plan as a head unit would have recorded it, a sample a second, in a light wind."""
    profile = json.loads(plan.read_text())["profile"]
    rng = np.random.default_rng(5)
    at = np.arange(0.0, profile["time_s"][-1])
    place = np.interp(at, profile["time_s"], profile["distance_m"])
    power = np.interp(place, profile["distance_m"][1:], profile["power_w"])
    speed = np.interp(place, profile["distance_m"], profile["speed_mps"])
    height = np.interp(place, profile["distance_m"], profile["elevation_m"])
    lines = [f"{t:.0f},{d:.1f},{v:.3f},{p:.0f},{h:.2f}" for t, d, v, p, h in zip(
        at, place, speed * rng.normal(1, 0.002, len(at)), power * rng.normal(1, 0.03, len(at)),
        height, strict=True)]
    return "\n".join(["elapsed_s,distance_m,speed_mps,power_w,elevation_m", *lines[rows]]) + "\n"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    where = tmp_path_factory.mktemp("tour")
    shutil.copytree(ROOT / "courses", where / "courses")
    (where / "courses/squad.toml").write_text(  # a smaller one: the case is the command
        'scenarios = ["../my-race/scenario.toml"]\nforecasts = ["10@240", "25@300"]\n'
        "budgets = [0]\n")
    return where


@pytest.mark.long
def test_the_commands_of_the_tour(folder, monkeypatch):
    monkeypatch.chdir(folder)
    assert len(LINES) >= 12
    for line in LINES:
        words = shlex.split(line)
        assert words[0] == "kitpace"
        if words[1] == "open":  # serves until it is stopped: see tests/window
            continue
        for name in ("sunday.csv", "race.csv"):  # the reader's own; here what the plan would give
            if name in words:
                Path(name).write_text(recording(Path("my-race/plan.json")))
        done = CliRunner().invoke(group, words[1:])
        assert done.exception is None, f"{line}: {done.exception}\n{done.output}"
    for made in ("my-race/report.html", "my-race/plan.json", "my-race/card.html", "cables.html",
                 "reports/squad/index.html", "reports/squad/table.csv"):
        assert (folder / made).stat().st_size > 100


def test_the_tour_shows_every_command():
    shown = {shlex.split(line)[1] for line in LINES}
    assert shown == set(COMMANDS)


def test_files_that_the_pages_name_are_there():
    model = (ROOT / "optimizer" / "README.md").read_text(encoding="utf-8")
    modules = re.findall(r"`([\w-]+/(?:[\w-]+\.py)?)`", model)
    files = re.findall(r"`((?:courses|optimizer)/[\w./-]+)`", TOUR)
    folders = re.findall(r"^\| `([\w-]+/)`", TOUR, re.MULTILINE)
    assert min(map(len, (modules, files, folders))) > 1
    for name in modules:
        inside = ROOT if name.startswith("tests/") else ROOT / "optimizer"
        assert (inside / name).exists(), name
    for name in files:
        assert (ROOT / name).exists(), name
    for name in folders:
        assert (ROOT / "courses" / name / "scenario.toml").is_file(), name


def test_the_example_of_a_batch_is_one():
    from optimizer.scenario.batch_file import read_batch

    batch = read_batch(ROOT / "courses" / "squad.toml")
    assert len(batch.cases) == 9
    assert batch.cases[-1].name == "Quern Pass at seven"
