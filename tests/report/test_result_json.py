"""The JSON is enough for a stranger: the plan verified, and found again, from its numbers alone."""

from __future__ import annotations

import json

import casadi as ca
import numpy as np
import pytest

from optimizer.conditions import Conditions
from optimizer.day import RaceDay
from optimizer.job import Job, Options, Result
from optimizer.kit import Catalogue, Choice, KitSet
from optimizer.pacing import plan_ride, recognisable_places, rideable
from optimizer.physics import Setup
from optimizer.report.result_json import SCHEMA, result_document, write_json
from optimizer.rider import Position, Rider
from tests.report.made_up import made_up_course


@pytest.fixture(scope="module")
def result():
    course = made_up_course()
    air = Conditions(wind_east=np.array([[3.0]]), wind_north=np.array([[1.0]]))
    rider = Rider("R", 72.0, 280.0, 20_000.0, 500.0, (Position("aero", 0.26),),
                  recovery="partial", recovery_share=0.6)
    bike = Setup("bike", 9.0, 0.0042, yaw=np.radians([0.0, 10.0, 20.0]),
                 drag_area_change=np.array([0.0, -0.004, 0.002]))
    day = RaceDay(course, air, rider, step=50.0)
    plan = plan_ride(day, bike)
    few = rideable(plan, recognisable_places(course), blocks=6)
    kit = KitSet((), 0.0, bike, plan.finish_time, plan.lower_bound)
    job = Job("JSON", course, air, rider, bike, Catalogue(()), (), 0.0, "EUR", Options(step=50.0))
    return Result(job, day, Choice(0.0, "EUR", kit, kit, (kit,), 0.0), plan, plan, few,
                  (plan.finish_time - 20, plan.finish_time, plan.finish_time + 25))


@pytest.fixture(scope="module")
def document(result, tmp_path_factory):
    path = write_json(result, tmp_path_factory.mktemp("json") / "plan.json")
    return json.loads(path.read_text(encoding="utf-8"),
                      parse_constant=lambda name: pytest.fail(f"{name} is not JSON"))


def test_the_keys_that_are_promised(document):
    assert document["schema"] == SCHEMA
    promised = {
        "course": "name distance_m ascent_m",
        "plan": "finish_time_s lower_bound_s gap_s mean_power_w work_j lowest_reserve_j",
        "kit": "budget currency spent chosen saved_s",
        "profile": "distance_m elevation_m speed_mps power_w reserve_j",
        "model": "step_m grade headwind_mps crosswind_mps air_density crr cda_m2 speed_limit_mps "
                 "power_limit_w mass_kg effective_mass_kg drivetrain_efficiency critical_power_w "
                 "w_prime_j start_speed_mps",
    }
    for table, keys in promised.items():
        assert set(keys.split()) <= set(document[table]), table
    for row in document["splits"]:
        assert set(row) >= {"mark", "distance_m", "elapsed_s"}
    for row in document["frontier"]:
        assert set(row) >= {"spend", "finish_time_s", "items"}
    assert document["splits"][-1]["mark"] == "Finish"
    assert document["splits"][-1]["elapsed_s"] == pytest.approx(document["plan"]["finish_time_s"])


def test_the_same_result_gives_the_same_bytes(result, tmp_path):
    first = write_json(result, tmp_path / "a.json").read_bytes()
    assert write_json(result, tmp_path / "b.json").read_bytes() == first


def test_a_free_corner_is_null_not_infinity(document):
    assert None in document["model"]["speed_limit_mps"]
    assert 7.5 in document["model"]["speed_limit_mps"]


def model(document):
    m = {key: np.array(value, dtype=float) if isinstance(value, list) and key != "cda_fine_m2"
         else value for key, value in document["model"].items()}
    m["speed_limit_mps"] = np.where(np.isnan(m["speed_limit_mps"]), 1e3, m["speed_limit_mps"])
    cosine = 1 / np.sqrt(1 + m["grade"] ** 2)
    m["road"] = m["mass_kg"] * m["gravity_mps2"] * cosine * (m["grade"] + m["crr"])
    return m


def test_the_plan_obeys_the_written_equations(document):
    """Every step of the profile against the formulas of the schema's documentation."""
    m, ridden = model(document), document["profile"]
    speed, power = np.array(ridden["speed_mps"]), np.array(ridden["power_w"])
    pace = 2 / (speed[:-1] + speed[1:])
    mean = np.sqrt((speed[:-1] ** 2 + speed[1:] ** 2) / 2)
    along = mean + m["headwind_mps"]
    yaw = np.degrees(np.abs(np.arctan2(np.abs(m["crosswind_mps"]), along)))
    area = np.interp(yaw, np.arange(91), document["model"]["cda_fine_m2"][0])
    drag = 0.5 * m["air_density"] * area * along * np.hypot(along, m["crosswind_mps"])
    spare = (m["drivetrain_efficiency"] * power * pace - drag - m["road"] - m["bearing_n"]
             - m["bearing_n_per_mps"] * mean
             - m["effective_mass_kg"] * np.diff(speed**2) / (2 * m["step_m"]))
    braking = speed[1:] >= m["speed_limit_mps"][1:] - 1e-6
    assert np.abs(spare[~braking]).max() < 0.02  # N; what is left is rounding and the CdA table
    assert spare[braking].min() > -0.02
    time = np.concatenate([[0], np.cumsum(m["step_m"] * pace)])
    assert time[-1] == pytest.approx(document["plan"]["finish_time_s"], abs=1e-3)
    net = (m["critical_power_w"] - power) * m["step_m"] * pace
    reserve = [m["w_prime_j"]]
    for gain, share in zip(net, m["recovery_share"], strict=True):
        reserve.append(min(m["w_prime_j"], reserve[-1] + (gain * share if gain > 0 else gain)))
    assert np.allclose(reserve, ridden["reserve_j"], atol=0.5)
    assert min(reserve) > m["reserve_floor_j"] - 1.0
    assert np.all(power <= m["power_limit_w"] + 1e-3)
    spent = (power / m["critical_power_w"]) ** m["effort_exponent"] @ (m["step_m"] * pace)
    assert spent == pytest.approx(m["effort_per_second"] * time[-1] + m["effort_budget_s"],
                                  rel=1e-5)
    assert np.all(speed <= m["speed_limit_mps"] + 1e-6)


def test_a_solver_of_another_house_finds_no_faster_plan(document):
    """CasADi with IPOPT on the arrays of the JSON, in speeds and powers as anyone would write."""
    m = model(document)
    n = len(m["step_m"])
    speed, power, reserve = ca.MX.sym("v", n + 1), ca.MX.sym("P", n), ca.MX.sym("W", n + 1)
    table = ca.interpolant("cda", "bspline", [list(np.radians(np.arange(91.0)))],
                           document["model"]["cda_fine_m2"][0])
    pace = 2 / (speed[:-1] + speed[1:])
    mean = ca.sqrt((speed[:-1] ** 2 + speed[1:] ** 2) / 2)
    along = mean + m["headwind_mps"]
    cross = np.abs(m["crosswind_mps"])
    area = table.map(n)(ca.atan2(cross, along).T).T
    drag = 0.5 * m["air_density"] * area * along * ca.sqrt(along**2 + cross**2 + 1e-12)
    spare = (m["drivetrain_efficiency"] * power * pace - drag - m["road"] - m["bearing_n"]
             - m["bearing_n_per_mps"] * mean
             - m["effective_mass_kg"] * (speed[1:] ** 2 - speed[:-1] ** 2) / (2 * m["step_m"]))
    net = (m["critical_power_w"] - power) * m["step_m"] * pace
    kept = reserve[1:] - reserve[:-1]
    finish = ca.sum1(pace * m["step_m"])
    spent = ca.sum1((power / m["critical_power_w"]) ** m["effort_exponent"] * pace * m["step_m"])
    effort = m["effort_per_second"] * finish + m["effort_budget_s"] - spent
    rows = ca.vertcat(spare, net - kept, m["recovery_share"] * net - kept, effort)
    x = ca.vertcat(speed, power, reserve)
    start = max(m["start_speed_mps"], 1e-3)
    low = np.concatenate([[start], np.full(n, 0.5), np.zeros(n),
                          np.full(n + 1, m["reserve_floor_j"])])
    high = np.concatenate([[start], np.minimum(m["speed_limit_mps"][1:], 40.0), m["power_limit_w"],
                           np.full(n + 1, m["w_prime_j"])])
    solver = ca.nlpsol("ride", "ipopt", {"x": x, "f": finish, "g": rows}, {
        "ipopt.print_level": 0, "print_time": False, "ipopt.tol": 1e-9, "ipopt.max_iter": 500})
    guess = np.concatenate([np.full(n + 1, 8.0), 0.9 * m["critical_power_w"],
                            np.full(n + 1, 0.5 * m["w_prime_j"])])
    found = solver(x0=np.clip(guess, low, high), lbx=low, ubx=high, lbg=0, ubg=np.inf)
    assert solver.stats()["success"]
    plan = document["plan"]
    assert float(found["f"]) == pytest.approx(plan["finish_time_s"], abs=0.02)
    assert plan["lower_bound_s"] <= float(found["f"]) + 0.02


def test_numbers_of_the_document_are_those_of_the_result(result):
    document = result_document(result)
    assert document["plan"]["finish_time_s"] == result.plan.finish_time
    assert document["rideable"]["price_s"] == result.rideable.price
    assert len(document["rideable"]["blocks"]) == len(result.rideable.blocks)
    assert document["kit"]["saved_s"] == 0.0
