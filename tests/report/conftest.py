"""One invented result for all tests of the report."""

from __future__ import annotations

import pytest

from tests.report.made_up import made_up_result


@pytest.fixture(scope="session")
def result():
    return made_up_result()
