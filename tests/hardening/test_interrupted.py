"""A run that is killed, stopped or out of room leaves the old report whole."""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
import textwrap
import time

import pytest

from optimizer.errors import InputError
from optimizer.files import write_atomic
from tests.hardening.corpus import kitpace, race
from tests.later import later

OLD = '<meta name="generator" content="kitpace"><p>the old report</p>'


def run_with(prelude, *words):
    """Run kitpace in a process of its own, behind a few lines that spoil something."""
    # A suite that is started in the background ignores SIGINT, and its children would too.
    code = textwrap.dedent(prelude) + textwrap.dedent("""
        import signal
        import sys
        signal.signal(signal.SIGINT, signal.default_int_handler)
        from optimizer.cli import main
        main()
        """)
    return subprocess.Popen([sys.executable, "-c", code, *map(str, words)], text=True,
                            stdout=subprocess.PIPE, stderr=subprocess.PIPE)


@pytest.fixture
def scenario(tmp_path):
    file = race(tmp_path)
    file.with_name("report.html").write_text(OLD)
    return file


def test_killed_in_the_middle_of_writing(scenario):
    # The process ends by SIGKILL when half of the report is in the temporary file.
    done = run_with("""
        import io, os, signal
        class Dying(io.FileIO):
            def write(self, data):
                if bytes(data[:9]) != b"<!doctype":  # a course for the cache
                    return super().write(data)
                super().write(data[:len(data) // 2])
                os.fsync(self.fileno())
                os.kill(os.getpid(), signal.SIGKILL)
        os.fdopen = lambda handle, *_, **__: Dying(handle, "wb")
        """, "plan", scenario)
    done.communicate(timeout=100)
    assert done.returncode == -signal.SIGKILL
    assert scenario.with_name("report.html").read_text() == OLD
    left = [path for path in scenario.parent.iterdir() if path.name.startswith(".report")]
    assert len(left) == 1  # nobody could tidy up, but it is no report
    assert left[0].stat().st_size > 10_000
    assert kitpace("plan", scenario)[0] == 0
    assert "Made up" in scenario.with_name("report.html").read_text(encoding="utf-8")


@pytest.mark.parametrize("after", [
    1.0, *later(0.3, 1.5, 3.0)])
def test_killed_at_any_time(scenario, after):
    done = run_with("", "plan", scenario)
    time.sleep(after)
    done.kill()
    done.communicate(timeout=100)
    report = scenario.with_name("report.html").read_text(encoding="utf-8")
    assert report == OLD or report.rstrip().endswith("</html>")


def test_stopped_by_the_user(scenario):
    done = run_with("""
        import importlib, os, signal, time
        job = importlib.import_module("optimizer.job.run")
        assert callable(job.day_and_plan)
        job.day_and_plan = lambda *_, **__: (os.kill(os.getpid(), signal.SIGINT), time.sleep(60))
        """, "plan", scenario)
    _, said = done.communicate(timeout=100)
    assert done.returncode == 130
    assert said.strip() == "stopped"
    assert scenario.with_name("report.html").read_text() == OLD
    assert not [path for path in scenario.parent.iterdir() if path.name.startswith(".")]


def test_no_room_on_the_disk(tmp_path, monkeypatch):
    (tmp_path / "report.html").write_text(OLD)

    def full(handle, *_args, **_kwargs):
        os.close(handle)
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fdopen", full)
    with pytest.raises(InputError, match="No space left"):
        write_atomic(tmp_path / "report.html", "new")
    assert [path.name for path in tmp_path.iterdir()] == ["report.html"]
    assert (tmp_path / "report.html").read_text() == OLD


@pytest.mark.skipif(hasattr(os, "geteuid") and os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_that_may_not_be_written(scenario):
    scenario.parent.chmod(0o500)
    try:
        code, said = kitpace("plan", scenario)
    finally:
        scenario.parent.chmod(0o700)
    assert code == 2
    assert "cannot be written" in said


@pytest.mark.parametrize("place", ["report.html/inside.html", "course.gpx/x.html"])
def test_a_place_that_is_no_folder(scenario, place):
    code, said = kitpace("plan", scenario, "--out", scenario.parent / place)
    assert code == 2
    assert "cannot be written" in said or "is a file" in said


def test_a_failed_run_touches_nothing(scenario):
    scenario.with_name("rider.toml").write_text("mass_kg = 0\n")
    before = {path.name: path.stat().st_mtime_ns for path in scenario.parent.iterdir()}
    code, _ = kitpace("plan", scenario)
    assert code == 2
    assert {path.name: path.stat().st_mtime_ns for path in scenario.parent.iterdir()} == before
