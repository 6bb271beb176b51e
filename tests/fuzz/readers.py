"""What the readers do with any bytes: a value, or an error that a person can use."""

from __future__ import annotations

import tempfile
from pathlib import Path

from optimizer.conditions import Conditions
from optimizer.course import Cleaning, read_course
from optimizer.errors import KitpaceError
from optimizer.scenario.batch_file import read_batch
from optimizer.scenario.catalogue_file import read_catalogue
from optimizer.scenario.course_file import read_features
from optimizer.scenario.earlier_file import read_earlier
from optimizer.scenario.evidence_file import read_evidence, with_row
from optimizer.scenario.forecast_file import read_forecast
from optimizer.scenario.priors_file import read_priors
from optimizer.scenario.ride_file import read_ride
from optimizer.scenario.rider_file import read_rider

READERS = {
    "gpx": (".gpx", lambda file: read_course(file, cleaning=Cleaning(flat=True))),
    "ride": (".gpx", read_ride),
    "catalogue": (".csv", read_catalogue),
    "evidence": (".csv", read_evidence),
    "features": (".csv", read_features),
    "forecast": (".csv", lambda file: read_forecast(file, None, Conditions())),
    "recording": (".csv", read_ride),
    "batch": (".csv", read_batch),
    "rider": (".toml", read_rider),
    "batch in TOML": (".toml", read_batch),
    "earlier plan": (".json", read_earlier),
    "priors": (".toml", read_priors),
    "row more": (".csv", lambda file: with_row(file, ROW)),
}
ROW = {"item": "B", "baseline": "A", "figure": "saves 0.00412 m2", "test": "field",
       "uncertainty": "0.00150 m2", "note": "at 40 km/h"}

SEEDS = {
    "gpx": [(b'<gpx><trk><trkseg><trkpt lat="1" lon="2"><ele>3</ele></trkpt>'
            b'<trkpt lat="1.01" lon="2"><ele>9</ele></trkpt></trkseg></trk></gpx>')],
    "ride": [(b'<gpx><trk><trkseg><trkpt lat="1" lon="2"><time>2030-01-01T00:00:00Z</time>'
             b"<extensions><power>200</power></extensions></trkpt></trkseg></trk></gpx>")],
    "catalogue": [b"item,place,price\nDisc,rear wheel,100\n", b"item;place;price\nA;helmet;1,5\n"],
    "evidence": [b"item,figure,test,measured_by\nDisc,saves 40 g @ 50 km/h,field,seller\n",
                 b"item,figure\nA,-0.002 m2 CdA\nB,12 s / 40 km @ 45 km/h\nC,2.1 % drag\n"],
    "features": [b"what,from_km,to_km,value\nsurface,0,1,cobbles\n"],
    "forecast": [b"time,wind_kmh,wind_from_deg\n2030-01-01T09:00,10,SW\n"],
    "recording": [b"elapsed_s,power_w,speed_kmh\n" + b"".join(b"%d,200,36\n" % k
                                                              for k in range(40))],
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
