"""Where cases are computed: this machine's processes, and a Dask scheduler by address."""

from __future__ import annotations

import contextlib
import os

import pytest

from optimizer.batch import run as engine
from optimizer.batch import run_batch
from optimizer.batch.workers import cluster, cores, processes
from optimizer.errors import InputError
from optimizer.scenario.batch_file import read_batch
from optimizer.scenario.starter import write_starter
from tests.batch.stand_in import answer


def test_a_worker_computes_on_one_thread():
    with processes(1) as pool:
        assert pool.submit(os.getenv, "OMP_NUM_THREADS").result() == "1"
    assert 1 <= cores() <= (os.cpu_count() or 1)


def test_a_scheduler_that_is_not_there_is_a_clear_refusal():
    pytest.importorskip("distributed")
    with pytest.raises(InputError, match="no scheduler answers"), cluster("tcp://127.0.0.1:9", 0.5):
        pass
    with pytest.raises(InputError, match="no scheduler answers"), cluster("bananas://x", 0.5):
        pass


@pytest.mark.long
def test_two_workers_of_a_cluster(tmp_path, monkeypatch):
    distributed = pytest.importorskip("distributed")
    monkeypatch.setattr(engine, "plan_case", answer)
    write_starter(tmp_path / "race")
    file = tmp_path / "squad.toml"
    file.write_text('scenarios = ["race/scenario.toml"]\nbudgets = [0, 17, 100, 19, 200]\n')
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
