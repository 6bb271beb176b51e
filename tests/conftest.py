"""Settings of all tests."""

from __future__ import annotations

import contextlib
import gc
import os

# A worker of the tests has one core, on which more threads of the linear algebra wait for each
# other: a sixth of the processor's time. Read when numpy is imported, so it stands first.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest
from hypothesis import settings

# The wheels of eccodes carry a PROJ of their own and load it for the whole process; pyproj, which
# only tests use, then mixes it with its own and ends in a crash, unless it was there first.
with contextlib.suppress(ImportError):
    import pyproj  # noqa: F401

# A machine that does other things as well is no finding.
settings.register_profile("kitpace", deadline=None)
settings.load_profile("kitpace")


def pytest_collection_finish():
    """Leave what collection made out of every later look for garbage: it lives to the end."""
    gc.collect()
    gc.freeze()


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Share the tests out in long pieces, so that few modules are prepared by two workers."""
    if config.getoption("dist") != "load":  # somebody asked for another way
        return None
    from xdist.scheduler import WorkStealingScheduling

    return WorkStealingScheduling(config, log)
