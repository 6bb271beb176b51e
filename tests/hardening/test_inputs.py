"""What is no regular file is refused at once, wherever a file can be named."""

from __future__ import annotations

import contextlib
import errno
import os
import socket
import stat
import threading
import time

import pytest

from optimizer.errors import InputError
from optimizer.files import is_file, open_input, read_input
from tests.hardening.corpus import RIDER, kitpace, race
from tests.hardening.test_tables import READERS

posix = pytest.mark.skipif(os.name != "posix", reason="pipes and devices of POSIX")


def a_pipe(path):
    os.mkfifo(path)


def a_socket(path):
    held = socket.socket(socket.AF_UNIX)
    with contextlib.chdir(path.parent):  # the name of a socket is short
        held.bind(path.name)
    held.close()


def an_endless_device(path):
    path.symlink_to("/dev/zero")


def a_terminal(path):
    _master, slave = os.openpty()
    path.symlink_to(os.ttyname(slave))


KINDS = [a_pipe, a_socket, an_endless_device, a_terminal]


def at_once(call):
    """Call in a thread, so that waiting for ever is a failure and not a hang of the tests."""
    found = []

    def run():
        try:
            found.append(call())
        except BaseException as error:  # noqa: BLE001 - handed over
            found.append(error)

    thread = threading.Thread(target=run, daemon=True)
    begun = time.perf_counter()
    thread.start()
    thread.join(20)
    assert found, "it waits"
    assert time.perf_counter() - begun < 15
    if isinstance(found[0], BaseException):
        raise found[0]
    return found[0]


@posix
@pytest.mark.parametrize("kind", READERS)
@pytest.mark.parametrize("make", KINDS)
def test_every_reader_refuses_what_is_no_file(tmp_path, kind, make):
    name, read = READERS[kind]
    make(tmp_path / name)
    with pytest.raises(InputError, match=r"is a (pipe|socket|device), not a file"):
        at_once(lambda: read(tmp_path / name))


@posix
@pytest.mark.parametrize("key", ["efforts_csv", "rides"])
@pytest.mark.parametrize("make", KINDS)
def test_files_that_a_rider_names_are_refused_too(tmp_path, key, make):
    make(tmp_path / "x.csv")
    (tmp_path / "rider.toml").write_text(
        "mass_kg = 70\n" + ('efforts_csv = "x.csv"\n' if key == "efforts_csv"
                            else 'rides = ["x.csv"]\n'))
    with pytest.raises(InputError, match="not a file"):
        at_once(lambda: READERS["rider"][1](tmp_path / "rider.toml"))


@posix
@pytest.mark.parametrize("key", ["rider.toml", "course.gpx", "kit.csv", "evidence.csv"])
@pytest.mark.parametrize("make", KINDS)
def test_files_that_a_scenario_names_are_refused_too(tmp_path, key, make):
    scenario = race(tmp_path, kit="item,place,price\nA,helmet,5\n",
                    evidence="item,figure,test\nA,saves 5 W @ 40 km/h,field\n")
    (tmp_path / key).unlink()
    make(tmp_path / key)
    code, said = at_once(lambda: kitpace("plan", scenario))
    assert code == 2
    assert key in said


@posix
def test_a_file_that_turns_into_a_pipe_is_refused(tmp_path, monkeypatch):
    path = tmp_path / "a.csv"
    path.write_text("x")
    known = path.stat()
    path.unlink()
    os.mkfifo(path)
    monkeypatch.setattr("optimizer.files.os.stat", lambda _path: known)
    with pytest.raises(InputError, match="is a pipe"):
        at_once(lambda: read_input(path, 100))


def test_a_file_that_grows_or_hides_its_size_is_bounded(tmp_path, monkeypatch):
    path = tmp_path / "a.csv"
    path.write_bytes(b"x" * 2000)
    with pytest.raises(InputError, match="larger"):
        open_input(path, 1999)
    small = os.stat_result((stat.S_IFREG | 0o600, *[0] * 9))
    monkeypatch.setattr("optimizer.files.os.fstat", lambda _handle: small)
    with pytest.raises(InputError, match="larger"):
        read_input(path, 1999)
    assert read_input(path, 2000) == b"x" * 2000


@pytest.mark.parametrize("name", ["x" * 300, "d/" * 2500 + "x", "a\0b", "", "no/such", "\udcff"])
@pytest.mark.parametrize("kind", READERS)
def test_names_that_no_file_can_have(tmp_path, kind, name):
    ending, read = READERS[kind]
    with pytest.raises(InputError):
        read(tmp_path / f"{name}{ending}")
    assert not is_file(tmp_path / f"{name}{ending}")


@pytest.mark.parametrize("code", [errno.EACCES, errno.EIO, errno.ELOOP, errno.ENAMETOOLONG])
@pytest.mark.parametrize("kind", READERS)
def test_what_the_system_refuses_is_said(tmp_path, monkeypatch, kind, code):
    name, read = READERS[kind]
    (tmp_path / name).write_text(RIDER)

    def refuse(*_args, **_kwargs):
        raise OSError(code, os.strerror(code))

    for function in ("stat", "listdir"):
        monkeypatch.setattr(f"optimizer.files.os.{function}", refuse)
    with pytest.raises(InputError, match="cannot be read"):
        read(tmp_path / name)
