"""A hang is a failure: every test here has its time."""

from __future__ import annotations

import signal

import pytest

_LONGEST = 120  # s of wall clock, on a machine that does other things as well
_LONGEST_LONG = 1200


@pytest.fixture(autouse=True)
def no_hang(request):
    if not hasattr(signal, "SIGALRM"):
        yield
        return

    def late(_number, _frame):
        pytest.fail("it hangs", pytrace=True)

    before = signal.signal(signal.SIGALRM, late)
    signal.alarm(_LONGEST_LONG if request.node.get_closest_marker("long") else _LONGEST)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)
