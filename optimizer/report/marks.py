"""What every file of a kind holds near its beginning when kitpace wrote it."""

from __future__ import annotations

__all__ = ["FIT", "GPX", "JSON", "PAGE", "TABLES", "XLSX"]

PAGE = b'<meta name="generator" content="kitpace">'
JSON = b'"schema": "kitpace-result-'
FIT = b"kitpace\0"
GPX = b'creator="kitpace"'
TABLES = {"card": b"line,place,what_comes,start_km", "batch": b"case,course,rider,forecast"}
XLSX = b"written by kitpace"
