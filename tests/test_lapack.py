"""The door to LAPACK gives the routines of the library, without the package about them."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
import scipy.linalg

from optimizer import lapack


def test_a_banded_system_against_the_library():
    rng = np.random.default_rng(3)
    band = np.vstack([4.0 + rng.random(30), rng.uniform(-1.0, 1.0, (2, 30))])
    right = rng.standard_normal((30, 2))
    factor, failed = lapack.dpbtrf(band, lower=1)
    assert failed == 0
    assert factor[0] == pytest.approx(scipy.linalg.cholesky_banded(band, lower=True)[0])
    assert lapack.dpbtrs(factor, right, lower=1)[0] == pytest.approx(
        scipy.linalg.solveh_banded(band, right, lower=True))
    assert lapack.dtbtrs(band[:2], right, uplo="L")[0] == pytest.approx(
        scipy.linalg.solve_banded((1, 0), band[:2], right))


def test_a_matrix_that_is_not_positive_is_told():
    assert lapack.dpbtrf(np.array([[1.0, -1.0]]), lower=1)[1] > 0


@pytest.mark.parametrize("first", ["", "import scipy.linalg\n"])
def test_the_package_works_before_and_after(first):
    done = subprocess.run([sys.executable, "-W", "error", "-c", (
        f"{first}import sys\nimport optimizer.lapack as door\n"
        "print('scipy.linalg' in sys.modules)\n"
        "import scipy.linalg, scipy.linalg.lapack, scipy.optimize\n"
        "assert scipy.linalg._flapack.dpbtrf and door.dpbtrf\n"
        "print(scipy.linalg.solve([[2.0]], [3.0])[0])")],
        capture_output=True, text=True, check=True, timeout=60)
    assert done.stdout.split() == [str(bool(first)), "1.5"]
