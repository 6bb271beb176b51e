"""Cells that go into a spreadsheet: text from a file must not become a formula there."""

from __future__ import annotations

__all__ = ["harmless"]

# `page.js` has the same, but lets signed numbers pass: its tables hold more than names.
_FORMULA = tuple("=+-@\t\r\n＝＋－＠|%")


def harmless(cell: str) -> str:
    """Cell that no spreadsheet takes for a formula: with an apostrophe where it might."""
    return f"'{cell}" if cell.lstrip(" \u00a0'\"").startswith(_FORMULA) else cell
