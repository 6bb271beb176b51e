"""Recorded rides: field tests and debriefs."""
