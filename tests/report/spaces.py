"""What a reader sees of a page, and where a line may end between a number and its unit."""

from __future__ import annotations

import re
from html.parser import HTMLParser

__all__ = ["loose_units"]

_UNIT = (r"(?:W/kg|W|kW|kJ|J|km/h|m/s|m/s²|km|cm|mm|m|m²|kg/m³|kg|g|s|ms|min|h|%|°C|hPa|N|MB|EUR"
         r"|CHF|GBP)")
_LOOSE = re.compile(rf"(?<![\w.,:])\d(?:[\d.,:]*\d)? {_UNIT}(?![\w/²³])")
_UNSEEN = {"script", "style", "option", "textarea"}


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.unseen = 0

    def handle_starttag(self, tag, _attrs):
        self.unseen += tag in _UNSEEN

    def handle_endtag(self, tag):
        self.unseen -= tag in _UNSEEN

    def handle_data(self, data):
        if not self.unseen:
            self.texts.append(data)


def loose_units(page: str) -> list[str]:
    """Numbers of a page that a line end may part from their units."""
    reader = _Reader()
    reader.feed(page)
    return [found[0] for text in reader.texts for found in _LOOSE.finditer(text)]
