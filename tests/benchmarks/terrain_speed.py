"""Time and memory of heights from a terrain model: 100 km on 50 tiles of a grid of one metre.

Run `python -m tests.benchmarks.terrain_speed`. The tiles (2 km each, compressed) are made up and
written to a temporary folder first; what is measured is a process that reads the course, from its
start to its end, and the same without the model.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

TILE = 2000  # cells of 1 m
COUNT = 50
READ = """
import resource, sys, time
from pathlib import Path
from optimizer.course import read_course
from optimizer.scenario.terrain_file import read_terrain, terrain_files
start = time.perf_counter()
folder = Path(sys.argv[1])
tiles = read_terrain(terrain_files(folder, "*.tif")) if sys.argv[2] == "with" else None
course = read_course(folder / "course.gpx", terrain=tiles)
taken = time.perf_counter() - start
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
error = 0.0 if course.height_error is None else course.height_error.mean()
print(f"{course.length / 1000:.0f} km, ascent {course.ascent:.0f} m, error {error:.2f} m: "
      f"{taken:.1f} s ({time.process_time():.1f} s of one processor), peak {peak:.0f} MB")
"""


def main() -> None:
    """Write the tiles and the track, read them, print."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write(folder)
        for what in ("without", "with"):
            done = subprocess.run([sys.executable, "-c", READ, name, what], check=True,
                                  capture_output=True, text=True)
            print(f"{what} the model: {done.stdout.strip()}")


def write(folder: Path) -> None:
    """Fifty tiles in a row and a track that winds through them."""
    import pyproj
    import rasterio

    west, south = 400_000.0, 5_100_000.0
    x = np.arange(TILE * COUNT) + 0.5
    rng = np.random.default_rng(1)
    road = TILE / 2 + 500 * np.sin(x / 1700.0) + 100 * np.sin(x / 310.0)  # north, of each column
    level = 300 + 40 * np.sin(x / 3000.0) + 8 * np.sin(x / 500.0)
    y = (np.arange(TILE)[::-1] + 0.5)[:, None]
    for k in range(COUNT):
        part = slice(k * TILE, (k + 1) * TILE)
        beside = y - road[part]
        ground = level[part] + np.where(np.abs(beside) < 4, 0.0, 0.06 * beside) \
            + 0.1 * rng.standard_normal((TILE, TILE)) * (np.abs(beside) > 4)
        with rasterio.open(
                folder / f"{k:02}.tif", "w", driver="GTiff", height=TILE, width=TILE, count=1,
                dtype="float32", crs="EPSG:32632", tiled=True, blockxsize=256, blockysize=256,
                compress="deflate", zlevel=1, nodata=-9999.0,
                transform=rasterio.transform.from_origin(west + k * TILE, south + TILE, 1, 1)
                ) as file:
            file.write(ground.astype("float32"), 1)
    at = np.arange(50, len(x) - 50, 9)
    noise = rng.normal(0.0, 3.0, (2, len(at)))
    longitude, latitude = pyproj.Transformer.from_crs(32632, 4326, always_xy=True).transform(
        west + x[at] + noise[0], south + road[at] + noise[1])
    points = "".join(f'<trkpt lat="{a:.7f}" lon="{b:.7f}"><ele>{e:.1f}</ele></trkpt>'
                     for a, b, e in zip(latitude, longitude, level[at], strict=True))
    (folder / "course.gpx").write_text(
        '<gpx version="1.1" creator="benchmark" xmlns="http://www.topografix.com/GPX/1/1"><trk>'
        f"<trkseg>{points}</trkseg></trk></gpx>")


if __name__ == "__main__":
    main()
