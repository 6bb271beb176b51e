"""The page of `kitpace cables`: exposed parts, what they cost, and a picture to scale."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from markupsafe import Markup

from optimizer.evidence.bluff_body import SLENDERNESS, equal_drag_diameter
from optimizer.evidence.item_ranking import DISTANCE
from optimizer.report.page import Chart, Section, Table, render
from optimizer.report.svg import forest
from optimizer.report.uncertain import NINE_IN_TEN, Mark, amount, plain
from optimizer.report.words import listing

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimizer.evidence.bluff_body import BluffDrag, Run
    from optimizer.evidence.reference import Reference
    from optimizer.report.page import Part

__all__ = ["Exposed", "band", "cables_page", "evidence_row", "factor_near", "lead", "named",
           "rows"]

_STYLE = """
.section { width: 100%; max-width: 36rem; height: auto; margin: .6rem 0 1.2rem; }
.section .line { fill: none; stroke: var(--ink); vector-effect: non-scaling-stroke; }
.section .part { fill: var(--ink); }
.section .shape { fill: var(--plan-band); stroke: var(--plan);
  vector-effect: non-scaling-stroke; }
.section text { fill: var(--ink); font-family: var(--figures); }
"""


@dataclass(frozen=True)
class Exposed:
    """Runs with their drag; `watts` and `seconds` are what a m² of drag area costs the rider.

    `after` is what takes their place (nothing where it is empty), with its drag, and `saved`
    what goes; None where nothing is compared.
    """

    runs: tuple[Run, ...]
    drag: BluffDrag
    reference: Reference
    rider: str
    watts: float
    seconds: float
    after: tuple[Run, ...] | None = None
    after_drag: BluffDrag | None = None
    saved: BluffDrag | None = None


def band(value: float, sd: float) -> tuple[float, float]:
    """90 % range.

    Log-normal with that mean and standard deviation: the uncertainties are factors, and exposed
    parts do not push.
    """
    spread = math.sqrt(math.log1p((sd / value) ** 2)) if value else 0.0
    middle = value * math.exp(-0.5 * spread**2)
    return (middle * math.exp(-NINE_IN_TEN * spread), middle * math.exp(NINE_IN_TEN * spread))


def _either(value: float, sd: float) -> tuple[float, float]:
    """90 % range of a difference, which may be of either sign."""
    return value - NINE_IN_TEN * sd, value + NINE_IN_TEN * sd


def _text(value: float, sd: float, scale: float, digits: int, *, either: bool = False) -> str:
    low, high = _either(value, sd) if either else band(value, sd)
    return f"{plain(low * scale, digits)} to {plain(high * scale, digits)}"


def rows(exposed: Exposed) -> list[tuple[str, str, str, str]]:
    """Rows of what, drag area [m²], watts and seconds, for table and terminal."""
    drag = exposed.drag
    if exposed.saved is not None and exposed.after_drag is not None:
        return [_row(exposed, "Before, near rider and bike", drag.near, drag.near_sd),
                _row(exposed, "After", exposed.after_drag.near, exposed.after_drag.near_sd),
                _row(exposed, "Saved", exposed.saved.near, exposed.saved.near_sd,
                     either=exposed.saved.either_sign)]
    alone = ("If each stood alone", plain(drag.apart, 4),
             plain(drag.apart * exposed.watts, 1), plain(drag.apart * exposed.seconds, 0))
    return [alone, _row(exposed, "In clean air", drag.clean, drag.clean_sd),
            _row(exposed, "Near rider and bike", drag.near, drag.near_sd)]


def _row(exposed: Exposed, name: str, value: float, sd: float, *,
         either: bool = False) -> tuple[str, str, str, str]:
    area, watts, seconds = (
        _text(value, sd, scale, digits, either=either)
        for scale, digits in ((1.0, 4), (exposed.watts, 1), (exposed.seconds, 0)))
    return name, area, watts, seconds


def lead(exposed: Exposed) -> list[str]:
    """Say the answer in sentences."""
    drag, here = exposed.drag, exposed.reference
    what = listing([run.text for run in exposed.runs])
    if exposed.saved is not None and exposed.after is not None:
        drag = exposed.saved
        becomes = listing([run.text for run in exposed.after])
        what = (f"{'Saved' if drag.near >= 0 else 'Lost'} by {becomes} instead of {what}"
                if becomes else f"Saved without {what}")
    near, either = abs(drag.near), drag.either_sign
    said = [(f"{what}: about {plain(near * exposed.watts, 1)} W at "
             f"{here.speed * 3.6:.0f} km/h near rider and bike "
             f"({_text(near, drag.near_sd, exposed.watts, 1, either=either)}), or "
             f"{_text(near, drag.near_sd, exposed.seconds, 0, either=either)} s over 40 km for "
             f"{exposed.rider}.")]
    low, high = exposed.drag.thickness
    if not math.isnan(low) and exposed.after is None:
        first = next(run for run in exposed.runs if run.shape == "round")
        said.append(f"Both across the flow, a streamlined section {low * 1e3:.0f} to "
                    f"{high * 1e3:.0f} mm thick has the drag of one cable of "
                    f"{first.width * 1e3:g} mm: {low / first.width:.0f} to "
                    f"{high / first.width:.0f} times as thick.")
    said += [_section_words(run, here.speed) for run in (*exposed.runs, *(exposed.after or ()))
             if run.shape == "section"]
    change = "The change" if exposed.after else "Hiding them"
    verb = "save" if drag.near >= 0 else "cost"
    return [*said, (f"This is an estimate from first principles, not a test. {change} may {verb} "
                    "less, because the air there is already slowed and mixed.")]


def _section_words(run: Run, speed: float) -> str:
    """Say what a streamlined section is, and the round cable with its drag."""
    low, high = (1e3 * diameter for diameter in equal_drag_diameter(run, speed))
    same = (f"of {low:.1f} mm" if high - low < 0.1 else f"{low:.1f} to {high:.1f} mm thick")
    return (f"The section {run.width * 1e3:g} mm thick on a chord of {run.chord * 1e3:g} mm "
            f"(thickness ratio {run.width / run.chord:.0%}) has the drag of a round cable {same}.")


def named(runs: tuple[Run, ...]) -> str:
    """Say in few words what runs are: 4 cables and 1 bottle."""
    counts: dict[str, int] = {}
    for run in runs:
        word: str = "cable" if run.shape == "round" else run.shape
        word = next((name for name in ("hose", "tube", "wire") if name in run.text.lower()), word)
        counts[word] = counts.get(word, 0) + run.count
    return listing([f"{count} {word}{'s' if count > 1 else ''}" for word, count in counts.items()])


def evidence_row(exposed: Exposed, name: str = "") -> str:
    """Row of an evidence table that says what hiding or changing the parts saves, in clean air.

    Headings: item, figure, test, measured_by, uncertainty, note. The prior for computed figures
    then brings it near rider and bike. The item is `name`, or says what the parts are.
    """
    drag, note = exposed.saved or exposed.drag, "; ".join(run.text for run in exposed.runs)
    item = f"{named(exposed.runs)} hidden".capitalize()
    if exposed.after:
        item = f"{named(exposed.after)} instead of {named(exposed.runs)}"
        note = f"{note}; after: {'; '.join(run.text for run in exposed.after)}"
    verb = "saves" if drag.clean >= 0 else "costs"
    out = io.StringIO()
    csv.writer(out, lineterminator="").writerow([
        name or item, f"{verb} {abs(drag.clean):.5f} m2", "computed", "estimate",
        f"{drag.clean_sd:.5f} m2", f"strip theory: {note}"])
    return out.getvalue()


def factor_near(exposed: Exposed) -> float:
    """Drag near rider and bike as a share of that in clean air; 1 where nothing is exposed."""
    return exposed.drag.near / exposed.drag.clean if exposed.drag.clean else 1.0


def cables_page(exposed: Exposed) -> str:
    """Give the page as HTML."""
    shown: list[Section] = []
    if exposed.after is not None:
        shown = [Section("picture", "What takes their place", [
            _picture(exposed), "To the same scale, seen along the parts."])]
    elif not math.isnan(exposed.drag.thickness[0]):
        shown = [Section("picture", "How thick might it be instead?", [
            _picture(exposed), ("To the same scale, seen along the part: what is exposed, and a "
                                "streamlined section with the drag of one of them (the cautious "
                                "figure).")])]
    return render("What do they cost?", lead(exposed), [
        *shown, Section("how", "How it was found", _how(exposed))], opening=_chart(exposed),
        kicker="Exposed cables, hoses, bottles and plates", style=_STYLE, foot=[
        ("Brake hoses and cables are for a qualified mechanic: too short a hose pulls out when the "
         "bar turns. The rules of the event decide what may be covered or hidden.")])


def _chart(exposed: Exposed) -> Chart:
    drag, watts = exposed.drag, exposed.watts
    speed = f"{exposed.reference.speed * 3.6:.0f} km/h"
    cases = [("near rider and bike", drag.near, drag.near_sd),
             ("in clean air", drag.clean, drag.clean_sd),
             ("if each stood alone", drag.apart, 0.0)]
    if exposed.saved is not None and exposed.after_drag is not None:
        saved, after = exposed.saved, exposed.after_drag
        cases = [("saved", saved.near, saved.near_sd), ("before", drag.near, drag.near_sd),
                 ("after", after.near, after.near_sd)]
    marks: list[Mark] = []
    for name, value, sd in cases:
        either = exposed.saved is not None and exposed.saved.either_sign and name == "saved"
        low, high = _either(value, sd) if either else band(value, sd)
        marks.append(Mark(name, value * watts, low * watts, high * watts, leads=not marks,
                          said=_range_of(low * watts, high * watts)))
    return Chart(
        "watts", f"How many watts at {speed}?", lambda look: forest(
            look, marks, f"W at the wheel at {speed}"),
        Table(("Case", "CdA, m²", f"W at {speed}", f"s over {DISTANCE / 1000:.0f} km"),
              rows(exposed), "Ranges are 90 % ranges", ident="cases"),
        f"{'Saved' if exposed.saved else 'Near rider and bike'} {marks[0].said}.",
        note="Lines are 90 % ranges.")


def _range_of(low: float, high: float) -> str:
    """Say a range of watts, or one figure where nothing is uncertain."""
    ends = plain(low, 1), plain(high, 1)
    return f"{' to '.join(dict.fromkeys(ends))} W"


def _picture(exposed: Exposed) -> Markup:
    """Cross-sections to one scale: before and after, or what is exposed and the equal strut."""
    if exposed.after is not None:
        columns = [("before", [part for run in exposed.runs for part in _sections(run)]),
                   ("after", [part for run in exposed.after for part in _sections(run)])]
        said = (f"Before: {listing([run.text for run in exposed.runs])}. After: "
                f"{listing([run.text for run in exposed.after]) or 'nothing'}.")
    else:
        run = next(run for run in exposed.runs if run.shape == "round")
        thick = exposed.drag.thickness[0]
        columns = [(f"{run.width * 1e3:g} mm", _sections(run)),
                   (f"{1e3 * thick:.0f} mm thick", [_Outline("section", SLENDERNESS * thick,
                                                             thick)])]
        said = (f"{run.count} round of {run.width * 1e3:g} mm beside a streamlined section "
                f"{1e3 * thick:.0f} mm thick")
    return _drawn(columns, said)


@dataclass(frozen=True)
class _Outline:
    """Cross-section of one part: its kind, and its size along and across the flow [m]."""

    kind: str
    along: float
    across: float


_PLATE = 0.002  # m, drawn thickness of a plate across the flow


def _sections(run: Run) -> list[_Outline]:
    along = {"section": run.chord, "plate": _PLATE}.get(run.shape, run.width)
    kind = run.shape if run.shape in ("section", "plate") else "round"
    return run.count * [_Outline(kind, along, run.width)]


def _drawn(columns: Sequence[tuple[str, Sequence[_Outline]]], said: str) -> Markup:
    """Columns of parts below each other, the flow from the left, in millimetres."""
    widths = [1e3 * max((part.along for part in parts), default=0.0) for _, parts in columns]
    heights = [sum(3e3 * part.across if part.kind == "round" and part.across < 0.02 else
                   1.3e3 * part.across for part in parts) for _, parts in columns]
    whole = max(1.5 * sum(widths), 1.5 * max(heights), 40.0)
    size, tall = 0.034 * whole, max(*heights, 0.12 * whole)
    text = Markup('<text x="{:.1f}" y="{:.1f}" font-size="{:.2f}" text-anchor="{}">{}</text>')
    arrow = Markup('<path class="line" d="M0 {y:.1f}h{w:.1f}m-{b:.1f} -{b:.1f}l{b:.1f} {b:.1f}l-'
                   '{b:.1f} {b:.1f}"/>').format(y=tall / 2, w=0.09 * whole, b=0.016 * whole)
    out = [arrow, text.format(0.0, tall / 2 - 0.6 * size, size, "start", "wind")]
    free = 0.86 * whole - sum(widths)
    left = 0.14 * whole
    for (name, parts), width, height in zip(columns, widths, heights, strict=True):
        left += free / (len(columns) + 1)
        top = (tall - height) / 2
        for part in parts:
            gap = 3.0 if part.kind == "round" and part.across < 0.02 else 1.3
            top += 0.5e3 * gap * part.across
            out.append(_outline(part, left + 0.5 * (width - 1e3 * part.along), top))
            top += 0.5e3 * gap * part.across
        if not parts:
            out.append(text.format(left + width / 2, tall / 2, size, "middle", "nothing"))
        out.append(text.format(left + width / 2, tall + 1.2 * size, size, "middle", name))
        left += width
    return Markup('<svg class="section" viewBox="0 0 {w:.1f} {t:.1f}" role="img" '
                  'aria-label="{label}">{body}</svg>').format(
        w=whole, t=tall + 1.8 * size, label=said, body=Markup("").join(out))


def _outline(part: _Outline, x: float, y: float) -> Markup:
    """One cross-section, its nose at x and its middle at y [mm]."""
    along, half = 1e3 * part.along, 0.5e3 * part.across
    if part.kind == "round":
        return Markup('<circle class="part" cx="{:.1f}" cy="{:.1f}" r="{:.2f}"/>').format(
            x + half, y, half)
    if part.kind == "plate":
        return Markup('<rect class="part" x="{:.1f}" y="{:.1f}" width="{:.1f}" '
                      'height="{:.1f}"/>').format(x, y - half, along, 2 * half)
    return Markup(
        '<path class="shape" d="M0 0C0 {a:.1f} {b:.1f} {h:.1f} {c:.1f} {h:.1f}C{e:.1f} {h:.1f} '
        '{f:.1f} {g:.1f} {l:.1f} 0C{f:.1f} -{g:.1f} {e:.1f} -{h:.1f} {c:.1f} -{h:.1f}C{b:.1f} '
        '-{h:.1f} 0 -{a:.1f} 0 0Z" transform="translate({x:.1f} {y:.1f})"/>').format(
        a=0.62 * half, b=0.13 * along, h=half, c=0.3 * along, e=0.55 * along, f=0.85 * along,
        g=0.22 * half, l=along, x=x, y=y)


def _how(exposed: Exposed) -> list[Part]:
    drag, here, factor = exposed.drag, exposed.reference, factor_near(exposed)
    lines = [(run.text, {"round": "round", "bottle": "round, free ends", "plate": "plate",
                        "section": "streamlined"}[run.shape],
        str(run.count), f"{run.width * 1e3:g}", f"{run.length * 1e3:g}",
        f"{math.degrees(run.angle):.0f}°", run.arrangement)
        for run in (*exposed.runs, *(exposed.after or ()))]
    assumed = f" Assumed: {'; '.join(here.assumptions)}." if here.assumptions else ""
    return [
        Table(("As given", "Shape", "Count", "Across, mm", "Length, mm", "To the wind",
               "Arrangement"), lines, "What was read"),
        ("Strip theory: the handbook drag of a smooth cylinder across the flow at its Reynolds "
         "number; at an angle only the flow across it counts (the cross-flow principle), which "
         "makes the drag fall with the cube of the sine; less at free ends. Several whose "
         "arrangement is not given may be all in one wake or all apart: the range covers both."),
        (f"Near rider and bike the figure is multiplied by {factor:.2f}; that factor is uncertain "
         "and a judgement, kept with those about computed figures (priors). Drag area in clean "
         "air: "
         f"{amount(drag.clean, drag.clean_sd, 'm²')}."),
        f"Air of {here.air_density:.3f} kg/m³, {here.power_at(here.speed):.0f} W.{assumed}"]
