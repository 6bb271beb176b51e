"""A fault at each call of every command's writing: disk full, no permission, killed.

Faults are put into the calls of the operating system that the door for files makes, one call
after the other, until the command has none left. Afterwards each output is the old one or the new
one, all of a run's together where the fault came before the first was put in its place; no
temporary file is left; and the run says what is wrong, with exit code 2.
"""

from __future__ import annotations

import errno
import itertools
import os
import signal

import pytest

from tests.cli.test_rides import COLUMNS, write
from tests.hardening.corpus import EVIDENCE, KIT, kitpace, race
from tests.later import later
from tests.ride import synthetic
from tests.ride.trials import truth

pytestmark = pytest.mark.skipif(os.name != "posix", reason="calls of POSIX")
CALLS = ["open", "posix_fallocate", "write", "fsync", "fchmod", "replace", "unlink", "close",
         "stat", "fstat", "mkdir"]
FAULTS = [errno.ENOSPC, errno.EACCES]
SETS = '\n[[set]]\nname = "A"\nitems = []\n[[set]]\nname = "B"\nitems = ["Disc"]\n'
RIDES = [f"ride-{number}.csv" for number in range(1, 5)]
COMMANDS = {
    "new": (["new", "fresh"], ["fresh/scenario.toml", "fresh/rider.toml", "fresh/course.gpx",
                               "fresh/kit.csv", "fresh/evidence.csv"]),
    "rider": (["rider", "rider.toml", "--out", "o.html"], ["o.html"]),
    "worth": (["worth", "evidence.csv", "--out", "o.html"], ["o.html"]),
    "cables": (["cables", "4 x 5 mm x 300 mm", "--out", "o.html"], ["o.html"]),
    "course": (["course", "course.gpx", "--out", "o.html", "--gpx", "o.gpx"],
               ["o.html", "o.gpx"]),
    "plan": (["plan", "scenario.toml", "--out", "o.html", "--json", "o.json", "--card", "c.html",
              "--card", "c.csv", "--card", "c.gpx"],
             ["o.html", "o.json", "c.html", "c.csv", "c.gpx"]),
    "kit": (["kit", "scenario.toml", "--out", "o.html"], ["o.html"]),
    "compare": (["compare", "scenario.toml", "--out", "o.html"], ["o.html"]),
    "fieldtest": (["fieldtest", *RIDES, "--mass", "82", "--setups", "a,b,b,a", "--row",
                   "evidence.csv", "--out", "o.html"], ["o.html", "evidence.csv"]),
    "batch": (["batch", "batch.csv", "--out", "results", "--workers", "1"],
              ["results/index.html", "results/table.csv"]),
}
QUICK = ["new", "rider", "worth", "course"]
MOST = {"stat": 8, "fstat": 8, "close": 8}  # calls that readers make as well


@pytest.fixture
def folder(tmp_path, monkeypatch):
    race(tmp_path, kit=KIT, evidence=EVIDENCE, more=SETS)
    (tmp_path / "batch.csv").write_text("scenario\nscenario.toml\n")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return tmp_path


def ridden(folder):
    import numpy as np

    rng = np.random.default_rng(3)
    path, so = synthetic.loop(rng), truth(rng)
    for name in RIDES:
        ride = synthetic.ride(path, so, synthetic.Sensors(), rng)
        write(folder / name, {column: getattr(ride, field) for column, field in COLUMNS.items()})


def failing(monkeypatch, call, code, at):
    """Make one call of the door for files fail; tells afterwards whether it came to it."""
    really, count, hit = getattr(os, call), itertools.count(), []

    def made(*args, **kwargs):
        if next(count) == at:
            hit.append(args)
            if call == "close":
                really(*args)
            raise OSError(code, os.strerror(code))
        return really(*args, **kwargs)

    monkeypatch.setattr(f"optimizer.files.os.{call}", made)
    return hit


def held(folder, names):
    return [(folder / name).read_bytes() if (folder / name).exists() else None for name in names]


def strays(folder):
    return [path for path in folder.rglob(".*") if path.is_file()]


@pytest.mark.parametrize("code", FAULTS)
@pytest.mark.parametrize("call", CALLS)
@pytest.mark.parametrize("command", QUICK)
def test_a_fault_at_each_call(folder, monkeypatch, command, call, code):
    words, names = COMMANDS[command]
    old, refused = held(folder, names), 0
    for at in itertools.count():
        with monkeypatch.context() as patch:
            hit = failing(patch, call, code, at)
            outcome, said = kitpace(*words)
        if not hit:
            break
        found = held(folder, names)
        assert outcome in {0, 2}, said
        refused += outcome == 2
        if outcome:
            assert "cannot be" in said or call == "stat", said
        if call != "replace":
            assert outcome or all(now is not None for now in found)
            assert outcome == 0 or found == old or None not in found
        assert call == "unlink" or not strays(folder), (at, said)
        for name in names:
            (folder / name).unlink(missing_ok=True)
        if at > MOST.get(call, 30):
            break
    # No command does without these; a disk without room is no reason to stop at the others.
    assert refused or call not in {"open", "fsync", "replace"}


@pytest.mark.long
@pytest.mark.parametrize("command", [name for name in COMMANDS if name not in QUICK])
@pytest.mark.parametrize("call", ["open", "fsync", "replace", "posix_fallocate"])
def test_a_fault_at_each_call_of_long_commands(folder, monkeypatch, command, call):
    if command == "fieldtest":
        ridden(folder)
    words, names = COMMANDS[command]
    for at in itertools.count():
        before = held(folder, names)
        with monkeypatch.context() as patch:
            hit = failing(patch, call, errno.ENOSPC, at)
            outcome, said = kitpace(*words, "--overwrite")
        if not hit:
            break
        assert outcome in {0, 1, 2}, said
        found = held(folder, names)
        assert not strays(folder), (at, said)
        if call != "replace" and outcome:
            assert found == before or None not in found
        if command == "fieldtest" and not outcome:
            (folder / "evidence.csv").write_text(EVIDENCE, encoding="utf-8")
        if at > 40:
            break


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM])
@pytest.mark.parametrize("command", ["new", "rider", "worth", *later("course")])
def test_killed_before_each_call(folder, command, number):
    words, names = COMMANDS[command]
    for call in ("open", "fsync", "fchmod", "replace", "unlink", "posix_fallocate"):
        for at in range(12):
            child = os.fork()
            if not child:
                signal.signal(signal.SIGTERM, signal.SIG_DFL)
                really, count = getattr(os, call), itertools.count()

                def dying(*args, really=really, count=count, at=at, **kwargs):
                    if next(count) == at:
                        os.kill(os.getpid(), number)
                    return really(*args, **kwargs)

                setattr(os, call, dying)
                try:
                    os._exit(40 + kitpace(*words)[0])
                finally:
                    os._exit(99)
            end = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
            assert end in {-number, 40}, (call, at, end)
            for name, content in zip(names, held(folder, names), strict=True):
                if content is not None:
                    assert len(content) > 50, name
                    assert not name.endswith(".html") or content.rstrip().endswith(b"</html>")
                (folder / name).unlink(missing_ok=True)
            if number != signal.SIGKILL:
                assert not strays(folder), (call, at)
            if end == 40:
                break
