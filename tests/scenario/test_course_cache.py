"""Courses read before: the same values, nothing stale, and no harm from a broken cache."""

from __future__ import annotations

import dataclasses
import os
import subprocess
import sys

import numpy as np
import platformdirs
import pytest
import scipy

from optimizer.course import Cleaning, Features, Handling, Mark, Shape
from optimizer.errors import InputError
from optimizer.scenario import course_cache
from optimizer.scenario.course_cache import cached_course
from optimizer.scenario.starter import write_starter


@pytest.fixture
def gpx(tmp_path, monkeypatch):
    monkeypatch.setattr(platformdirs, "user_cache_path", lambda *_, **__: tmp_path / "cache")
    return write_starter(tmp_path / "race").with_name("course.gpx")


@pytest.fixture
def readings(monkeypatch):
    """How often the file itself was read."""
    counted = []
    real = course_cache.read_course

    def read(*args, **how):
        counted.append(1)
        return real(*args, **how)

    monkeypatch.setattr(course_cache, "read_course", read)
    return counted


def read(*paths, **changes):
    settings = {"shape": Shape(), "cleaning": Cleaning(), "handling": Handling(),
                "features": Features(marks=(Mark("Mill", 3000.0),))}
    return cached_course(paths, **{**settings, **changes})


def equal(a, b):
    return all(np.array_equal(x, y) if isinstance(x, np.ndarray) else x == y and type(x) is type(y)
               for x, y in ((getattr(a, f.name), getattr(b, f.name))
                            for f in dataclasses.fields(a)))


def test_a_course_comes_back_as_it_was(gpx, readings):
    first, second = read(gpx), read(gpx)
    assert len(readings) == 1
    assert equal(first, second)
    assert not second.elevation.flags.writeable


@pytest.mark.parametrize("changes", [
    {"shape": Shape(reverse=True)}, {"cleaning": Cleaning(skip=frozenset(["spikes", "drift"]))},
    {"handling": Handling(wet=True)}, {"features": Features()}])
def test_another_setting_is_another_course(gpx, readings, changes):
    read(gpx)
    read(gpx, **changes)
    read(gpx, **changes)
    assert len(readings) == 2


def test_another_content_or_reader_is_read_again(gpx, readings, monkeypatch):
    read(gpx)
    gpx.write_text(gpx.read_text().replace("</gpx>", "<!-- new --></gpx>"))
    read(gpx)
    monkeypatch.setattr(course_cache, "_reader", lambda: "another version")
    read(gpx)
    assert len(readings) == 3


def test_the_key_covers_every_module_that_reads_a_course():
    """Asked of a fresh interpreter: which modules of the package it imports for that."""
    script = ("import sys, optimizer.scenario.track_file, optimizer.scenario.terrain_file, "
              "optimizer.scenario.fit_file\nprint(*sys.modules)")
    loaded = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True,
                            check=True).stdout.split()
    rooms = {name.rpartition(".")[0] for name in loaded if name.startswith("optimizer.")}
    assert {"optimizer.course", "optimizer.scenario"} <= rooms <= set(course_cache._READERS)


@pytest.mark.parametrize("module", [np, scipy])
def test_another_version_of_the_numerics_reads_again(monkeypatch, module):
    before = course_cache._reader.__wrapped__()
    assert course_cache._reader.__wrapped__() == before
    monkeypatch.setattr(module, "__version__", "0.0.1")
    assert course_cache._reader.__wrapped__() != before


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04 cut short", b"\x93NUMPY"])
def test_a_broken_cache_is_read_past(gpx, readings, content, tmp_path):
    first = read(gpx)
    [stored] = (tmp_path / "cache" / "courses").iterdir()
    stored.write_bytes(content)
    assert equal(first, read(gpx))
    assert equal(first, read(gpx))
    assert len(readings) == 2  # and it is mended


def test_a_cache_that_is_not_to_the_bit_what_was_written_is_read_past(gpx, readings, tmp_path):
    first = read(gpx)
    [stored] = (tmp_path / "cache" / "courses").iterdir()
    good = stored.read_bytes()
    rng = np.random.default_rng(1)
    for count in range(200):  # flipped, cut, doubled and overwritten
        bad = bytearray(good)
        at = int(rng.integers(len(bad)))
        if count % 4 == 0:
            bad[at] ^= 1 << int(rng.integers(8))
        elif count % 4 == 1:
            bad = bad[:at]
        elif count % 4 == 2:
            bad[at:at] = bad[at:at + 64]
        else:
            bad[at:at + 40] = bytes(40) if any(bad[at:at + 40]) else b"\1" * 40
        stored.write_bytes(bad)
        assert course_cache._load(stored) is None, count
    assert equal(first, read(gpx))
    assert len(readings) == 2


def test_a_pipe_in_the_cache_is_read_past(gpx, readings, tmp_path):
    if not hasattr(os, "mkfifo"):
        pytest.skip("no pipes here")
    first = read(gpx)
    [stored] = (tmp_path / "cache" / "courses").iterdir()
    stored.unlink()
    os.mkfifo(stored)
    assert equal(first, read(gpx))
    assert len(readings) == 2


def test_a_folder_that_cannot_be_written_does_no_harm(gpx, readings, tmp_path):
    (tmp_path / "cache").write_text("a file where the folder should be")
    assert equal(read(gpx), read(gpx))
    assert len(readings) == 2


def test_only_so_many_are_kept(gpx, monkeypatch, tmp_path):
    monkeypatch.setattr(course_cache, "_MOST", 2)
    for skill in (0.4, 0.5, 0.6):
        read(gpx, handling=Handling(skill=skill))
    assert len(list((tmp_path / "cache" / "courses").iterdir())) == 2


def test_a_refusal_is_the_readers_own(tmp_path, gpx):
    (tmp_path / "bad.gpx").write_text("<html/>")
    for path in (tmp_path / "bad.gpx", tmp_path / "none.gpx", tmp_path):
        with pytest.raises(InputError):
            read(path)
    assert not (tmp_path / "cache").exists()
    assert gpx.exists()
