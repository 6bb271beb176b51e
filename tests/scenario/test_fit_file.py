"""Head units' binary files, made by a small writer of the open format."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from optimizer.errors import InputError
from optimizer.scenario.fit_file import read_fit
from optimizer.scenario.power_file import read_power_files
from optimizer.scenario.ride_file import read_ride

sys.path.insert(0, str(Path(__file__).parent))
from fit_maker import make_fit

pytest.importorskip("fitdecode", reason="the reader of head units' files is an optional extra")

START = 1_700_000_000
ALL = ("timestamp", "position_lat", "position_long", "altitude", "distance", "speed", "power")


def _ride(n=120):
    return [{"timestamp": START + k, "position_lat": 50.0 + 1e-5 * k, "position_long": 5.0,
             "altitude": 100.0 + 0.2 * k, "distance": 10.0 * k, "speed": 10.0, "power": 200 + k}
            for k in range(n)]


def _file(tmp_path, data):
    path = tmp_path / "ride.fit"
    path.write_bytes(data)
    return path


def test_every_column_comes_in_its_unit(tmp_path):
    columns, start, virtual = read_fit(_file(tmp_path, make_fit(_ride(), ALL)))
    assert start.timestamp() == START
    assert not virtual
    np.testing.assert_allclose(columns["elapsed_s"], np.arange(120))
    np.testing.assert_allclose(columns["power_w"], 200 + np.arange(120))
    np.testing.assert_allclose(columns["speed_mps"], 10.0)
    np.testing.assert_allclose(columns["distance_m"], 10.0 * np.arange(120))
    np.testing.assert_allclose(columns["elevation_m"], 100 + 0.2 * np.arange(120), atol=0.11)
    np.testing.assert_allclose(columns["latitude_deg"][-1], 50.0 + 1e-5 * 119, atol=1e-7)


def test_it_is_a_ride_like_any_other(tmp_path):
    ride = read_ride(_file(tmp_path, make_fit(_ride(), ALL)))
    assert len(ride.time) == 120
    assert ride.power[-1] == 319.0


def test_best_powers_of_it(tmp_path):
    efforts = read_power_files([_file(tmp_path, make_fit(_ride()))])
    assert efforts.duration[0] == 5.0
    assert efforts.power[0] == pytest.approx(317.0)


def test_a_missing_sample_is_no_power(tmp_path):
    samples = _ride()
    del samples[50]["power"]
    columns, _, _ = read_fit(_file(tmp_path, make_fit(samples)))
    assert np.isnan(columns["power_w"][50])
    assert "speed_mps" not in columns


GOOD = make_fit(_ride())


@pytest.mark.parametrize("data", [
    GOOD[:200], b"", b"not a ride" * 50, GOOD[:100] + bytes([GOOD[100] ^ 0x5A]) + GOOD[101:],
    GOOD[:-1] + b"\x00"], ids=["cut", "empty", "text", "flipped", "checksum"])
def test_a_damaged_file_is_refused(tmp_path, data):
    with pytest.raises(InputError, match=r"damaged|no records"):
        read_fit(_file(tmp_path, data))


def test_random_bytes_are_refused(tmp_path):
    rng = np.random.default_rng(5)
    good = bytearray(make_fit(_ride(), ALL))
    read_fit(_file(tmp_path, bytes(good)))
    for _ in range(60):  # a checksum of 16 bits lets one in 65,536 through
        spoiled = bytearray(good)
        for at in rng.integers(0, len(good), 4):
            spoiled[at] = int(rng.integers(0, 256))
        with pytest.raises(InputError):
            read_fit(_file(tmp_path, bytes(spoiled)))


def test_time_that_runs_back_is_refused(tmp_path):
    samples = _ride()
    samples[60]["timestamp"] -= 30
    with pytest.raises(InputError, match="run backwards"):
        read_fit(_file(tmp_path, make_fit(samples)))


def test_no_file_is_refused(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        read_fit(tmp_path / "none.fit")


def test_without_the_reader_it_says_what_to_install(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "fitdecode", None)
    with pytest.raises(InputError, match="headunit"):
        read_fit(_file(tmp_path, make_fit(_ride())))
