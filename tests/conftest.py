"""Settings of all tests."""

from __future__ import annotations

from hypothesis import settings

# A machine that does other things as well is no finding.
settings.register_profile("kitpace", deadline=None)
settings.load_profile("kitpace")
