"""The same inputs and seed give the same bytes: on one core and two, whatever the hash seed."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys

import pytest

from tests.hardening.corpus import EVIDENCE, KIT, SCENARIO, kitpace, race

THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
CODE = """
import os, sys
if hasattr(os, "sched_setaffinity"):
    cores = sorted(os.sched_getaffinity(0))
    os.sched_setaffinity(0, cores[:int(sys.argv.pop(1))])
from optimizer.cli import main
main()
"""


@pytest.fixture(scope="module")
def scenario(tmp_path_factory):
    return race(tmp_path_factory.mktemp("same"), kit=KIT, evidence=EVIDENCE,
                scenario=SCENARIO.replace("[course]", "budget = 500\n[course]"))


def files(scenario, cores, hash_seed):
    """Hashes of what a run on so many cores writes."""
    out = scenario.parent / f"out-{cores}-{hash_seed}"
    out.mkdir()
    environment = {**os.environ, **dict.fromkeys(THREADS, str(cores)),
                   "PYTHONHASHSEED": str(hash_seed)}
    names = ("report.html", "plan.json", "card.html", "card.csv", "card.gpx")
    subprocess.run(
        [sys.executable, "-c", CODE, str(cores), "plan", scenario, "--out", out / "report.html",
         "--json", out / "plan.json", *(word for name in names[2:]
                                        for word in ("--card", out / name))],
        env=environment, check=True, timeout=200, capture_output=True)
    return {name: hashlib.sha256((out / name).read_bytes()).hexdigest() for name in names}


@pytest.mark.ci
def test_one_core_two_cores_and_any_hash_seed(scenario):
    first = files(scenario, 1, 0)
    assert len(set(first.values())) == 5
    assert files(scenario, 2, 0) == first
    assert files(scenario, 2, 12345) == first


def test_another_seed_moves_the_range_only(scenario):
    said = {}
    for seed in (1, 2):
        file = scenario.with_name(f"seed{seed}.toml")
        file.write_text(scenario.read_text().replace("draws = 40", f"draws = 40\nseed = {seed}"))
        out = scenario.with_name(f"seed{seed}.json")
        assert kitpace("plan", file, "--json", out, "--out", scenario.with_name("s.html"))[0] == 0
        said[seed] = json.loads(out.read_text())["plan"]
    spreads = [plan.pop("spread_s") for plan in said.values()]
    assert spreads[0] != spreads[1]
    assert said[1] == said[2]


@pytest.mark.long
def test_a_batch_gives_the_same_with_one_worker_and_two(tmp_path):
    scenario = race(tmp_path)
    file = scenario.with_name("squad.toml")
    file.write_text('scenarios = ["scenario.toml"]\nforecasts = ["10@240", "20@60", "0@0"]\n')
    results = []
    for workers in (1, 2):
        out = scenario.with_name(f"batch{workers}")
        code, said = kitpace("batch", file, "--out", out, "--workers", workers)
        assert code == 0, said
        assert "3 of 3 cases have a plan." in said
        results.append({
            str(path.relative_to(out)): hashlib.sha256(path.read_bytes()).hexdigest()
            for path in sorted(out.rglob("*")) if path.is_file()})
    assert results[0] == results[1]
    assert len(results[0]) == 2 + 3 * 4  # index and table; report, card, JSON and record each
