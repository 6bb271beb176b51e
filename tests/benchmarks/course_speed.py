"""Time and memory to read, clean and resample a track of 200,000 points.

Run `python tests/benchmarks/course_speed.py [points]`. A fresh interpreter reads an invented
recorded ride at one point a second (positions, heights with noise, times) and says how long it
took and how much memory it held at most; a general GPX library parses the same file for
comparison, if asked with `gpxpy` as second argument.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

READ = """
import resource, sys, time
sys.path[:0] = {path!r}
before = time.perf_counter(), time.process_time()
{work}
print(f"{label}: {{time.perf_counter() - before[0]:.2f}} s wall, "
      f"{{time.process_time() - before[1]:.2f}} s of processor, "
      f"{{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f}} MB, {{said}}")
"""
OURS = """
from optimizer.course import read_course
course = read_course({file!r})
said = f"{{course.length / 1000:.1f}} km, {{len(course.distance)}} nodes"
"""
THEIRS = """
import gpxpy
said = f"{{gpxpy.parse(open({file!r})).get_points_no()}} points, parsed only"
"""


def ride(points: int) -> str:
    """GPX of an invented ride at 8 m/s with the noise of a receiver and a barometer."""
    rng = np.random.default_rng(0)
    s = np.cumsum(rng.uniform(6.0, 10.0, points))
    heading = 2.0 * np.sin(s / 7000.0) + 0.6 * np.sin(s / 900.0)
    east = np.cumsum(np.sin(heading) * 8.0) + rng.normal(0, 0.5, points)
    north = np.cumsum(np.cos(heading) * 8.0) + rng.normal(0, 0.5, points)
    z = 300 + 80 * np.sin(s / 6000) + 15 * np.sin(s / 700) + rng.normal(0, 0.6, points)
    latitude, longitude = 40 + north / 111_200.0, 5 + east / 85_000.0
    start = np.datetime64("2030-06-16T06:00:00")
    rows = "".join(
        f'<trkpt lat="{a:.7f}" lon="{b:.7f}"><ele>{e:.1f}</ele><time>{start + k}Z</time></trkpt>\n'
        for k, (a, b, e) in enumerate(zip(latitude, longitude, z, strict=True)))
    return ('<gpx version="1.1" creator="benchmark" xmlns="http://www.topografix.com/GPX/1/1">'
            f"<trk><trkseg>{rows}</trkseg></trk></gpx>")


def main(points: int = 200_000, *others: str) -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder:
        file = str(Path(folder) / "ride.gpx")
        Path(file).write_text(ride(points), encoding="utf-8")
        for label, work in (("kitpace", OURS), *([("gpxpy", THEIRS)] if others else [])):
            code = READ.format(path=sys.path, label=f"{points:,} points, {label}",
                               work=work.format(file=file))
            subprocess.run([sys.executable, "-c", code], check=True)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:2]), *sys.argv[2:])
