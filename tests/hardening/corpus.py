"""A small race as files, each part of which a test may spoil; and what a run may end in."""

from __future__ import annotations

import json
import math
import re
from typing import TYPE_CHECKING

from click.testing import CliRunner

from optimizer.cli import group
from optimizer.errors import KitpaceError

if TYPE_CHECKING:
    from pathlib import Path

RIDER = """name = "R. Made-Up"
mass_kg = 72
critical_power_w = 270
w_prime_kj = 18
"""
SCENARIO = """name = "Made up"
rider = "rider.toml"
[course]
gpx = "course.gpx"
[conditions]
wind = { speed_kmh = 12, from_deg = 240 }
[options]
draws = 40
blocks = 4
step_m = 40
"""
KIT = """item,place,price,owned,requires,excludes,forbidden_by
Disc,rear wheel,400,no,,,
Helmet,helmet,150,no,,,
Old wheel,rear wheel,0,yes,,,
"""
EVIDENCE = """item,figure,test,measured_by
Disc,saves 40 g @ 50 km/h,tunnel with rider,independent
Helmet,-0.004 m2 CdA,field,independent
"""


def track(points, head='<?xml version="1.0" encoding="UTF-8"?>\n'):
    """GPX text of points: (lat, lon) or (lat, lon, ele)."""
    rows = "".join(
        f'<trkpt lat="{p[0]}" lon="{p[1]}">' + (f"<ele>{p[2]}</ele>" if len(p) > 2 else "")
        + "</trkpt>\n" for p in points)
    return (f'{head}<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">'
            f"<trk><name>Made up</name><trkseg>\n{rows}</trkseg></trk></gpx>\n")


def road(metres, *, step=50.0, rise=lambda s: 20.0 + 10.0 * math.sin(s / 700.0), south=-41.0,
         west=-30.0, bearing=35.0):
    """Points of a road of some length over a sphere: good enough for a made-up one."""
    count = max(int(metres / step), 1)
    north = math.cos(math.radians(bearing)) / 111_200.0
    east = math.sin(math.radians(bearing)) / 111_200.0 / math.cos(math.radians(south))
    found = []
    for k in range(count + 1):
        s = metres * k / count
        bend = 0.002 * math.sin(s / 900.0)
        longitude = (west + east * s + bend + 180.0) % 360.0 - 180.0
        found.append((f"{south + north * s:.7f}", f"{longitude:.7f}", f"{rise(s):.2f}"))
    return found


def race(folder: Path, *, points=None, gpx=None, rider=RIDER, scenario=SCENARIO, more="", kit=None,
         evidence=None) -> Path:
    """Write the race and return its scenario file."""
    text = gpx if gpx is not None else track(points or road(4000))
    (folder / "course.gpx").write_bytes(text if isinstance(text, bytes) else text.encode())
    (folder / "rider.toml").write_text(rider, encoding="utf-8")
    if kit is not None:
        (folder / "kit.csv").write_text(kit, encoding="utf-8")
        more += '\n[kit]\ncatalogue = "kit.csv"\n'
        if evidence is not None:
            (folder / "evidence.csv").write_text(evidence, encoding="utf-8")
            more += 'evidence = "evidence.csv"\n'
    (folder / "scenario.toml").write_text(scenario + more, encoding="utf-8")
    return folder / "scenario.toml"


def kitpace(*words):
    """Run a command: (exit code, what it said). Anything unforeseen is raised."""
    done = CliRunner().invoke(group, [str(word) for word in words])
    if isinstance(done.exception, KitpaceError):
        return done.exception.exit_code, str(done.exception)
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done.exit_code, done.output


def planned(scenario: Path, *words):
    """Plan: (exit code, what it said, JSON or None), with all files checked for sense."""
    out, document = scenario.with_name("report.html"), scenario.with_name("plan.json")
    card = scenario.with_name("card.html")
    code, said = kitpace("plan", scenario, "--out", out, "--json", document, "--card", card, *words)
    assert code in {0, 2, 3}, said
    left = [path.name for path in scenario.parent.iterdir() if path.name.startswith(".")]
    assert not left, "a half-written file"
    if code:
        assert not out.exists()
        assert not document.exists()
        assert len(said) > 20
        return code, said, None
    for page in (out, card):
        no_nan(page.read_text(encoding="utf-8"))
    no_nan(said)
    content = json.loads(document.read_text(encoding="utf-8"), parse_constant=_refuse)
    plan = content["plan"]
    assert plan["finish_time_s"] > 0
    assert plan["lower_bound_s"] <= plan["finish_time_s"] + 1e-6
    spread = plan["spread_s"]
    assert 0 < spread["5"] <= spread["50"] <= spread["95"]
    for name in ("speed_mps", "time_s", "power_w", "reserve_j", "elevation_m"):
        assert all(value is not None for value in content["profile"][name]), name
    return code, said, content


def no_nan(text):
    """Fail for a figure that is none, in what a person reads."""
    seen = re.sub(r"<(script|style)\b.*?</\1>", " ", text, flags=re.DOTALL)
    found = re.search(r"(?<![\w-])(nan|inf|infinity|none)(?![\w-])", re.sub(r"<[^>]*>", " ", seen),
                      re.IGNORECASE)
    assert not found or found[0] == "none", seen[max(found.start() - 80, 0):found.end() + 80]


def _refuse(name):
    raise AssertionError(f"{name} in the JSON")
