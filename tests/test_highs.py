"""HiGHS as everybody here asks for it: silent, on one thread."""

from __future__ import annotations

import subprocess
import sys

import pytest

from optimizer.highs import quiet_highs


def test_it_solves_without_a_word():
    """On standard output below Python, where it would stand among what was asked for."""
    done = subprocess.run([sys.executable, "-c", (
        "import numpy as np\n"
        "from optimizer.kit.labels import _multipliers\n"
        "found = _multipliers(np.array([-1.0, -2.0]), np.ones((1, 2)), np.ones(1), np.ones(2))\n"
        "print(float(found[0]))")], capture_output=True, text=True, check=True, timeout=60)
    assert 1.0 <= float(done.stdout) <= 2.0
    assert done.stderr == ""


@pytest.mark.parametrize("option", [{"no_such_option": 1}, {"solver": 7}])
def test_an_option_that_it_does_not_take_is_not_passed_over(option):
    with pytest.raises(ValueError, match="HiGHS has no option"):
        quiet_highs(**option)
