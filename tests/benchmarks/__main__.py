"""How fast everything is, in one table: what it takes today, and what it should take.

    python -m tests.benchmarks [NAME...] [--out FILE.json] [--against EARLIER.json]

Without names all of them, which takes about a quarter of an hour on two cores. The JSON names
machine and commit; `--against` puts the figures of an earlier one beside those of today. Seconds
are those that passed, and those of the processor, which a busy machine changes less.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import subprocess
import sys
import tempfile
import time
from dataclasses import asdict, dataclass
from functools import partial
from importlib.metadata import version
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
DEMOS = ("petrel-flats", "quern-pass", "tarn-loop")
CASES = 100
_NAMED = 5  # sets of the long case
_WINDS = np.linspace(0.0, 360.0, CASES, endpoint=False)


@dataclass(frozen=True)
class Row:
    """One line of the table; seconds that passed and of the processor, and MB where measured."""

    name: str
    reach: str
    passed_s: float
    processor_s: float
    memory_mb: float = float("nan")
    note: str = ""


def run(*words: str) -> tuple[float, float, float]:
    """Run kitpace as a process of its own: seconds passed, seconds of the processor, MB.

    Seconds with those of its second process; the memory is that of the larger of the two.
    """
    begun = time.perf_counter()
    process = subprocess.Popen([sys.executable, "-m", "optimizer", *words], cwd=ROOT,
                               stdout=subprocess.DEVNULL)
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"kitpace {' '.join(words)} failed")
    return (time.perf_counter() - begun, used.ru_utime + used.ru_stime,
            used.ru_maxrss / (2**20 if sys.platform == "darwin" else 2**10))


def own(call) -> tuple[float, float, object]:
    """Seconds passed and of the processor of a call, and what it gives."""
    begun, used = time.perf_counter(), sum(os.times()[:4])
    found = call()
    return time.perf_counter() - begun, sum(os.times()[:4]) - used, found


def demo(folder: Path, name: str) -> list[Row]:
    """A demo with report from a cold start, then its race morning."""
    scenario = f"courses/{name}/scenario.toml"
    json_file = str(folder / "plan.json")
    cold = run("plan", scenario, "--out", str(folder / "report.html"), "--json", json_file)
    again = run("plan", scenario, "--out", str(folder / "morning.html"), "--kit-from", json_file)
    return [Row(f"{name}, plan with report", "5 s, 220 MB", *cold),
            Row(f"{name}, race morning", "1 s, 220 MB", *again)]


def help_text(_folder: Path) -> list[Row]:
    """What a person waits for at least."""
    return [Row("--help", "0.5 s", *run("--help"))]


def long_course(_folder: Path) -> list[Row]:
    """90 km, 40 items, 400 draws, five sets, after reading."""
    from optimizer.job import Job, Options
    from optimizer.job import run as plan
    from tests.benchmarks.kit_choice import FORTY
    from tests.kit.invented import BASELINE, RIDER, catalogue, road, wind

    rng = np.random.default_rng(1)
    course, weather = road(rng, length=90e3, turns=3), wind(3.5, 1.0)
    wanted, effects = catalogue(rng, FORTY)
    first = [next(item.name for item in wanted.items if item.place == place)
             for place in wanted.places]
    sets = tuple((f"set {k}", tuple(first[:k])) for k in range(1, _NAMED))
    job = Job("invented", course, weather, RIDER, BASELINE, wanted, effects, 1500.0, "EUR",
              options=Options(draws=400), named_sets=sets)
    passed, used, result = own(lambda: plan(job))
    return [Row("90 km, 40 items, 400 draws, 5 sets", "3.5 s", passed, used,
                note=f"{len(result.splits)} sets, {result.plan.problem.steps} steps")]


def frontier(_folder: Path) -> list[Row]:
    """160 items at 12 places."""
    from tests.benchmarks.kit_choice import search

    def whole():
        one = search((14,) * 4 + (13,) * 8)
        most = float(one.terms.cost.sum())
        one.explore(most)
        return one.prove_front(most), len(one.front())

    passed, used, (gap, sets) = own(whole)
    return [Row("frontier of 160 items", "30 s, proven to 1 s", passed, used,
                note=f"proven to {gap:.2f} s, {sets} sets")]


def against_general(_folder: Path) -> list[Row]:
    """A solve with its bound against CasADi and IPOPT, mean ratio over three problems."""
    from optimizer.pacing import solve
    from tests.benchmarks.pacing_speed import CASES as SIZES
    from tests.benchmarks.pacing_speed import LAWS, SEEDS, timed
    from tests.oracles.general_solver import general_solution
    from tests.pacing.random_problems import random_problem

    rows = []
    for (rate, law), (steps, length) in ((law, size) for law in LAWS for size in SIZES):
        ours, ratios, apart = [], [], []
        for seed in SEEDS:
            problem = random_problem(seed, steps=steps, length=length, yaw=False, wind=4.0,
                                     effort_rate=rate)
            mine, plan = timed(partial(solve, problem), 3)
            other, found = timed(partial(general_solution, problem))
            ours.append(mine)
            ratios.append(other / mine)
            apart.append(abs(plan.finish_time - found.finish_time))
        rows.append(Row(f"solve, {steps} steps, {law}", "25x" if steps < 5000 else "35x",
                        float("nan"), float(np.mean(ours)),
                        note=f"{min(ratios):.0f} to {max(ratios):.0f} times as fast, "
                             f"times within {max(apart):.5f} s"))
    return rows


def _batch_file(folder: Path, cases: int) -> Path:
    path = folder / "batch.csv"
    scenario = ROOT / "courses" / "petrel-flats" / "scenario.toml"
    path.write_text("name,scenario,forecast\n" + "".join(
        f"case {k},{scenario},15@{angle:.1f}\n" for k, angle in enumerate(_WINDS[:cases])))
    return path


def batch(folder: Path, cases: int) -> list[Row]:
    """The demo in 100 winds: two processes, then two workers of Dask."""
    path, reach = _batch_file(folder, cases), "20 a minute"

    def row(name: str, passed: float, used: float) -> Row:
        return Row(f"batch of {cases} cases, {name}", reach, passed, used,
                   note=f"{60 * cases / passed:.1f} a minute")

    local = run("batch", str(path), "--out", str(folder / "local"), "--workers", "2")
    rows = [row("two processes", *local[:2])]
    try:
        from distributed import LocalCluster
    except ImportError:
        return rows
    def on_cluster() -> float:
        with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster:
            return run("batch", str(path), "--out", str(folder / "cluster"),
                       "--cluster", cluster.scheduler_address)[0]

    _, used, passed = own(on_cluster)  # scheduler and workers with their start
    return [*rows, row("two workers of Dask", passed, used)]


def tests(_folder: Path) -> list[Row]:
    """The test command of the README, on two cores; what fails is said as it comes."""
    begun = time.perf_counter()
    process = subprocess.Popen([sys.executable, "-m", "pytest", "-n", "2"], cwd=ROOT,
                               stdout=subprocess.PIPE, text=True)
    said = process.stdout.read().splitlines()
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    for line in said:
        if line.startswith(("FAILED", "ERROR")):
            print(line, flush=True)
    return [Row("test command", "3 min", time.perf_counter() - begun,
                used.ru_utime + used.ru_stime, used.ru_maxrss / (
                    2**20 if sys.platform == "darwin" else 2**10), said[-1] if said else "")]


def machine() -> dict[str, object]:
    """What the figures were measured on."""
    commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], cwd=ROOT, check=False,
                            capture_output=True, text=True).stdout.strip()
    return {"commit": commit, "time": time.strftime("%Y-%m-%d %H:%M"), "cores": os.cpu_count(),
            "load": os.getloadavg() if hasattr(os, "getloadavg") else None,
            "processor": _processor(), "system": platform.platform(),
            "python": platform.python_version(),
            "libraries": {name: version(name) for name in ("numpy", "scipy", "highspy")}}


def _processor() -> str:
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="ascii", errors="replace").splitlines()
    except OSError:
        return platform.processor()
    return next((line.split(":", 1)[1].strip() for line in lines
                 if line.startswith("model name")), platform.processor())


def show(rows: list[Row], before: dict[str, dict]) -> None:
    """Print the table, with an earlier one beside it."""
    print(f"{'':42s} {'reach':>20s} {'passed s':>9s} {'proc. s':>8s} {'MB':>5s}"
          + ("   earlier" if before else ""))
    for row in rows:
        old = before.get(row.name)
        beside = "".join(f" {old.get(key, np.nan):8.2f}"
                         for key in ("passed_s", "processor_s")) if old else ""
        print(f"{row.name:42s} {row.reach:>20s} {row.passed_s:9.2f} {row.processor_s:8.2f} "
              f"{row.memory_mb:5.0f}{beside}  {row.note}", flush=True)


def main() -> None:
    """Measure what was asked for."""
    parts = {"help": help_text, **{name: partial(demo, name=name) for name in DEMOS},
             "long": long_course, "frontier": frontier, "solve": against_general,
             "batch": batch, "tests": tests}
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("names", nargs="*", choices=[*parts, []], metavar="NAME",
                        help=f"of {', '.join(parts)}; all by default")
    parser.add_argument("--out", type=Path, help="JSON to write")
    parser.add_argument("--against", type=Path, help="JSON of an earlier run")
    parser.add_argument("--cases", type=int, default=CASES, help="of the batch")
    asked = parser.parse_args()
    parts["batch"] = partial(batch, cases=asked.cases)
    before = {}
    if asked.against:
        before = {row["name"]: row for row in json.loads(asked.against.read_text())["rows"]}
    rows: list[Row] = []
    where = machine()
    for name in asked.names or parts:
        with tempfile.TemporaryDirectory() as folder:
            found = parts[name](Path(folder))
        show(found, before)
        rows += found
    if asked.out:
        asked.out.write_text(json.dumps({"machine": where, "rows": [
            {key: value for key, value in asdict(row).items() if value == value}  # noqa: PLR0124
            for row in rows]}, indent=1) + "\n")


if __name__ == "__main__":
    main()
