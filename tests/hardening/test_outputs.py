"""No command replaces what it reads, what it writes, or what is not its own."""

from __future__ import annotations

import contextlib
import os
import stat
from pathlib import Path

import pytest

from optimizer.errors import InputError, InputErrors
from optimizer.files import Output, check_outputs, write_all, write_atomic
from tests.hardening.corpus import EVIDENCE, KIT, SCENARIO, kitpace, race

posix = pytest.mark.skipif(os.name != "posix", reason="links, modes and devices of POSIX")
RIDE = "elapsed_s,power_w,speed_kmh\n" + "".join(f"{k},200,36\n" for k in range(60))
FORECAST = "time,wind_kmh,wind_from_deg\n2030-06-16T09:00,10,90\n"
FEATURES = "what,from_km,to_km,value\nsurface,0,1,cobbles\n"
ROAD = SCENARIO.replace('gpx = "course.gpx"', 'gpx = "course.gpx"\nfeatures = "roads.csv"')

# Words of each command, {} for the output; then the files that it reads.
SCENARIO_FILES = ["scenario.toml", "rider.toml", "course.gpx", "kit.csv", "evidence.csv",
                  "efforts.csv", "roads.csv"]
COMMANDS = {
    "plan --out": (["plan", "scenario.toml", "--out", "{}"], SCENARIO_FILES),
    "plan --json": (["plan", "scenario.toml", "--json", "{}"], SCENARIO_FILES),
    "plan --card": (["plan", "scenario.toml", "--card", "{}"],
                    ["kit.csv", "evidence.csv", "course.gpx", "efforts.csv", "roads.csv"]),
    "plan against": (["plan", "scenario.toml", "--against", "old.json", "--json", "{}"],
                     ["old.json"]),
    "plan with kit": (["plan", "scenario.toml", "--kit-from", "old.json", "--out", "{}"],
                      ["old.json"]),
    "kit": (["kit", "scenario.toml", "--out", "{}"], SCENARIO_FILES),
    "compare": (["compare", "scenario.toml", "--out", "{}"], SCENARIO_FILES),
    "worth": (["worth", "evidence.csv", "--out", "{}"], ["evidence.csv"]),
    "worth in a scenario": (["worth", "evidence.csv", "--scenario", "scenario.toml", "--out", "{}"],
                            SCENARIO_FILES),
    "worth of a rider": (["worth", "evidence.csv", "--rider", "rider.toml", "--out", "{}"],
                         ["rider.toml", "efforts.csv"]),
    "worth by priors": (["worth", "evidence.csv", "--priors", "priors.toml", "--out", "{}"],
                        ["priors.toml"]),
    "cables": (["cables", "4 x 5 mm x 300 mm", "--rider", "rider.toml", "--out", "{}"],
               ["rider.toml", "efforts.csv"]),
    "rider": (["rider", "rider.toml", "--out", "{}"], ["rider.toml", "efforts.csv"]),
    "rider of rides": (["rider", "ride.csv", "ride.gpx", "--out", "{}"], ["ride.csv", "ride.gpx"]),
    "course --out": (["course", "course.gpx", "--features", "roads.csv", "--out", "{}"],
                     ["course.gpx", "roads.csv"]),
    "course --gpx": (["course", "course.gpx", "--features", "roads.csv", "--gpx", "{}"],
                     ["course.gpx", "roads.csv"]),
    "course of a scenario": (["course", "scenario.toml", "--gpx", "{}"], SCENARIO_FILES),
    "fieldtest --out": (["fieldtest", "ride.csv", "--mass", "80", "--forecast", "forecast.csv",
                         "--out", "{}"], ["ride.csv", "forecast.csv"]),
    "fieldtest --row": (["fieldtest", "ride.csv", "ride.csv", "--mass", "80", "--setups", "a,b",
                         "--row", "{}"], ["ride.csv"]),
    "debrief --out": (["debrief", "scenario.toml", "ride.csv", "--kit-from", "old.json", "--out",
                       "{}"], [*SCENARIO_FILES, "ride.csv", "old.json"]),
    "debrief --update": (["debrief", "scenario.toml", "ride.csv", "--update", "{}"],
                         ["scenario.toml", "rider.toml"]),
}
CASES = [(name, file) for name, (_, files) in COMMANDS.items() for file in files]


@pytest.fixture
def files(tmp_path, monkeypatch):
    race(tmp_path, scenario=ROAD, kit=KIT, evidence=EVIDENCE)
    (tmp_path / "rider.toml").write_text('mass_kg = 70\nefforts_csv = "efforts.csv"\n')
    (tmp_path / "efforts.csv").write_text("minutes,power_w\n3,400\n12,320\n40,280\n")
    (tmp_path / "roads.csv").write_text(FEATURES)
    (tmp_path / "old.json").write_text('{"schema": "kitpace-result-1"}')
    (tmp_path / "ride.csv").write_text(RIDE)
    (tmp_path / "ride.gpx").write_text("<gpx/>")
    (tmp_path / "forecast.csv").write_text(FORECAST)
    (tmp_path / "priors.toml").write_text("")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def held(folder):
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize(("command", "file"), CASES)
def test_an_output_is_no_input(files, command, file):
    before = held(files)
    words = [word.replace("{}", file) for word in COMMANDS[command][0]]
    for flag in ((), ("--overwrite",)):
        code, said = kitpace(*words, *flag)
        assert code == 2, said
        assert file in said
        assert "reads" in said or command in {"plan --card", "debrief --update"}, said
        assert held(files) == before


ALIASES = {
    "symbolic link": lambda path, alias: alias.symlink_to(path),
    "hard link": lambda path, alias: alias.hardlink_to(path),
    "link to a link": lambda path, alias: (alias.with_name("mid").symlink_to(path),
                                           alias.symlink_to("mid")),
    "linked folder": None, "relative": None, "absolute": None,
}


@posix
@pytest.mark.parametrize("how", ALIASES)
@pytest.mark.parametrize("command", [name for name in COMMANDS if name != "debrief --update"])
def test_an_input_by_another_name_is_still_one(files, command, how):
    words, (file, *_) = COMMANDS[command]
    alias = {"linked folder": f"beside/{file}", "relative": f"../{files.name}/./{file}",
             "absolute": str(files / file)}.get(how, f"alias{file[file.rindex('.'):]}")
    (files / "beside").symlink_to(files, target_is_directory=True)
    if ALIASES[how]:
        ALIASES[how](files / file, files / alias)
    before = (files / file).read_bytes()
    code, said = kitpace(*(word.replace("{}", alias) for word in words))
    assert code == 2, said
    assert "reads" in said, said
    assert (files / file).read_bytes() == before


def test_a_batch_into_its_own_folder_keeps_its_table(files):
    (files / "table.csv").write_text("scenario\nscenario.toml\n")
    (files / "index.html").write_text("mine")
    for flag in ((), ("--overwrite",)):
        code, said = kitpace("batch", "table.csv", "--out", ".", *flag)
        assert code == 2
        assert "table.csv" in said or "index.html" in said
    assert (files / "table.csv").read_text() == "scenario\nscenario.toml\n"
    assert (files / "index.html").read_text() == "mine"


PAIRS = [
    (["plan", "scenario.toml"], ["--out", "--json"]),
    (["plan", "scenario.toml"], ["--json", "--card"]),
    (["plan", "scenario.toml"], ["--out", "--card"]),
    (["plan", "scenario.toml"], ["--card", "--card"]),
    (["course", "course.gpx"], ["--out", "--gpx"]),
    (["fieldtest", "ride.csv", "ride.csv", "--mass", "80", "--setups", "a,b"], ["--out", "--row"]),
]


@pytest.mark.parametrize(("words", "options"), PAIRS)
@pytest.mark.parametrize(("one", "other"), [("x.html", "x.html"), ("x.html", "./x.html"),
                                            ("x.html", "X.HTML"), ("new/é.html", "new/é.html"),
                                            ("new/x.html", "link/new/x.html"),
                                            ("x.html", "x.html/y.html")])
def test_an_output_is_no_other_output(files, words, options, one, other):
    (files / "link").symlink_to(files, target_is_directory=True)
    code, said = kitpace(*words, options[0], one, options[1], other)
    assert code == 2, said
    assert "output of" in said, said
    assert not list(files.glob("[xXn]*"))


@pytest.mark.parametrize("command", ["plan --out", "plan --json", "kit", "worth", "cables", "rider",
                                     "course --out", "course --gpx", "fieldtest --out"])
@pytest.mark.parametrize("old", ["a letter to the bank", "<html><body>mine</body></html>", "{}",
                                 "\0\1\2", "block;place"])
def test_what_kitpace_did_not_write_is_kept_unless_told(files, command, old):
    (files / "x.html").write_text(old)
    words = [word.replace("{}", "x.html") for word in COMMANDS[command][0]]
    code, said = kitpace(*words)
    assert code == 2
    assert "--overwrite" in said
    assert (files / "x.html").read_text() == old


@pytest.mark.parametrize("words", [
    ["rider", "rider.toml", "--out", "x.html"], ["worth", "evidence.csv", "--out", "x.html"],
    ["course", "course.gpx", "--out", "x.html", "--gpx", "x.gpx"],
    ["cables", "4 x 5 mm x 300 mm", "--out", "x.html"],
    ["plan", "scenario.toml", "--out", "x.html", "--json", "x.json", "--card", "c.html", "--card",
     "c.gpx", "--card", "c.csv"]])
def test_what_kitpace_wrote_is_replaced_and_a_flag_replaces_anything(files, words):
    assert kitpace(*words)[0] == 0
    made = {path.name for path in files.glob("[xc].*")}
    assert len(made) == len([word for word in words if word[:2] in {"x.", "c."}])
    assert kitpace(*words)[0] == 0  # its own mark is found in each
    for name in made:
        (files / name).write_text("zzyzx")
    assert kitpace(*words)[0] == 2
    assert kitpace(*words, "--overwrite")[0] == 0
    assert not any("zzyzx" in (files / name).read_text() for name in made)


# --- what is no file, and what cannot be written ----------------------------------------------


@posix
@pytest.mark.parametrize("command", [name for name in COMMANDS if name != "debrief --update"])
@pytest.mark.parametrize("kind", ["pipe", "device", "folder", "read-only", "name too long",
                                  "below a file", "link in a circle"])
def test_targets_that_cannot_be_are_refused_before_the_work(files, monkeypatch, command, kind):
    target = files / {"name too long": "x" * 300 + ".html", "below a file": "ride.csv/x.html",
                      "device": "full.html"}.get(kind, "t.html")
    if kind == "pipe":
        os.mkfifo(target)
    elif kind == "device":
        target.symlink_to("/dev/full")
    elif kind == "folder":
        target.mkdir()
    elif kind == "read-only":
        target.write_text('<meta name="generator" content="kitpace">')
        target.chmod(0o444)
    elif kind == "link in a circle":
        target.symlink_to(target)
    for work in ("optimizer.scenario.read_scenario", "optimizer.scenario.scenario.read_scenario",
                 "optimizer.scenario.ride_file.read_ride", "optimizer.course.read_course",
                 "optimizer.scenario.evidence_file.read_evidence"):
        monkeypatch.setattr(work, None)
    words = [word.replace("{}", str(target)) for word in COMMANDS[command][0]]
    code, said = kitpace(*words)
    assert code == 2
    assert any(word in said for word in ("not a file", "is a folder", "read-only",
                                         "cannot be written"))
    assert kind in {"link in a circle", "below a file", "name too long"} or target.exists()
    assert not [path for path in files.iterdir() if path.name.startswith(".")]


def test_a_full_disk_is_noticed_before_the_work(files, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("optimizer.files.os.posix_fallocate", full, raising=False)
    monkeypatch.setattr("optimizer.files.os.write", full)
    monkeypatch.setattr("optimizer.scenario.read_scenario", None)
    before = held(files)
    code, said = kitpace("plan", "scenario.toml")
    assert code == 2
    assert "No space left" in said
    assert held(files) == before


@posix
def test_a_folder_without_room_is_noticed(files):
    resource = pytest.importorskip("resource")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (2000, hard))
    try:
        with pytest.raises(InputError, match="cannot be written"):
            check_outputs([Output("--out", files / "x.html", b"", 100_000)], [])
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert not [path for path in files.iterdir() if path.name.startswith(".")]


def test_all_that_is_wrong_with_outputs_is_told_at_once(tmp_path):
    (tmp_path / "mine.html").write_text("my own page")
    (tmp_path / "in.csv").write_text("a,b")
    with pytest.raises(InputErrors) as caught:
        check_outputs([Output("--out", tmp_path / "mine.html", b"kitpace"),
                       Output("--json", tmp_path / "in.csv", b"kitpace"),
                       Output("--card", tmp_path / "fine.html", b"kitpace"),
                       Output("--tables", tmp_path / "fine.html" / "x.xlsx", b"kitpace")],
                      [tmp_path / "in.csv"])
    said = str(caught.value)
    assert len(caught.value.found) == 3
    assert all(words in said for words in ("kitpace did not write it", "that this run reads",
                                           "--tables: would be a file"))


@posix
@pytest.mark.usefixtures("files")
def test_what_swallows_everything_may_be_an_output():
    assert kitpace("rider", "rider.toml", "--out", "/dev/null")[0] == 0
    assert stat.S_ISCHR(Path("/dev/null").stat().st_mode)
    code, said = kitpace("course", "course.gpx", "--out", "/dev/null", "--gpx", "/dev/null")
    assert code == 0, said


@posix
def test_an_output_is_not_where_the_words_go(files):
    with (files / "said.html").open("w") as out:
        kept = os.dup(1)
        os.dup2(out.fileno(), 1)
        try:
            with pytest.raises(InputError, match="what this run prints"):
                check_outputs([Output("--out", files / "said.html", None)], [])
        finally:
            os.dup2(kept, 1)
            os.close(kept)


# --- how it is written ------------------------------------------------------------------------


@posix
@pytest.mark.parametrize("mode", [0o600, 0o640, 0o644, 0o664, 0o755])
def test_permissions_of_an_old_file_are_kept(tmp_path, mode):
    path = tmp_path / "a"
    path.write_text("old")
    path.chmod(mode)
    write_atomic(path, "new")
    assert stat.S_IMODE(path.stat().st_mode) == mode
    assert path.read_text() == "new"


@posix
@pytest.mark.parametrize("umask", [0o022, 0o077, 0o002, 0o027])
def test_a_new_file_has_the_permissions_of_the_umask(tmp_path, umask):
    old = os.umask(umask)
    try:
        write_atomic(tmp_path / "a", "new")
    finally:
        os.umask(old)
    assert stat.S_IMODE((tmp_path / "a").stat().st_mode) == 0o666 & ~umask


@posix
def test_a_private_file_is_private_while_it_is_written(tmp_path, monkeypatch):
    (tmp_path / "a").write_text("old")
    (tmp_path / "a").chmod(0o600)
    seen = []
    really = os.fsync
    monkeypatch.setattr("optimizer.files.os.fsync", lambda handle: (
        seen.append(stat.S_IMODE(os.fstat(handle).st_mode)), really(handle)))
    write_atomic(tmp_path / "a", "new")
    assert seen == [0o600]


@posix
def test_links_are_written_through(tmp_path):
    (tmp_path / "far").mkdir()
    real, link = tmp_path / "far" / "real", tmp_path / "link"
    real.write_text("old")
    link.symlink_to(real)
    write_atomic(link, "new")
    assert link.is_symlink()
    assert real.read_text() == "new"
    (tmp_path / "to-be").symlink_to(tmp_path / "far" / "none-yet")
    write_atomic(tmp_path / "to-be", "newer")
    assert (tmp_path / "far" / "none-yet").read_text() == "newer"
    assert names(tmp_path / "far") == ["none-yet", "real"]


@posix
@pytest.mark.parametrize("make", [os.mkfifo, lambda path: path.symlink_to("/dev/full")])
def test_what_is_no_file_is_not_turned_into_one(tmp_path, make):
    make(tmp_path / "a")
    kind = stat.S_IFMT((tmp_path / "a").stat().st_mode)
    with pytest.raises(InputError, match="not a file"):
        write_atomic(tmp_path / "a", "new")
    assert stat.S_IFMT((tmp_path / "a").stat().st_mode) == kind
    assert names(tmp_path) == ["a"]


def test_names_of_the_longest_length_can_be_written(tmp_path):
    for name in ("x" * 255, "é" * 127, "𐀀" * 63):
        write_atomic(tmp_path / name, "new")
        assert (tmp_path / name).read_text() == "new"
    with pytest.raises(InputError, match="cannot be written"):
        write_atomic(tmp_path / ("x" * 256), "new")


def test_text_that_no_encoding_can_hold_is_written_all_the_same(tmp_path):
    write_atomic(tmp_path / "a", "name \udcff")  # of a file whose name is not UTF-8
    assert (tmp_path / "a").read_bytes() == b"name ?"


# --- a fault at each call ---------------------------------------------------------------------

CALLS = ["open", "fsync", "replace", "fchmod", "fchown", "stat", "unlink", "close", "fdopen",
         "fstat"]


@posix
@pytest.mark.parametrize("call", CALLS)
@pytest.mark.parametrize("code", [1, 5, 13, 28, 30, 122])  # EPERM EIO EACCES ENOSPC EROFS EDQUOT
@pytest.mark.parametrize("at", [0, 1, 2])
def test_a_failing_call_leaves_old_files_or_new_ones(tmp_path, monkeypatch, call, code, at):
    one, two = tmp_path / "one", tmp_path / "two"
    one.write_text("old")
    two.write_text("old")
    really, count = getattr(os, call), iter(range(99))

    def failing(*args, **kwargs):
        if next(count) == at:
            raise OSError(code, os.strerror(code))
        return really(*args, **kwargs)

    with monkeypatch.context() as patch:
        patch.setattr(f"optimizer.files.os.{call}", failing)
        try:
            write_all([(one, "new"), (two, "new")])
        except InputError as error:
            refused = str(error)
            assert "cannot be" in refused
        else:
            refused = ""
    texts = {one.read_text(), two.read_text()}
    assert texts <= {"old", "new"}
    assert refused or texts == {"new"}
    assert refused or at or call not in {"open", "fdopen", "fsync", "replace"}  # it came to these
    if call != "replace" or not at:
        assert len(texts) == 1  # a disk that fails between two renamings is the one exception
    if call != "unlink":
        assert names(tmp_path) == ["one", "two"]


@posix
@pytest.mark.parametrize("number", ["SIGTERM", "SIGHUP", "SIGINT", "SIGKILL"])
@pytest.mark.parametrize("call", ["open", "fsync", "replace", "fchmod", "fdopen"])
@pytest.mark.parametrize("when", ["before", "after"])
def test_a_signal_at_any_call_leaves_old_files_or_new_ones(tmp_path, call, number, when):
    one = tmp_path / "one"
    one.write_text("old")
    child = os.fork()
    if not child:
        with contextlib.suppress(BaseException):
            import signal

            for which in (signal.SIGTERM, signal.SIGHUP):
                signal.signal(which, signal.SIG_DFL)
            signal.signal(signal.SIGINT, signal.default_int_handler)
            really = getattr(os, call)

            def stopping(*args, **kwargs):
                found = really(*args, **kwargs) if when == "after" else None
                signal.raise_signal(getattr(signal, number))
                return really(*args, **kwargs) if when == "before" else found

            setattr(os, call, stopping)
            write_atomic(one, "new")
        os._exit(7)
    status = os.waitpid(child, 0)[1]
    import signal

    if number == "SIGINT":
        assert os.waitstatus_to_exitcode(status) == 7  # as KeyboardInterrupt, to be caught
    else:
        assert os.waitstatus_to_exitcode(status) == -getattr(signal, number)
    assert one.read_text() in {"old", "new"}
    if number != "SIGKILL":
        assert names(tmp_path) == ["one"]
