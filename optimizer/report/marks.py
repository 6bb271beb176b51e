"""What every file of a kind holds near its beginning when kitpace wrote it."""

from __future__ import annotations

__all__ = ["FIT", "GPX", "JSON", "PAGE", "SEASON_JSON", "TABLES", "XLSX"]

PAGE = b'<meta name="generator" content="kitpace">'
JSON = b'"schema": "kitpace-result-'
FIT = b"kitpace\0"
GPX = b'creator="kitpace"'
SEASON_JSON = b'"schema": "kitpace-season-'
TABLES = {"card": b"line,place,what_comes,start_km", "batch": b"case,course,rider,forecast",
          "season": b"rider,race,date,time_s,saved_s"}
XLSX = b"written by kitpace"
