"""Where cases are computed: this machine's processes, and a Dask scheduler by address."""

from __future__ import annotations

import contextlib
import os
import platform
import re
import socket
import subprocess
import sys
import time
from concurrent.futures import CancelledError
from pathlib import Path

import pytest

from optimizer.batch import run as engine
from optimizer.batch import run_batch
from optimizer.batch.workers import Cluster, cluster, cores, processes
from optimizer.errors import InputError
from optimizer.scenario.batch_file import read_batch
from optimizer.scenario.starter import write_starter
from tests.batch.stand_in import answer


def test_a_worker_computes_on_one_thread():
    with processes(1) as pool:
        assert pool.submit(os.getenv, "OMP_NUM_THREADS").result() == "1"
    assert 1 <= cores() <= (os.cpu_count() or 1)


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="a setting of the GNU C library")
def test_a_worker_of_dask_keeps_the_memory_of_one_array_for_the_next():
    code = """
import resource
import numpy as np
from optimizer.batch.case import keep_memory
def pages():
    before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
    for _ in range(100):
        np.ones(100_000)
    return resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before
pages()
first = pages()
keep_memory()
pages()
print(first, pages())
"""
    told = {**os.environ, "MALLOC_TRIM_THRESHOLD_": "65536"}  # as dask worker tells its processes
    done = subprocess.run([sys.executable, "-c", code], env=told, capture_output=True, text=True,
                          check=True, timeout=60)
    before, after = map(int, done.stdout.split())
    assert before > 100 * 100  # 800 kB are about 200 pages of 4 kB, each time
    assert after < 500


def test_a_scheduler_that_is_not_there_is_a_clear_refusal():
    pytest.importorskip("distributed")
    with pytest.raises(InputError, match="no scheduler answers"), cluster("tcp://127.0.0.1:9", 0.5):
        pass
    with pytest.raises(InputError, match="not the address"), cluster("bananas://x", 0.5):
        pass


def test_a_port_that_never_answers_is_refused_in_time():
    pytest.importorskip("distributed")
    with socket.socket() as mute:
        mute.bind(("127.0.0.1", 0))
        mute.listen(5)
        port = mute.getsockname()[1]
        with (pytest.raises(InputError, match="no scheduler answers"),
              cluster(f"tcp://127.0.0.1:{port}", 0.5)):
            pass


def test_trouble_is_told_only_when_nobody_has_come_for_long():
    counts = iter([2, 0, 1, 0, OSError(), 0])

    def threads():
        found = next(counts)
        if isinstance(found, Exception):
            raise found
        return found

    calm = Cluster(None, threads, 1000.0)
    assert [calm.trouble() for _ in range(3)] == ["", "", ""]
    calm._patience = -1.0
    assert "no workers" in calm.trouble()
    assert "does not answer" in calm.trouble()
    with pytest.raises(CancelledError):
        calm.submit(print)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs a process that can be killed")
def test_workers_end_with_the_process_that_started_them():
    code = """
import os, time
from optimizer.batch.workers import processes
if __name__ == "__main__":
    pool = processes(2)
    print(*{pool.submit(os.getpid).result(), pool.submit(os.getpid).result()}, flush=True)
    pool.submit(time.sleep, 600)
    time.sleep(600)
"""
    parent = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True)
    workers = [int(word) for word in parent.stdout.readline().split()]
    assert workers
    parent.kill()
    parent.communicate(timeout=60)
    until = time.monotonic() + 60.0
    while any(alive(pid) for pid in workers):
        assert time.monotonic() < until, "a worker goes on without its parent"
        time.sleep(0.1)


def alive(pid):
    try:
        os.kill(pid, 0)
        return "Z" not in Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    except OSError:
        return False


FAULTS = {"the worker": "no workers any more", "the scheduler": "cluster lost it|not answer"}


@pytest.mark.long
@pytest.mark.parametrize("what", FAULTS)
def test_a_cluster_that_is_killed_ends_the_batch_with_words_and_an_index(tmp_path, what):
    pytest.importorskip("distributed")
    file = squad(tmp_path, "[0, 100]")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        address = f"tcp://127.0.0.1:{free.getsockname()[1]}"

    def start(kind, *words):
        return subprocess.Popen([sys.executable, "-m", f"distributed.cli.dask_{kind}", *words],
                                stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)

    scheduler = start("scheduler", "--host", address, "--no-dashboard")
    worker = start("worker", address, "--nthreads", "1", "--no-nanny", "--no-dashboard")
    try:
        until = time.monotonic() + 60.0
        while True:
            with contextlib.suppress(InputError), cluster(address, 2.0, 5.0) as (pool, threads):
                (worker if what == "the worker" else scheduler).kill()
                outcomes = run_batch(read_batch(file), tmp_path / "out",
                                     lambda _count, pool=pool: contextlib.nullcontext(pool),
                                     threads)
                break
            assert time.monotonic() < until, "no cluster came up"
    finally:
        for process in (scheduler, worker):
            process.kill()
            process.wait(timeout=60)
    assert len(outcomes) == 2
    assert all(re.search(FAULTS[what], one.failure) for one in outcomes), outcomes


def squad(folder, budgets):
    write_starter(folder / "race")
    file = folder / "squad.toml"
    file.write_text(f'scenarios = ["race/scenario.toml"]\nbudgets = {budgets}\n')
    return file


@pytest.mark.long
def test_two_workers_of_a_cluster(tmp_path, monkeypatch):
    distributed = pytest.importorskip("distributed")
    monkeypatch.setattr(engine, "plan_case", answer)
    file = squad(tmp_path, "[0, 17, 100, 19, 200]")
    with (distributed.LocalCluster(n_workers=2, threads_per_worker=1, host="127.0.0.1",
                                   dashboard_address=None) as local,
          cluster(local.scheduler_address) as (executor, threads)):
        assert threads == 2
        outcomes = run_batch(read_batch(file), tmp_path / "out",
                             lambda _count: contextlib.nullcontext(executor), threads)
    assert [one.finish_time for one in outcomes] == [3600, 0, 3700, 0, 3800]
    assert "the brook is in flood" in outcomes[1].failure
    assert "ZeroDivisionError" in outcomes[3].failure
    assert (tmp_path / "out" / outcomes[0].folder / "report.html").is_file()
