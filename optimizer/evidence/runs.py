"""Exposed parts in a coach's words: "4 x 5 mm x 300 mm @ 60 deg apart"."""

from __future__ import annotations

import math
import re
from typing import cast

from optimizer.evidence.bluff_body import Arrangement, Run, Shape
from optimizer.evidence.quantities import NUMBER, Stated, tidy

__all__ = ["read_run"]

_SHAPES: dict[str, Shape] = {"cable": "round", "hose": "round", "tube": "round", "wire": "round",
                             "bottle": "bottle", "plate": "plate", "number plate": "plate"}
_LENGTHS = r"mm|cm|m|in"
_RUN = re.compile(
    rf"(?:(?P<count>\d+)\s*[x×]?\s+)?(?:(?P<shape>[a-z ]+?)s?\s+(?:of\s+)?)?"
    rf"(?P<width>{NUMBER})\s*(?P<wide>{_LENGTHS})?\s*[x×]\s*"
    rf"(?P<length>{NUMBER})\s*(?P<long>{_LENGTHS})"
    rf"(?:\s*(?:@|at)\s*(?P<angle>{NUMBER})\s*(?:deg|degrees|°))?"
    rf"(?:\s*,?\s*(?P<how>apart|bundled|behind)(?:\s+(?P<gap>{NUMBER})\s*(?P<apart>{_LENGTHS}))?)?")
_SECTION = re.compile(
    rf"(?:(?P<count>\d+)\s*[x×]?\s+)?(?:streamlined\s+)?(?:section|strut|aerofoil|blade)s?\s+"
    rf"(?P<width>{NUMBER})\s*(?P<wide>{_LENGTHS})?\s*(?:thick)?\s*[x×]\s*"
    rf"(?P<chord>{NUMBER})\s*(?P<deep>{_LENGTHS})?\s*(?:chord|deep)?\s*[x×]\s*"
    rf"(?P<length>{NUMBER})\s*(?P<long>{_LENGTHS})(?:\s*long)?"
    rf"(?:\s*(?:@|at)\s*(?P<angle>{NUMBER})\s*(?:deg|degrees|°))?")
_SLIMMEST, _STOUTEST = 0.05, 0.5  # thickness over chord; beyond it is a plate, or a bluff body
_EXAMPLE = ('write "4 x 5 mm x 300 mm @ 60 deg": count, diameter, exposed length, angle to the '
            'wind; then "apart", "bundled" or "behind 20 mm" if you know')


def read_run(text: str) -> Run:
    """Read count, shape, diameter, exposed length, angle to the flow and arrangement.

    The shape is a cable, hose, tube, bottle or plate (width x height), or a streamlined section
    (thickness x chord x length); without an angle it stands across the flow.

    Parameters
    ----------
    text : such as "4 x 5 mm x 300 mm @ 60 deg"

    Returns
    -------
    the parts, lengths in m and angle in rad

    Raises
    ------
    InputError
        for what cannot be read
    """
    stated = Stated(text)
    section = _SECTION.fullmatch(tidy(text).lower())
    if section:
        return _section(section, stated)
    match = _RUN.fullmatch(tidy(text).lower())
    if not match:
        raise stated.refuse("is not understood", _EXAMPLE)
    shape = match["shape"] or "cable"
    if shape not in _SHAPES:
        raise stated.refuse(f'names "{shape}", which is not a known shape',
                            "use cable, hose, tube, bottle, plate or section")
    angle = _angle(match, stated)
    how = cast("Arrangement", match["how"] or "unknown")
    if (how == "behind") != bool(match["gap"]):
        raise stated.refuse("needs both the word behind and a spacing, or neither",
                            'write "behind 20 mm"')

    def metres(number: str, unit: str | None) -> float:
        value = stated.in_si(stated.number(number), unit or match["long"])[0]
        if value <= 0:
            raise stated.refuse("has a size of zero", _EXAMPLE)
        return value

    count = _count(match, stated)
    run = Run(_SHAPES[shape], metres(match["width"], match["wide"]),
              metres(match["length"], match["long"]), math.radians(angle), count, how,
              metres(match["gap"], match["apart"]) if match["gap"] else 0.0, tidy(text))
    _check_sizes(run, stated, named_unit=bool(match["wide"]))
    return run


def _angle(match: re.Match[str], stated: Stated) -> float:
    """Angle to the flow in degrees, from 0 to 90 inclusive."""
    angle = stated.number(match["angle"]) if match["angle"] else 90.0
    if not 0.0 <= angle <= 90.0:
        raise stated.refuse("has an angle outside 0 to 90 degrees",
                            "0 is along the wind, 90 across it")
    return angle


def _count(match: re.Match[str], stated: Stated) -> int:
    count = int((match["count"] or "1")[:4])
    if not 1 <= count <= 100:
        raise stated.refuse(f"has {count} of them", "count from 1 to 100")
    return count


def _section(match: re.Match[str], stated: Stated) -> Run:
    """Read "section 20 mm x 60 mm chord x 300 mm": thickness, chord, length."""
    width, chord, length = (
        stated.in_si(stated.number(match[name]), match[unit] or match["long"])[0]
        for name, unit in (("width", "wide"), ("chord", "deep"), ("length", "long")))
    ratio = width / chord if chord > 0 else math.inf
    if not _SLIMMEST <= ratio <= _STOUTEST:
        raise stated.refuse(
            f"is a section {ratio:.0%} as thick as its chord", "thickness first, then chord; it "
            f"has to be {_SLIMMEST:.0%} to {_STOUTEST:.0%} as thick as deep to be streamlined")
    run = Run("section", width, length, math.radians(_angle(match, stated)),
              _count(match, stated), "apart", text=tidy(stated.text), chord=chord)
    _check_sizes(run, stated, named_unit=True)
    return run


def _check_sizes(run: Run, stated: Stated, *, named_unit: bool) -> None:
    """Refuse sizes that were meant otherwise."""
    sizes = {"thickness": (run.width, 1e-4, 1.0), "length": (run.length, 1e-3, 10.0),
             "spacing": (run.spacing, 0.0, 5.0)}
    for what, (size, least, most) in sizes.items():
        if not least <= size <= most:
            raise stated.refuse(f"has a {what} that no part of a bike has",
                                f"it has to be between {1000 * least:g} and {1000 * most:g} mm")
    if run.arrangement == "behind" and run.spacing < run.width:
        raise stated.refuse("puts them closer together than they are thick",
                            "the spacing is from axis to axis")
    if run.shape != "round":
        return
    if not named_unit and run.length < 3 * run.width:
        raise stated.refuse("begins with what may be a count or a diameter", _EXAMPLE)
    if run.length < run.width:
        raise stated.refuse("is thicker than it is long",
                            "write the diameter first, then the exposed length")
