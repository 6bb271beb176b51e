"""A result as JSON: everything that a stranger needs to verify the plan with other tools."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING, Any

import numpy as np

from optimizer import __version__
from optimizer.files import write_atomic
from optimizer.report.card import position_words, ridden_on
from optimizer.report.inputs import evidence_of, inputs_of
from optimizer.report.weather import wind_met
from optimizer.rider.recovery import SLOWS

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from optimizer.job import Job, Result
    from optimizer.kit import KitSet
    from optimizer.pacing import PacingProblem, Plan
    from optimizer.rider import Rider

__all__ = ["SCHEMA", "json_text", "result_document", "splits", "write_json"]

SCHEMA = "kitpace-result-3"
"""Name and version of the schema: a key may be added under the same number, not changed.

`mean_wind_east_mps` and `mean_wind_north_mps` are the mean wind along the ride, at forecast height
and at the hours in which the ideal ride meets it.

`crosswind_above_bike_limit_mps` of `kit` is the strongest cross wind at the rider where it passes
the limit of the bike and the bike's own wheels are ridden, else null.

In `realism`, `power_mean_w` is the mean of the card's power to the exponent p, as its root;
`power_mean_limit_w` the most that this may come to in the positions ridden, `capacity_w` what can
be held evenly for the same time.

`inputs` are the inputs that are one number each, in the units of their names, as stated or read;
`evidence` what is known of each item: the change that it makes and its standard error, by key.

Of the kits within the budget `best` is the cheapest that is at most `least_gain_s` slower than
`fastest`; none is faster than `best` by more than `proven_gap_s`.

With the kit of an earlier plan (`from_earlier_plan`) `spent` is what it cost there, `owned` is that
kit and `saved_s` is null: nothing is compared with the current kit.

Since 3, `uncertainty` and `uncertainty_s` of a sensitivity, `warnings` of the course and `u_turn`
of a corner were `doubt`, `doubt_seconds`, `doubts` and `dead_turn`.

Since 2, a block of `rideable` holds the power that is ridden in it, with `climb_w` and `descent_w`
of its own where the road rolls (steeper than 1.5 %, for 300 m or more), and `power_w` of `rideable`
is what is put in while `asked_w` is what the card asks for; the list `hills` is gone.

Units stand in the names: `_m` metres, `_s` seconds, `_mps` metres per second, `_w` watts, `_j`
joules, `_kg`, `_m2`, `_deg` degrees. Arrays of the model hold n steps or n + 1 nodes; a limit
that is not there is null. `model` holds the arrays that the plan was computed on:

    m_e (v²_{k+1} − v²_k) / (2 Δs_k) = η f_k − F_aero − F_roll − F_grav − F_bearing − brake
    F_aero    = ½ ρ_k CdA_k(β) (v + h_k) √((v + h_k)² + c_k²),  β = |atan2(c_k, v + h_k)|
    F_roll    = m g crr_k / √(1 + grade_k²),  F_grav = m g grade_k / √(1 + grade_k²)
    F_bearing = a + b v,  Δt_k = 2 Δs_k / (v_k + v_{k+1}),  P_k = f_k Δs_k / Δt_k

with the forces at the step's mean kinetic energy, v² = (v²_k + v²_{k+1}) / 2, g the
`gravity_mps2`, and the reserve W' falling by (P − CP) Δt above CP and rising by
`recovery_share` (CP − P) Δt below it (with `slowing_recovery` also in proportion to the empty
share of it). Where `effort_exponent` p is not null, Σ (P_k/CP_k)^p Δt_k ≤
`effort_per_second` T + `effort_budget_s` over the whole time T: the tangent, at the plan's own
duration, of what the rider may spend. `cda_m2` is interpolated over `yaw_deg`, one row a position;
`position` says which row a step uses; between the table's angles a cubic spline with zero
slopes at both ends, `cda_fine_m2` at every degree from 0 to 90 is that spline itself.
"""


_FREE = 1000.0  # m/s; a limit from there on limits nobody


def result_document(result: Result) -> dict[str, Any]:
    """Whole result as plain lists, numbers and text, in the schema `SCHEMA`."""
    job, plan = result.job, result.plan
    document: dict[str, Any] = _finite({
        "schema": SCHEMA,
        "kitpace": __version__,
        "name": job.name,
        "inputs": inputs_of(job),
        "evidence": evidence_of(job),
        "course": _course(job),
        "conditions": _conditions(result),
        "rider": _rider(result.day.expected),
        "plan": {**_plan(plan), "spread_s": {"5": result.spread[0], "50": result.spread[1],
                                             "95": result.spread[2]}},
        "baseline_plan": _plan(result.baseline_plan),
        "rideable": _rideable(result),
        "even": None if result.even is None else {
            "power_w": result.even.power, "power_finish_time_s": result.even.power_time,
            "speed_finish_time_s": result.even.speed_time},
        "splits": splits(result),
        "set_splits": [{
            "name": entry.name, "items": list(entry.items), "spend": entry.spend,
            "elapsed_s": _list(entry.arrival), "low_s": _list(entry.low),
            "high_s": _list(entry.high)} for entry in result.splits],
        "kit": _kit(result),
        "frontier": [_set(entry) for entry in result.choice.frontier],
        "worth": [{"item": entry.item, "saved_s": entry.seconds, "low_s": entry.low,
                   "high_s": entry.high, "based_on": entry.grounds,
                   "clear_gain": entry.clear} for entry in result.worth],
        "sensitivities": [{
            "name": entry.name, "change": entry.change, "seconds": entry.seconds,
            "uncertainty": entry.uncertainty,
            "uncertainty_s": entry.uncertainty_seconds}
            for entry in result.sensitivities],
        "profile": {
            "distance_m": _list(plan.distance), "elevation_m": _list(_elevation(job, plan)),
            "speed_mps": _list(plan.speed), "time_s": _list(plan.time),
            "power_w": _list(plan.power), "reserve_j": _list(plan.reserve),
            "seconds_per_kilojoule": _list(1000.0 * plan.seconds_per_joule)},
        "model": _model(plan.problem),
        **_held(result),
        "assumptions": list(job.assumptions),
        "sources": [{"what": what, "file": name} for what, name in job.sources],
        "options": {
            "step_m": job.options.step, "blocks": job.options.blocks,
            "power_rounding_w": job.options.power_rounding,
            "empty_risk": job.options.empty_risk, "draws": job.options.draws,
            "seed": job.options.seed},
    })
    return document


def write_json(result: Result, path: Path | str) -> Path:
    """Write the result as JSON; the file is whole or not there."""
    return write_atomic(path, json_text(result))


def json_text(result: Result) -> str:
    """Give the result as JSON, a line a key."""
    lines = [f"{json.dumps(key)}: {json.dumps(value, ensure_ascii=False, allow_nan=False)}"
             for key, value in result_document(result).items()]
    return "{\n" + ",\n".join(lines) + "\n}\n"


def _finite(value: Any) -> Any:
    """Put None, which JSON can say, in the place of what is not a finite number."""
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, dict):
        return {key: _finite(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [_finite(inner) for inner in value]
    return value


def _list(values: NDArray[Any]) -> list[Any]:
    """Array as nested lists, nine significant digits."""
    array = np.asarray(values)
    if array.ndim > 1:
        return [_list(row) for row in array]
    if array.dtype.kind in "iu":
        return [int(value) for value in array]
    return [float(f"{value:.9g}") for value in array]


def _held(result: Result) -> dict[str, Any]:
    """Risk, fork, realism, bike and run; None for what was not asked for."""
    risk, fork, found = result.risk, result.fork, result.realism
    return {
        "risk": None if risk is None else {
            "run_out_chance": risk.chance, "fastest_run_out_chance": risk.plan_chance,
            "power_kept_back": risk.margin, "margin_costs_s": risk.price,
            "compared_risk": risk.other},
        "fork": None if fork is None else {
            "distance_m": fork.place, "place": fork.name, "first_factor": fork.first,
            "branches": [{"day": branch.name, "share": branch.share, "factor": branch.factor}
                         for branch in fork.branches],
            "run_out_chance": fork.chance, "mean_time_s": fork.mean_time,
            "single_plan_mean_time_s": fork.single_time, "known_day_mean_time_s": fork.known_time},
        "realism": None if found is None else {
            "power_variation": found.variation, "power_mean_w": found.power_mean,
            "capacity_w": found.capacity, "power_mean_limit_w": found.limit,
            "hardest_stretch": found.stretch, "share_at_limit": found.at_limit,
            "share_coasting": found.coasting},
        "bike_and_run": [{"effort_share": row.share, "ride_s": row.ride, "run_s": row.run}
                         for row in result.bike_run]}


def _course(job: Job) -> dict[str, Any]:
    course = job.course
    return {
        "name": course.name, "distance_m": course.length, "ascent_m": course.ascent,
        "elevation_sd_m": course.elevation_sd,
        "marks": [{"mark": mark.name, "distance_m": mark.distance} for mark in course.marks],
        "corners": [{
            "name": corner.name, "distance_m": corner.distance, "radius_m": corner.radius,
            "turn_deg": math.degrees(corner.turn), "speed_mps": corner.speed,
            "u_turn": corner.u_turn} for corner in course.corners],
        "corrections": [{"what": entry.what, "count": entry.count, "effect": entry.effect}
                        for entry in course.corrections],
        "warnings": list(course.warnings)}


def _conditions(result: Result) -> dict[str, Any]:
    c, (east, north) = result.job.conditions, wind_met(result)
    return {
        "temperature_k": c.temperature, "pressure_pa": c.pressure, "humidity": c.humidity,
        "reference_elevation_m": c.reference_elevation,
        "wind_time_s": _list(c.wind_time), "wind_distance_m": _list(c.wind_distance),
        "wind_east_mps": _list(c.wind_east), "wind_north_mps": _list(c.wind_north),
        "mean_wind_east_mps": float(east.mean()), "mean_wind_north_mps": float(north.mean()),
        "wind_height_m": c.wind_height, "wind_speed_sd": c.speed_sd,
        "wind_direction_sd_deg": math.degrees(c.direction_sd), "wet": c.wet,
        "start_time": c.start_time.isoformat() if c.start_time else None}


def _rider(r: Rider) -> dict[str, Any]:
    return {
        "name": r.name, "mass_kg": r.mass, "critical_power_w": r.critical_power,
        "critical_power_sd_w": r.critical_power_sd, "w_prime_j": r.w_prime,
        "w_prime_sd_j": r.w_prime_sd, "max_power_w": r.max_power, "recovery": r.recovery,
        "positions": [{"name": p.name, "cda_m2": p.drag_area, "power_share": p.power_share}
                      for p in r.positions],
        "cda_sd_m2": r.drag_area_sd, "assumed": list(r.assumed), "warnings": list(r.warnings)}


def _plan(plan: Plan) -> dict[str, Any]:
    return {
        "finish_time_s": plan.finish_time, "lower_bound_s": plan.lower_bound, "gap_s": plan.gap,
        "second_lower_bound_s": plan.linear_bound,
        "mean_power_w": plan.mean_power, "work_j": plan.work,
        "lowest_reserve_j": plan.lowest_reserve, "lossless": bool(plan.lossless),
        "iterations": plan.iterations, "grid_error_s": plan.grid_error,
        "continuous_time_s": plan.continuous_time,
        "seconds_per_reserve_joule": plan.seconds_per_reserve_joule,
        "notes": list(plan.notes)}


def _rideable(result: Result) -> dict[str, Any]:
    plan = result.rideable
    return {
        "finish_time_s": plan.finish_time, "price_s": plan.price,
        "spread_s": {point: value + plan.price
                     for point, value in zip(("5", "50", "95"), result.spread, strict=True)},
        "blocks": [{
            "line": block.line + 1, "start_m": block.start, "end_m": block.end,
            "power_w": block.power, "climb_w": block.climb, "descent_w": block.descent,
            "mean_w": ridden_on(result, block)[0], "pedalling_mean_w": block.mean,
            "coasting_share": ridden_on(result, block)[1],
            "place": block.place, "what_comes": block.comes,
            "position": position_words(result, block),
            "elapsed_s": float(np.interp(block.end, result.plan.distance, plan.time))}
            for block in plan.blocks],
        "line_saves_s": list(plan.saves), "climbs_and_descents_save_s": plan.hills_save,
        "even": plan.even, "even_price_s": plan.even_price,
        "laps_m": None if plan.laps is None else list(plan.laps.edges),
        "never_above_w": plan.ceiling, "coast_above_mps": plan.pedalling_speed,
        "asked_w": _list(plan.asked),
        "time_s": _list(plan.time), "speed_mps": _list(plan.speed),
        "power_w": _list(plan.power), "reserve_j": _list(plan.reserve)}


def splits(result: Result) -> list[dict[str, Any]]:
    """List each mark and the finish with its time by the plan, in blocks, with what is owned."""
    plan = result.plan
    end = float(plan.distance[-1])
    places = [(mark.name, mark.distance) for mark in result.job.course.split_marks]
    return [{
        "mark": name, "distance_m": at, "elapsed_s": plan.time_at(at),
        "rideable_s": float(np.interp(at, plan.distance, result.rideable.time)),
        "baseline_s": result.baseline_plan.time_at(at)} for name, at in [*places, ("Finish", end)]]


def _set(entry: KitSet) -> dict[str, Any]:
    return {
        "spend": entry.spend, "finish_time_s": entry.finish_time,
        "lower_bound_s": entry.lower_bound, "items": list(entry.items)}


def _kit(result: Result) -> dict[str, Any]:
    choice, catalogue = result.choice, result.job.catalogue
    chosen = [catalogue[name] for name in choice.best.items]
    return {
        "budget": choice.budget, "currency": choice.currency, "spent": choice.best.spend,
        "chosen": list(choice.best.items),
        "from_earlier_plan": choice.kept is not None,
        "saved_s": (None if choice.kept is not None else
                    choice.owned.finish_time - choice.best.finish_time),
        "proven_gap_s": choice.open_to(choice.best),
        "least_gain_s": choice.least_gain,
        "program_gap_s": None if choice.program_gap == float("inf") else choice.program_gap,
        "owned": _set(choice.owned),
        "best": _set(choice.best),
        "fastest": _set(choice.fastest),
        "crosswind_limits": [{"item": name, "limit_mps": limit, "chance": chance}
                             for name, limit, chance in result.limits_passed],
        "crosswind_above_bike_limit_mps": result.bike_passed or None,
        "needs_fitter": [{"item": item.name, "caution": item.caution} for item in chosen
                         if item.needs_fitter],
        "left_out": [{"item": item, "why": why} for item, why in choice.left_out]}


def _elevation(job: Job, plan: Plan) -> NDArray[np.float64]:
    return np.interp(plan.distance, job.course.distance, job.course.elevation)


def _model(p: PacingProblem) -> dict[str, Any]:
    from optimizer.physics import GRAVITY

    fine = np.radians(np.arange(91.0))
    rows = range(len(p.drag.area))
    return {
        "step_m": _list(p.step), "grade": _list(p.grade), "headwind_mps": _list(p.headwind),
        "crosswind_mps": _list(p.crosswind), "air_density": _list(p.air_density),
        "crr": _list(p.rolling_resistance), "yaw_deg": _list(np.degrees(p.drag.yaw)),
        "cda_m2": _list(p.drag.area), "cda_fine_m2": [_list(p.drag.at(fine, row)) for row in rows],
        "position": _list(p.position), "speed_limit_mps": _list(
            np.where(p.speed_limit < _FREE, p.speed_limit, np.inf)),
        "power_limit_w": _list(p.power_limit), "critical_power_w": _list(p.critical_power),
        "recovery_share": _list(p.recovery), "slowing_recovery": SLOWS[p.recovery_law],
        "mass_kg": p.mass, "effective_mass_kg": p.effective_mass,
        "drivetrain_efficiency": p.drivetrain_efficiency, "bearing_n": p.bearing[0],
        "bearing_n_per_mps": p.bearing[1], "gravity_mps2": GRAVITY, "w_prime_j": p.w_prime,
        "reserve_floor_j": p.reserve_floor, "start_speed_mps": p.start_speed,
        "lowest_speed_mps": p.lowest_speed, "pedalling_speed_mps": p.pedalling_speed,
        "effort_exponent": None if p.effort is None else p.effort.exponent,
        "effort_per_second": None if p.effort is None else p.effort.per_second,
        "effort_budget_s": None if p.effort is None else p.effort.budget}
