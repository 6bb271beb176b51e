"""What the readers do with any bytes: a value, or an error that a person can use."""

from __future__ import annotations

import struct
import tempfile
from pathlib import Path
from typing import Any

from optimizer.conditions import Conditions
from optimizer.course import Cleaning, read_course
from optimizer.errors import KitpaceError
from optimizer.physics import Setup
from optimizer.ride.field_test import Runs, field_test
from optimizer.scenario.batch_file import read_batch
from optimizer.scenario.catalogue_file import read_catalogue
from optimizer.scenario.course_file import read_features
from optimizer.scenario.earlier_file import read_earlier
from optimizer.scenario.evidence_file import read_evidence, with_row
from optimizer.scenario.forecast_file import read_forecast
from optimizer.scenario.priors_file import read_priors
from optimizer.scenario.ride_file import read_ride
from optimizer.scenario.rider_file import read_rider
from optimizer.scenario.track_file import read_track
from tests.scenario.fit_maker import FIELDS, checksum, make_fit

READERS = {
    "gpx": (".gpx", lambda file: read_course(file, cleaning=Cleaning(flat=True))),
    "ride": (".gpx", read_ride),
    "head unit": (".fit", lambda file: read_ride(_valid(file))),
    "catalogue": (".csv", read_catalogue),
    "evidence": (".csv", read_evidence),
    "features": (".csv", read_features),
    "forecast": (".csv", lambda file: read_forecast(file, None, Conditions())),
    "recording": (".csv", read_ride),
    "field test": (".csv", lambda file: _tested(read_ride(file))),
    "batch": (".csv", read_batch),
    "track": (".csv", read_track),
    "FIT track": (".fit", lambda file: read_track(_valid(file))),
    "rider": (".toml", read_rider),
    "batch in TOML": (".toml", read_batch),
    "earlier plan": (".json", read_earlier),
    "priors": (".toml", read_priors),
    "row more": (".csv", lambda file: with_row(file, ROW)),
}
ROW = {"item": "B", "baseline": "A", "figure": "saves 0.00412 m2", "test": "field",
       "uncertainty": "0.00150 m2", "note": "at 40 km/h"}

_POINTS = "".join(
    f'<trkpt lat="{1 + k / 1e4:.4f}" lon="2"><ele>{k % 7}</ele>'
    f"<time>2030-01-01T00:{k // 60:02d}:{k % 60:02d}Z</time>"
    f"<extensions><power>{200 + k % 9}</power></extensions></trkpt>" for k in range(40))
_SAMPLES = [{"timestamp": 1.9e9 + k, "position_lat": 1 + k / 1e4, "position_long": 2.0,
             "altitude": 50 + k % 7, "distance": 11.0 * k, "speed": 11.0, "power": 200 + k % 9}
            for k in range(40)]


def _valid(file: Path) -> Path:
    """File with the head and the checksum of its length: else nothing behind them is reached."""
    data = file.read_bytes()[14:-2]
    head = struct.pack("<BBHI4s", 14, 0x20, 2078, len(data), b".FIT")
    whole = head + struct.pack("<H", checksum(head)) + data
    if len(data) % 5:  # and sometimes as it is
        file.write_bytes(whole + struct.pack("<H", checksum(whole)))
    return file


def _tested(ride: Any) -> None:
    field_test(Runs((ride,), ("x",), (Conditions(),), Setup("x", 9.0, 0.004), 70.0))


SEEDS = {
    "gpx": [(b'<gpx><trk><trkseg><trkpt lat="1" lon="2"><ele>3</ele></trkpt>'
            b'<trkpt lat="1.01" lon="2"><ele>9</ele></trkpt></trkseg></trk></gpx>')],
    "ride": [f"<gpx><trk><trkseg>{_POINTS}</trkseg></trk></gpx>".encode()],
    "head unit": [make_fit(_SAMPLES, FIELDS), make_fit(_SAMPLES)],
    "field test": [b"elapsed_s,power_w,speed_mps,elevation_m\n" + b"".join(
        b"%d,%d,%d,%d\n" % (30 * k, 200 + k % 9, 9 + k % 3, 50 + k % 7) for k in range(40)),
        b"elapsed_s,power_w,distance_m,elevation_m\n" + b"".join(
        b"%d,%d,%d,%d\n" % (4 * k, 200 + k % 9, 40 * k, 50 + k % 7) for k in range(60))],
    "catalogue": [b"item,place,price\nDisc,rear wheel,100\n", b"item;place;price\nA;helmet;1,5\n"],
    "evidence": [b"item,figure,test,measured_by\nDisc,saves 40 g @ 50 km/h,field,seller\n",
                 b"item,figure\nA,-0.002 m2 CdA\nB,15 s / 40 km @ 45 km/h\nC,2.1 % drag\n"],
    "features": [b"what,from_km,to_km,value\nsurface,0,1,cobbles\n"],
    "forecast": [b"time,wind_kmh,wind_from_deg\n2030-01-01T09:00,10,SW\n"],
    "recording": [b"elapsed_s,power_w,speed_kmh\n" + b"".join(b"%d,200,36\n" % k
                                                              for k in range(40))],
    "track": [b"lat,lon,ele\n" + b"".join(b"%.4f,2,%d\n" % (1 + k / 1e4, k) for k in range(9))],
    "FIT track": [make_fit(_SAMPLES, FIELDS)],
    "batch": [b"scenario,forecast,budget\nx.toml,10@20,5\n"],
    "rider": [b"mass_kg = 70\ncritical_power_w = 250\nw_prime_kj = 20\n",
              (b"mass_kg = 70\n[[efforts]]\nminutes = 3\npower_w = 400\n"
               b"[[efforts]]\nminutes = 20\npower_w = 300\n")],
    "earlier plan": [(b'{"schema": "kitpace-result-1", "plan": {"finish_time_s": 1800.5, '
                      b'"mean_power_w": 250}, "conditions": {"wind_east_mps": [[1.0]], '
                      b'"wind_north_mps": [[-2.5]]}, "kit": {"chosen": ["Disc"]}}')],
    "priors": [b"[test.field]\nsd_m2 = 0.01\nfactor = 0.8\n[unstated]\nmass_kg = 0.1\n"],
    "row more": [b"item,figure,test\nDisc,saves 40 g @ 50 km/h,field\n",
                 b"\xef\xbb\xbfitem;figure;test;uncertainty\r\nA;-0,002 m2 CdA;field;0,001\r\n"],
    "batch in TOML": [b'scenarios = ["a.toml"]\nbudgets = [1, 2]\n'],
}


def feed(kind: str, data: bytes) -> None:
    """Give a reader some bytes as a file; anything but a value or our own error is raised."""
    ending, read = READERS[kind]
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder, f"file{ending}")
        file.write_bytes(data)
        try:
            read(file)
        except KitpaceError as error:
            said = str(error)
        else:
            said = "read"
    assert 0 < len(said) < 3000
