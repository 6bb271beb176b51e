"""Settings of all tests."""

from __future__ import annotations

import contextlib

from hypothesis import settings

# The wheels of eccodes carry a PROJ of their own and load it for the whole process; pyproj, which
# only tests use, then mixes it with its own and ends in a crash, unless it was there first.
with contextlib.suppress(ImportError):
    import pyproj  # noqa: F401

# A machine that does other things as well is no finding.
settings.register_profile("kitpace", deadline=None)
settings.load_profile("kitpace")
