"""The starter scenario: whole, documented, and not to be overwritten."""

from __future__ import annotations

import csv
import re
import tomllib

import pytest
from pydantic import BaseModel

from optimizer.course import MENDING, SURFACES, TERRAINS
from optimizer.errors import InputError
from optimizer.scenario import catalogue_file, evidence_file, rider_file, scenario
from optimizer.scenario.starter import FILES, write_starter


@pytest.fixture
def folder(tmp_path):
    return write_starter(tmp_path / "new race").parent


def keys(model, seen=()):
    """Every key of a model and of the models inside it."""
    import typing

    for name, field in model.model_fields.items():
        yield name
        todo = [field.annotation]
        while todo:
            hint = todo.pop()
            if isinstance(hint, type) and issubclass(hint, BaseModel) and hint not in seen:
                yield from keys(hint, (*seen, hint))
            todo += typing.get_args(hint)


@pytest.mark.parametrize(("key", "names"), [("surface", SURFACES), ("terrain", TERRAINS)])
def test_the_names_that_a_stretch_takes_are_those_listed(folder, key, names):
    text = (folder / "scenario.toml").read_text(encoding="utf-8")
    told = re.search(rf'^(?:# )?{key} = "[^"]+" +# ([^\n]*(?:\n +# [^\n]*)*)', text,
                     re.MULTILINE)[1]
    assert set(re.split(r",\s*(?:# )?", re.sub(r"\n +# ", " ", told))) == set(names)


@pytest.mark.parametrize(("model", "name"), [
    (scenario.Scenario, "scenario.toml"), (rider_file.RiderTable, "rider.toml")])
def test_every_field_is_explained_in_the_starter(folder, model, name):
    text = (folder / name).read_text(encoding="utf-8")
    for key in keys(model):
        assert re.search(rf"(?m)(^|[#\[{{,] *|\. *){re.escape(key)}( *=|\]|\.)", text), key


def test_every_correction_that_can_be_left_out_is_listed(folder):
    text = (folder / "scenario.toml").read_text(encoding="utf-8")
    said = re.search(r"(?m)^# keep = [^#\n]*((?:#.*\n +)*#.*\n)", text)[1]
    listed = " ".join(said.replace("#", " ").split()).rpartition(": ")[2].split(", ")
    assert listed == list(MENDING)


def test_every_column_is_in_the_starter_tables(folder):
    for name, module in (("kit.csv", catalogue_file), ("evidence.csv", evidence_file)):
        rows = list(csv.reader((folder / name).read_text(encoding="utf-8").splitlines()))
        known = [value for key, value in vars(module).items() if key.strip("_") in {
            "REQUIRED", "OPTIONAL"}]
        assert set(rows[1]) == {column for columns in known for column in columns}, name


def test_a_key_that_is_commented_out_is_valid_when_it_is_not(folder):
    text = (folder / "scenario.toml").read_text(encoding="utf-8")
    active = re.sub(r"(?m)^# (?=\w+ = |\[\[corner\]\])", "", text)
    table = scenario.Scenario.model_validate(tomllib.loads(active))
    assert table.options.start_speed_kmh == 30


def test_nothing_is_overwritten(folder):
    (folder / "scenario.toml").write_text("mine")
    with pytest.raises(InputError, match="exists already"):
        write_starter(folder)
    assert (folder / "scenario.toml").read_text() == "mine"


def test_all_files_are_there(folder):
    assert sorted(path.name for path in folder.iterdir()) == sorted(FILES)
