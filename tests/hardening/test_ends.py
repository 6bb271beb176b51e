"""How a run ends: its words, its exit code, and what is left on the disk."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.hardening.corpus import KIT, race
from tests.later import later

posix = pytest.mark.skipif(os.name != "posix", reason="signals and streams of POSIX")
START = [sys.executable, "-m", "optimizer"]


def shell(line, **kwargs):
    return subprocess.run(["bash", "-c", line.replace("kitpace", " ".join(START))], text=True,
                          capture_output=True, timeout=120, check=False, **kwargs)


@pytest.fixture
def scenario(tmp_path):
    return race(tmp_path, kit=KIT)


@posix
@pytest.mark.parametrize("stdout", [
    ">&-", *later(">/dev/full", "| true; exit ${PIPESTATUS[0]}")])
def test_words_that_nobody_can_hear_are_said_to_be_lost(scenario, stdout):
    done = shell(f"kitpace plan {scenario} --json {scenario.parent}/plan.json {stdout}")
    assert done.returncode == 1
    assert "standard output cannot be written" in done.stderr
    assert "Traceback" not in done.stderr
    assert "Exception" not in done.stderr
    assert scenario.with_name("report.html").read_text().rstrip().endswith("</html>")
    assert scenario.with_name("plan.json").read_text().rstrip().endswith("}")


@posix
@pytest.mark.parametrize("streams", [
    "<&- >&- 2>&-", *later(">/dev/full 2>/dev/full", ">&- 2>&-", ">/dev/full 2>&-")])
def test_no_stream_at_all_is_an_exit_code_and_a_whole_report(scenario, streams):
    done = shell(f"kitpace plan {scenario} {streams}")
    assert done.returncode == 1
    assert scenario.with_name("report.html").read_text().rstrip().endswith("</html>")


@posix
def test_a_closed_stream_never_becomes_a_file(scenario):
    # Whatever prints to number 1 would write into the file that is opened next.
    done = shell(f"kitpace plan {scenario} <&- >&- && exit 5; cat {scenario.parent}/report.html")
    assert done.stdout.startswith("<!doctype html>")
    assert "Report:" not in done.stdout


@pytest.mark.parametrize("words", [["--help"], ["plan", "--help"], ["--version"],
                                   ["convert", "'30 g @ 45 km/h'"]])
@posix
def test_a_full_output_is_noticed_by_every_command(words):
    done = shell(f"kitpace {' '.join(words)} >/dev/full")
    assert done.returncode == 1
    assert "cannot be written" in done.stderr


def test_what_a_solver_prints_is_none_of_our_words():
    code = """
import os, sys
import optimizer.cli as cli
def command(*_args, **_kwargs):
    os.write(1, b"WARNING: of a solver\\n")
    print("our own")
cli.group.main = command
cli.main()
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True,
                          timeout=60, check=True)
    assert done.stdout == "our own\n"
    assert done.stderr == ""


@posix
@pytest.mark.ci
def test_python_without_docstrings_works_all_the_same(scenario):
    setting = {**os.environ, "PYTHONOPTIMIZE": "2"}
    done = shell(f"kitpace plan {scenario} --budget 600", env=setting)
    assert done.returncode == 0, done.stderr
    assert "Find the fastest plan" in shell("kitpace plan --help", env=setting).stdout


@posix
@pytest.mark.parametrize("after", [0.3, 0.6, *later(0.9, 1.2, 2.0)])
def test_a_stop_at_any_time_is_one_word(scenario, after):
    run = subprocess.Popen([*START, "plan", str(scenario)], text=True, stdout=subprocess.PIPE,
                           stderr=subprocess.PIPE)
    time.sleep(after)
    run.send_signal(signal.SIGINT)
    said = run.communicate(timeout=60)[1]
    if run.returncode:  # 130 for a shell in either case
        assert run.returncode in {130, -signal.SIGINT}
        assert said.strip() == "stopped"


@pytest.mark.parametrize("module", [
    "click", "numpy", "pydantic", *later("highspy", "pandas")])
def test_a_stop_during_an_import_is_one_word(scenario, module):
    code = f"""
import sys
class Stopping:
    def find_spec(self, name, *_):
        if name == {module!r}:
            raise KeyboardInterrupt
sys.meta_path.insert(0, Stopping())
from optimizer.__main__ import main
main()
"""
    done = subprocess.run([sys.executable, "-c", code, "plan", str(scenario), "--budget", "600"],
                          capture_output=True, text=True, timeout=60, check=False)
    if module != "pandas" or done.returncode:
        assert done.returncode in {130, -signal.SIGINT}
        assert done.stderr.strip() == "stopped"


@posix
@pytest.mark.parametrize("number", [signal.SIGTERM, *later(signal.SIGHUP)])
def test_a_signal_in_the_middle_of_writing_leaves_no_temporary_file(scenario, number):
    scenario.with_name("report.html").write_text('<meta name="generator" content="kitpace">old')
    code = f"""
import os, signal
really = os.fsync
def fsync(handle):
    really(handle)
    os.kill(os.getpid(), {int(number)})
os.fsync = fsync
signal.signal({int(number)}, signal.SIG_DFL)  # a suite in the background may ignore it
from optimizer.cli import main
main()
"""
    done = subprocess.run([sys.executable, "-c", code, "plan", str(scenario)], text=True,
                          capture_output=True, timeout=100, check=False,
                          env={**os.environ, "XDG_CACHE_HOME": str(scenario.parent / "cache")})
    assert done.returncode == -number
    assert not [path for path in scenario.parent.rglob(".*") if path.is_file()]
    assert scenario.with_name("report.html").read_text().endswith("old")


NAMES = {"300 characters": b"x" * 300, "not UTF-8": b"\xff\xfe.toml", "no folder": b"no/s.toml",
         "deep": b"d/" * 3000 + b"s.toml", "control": b"\x1b[31m.toml", "newline": b"a\nb.toml",
         "an option": b"-.toml", "long path": b"y" * 200 + b"/" + b"y" * 200}
COMMANDS = [("plan",), ("kit",), ("compare",), ("rider",), ("course",), ("worth",), ("batch",),
            ("fieldtest", "--mass", "80"), ("debrief", "x.toml"), ("plan", "--against"),
            ("cables", "4 x 5 mm x 300 mm", "--rider"), ("worth", "--priors")]


@posix
@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("words", COMMANDS)
def test_any_name_of_a_file_is_read_or_refused(tmp_path, words, name):
    from tests.hardening.corpus import kitpace

    path = os.fsdecode(os.fsencode(tmp_path) + b"/" + NAMES[name])
    code, said = kitpace(*words, path)
    assert code in {2, 3}
    assert said


@posix
@pytest.mark.ci
def test_a_scenario_in_a_folder_whose_name_is_not_utf_8_is_planned(tmp_path):
    folder = Path(os.fsdecode(os.fsencode(tmp_path) + b"/caf\xe9"))
    folder.mkdir()
    scenario = race(folder)
    run = subprocess.run([*START, "plan", str(scenario), "--json", str(scenario.parent / "p.json"),
                          "--card", str(scenario.parent / "c.gpx")], capture_output=True,
                         timeout=100, check=False)
    assert run.returncode == 0, run.stderr
    assert scenario.with_name("report.html").stat().st_size > 10_000
    run = subprocess.run([*START, "course", str(scenario.with_name("course.gpx"))],
                         capture_output=True, timeout=100, check=False)
    assert run.returncode == 0, run.stderr
