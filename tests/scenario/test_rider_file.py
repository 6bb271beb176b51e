"""The rider's file: what it may leave out, and what it says about mistakes."""

from __future__ import annotations

import re
from importlib.resources import files

import numpy as np
import pytest

from optimizer.errors import InputError
from optimizer.scenario.rider_file import read_ability, read_rider

STARTER = files("optimizer.scenario").joinpath("starter_files", "rider.toml")
FULL = """\
name = "Rider"
mass_kg = 70
height_cm = 180
critical_power_w = 280
critical_power_sd_w = 6
w_prime_kj = 20
w_prime_sd_kj = 2
max_power_w = 600
endurance_loss_percent = 7
recovery = "partial"
recovery_percent = 60
reserve_floor_kj = 1
effort_exponent = 4
pedalling_speed_kmh = 60

[positions.upright]
drag_area_m2 = 0.34

[positions.aero]
drag_area_m2 = 0.25
drag_area_sd_m2 = 0.01
power_percent = 96
max_power_percent = 90
longest_min = 20

[long]
share_percent = 90

[environment]
altitude = "acclimatised"
heat = "unacclimatised"
tested_at_m = 400
tested_at_c = 18
"""


def _file(tmp_path, text):
    path = tmp_path / "rider.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_everything_stated_comes_through_in_si(tmp_path):
    rider = read_rider(_file(tmp_path, FULL))
    assert rider.assumed == ()
    assert (rider.critical_power, rider.w_prime, rider.max_power) == (280.0, 20e3, 600.0)
    assert (rider.recovery, rider.recovery_share, rider.reserve_floor) == ("partial", 0.6, 1e3)
    aero, upright = rider.positions
    assert (aero.name, upright.name) == ("aero", "upright")
    assert (aero.power_share, aero.max_power_share, aero.longest) == (0.96, 0.9, 1200.0)
    assert np.isinf(upright.longest)
    assert rider.drag_area_sd == 0.01
    assert (rider.effort_share, rider.endurance_loss) == (0.9, 0.07)
    assert (rider.altitude_response, rider.tested_elevation) == ("acclimatised", 400.0)
    assert rider.tested_temperature == pytest.approx(291.15)


def test_mass_and_two_efforts_will_do(tmp_path):
    rider, ability = read_ability(_file(tmp_path, """
mass_kg = 63
efforts = [{minutes = 60, power_w = 226}, {minutes = 5, power_w = 272}]
"""))
    assert ability.curve.model == "long-assumed"
    assert 210 < rider.critical_power < 245
    assert len(rider.positions) == 2
    assert len(rider.assumed) >= 5


def test_a_stated_model_counts_and_can_be_overruled(tmp_path):
    text = 'mass_kg = 63\npower_model = "work"\nefforts = [' + ", ".join(
        f"{{minutes = {m}, power_w = {w}}}" for m, w in ((3, 350), (6, 305), (12, 285))) + "]\n"
    path = _file(tmp_path, text)
    assert read_ability(path)[1].curve.model == "work"
    assert read_ability(path, "time")[1].curve.model == "time"


def test_efforts_from_a_table_beside_it(tmp_path):
    (tmp_path / "efforts.csv").write_text("minutes,power_w\n3,350\n12,285\n", encoding="utf-8")
    _, ability = read_ability(_file(tmp_path, 'mass_kg = 63\nefforts_csv = "efforts.csv"\n'))
    assert len(ability.efforts) == 2


def test_efforts_from_rides_beside_it(tmp_path):
    rows = "\n".join(f"{k},{300 if k < 300 else 220}" for k in range(1500))
    (tmp_path / "ride.csv").write_text(f"elapsed_s,power_w\n{rows}\n", encoding="utf-8")
    rider, ability = read_ability(_file(tmp_path, 'mass_kg = 63\nrides = ["ride.csv"]\n'))
    assert ability.efforts.overlapping
    assert ability.efforts.duration[0] >= 120.0
    assert 180 < rider.critical_power < 260


def test_a_run_to_follow(tmp_path):
    text = "mass_kg = 63\n[long]\nrun_target_min = 96\nrun_fresh_min = 90\n"
    assert 0.2 < read_rider(_file(tmp_path, text)).time_share < 0.8


@pytest.mark.parametrize(("text", "where", "words"), [
    ("height_cm = 180\n", "mass_kg", "missing"),
    ("mass_kg = 6\n", "line 1, mass_kg", "out of range"),
    ("mass_kg = nan\n", "line 1, mass_kg", "finite"),
    ('mass_kg = "63"x\n', "line 1", "TOML"),
    ("mass_kg = 63\nheigth_cm = 180\n", "line 2, heigth_cm", "height_cm"),
    ("mass_kg = 63\ncritical_power_sd_w = 5\n", "line 2, critical_power_sd_w", "without"),
    ("mass_kg = 63\nw_prime_kj = 5\nreserve_floor_kj = 6\n", "line 3, reserve_floor_kj",
     "not below W'"),
    ("mass_kg = 63\ncritical_power_w = 300\nmax_power_w = 290\n", "line 3, max_power_w",
     "not above critical power"),
    ("mass_kg = 63\nrecovery_percent = 50\n", "line 2, recovery_percent", "not used"),
    ('mass_kg = 63\nrecovery = "fast"\n', "line 2, recovery", ""),
    (("mass_kg = 63\n[[efforts]]\nminutes = 5\npower_w = 300\n[[efforts]]\nminutes = 5\n"
     "power_w = 290\n"), "line 6, efforts 2, minutes", "two efforts"),
    (("mass_kg = 63\n[[efforts]]\nminutes = 5\npower_w = 250\n[[efforts]]\nminutes = 20\n"
     "power_w = 260\n"), "line 2, efforts", "no best effort"),
    ('mass_kg = 63\nefforts_csv = "none.csv"\n', "", "no such file"),
    ('mass_kg = 63\nrides = ["a.csv"]\nefforts_csv = "b.csv"\n', "line 2, rides", "is given with"),
    ("mass_kg = 63\n[long]\nrun_target_min = 90\n", "line 3, long.run_target_min", "both"),
    ("mass_kg = 63\n[long]\nrun_target_min = 90\nrun_fresh_min = 95\n",
     "line 3, long.run_target_min", "slower"),
    ("mass_kg = 63\n[long]\nshare_percent = 80\nrun_target_min = 99\nrun_fresh_min = 95\n",
     "line 3, long.share_percent", "is given with"),
    ("mass_kg = 63\n[positions.upright]\nlongest_min = 10\n",
     "line 3, positions.upright.longest_min", "longest spell"),
    ("mass_kg = 63\n[positions.aero]\ndrag_area_m2 = 2.5\n",
     "line 3, positions.aero.drag_area_m2", "out of range"),
])
def test_a_mistake_is_named_with_its_line(tmp_path, text, where, words):
    with pytest.raises(InputError) as caught:
        read_rider(_file(tmp_path, text))
    assert where in str(caught.value)
    assert words in str(caught.value)


def test_a_key_below_a_line_in_brackets_is_sent_to_the_top(tmp_path):
    text = "mass_kg = 70\n[[efforts]]\nminutes = 5\npower_w = 300\ncritical_power_w = 260\n"
    with pytest.raises(InputError, match="critical_power_w belongs above the first line in"):
        read_rider(_file(tmp_path, text))


def test_every_commented_key_of_the_starter_may_be_switched_on(tmp_path):
    """Each where it stands: what is commented out belongs to the table above it."""
    lines = STARTER.read_text(encoding="utf-8").split("\n")
    top = lines[:lines.index("[[efforts]]")]
    keys = [k for k, line in enumerate(top) if re.match(r"# \w+ = ", line)]
    assert len(keys) > 10
    for k in keys:
        (tmp_path / "efforts.csv").write_text("minutes,power_w\n5,300\n", encoding="utf-8")
        text = "\n".join([*lines[:k], lines[k][2:], *lines[k + 1:]])
        said = ""
        try:
            read_rider(_file(tmp_path, text))
        except InputError as error:
            said = str(error)
        assert "not a known key" not in said


def test_a_name_without_end_is_refused_in_words(tmp_path):
    with pytest.raises(InputError, match="name: has more than 80 characters"):
        read_rider(_file(tmp_path, f'mass_kg = 70\nname = "{"x" * 81}"\n'))


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        read_rider(tmp_path / "none.toml")


@pytest.mark.parametrize("key", ["threshold_w", "ftp_w", "ftp", "one_hour_power_w", "best_60min_w"])
def test_sixty_minute_power_is_a_best_effort(tmp_path, key):
    path = tmp_path / "rider.toml"
    path.write_text(f"mass_kg = 70\n{key} = 280\n")
    with pytest.raises(InputError, match=rf"line 2, {key}: is not a known key") as caught:
        read_rider(path)
    assert "minutes = 60 and power_w = 280" in str(caught.value)


@pytest.mark.parametrize(("minutes", "power", "refused"), [
    (60, 520, True), (300, 410, True), (1200, 300, False), (60, 440, False), (5, 520, False)])
def test_seconds_typed_as_minutes_are_noticed(tmp_path, minutes, power, refused):
    # 70 kg: 520 W for an hour is 7.4 W/kg; 440 W, 6.3 W/kg, is near the records (from memory).
    path = tmp_path / "rider.toml"
    path.write_text(f"mass_kg = 70\n[[efforts]]\nminutes = {minutes}\npower_w = {power}\n"
                    "[[efforts]]\nminutes = 2\npower_w = 600\n")
    if not refused:
        read_rider(path)
        return
    with pytest.raises(InputError, match=f"if it was {minutes} seconds") as caught:
        read_rider(path)
    assert "line 3, efforts 1, minutes" in str(caught.value)
