"""kitpace: pacing and equipment choice for time trials, with a certified bound."""

__version__ = "0.1.0"
