"""The card: the blocks to ride on a slip for pocket or top tube, as HTML, GPX or CSV."""

from __future__ import annotations

import csv
import io
import math
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from markupsafe import Markup

from optimizer.errors import InputError
from optimizer.files import write_atomic
from optimizer.report.page import asset, bare
from optimizer.report.spreadsheet import harmless
from optimizer.report.words import clock, place_words

if TYPE_CHECKING:
    from optimizer.job import Result
    from optimizer.pacing import RideablePlan

__all__ = ["card_csv", "card_fragment", "card_gpx", "card_page", "card_text", "hill_rules",
           "write_card"]


def write_card(result: Result, path: Path | str, *, change: str = "") -> Path:
    """Write the card as `card_text` gives it. Raises InputError as that does."""
    return write_atomic(path, card_text(result, path, change=change))


def card_text(result: Result, path: Path | str, *, change: str = "") -> str:
    """Give the card; the suffix of `path` says how: .html, .gpx or .csv.

    `change` is a sentence on what differs from an earlier plan; it stands on the HTML card.
    Raises InputError for another suffix, or for GPX without coordinates.
    """
    suffix = Path(path).suffix.lower()
    if suffix in {".html", ".htm"}:
        return card_page(result, change=change)
    if suffix == ".csv":
        return "\ufeff" + card_csv(result)
    if suffix == ".gpx":
        course = result.job.course
        if not (np.ptp(course.latitude) or np.ptp(course.longitude)):
            raise InputError(str(path), "", "a GPX card needs a course with coordinates",
                             "write the card as .html or .csv")
        return card_gpx(result)
    raise InputError(str(path), "", f"no card can be written as '{suffix or 'no suffix'}'",
                     "end the name in .html, .gpx or .csv")


def card_page(result: Result, *, change: str = "") -> str:
    """Give the card as a page of its own."""
    return bare(f"Card for {result.job.rider.name}, {result.job.course.name}",
                _slip(result, change), asset("card.css") + asset("card_page.css"))


def card_fragment(result: Result) -> Markup:
    """Give the card within the report; its script adds the buttons to print and save it."""
    return Markup('<figure id="card" aria-labelledby="card-h"><figcaption><h3 id="card-h">The card'
                  "</h3></figcaption>{}</figure>").format(_slip(result, ""))


def hill_rules(blocks: RideablePlan) -> list[tuple[str, float]]:
    """Where the road is how steep, and the watts to add there to any block's power."""
    rules = []
    for hill in blocks.hills:
        if hill.extra == 0.0:
            continue
        low, high = sorted((abs(hill.low), abs(hill.high)))
        way = "rising" if hill.low >= 0 else "falling"
        if hill.low < 0 < hill.high:
            words = "about level"
        elif math.isinf(high):
            words = f"{way} more than {100 * low:g} %"
        else:
            words = f"{way} {100 * low:g} to {100 * high:g} %"
        rules.append((words, hill.extra))
    return rules


def _extra(watts: float) -> str:
    return f"{watts:+.0f}".replace("-", "−")


def _slip(result: Result, change: str) -> Markup:
    """Set blocks with places, watts and the time on the clock where each begins."""
    job, ridden, at = result.job, result.rideable, _clock_at(result)
    blocks = ridden.blocks
    several = len({block.position for block in blocks}) > 1
    rows = Markup("").join(
        Markup('<tr><td class="km">{}</td><td class="where">{}{}</td><td class="w">{}</td>'
               '<td class="t">{}</td></tr>').format(
            f"{block.start / 1000:.1f}", place_words(block.place),
            Markup(" <i>{}</i>").format(block.position) if several else "",
            f"{block.power:.0f}", clock(start))
        for block, start in zip(blocks, at, strict=False))
    end = Markup('<tr class="end"><td class="km">{}</td><td class="where">finish</td>'
                 '<td class="w"></td><td class="t">{}</td></tr>').format(
        f"{job.course.length / 1000:.1f}", clock(at[-1]))
    note = Markup("<p>{}</p>").format(change) if change else ""
    rules = Markup("").join(Markup("<li>{} <b>{}</b></li>").format(words, _extra(extra))
                            for words, extra in hill_rules(ridden))
    hills = Markup('<p>add to the watts where it is</p><ul class="hills">{}</ul>').format(
        rules) if rules else ""
    return Markup(
        '<div class="card"><p class="who">{} <b>{}</b></p>{}'
        '<table><thead><tr><th scope="col">km</th><th scope="col">from here</th>'
        '<th scope="col">watts</th><th scope="col">clock</th></tr></thead>'
        "<tbody>{}{}</tbody></table>{}<p>Ride by what you see: law, marshals and the road come "
        "first.</p></div>").format(job.course.name, clock(at[-1]), note, rows, end, hills)


def _clock_at(result: Result) -> list[float]:
    """Elapsed seconds where each block begins, and at the finish."""
    edges = [*(block.start for block in result.rideable.blocks), result.job.course.length]
    return [float(t) for t in np.interp(edges, result.plan.distance, result.rideable.time)]


def card_csv(result: Result) -> str:
    """Give the card as CSV: a row a block, then a row a rule of what hills add to its power."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(["block", "place", "start_km", "end_km", "power_w", "position", "elapsed_s",
                     "elapsed"])
    for k, (block, start) in enumerate(zip(result.rideable.blocks, _clock_at(result),
                                           strict=False), 1):
        writer.writerow([k, harmless(place_words(block.place)), f"{block.start / 1000:.3f}",
                         f"{block.end / 1000:.3f}", f"{block.power:g}",
                         harmless(block.position), f"{start:.1f}", clock(start)])
    for words, extra in hill_rules(result.rideable):
        writer.writerow(["hills", words, "", "", f"{extra:+g}", "", "", ""])
    return out.getvalue()


def card_gpx(result: Result) -> str:
    """Give the course as GPX 1.1 with a waypoint where each block begins and at each mark."""
    from gpxpy import gpx

    course, blocks = result.job.course, result.rideable
    out = gpx.GPX()
    out.creator = "kitpace"
    out.name = _printable(f"{course.name}: {clock(blocks.finish_time)}")
    rules = [f"{_extra(extra)} W {words}" for words, extra in hill_rules(blocks)]
    out.description = _printable("; ".join(
        [f"Plan for {result.job.rider.name}, {len(blocks.blocks)} blocks", *rules]))

    def waypoint(distance: float, name: str, words: str, kind: str) -> None:
        latitude, longitude, height = (
            float(np.interp(distance, course.distance, values))
            for values in (course.latitude, course.longitude, course.elevation))
        out.waypoints.append(gpx.GPXWaypoint(
            round(latitude, 6), round(longitude, 6), elevation=round(height, 1),
            name=_printable(name), description=_printable(words), type=kind))

    for block, start in zip(blocks.blocks, _clock_at(result), strict=False):
        words = (f"{block.power:.0f} W from {place_words(block.place)}, "
                 f"{block.start / 1000:.1f} km, to {block.end / 1000:.1f} km; clock {clock(start)}")
        waypoint(block.start, f"{block.power:.0f} W", words, "block")
    for mark in course.marks:
        elapsed = float(np.interp(mark.distance, result.plan.distance, blocks.time))
        waypoint(mark.distance, mark.name, f"{mark.distance / 1000:.1f} km; clock {clock(elapsed)}",
                 "mark")
    segment = gpx.GPXTrackSegment([
        gpx.GPXTrackPoint(round(float(a), 6), round(float(b), 6), elevation=round(float(h), 1))
        for a, b, h in zip(course.latitude, course.longitude, course.elevation, strict=True)])
    out.tracks.append(gpx.GPXTrack(name=_printable(course.name)))
    out.tracks[0].segments.append(segment)
    return str(out.to_xml(version="1.1"))


def _printable(text: str) -> str:
    """Text without the control characters that XML does not allow."""
    return "".join(c for c in text if c.isprintable() or c == "\n")
