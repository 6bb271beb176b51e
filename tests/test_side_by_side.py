"""Stages on two cores: the same results, errors and progress as one after another; no orphans."""

from __future__ import annotations

import multiprocessing
import os
import signal
import subprocess
import sys
import threading
import time
from dataclasses import replace

import numpy as np
import pytest

from optimizer.errors import InputError
from optimizer.job import Options, run
from optimizer.report.plan_page import plan_page
from optimizer.report.result_json import json_text
from optimizer.scenario import read_scenario
from optimizer.side_by_side import resting_at_forks, side_by_side

CAN_FORK = sys.platform == "linux"
# A browser that other tests in this process use may keep a thread.
pytestmark = pytest.mark.filterwarnings("ignore:.*fork:DeprecationWarning")
needs_fork = pytest.mark.skipif(not CAN_FORK, reason="forks on Linux only")


@pytest.fixture
def cores(monkeypatch):
    """Say how many cores may be used; threads of the tests' own tools do not count."""
    every, others = threading.active_count, threading.active_count() - 1
    monkeypatch.setattr(threading, "active_count", lambda: every() - others)

    def allow(count):
        monkeypatch.setattr(os, "sched_getaffinity", lambda _pid: set(range(count)),
                            raising=False)

    return allow


def processes(stages, progress=lambda _words: None):
    """Processes that stages ran in, where each returns its own."""
    return set(side_by_side(stages, progress))


def here():
    time.sleep(0.05)  # long enough for the other process to take one as well
    return os.getpid()


@pytest.mark.parametrize("count", [1, 2])
def test_results_come_in_the_order_of_the_stages(cores, count):
    cores(count)
    stages = {str(k): lambda k=k: np.arange(k) for k in range(20)}
    found = side_by_side(stages)
    assert [len(one) for one in found] == list(range(20))


@needs_fork
def test_two_cores_are_both_used_and_one_is_not_forked_on(cores):
    cores(2)
    assert len(processes({str(k): here for k in range(10)})) == 2
    cores(1)
    assert processes({str(k): here for k in range(3)}) == {os.getpid()}


@needs_fork
def test_a_process_of_a_pool_starts_none_of_its_own(cores):
    cores(2)
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        worker, found = pool.apply(_in_a_worker)
    assert worker != os.getpid()
    assert found == {worker}


def _in_a_worker():
    return os.getpid(), processes({str(k): here for k in range(4)})


def test_for_one_stage_or_none_nothing_is_forked(cores, monkeypatch):
    cores(2)
    monkeypatch.setattr(os, "fork", lambda: pytest.fail("forked"), raising=False)
    assert side_by_side({}) == []
    assert side_by_side({"alone": here}) == [os.getpid()]


@needs_fork
def test_stages_within_stages_start_no_third_process(cores):
    cores(2)
    inner = {str(k): here for k in range(4)}
    for found in side_by_side({str(k): lambda: processes(inner) for k in range(4)}):
        assert len(found) == 1


@needs_fork
def test_nothing_is_forked_while_another_thread_is_alive(cores):
    cores(2)
    done = threading.Event()
    other = threading.Thread(target=done.wait)
    other.start()
    try:
        assert processes({str(k): here for k in range(4)}) == {os.getpid()}
    finally:
        done.set()
        other.join()
    # Nor from a thread that is not the first one.
    found = []
    other = threading.Thread(target=lambda: found.append(processes({"a": here, "b": here})))
    other.start()
    other.join()
    assert found == [{os.getpid()}]


@needs_fork
def test_what_shows_progress_rests_while_the_process_is_forked(cores):
    cores(2)
    done, speaker = threading.Event(), []

    def start():
        done.clear()
        speaker.append(threading.Thread(target=done.wait))
        speaker[-1].start()

    def stop():
        done.set()
        speaker[-1].join()

    start()
    with resting_at_forks(stop, start):
        assert len(processes({str(k): here for k in range(10)})) == 2
    assert len(speaker) == 2
    assert speaker[-1].is_alive()
    stop()


@pytest.mark.parametrize("count", [1, 2])
def test_the_error_is_that_of_the_first_stage_that_fails(cores, count):
    cores(count)

    def slow():
        time.sleep(0.1)
        raise InputError("kit.csv", "row 3", "no number", "write 120")

    def quick():
        raise ZeroDivisionError

    for _ in range(3):
        with pytest.raises(InputError, match=r"kit\.csv, row 3") as caught:
            side_by_side({"a": here, "b": slow, "c": quick, "d": quick})
        assert caught.traceback[-1].name == "slow"  # as it was raised, not as it was sent


@needs_fork
@pytest.mark.parametrize("end", [signal.SIGKILL, signal.SIGTERM])
def test_what_a_process_that_the_system_ends_had_to_do_is_done_again(cores, end):
    cores(2)
    first = os.getpid()

    def fatal():
        time.sleep(0.05)
        if os.getpid() != first:
            os.kill(os.getpid(), end)
        return 7

    assert side_by_side({str(k): fatal for k in range(4)}) == [7] * 4


@needs_fork
def test_a_result_that_cannot_be_sent_is_computed_here(cores):
    cores(2)
    found = side_by_side({str(k): lambda: (here(), threading.Lock()) for k in range(4)})
    assert {pid for pid, _ in found} == {os.getpid()}


@pytest.mark.parametrize("count", [1, 2])
def test_progress_names_stages_in_their_order(cores, count):
    cores(count)
    said = []
    side_by_side({f"stage {k}": here for k in range(6)}, said.append)
    ours = [words for words in said if words.startswith("stage")]
    assert ours == sorted(ours)
    assert ours[0] == "stage 0" or count == 2
    assert len(ours) == 6 or count == 2


PROGRAM = """
import os, signal, sys, time
signal.signal(signal.SIGINT, signal.default_int_handler)  # also where started in the background
from optimizer.side_by_side import side_by_side

def work():
    os.write(1, f"{os.getpid()}\\n".encode())
    time.sleep(60)

side_by_side({"a": work, "b": work})
"""


@needs_fork
@pytest.mark.skipif(CAN_FORK and len(os.sched_getaffinity(0)) < 2, reason="needs two cores")
@pytest.mark.parametrize("end", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_stopping_the_first_process_alone_leaves_no_orphan(end):
    with subprocess.Popen([sys.executable, "-c", PROGRAM], stdout=subprocess.PIPE,
                          stderr=subprocess.PIPE, text=True) as program:
        pids = {int(program.stdout.readline()) for _ in range(2)}
        assert len(pids) == 2
        os.kill(program.pid, end)
        # Whoever is left keeps the pipes open for a minute.
        _, said = program.communicate(timeout=30)
    assert program.returncode != 0
    assert said.count("Traceback") == (end == signal.SIGINT)  # of the first process only


@pytest.mark.ci  # a small race, by the command: tests/hardening/test_determinism.py
def test_a_plan_is_the_same_to_the_last_byte_on_one_core_and_on_two(cores):
    whole = read_scenario("courses/petrel-flats/scenario.toml")
    items = tuple(replace(item, requires=(), excludes=()) for item in whole.catalogue.items[:28])
    job = replace(whole, catalogue=replace(whole.catalogue, items=items, pairs=()),
                  named_sets=(), options=Options(step=300.0, draws=30))
    made = []
    for count in (1, 2):
        cores(count)
        result = run(job)
        made.append((json_text(result), plan_page(result)))
    assert made[0] == made[1]
