"""A folder with one small invented race, and the site over it as a browser would meet it."""

from __future__ import annotations

import math

import pytest
from starlette.testclient import TestClient

from optimizer.window.folder import Folder
from optimizer.window.serve import application

TOKEN, PORT = "told-at-the-start", 8700
HOME = f"http://127.0.0.1:{PORT}"

SCENARIO = """\
# An invented race.
name = "Heron Lane 5"           # shown on top
rider = "rider.toml"

[course]
gpx = "course.gpx"              # drawn by hand
# laps = 1                      # how often it is ridden

[conditions]
temperature_c = 17              # of the air
wind = { speed_kmh = 12, from_deg = 250 }

[options]
draws = 20                      # few, to be quick
"""
RIDER = """\
name = "Robin Vale"             # invented
mass_kg = 70

[[efforts]]
minutes = 5
power_w = 340

[[efforts]]
minutes = 60
power_w = 260
"""

KIT = """\
# Invented items.
item;place;price;owned;mass_change_g;# mine
Visor;visor;55,50;no;35;a
# for next season
Fast tyres;tyres;120;no;-60;
"""
EVIDENCE = """\
item,figure,test,measured_by,source
Visor,saves 3 s / 40 km @ 45 km/h,field,independent,Invented test
Fast tyres,Crr -0.0006,computed,independent,Invented drum test
"""


def track(points=60, step=90.0):
    """GPX of an invented road of some kilometres with one rise and one bend."""
    rows = []
    for k in range(points):
        along = step * k
        east, north = along, 400.0 * math.sin(along / 2500.0)
        rows.append(f'<trkpt lat="{52.0 + north / 111_200:.6f}" lon="{1.0 + east / 68_500:.6f}">'
                    f"<ele>{20 + 12 * math.sin(along / 900.0):.1f}</ele></trkpt>")
    return ('<?xml version="1.0"?>\n<gpx version="1.1" creator="drawn by hand" '
            'xmlns="http://www.topografix.com/GPX/1/1"><trk><name>Heron Lane</name><trkseg>'
            f'{"".join(rows)}</trkseg></trk></gpx>\n')


@pytest.fixture
def folder(tmp_path):
    root = tmp_path / "races"
    root.mkdir()
    (root / "scenario.toml").write_text(SCENARIO, encoding="utf-8")
    (root / "rider.toml").write_text(RIDER, encoding="utf-8")
    (root / "course.gpx").write_text(track(), encoding="utf-8")
    return root


@pytest.fixture
def with_kit(folder):
    """The same folder with a catalogue and evidence."""
    (folder / "kit.csv").write_bytes(KIT.replace("\n", "\r\n").encode())
    (folder / "evidence.csv").write_text(EVIDENCE, encoding="utf-8")
    path = folder / "scenario.toml"
    path.write_text(f'budget = 100\n{SCENARIO}\n[kit]\ncatalogue = "kit.csv"\n'
                    'evidence = "evidence.csv"\n', encoding="utf-8")
    return folder


@pytest.fixture
def stopped():
    return []


@pytest.fixture
def stranger(folder, stopped):
    """A client that knows the address and no more."""
    app, site = application(Folder(folder), TOKEN, PORT, lambda: stopped.append(True))
    client = TestClient(app, base_url=HOME, follow_redirects=False)
    client.site = site
    yield client
    site.close()


@pytest.fixture
def client(stranger):
    """The browser that was opened: it has been at the first address, and says where it is."""
    assert stranger.get("/", params={"token": TOKEN}).status_code == 303
    stranger.headers["origin"] = HOME
    return stranger
