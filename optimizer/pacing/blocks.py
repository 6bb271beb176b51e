"""A card that a person can ride: few lines with a power each, from places that are recognised.

Where lines begin is found by dynamic programming on the ideal plan, at the seconds that a power
off the ideal one costs; then each line has to show by true rides, with all powers at their best,
that it saves what a line has to save.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, NoReturn

import numpy as np

from optimizer.errors import Infeasible
from optimizer.pacing.literal import (
    Layout,
    NoFigures,
    best_figures,
    highest_even,
    room,
    round_figures,
)
from optimizer.pacing.plan import Block, RideablePlan
from optimizer.pacing.problem import COASTING_POWER, FASTEST, split_steps
from optimizer.pacing.simulate import simulate
from optimizer.pacing.solver import FINE, blame_step
from optimizer.pacing.terrain import climbs_and_descents, what_comes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimizer.course import Mark
    from optimizer.course.laps import Laps
    from optimizer.pacing.plan import Plan
    from optimizer.pacing.problem import PacingProblem
    from optimizer.pacing.simulate import SimulatedRide

__all__ = ["constant_power", "constant_speed", "figure_unit", "rideable"]

LINE_SHARE: Final = 5e-4
LINE_SECONDS: Final = 2.0
"""Of the finish time, or s, whichever is less: what a line of the card has to save."""

# What riders feel, read and hold: common practice, no source.
_UNITS: Final = (5.0, 2.0, 1.0)  # W, to which people round
_ROUND: Final = 0.0105  # of CP, the most of a unit
_WATT: Final = 1.0  # W, of the one figure of an even ride
_SPARE: Final = 0.03  # of the reserve, kept on a card for what the steps of the grid leave out
_HELD: Final = 0.995  # of a speed limit, from where a plan is on it
# s/s, how the time bends by (dP/P)²: 2/9 where v goes with P^(1/3) (algebra of T = d/v).
_BENT: Final = 0.2
_ROLLS: Final = 20.0  # s of climbs, and of descents, in a line that rolls
_UNEQUAL: Final = 4.0  # times more of the one than of the other, with which it still does
_PRICES: Final = (1.0, 0.5)  # times what a line has to save, at which lines are looked for
_ROUNDS: Final = 3  # of lines and what climbs add, in turn
_TOGETHER: Final = 150.0  # m into a lap, closer than which places of two laps are one


def figure_unit(critical_power: float) -> float:
    """Give the round number of watts that is about 1 % of CP or less.

    Parameters
    ----------
    critical_power : W

    Returns
    -------
    5, 2 or 1 W
    """
    return next((unit for unit in _UNITS if unit <= _ROUND * critical_power), _UNITS[-1])


def line_saves(finish_time: float) -> float:
    """Seconds that a line of the card has to save on a ride of `finish_time` [s]."""
    return min(LINE_SHARE * finish_time, LINE_SECONDS)


def rideable(plan: Plan, places: Sequence[Mark], blocks: int = 8, rounding: float | None = None,
             *, rolling: bool = True, laps: Laps | None = None) -> RideablePlan:
    """Simplify a plan to a card of at most `blocks` lines.

    A line stays only where it saves 0.05 % of the time or 2 s, whichever is less; so do figures
    for climbs and descents. One power in whole watts is the card where no card is faster by that.
    The ride is that of a rider who takes the card literally.

    Parameters
    ----------
    plan : the fastest ride
    places : where a line may begin; a name that is not empty is printed
    blocks : how many lines there may be
    rounding : of the figures [W], 0 for none; None for `figure_unit`, or less where that costs
        as much as a line has to save
    rolling : whether lines on rolling road may give climbs and descents figures of their own
    laps : which ride the same lines; with more parts than `blocks` they are taken as one road

    Returns
    -------
    the lines and the ride by them, with its price against the plan [s]

    Raises
    ------
    Infeasible
        where no figures keep the limits on lines that begin at these places
    """
    maker = _Maker(plan, places, blocks, rolling, laps, spare=_SPARE)
    even = _even(maker, 0.0 if rounding == 0.0 else _WATT)
    ridden = maker.fastest(rounding)
    if ridden is None:
        if even is None:
            _explain(plan, blocks)
        return even
    even_price = float("nan") if even is None else even.price
    if even is not None and even.finish_time - ridden.finish_time < maker.least:
        return even
    return replace(ridden, even_price=even_price)


def constant_power(plan: Plan, rounding: float = 0.0) -> RideablePlan:
    """Ride at one power all the way, the highest that the limits allow: the usual baseline.

    Parameters
    ----------
    plan : whose problem is ridden
    rounding : W, to which the power is rounded down; then it is what a card would say

    Returns
    -------
    a card of one line, and the ride by it

    Raises
    ------
    Infeasible
        where no one power keeps the limits
    """
    spare = _SPARE if rounding > 0 else 0.0
    even = _even(_Maker(plan, (), 1, rolling=False, laps=None, spare=spare), rounding)
    if even is None:
        _explain(plan, 1)
    return even


@dataclass(frozen=True)
class _Line:
    """From candidate `begin` to candidate `end` of a strip; with figures of climbs if `rolls`."""

    strip: int
    begin: int
    end: int
    rolls: bool


@dataclass(frozen=True)
class _Strip:
    """A part of the road, ridden once or, as a lap, several times.

    `nodes` (passes, m) are those of the m candidates for ends of lines in each pass; `names` (m,).
    """

    nodes: NDArray[np.int64]
    names: tuple[str, ...]


@dataclass(frozen=True)
class _Card:
    """Lines with unrounded figures: (m,) of the lines, and what climbs add [W]."""

    lines: tuple[_Line, ...]
    figures: NDArray[np.float64]
    extra: float
    time: float
    saves: tuple[float, ...] = ()
    hills_save: float = 0.0

    @property
    def parts(self) -> int:
        """How many parts each have to save something: lines, and figures of climbs in them."""
        return len(self.lines) + sum(line.rolls for line in self.lines)


class _Maker:
    """What all cards for one plan share: weights, places, sums between places."""

    def __init__(self, plan: Plan, places: Sequence[Mark], most: int, rolling: bool,
                 laps: Laps | None, spare: float = 0.0) -> None:
        p = _by_speed(plan.problem)
        p = replace(p, reserve_floor=p.reserve_floor + spare * (p.w_prime - p.reserve_floor))
        self.plan, self.problem, self.most, self.rolling = plan, p, most, rolling
        self.spare = spare
        self.critical_power = float(np.average(p.critical_power, weights=p.step))
        self.least = line_saves(plan.finish_time)
        self.guess = 0.5 * plan.speed**2
        self.way = climbs_and_descents(p)
        self.weight = _weights(plan)
        self.laps = laps
        self.strips = _strips(plan, places, laps)
        if len(self.strips) > most:
            self.laps, self.strips = None, _strips(plan, places, None)
        self.sums = [self._between(strip) for strip in self.strips]

    def _between(self, strip: _Strip) -> dict[str, NDArray[np.float64]]:
        """(m, m) sums from candidate to candidate over all passes."""
        time = np.diff(self.plan.time)
        w, power, up, down = self.weight, self.plan.power, self.way > 0, self.way < 0
        pedalled = time * (w > 0)
        out = {}
        for name, values in {
                "w": w, "wp": w * power, "wpp": w * power**2, "w_up": w * up, "w_down": w * down,
                "wp_up": w * power * up, "wp_down": w * power * down, "t_up": pedalled * up,
                "t_down": pedalled * down, "t": time}.items():
            sums = np.concatenate([[0.0], np.cumsum(values)])[strip.nodes]
            total = (sums - sums[:, :1]).sum(axis=0)
            out[name] = total[None, :] - total[:, None]
        return out

    def costs(self, strip: int, extra: float) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
        """(m, m) seconds that one line from here to there loses, and whether it rolls.

        Half the weighted squares of what the line's powers are off the ideal ones, and for a line
        that rolls what its figures have to save.
        """
        s = self.sums[strip]
        heavy = np.maximum(s["w"], 1e-12)
        plain = 0.5 * np.maximum(s["wpp"] - s["wp"] ** 2 / heavy, 0.0)
        plain[s["t"] <= 0.0] = np.inf
        if extra <= 0.0:
            return plain, np.zeros(plain.shape, dtype=bool)
        share = self.descents(strip)
        rolls = self.may_roll(strip)
        by = s["w_up"] - share * s["w_down"]
        off = (s["wpp"] - 2 * extra * (s["wp_up"] - share * s["wp_down"])
               + extra**2 * (s["w_up"] + share**2 * s["w_down"])
               - (s["wp"] - extra * by) ** 2 / heavy)
        rolling = 0.5 * np.maximum(off, 0.0) + self.least
        better = rolls & (rolling < plain)
        return np.where(better, rolling, plain), better

    def descents(self, strip: int) -> NDArray[np.float64]:
        """(m, m) what descents give for a watt more on climbs, so that the mean stays."""
        s = self.sums[strip]
        return s["t_up"] / np.maximum(s["t_down"], 1e-9)

    def may_roll(self, strip: int) -> NDArray[np.bool_]:
        """(m, m) whether there is enough of climbs and descents for figures of their own."""
        s, passes = self.sums[strip], len(self.strips[strip].nodes)
        share = self.descents(strip)
        return np.asarray((np.minimum(s["t_up"], s["t_down"]) >= _ROLLS * passes)
                          & (share <= _UNEQUAL) & (share >= 1.0 / _UNEQUAL))

    def divide(self, extra: float, least: float) -> tuple[_Line, ...]:
        """Lines of the least loss, each of which costs `least` seconds more."""
        value = np.full(self.most + 1, np.inf)
        value[0] = 0.0
        tables = []
        for strip in range(len(self.strips)):
            cost, rolls = self.costs(strip, extra)
            m = len(cost)
            best = np.full((self.most + 1, m), np.inf)
            back = np.zeros((self.most + 1, m), dtype=np.int64)
            best[:, 0] = value
            for b in range(1, self.most + 1):
                through = best[b - 1][:, None] + cost
                back[b] = through.argmin(axis=0)
                best[b, 1:] = through.min(axis=0)[1:]
            value = best[:, -1]
            tables.append((back, rolls))
        b = int(np.argmin(value + least * np.arange(self.most + 1)))
        lines: list[_Line] = []
        for strip in reversed(range(len(self.strips))):
            back, rolls = tables[strip]
            end = back.shape[1] - 1
            while end > 0:
                begin = int(back[b, end])
                lines.insert(0, _Line(strip, begin, end, bool(rolls[begin, end])))
                end, b = begin, b - 1
        return tuple(lines)

    def best_extra(self, lines: Sequence[_Line]) -> float:
        """Give what climbs should add on lines that roll [W], by least squares."""
        above = below = 0.0
        for line in lines:
            at = line.begin, line.end
            if line.rolls:
                s, share = self.sums[line.strip], self.descents(line.strip)[at]
                by = s["w_up"][at] - share * s["w_down"][at]
                heavy = max(s["w"][at], 1e-12)
                above += (s["wp_up"][at] - share * s["wp_down"][at]) - s["wp"][at] * by / heavy
                below += s["w_up"][at] + share**2 * s["w_down"][at] - by**2 / heavy
        return max(above / below, 0.0) if below > 0.0 else 0.0

    def layout(self, lines: Sequence[_Line], extra: float | None = None) -> Layout:
        """Lay lines on the road; `extra` is one more figure where it is not given."""
        n = self.problem.steps
        share, hills, edges = np.zeros((n, len(lines))), np.zeros(n), [n]
        for k, line in enumerate(lines):
            for row in self.strips[line.strip].nodes:
                a, b = row[line.begin], row[line.end]
                share[a:b, k] = 1.0
                edges.append(int(a))
                if line.rolls:
                    down = self.descents(line.strip)[line.begin, line.end]
                    hills[a:b] = np.where(self.way[a:b] > 0, 1.0,
                                          np.where(self.way[a:b] < 0, -down, 0.0))
        if extra is None and hills.any():
            share = np.column_stack([share, hills])
        base = np.zeros(n) if extra is None else extra * hills
        return Layout(self.problem, np.unique(edges), share, base, self.weight)

    def means(self, lines: Sequence[_Line]) -> NDArray[np.float64]:
        """Mean ideal power of each line, by weight."""
        out = []
        for line in lines:
            s, at = self.sums[line.strip], (line.begin, line.end)
            out.append(s["wp"][at] / s["w"][at] if s["w"][at] > 1e-12 else self.critical_power)
        return np.array(out)

    def optimised(self, lines: tuple[_Line, ...], first: NDArray[np.float64] | None = None,
                  ) -> _Card:
        """Give lines their best figures, from `first` or the ideal plan's means."""
        layout = self.layout(lines)
        rolls = layout.share.shape[1] > len(lines)
        if first is None:
            first = self.means(lines)
        if rolls and len(first) == len(lines):
            first = np.append(first, self.best_extra(lines))
        x, ride = best_figures(layout, first[:layout.share.shape[1]], self.guess)
        return _Card(lines, x[:len(lines)], float(x[-1]) if rolls else 0.0,
                     float(ride.finish_time))

    def fastest(self, rounding: float | None) -> RideablePlan | None:
        """Give the card that is fastest as printed, what its lines have to save counted in."""
        found = []
        for card in self.best():
            try:
                found.append((self.rounded(card, rounding), card.parts))
            except NoFigures:
                continue
        return min(found, key=lambda one: float(one[0].finish_time) + self.least * one[1],
                   default=(None, 0))[0]

    def best(self) -> list[_Card]:
        """Find lines each of which saves what a line has to save: the best, or one of a few.

        The dynamic program does not know what limits few lines leave unspent, which makes more
        lines worth more than it foresees: so it is asked for more of them, too.
        """
        first: list[_Card] = []
        for share in _PRICES:
            try:
                card = self._filled(share * self.least)
            except NoFigures:
                continue
            if self.rolling:
                card = self._with_hills(card, share * self.least)
            if all(card.lines != other.lines for other in first):
                first.append(card)
        found: dict[tuple[_Line, ...], _Card] = {}
        for card in first:
            verified = self._verified(card)
            found.setdefault(verified.lines, verified)
        return list(found.values())

    def _filled(self, least: float) -> _Card:
        """Lines by dynamic programming with their best figures; more of them if need be."""
        try:
            return self.optimised(self.divide(0.0, least))
        except NoFigures:
            return self.optimised(self.divide(0.0, 0.0))

    def _with_hills(self, card: _Card, least: float) -> _Card:
        """Let lines on rolling road give climbs and descents their figures, where that pays."""
        whole = tuple(_Line(k, 0, strip.nodes.shape[1] - 1, rolls=True)
                      for k, strip in enumerate(self.strips))
        extra = self.best_extra(whole)
        lines: tuple[_Line, ...] = ()
        for _ in range(_ROUNDS):
            before, lines = lines, self.divide(extra, least)
            extra = self.best_extra(lines)
            if lines == before or extra <= 0.0:
                break
        if not any(line.rolls for line in lines):
            return card
        try:
            trial = self.optimised(lines)
        except NoFigures:
            return card
        price = self.least * (trial.parts - card.parts)
        return trial if trial.time < card.time - max(price, 0.0) else card

    def _verified(self, card: _Card) -> _Card:
        """Leave lines out, and figures of climbs, as long as one saves too little by true rides."""
        while True:
            trials = [self._merged(card, k) for k in range(1, len(card.lines))]
            saves = [np.inf if trial is None else trial.time - card.time for trial in trials]
            level = self._level(card)
            hills = np.inf if level is None else level.time - card.time
            if min([*saves, hills]) >= self.least:
                return replace(card, saves=(np.inf, *saves),
                               hills_save=0.0 if level is None else hills)
            found = level if hills <= min(saves, default=np.inf) else trials[int(np.argmin(saves))]
            assert found is not None  # noqa: S101 - only what was ridden has a time
            card = found

    def _merged(self, card: _Card, k: int) -> _Card | None:
        """Card without line `k`, which the line before it replaces; None where it cannot be."""
        one, other = card.lines[k - 1], card.lines[k]
        if one.strip != other.strip:
            return None
        rolls = bool(self.costs(one.strip, card.extra)[1][one.begin, other.end])
        lines = (*card.lines[:k - 1], replace(one, end=other.end, rolls=rolls),
                 *card.lines[k + 1:])
        first = np.delete(card.figures, k)
        weights = [max(self.sums[line.strip]["w"][line.begin, line.end], 1e-12)
                   for line in (one, other)]
        first[k - 1] = np.average(card.figures[k - 1:k + 1], weights=weights)
        try:
            return self.optimised(lines, first)
        except NoFigures:
            return None

    def _level(self, card: _Card) -> _Card | None:
        """Card without figures for climbs and descents; None where it has none."""
        if not any(line.rolls for line in card.lines):
            return None
        try:
            return self.optimised(tuple(replace(line, rolls=False) for line in card.lines),
                                  card.figures)
        except NoFigures:
            return None

    def printed(self, card: _Card) -> tuple[Layout, NDArray[np.float64], list[tuple[int, int]]]:
        """Lay every figure that is printed on the road as one of its own.

        Gives the layout, the figures, and for each its line and what it is for: 1 climbs, -1
        descents, 0 the rest.
        """
        layout = self.layout(card.lines, card.extra)
        shares, figures, used = [], [], []
        for k, line in enumerate(card.lines):
            inside = layout.share[:, k] > 0
            for way in (0, 1, -1) if line.rolls else (0,):
                steps = inside & (self.way == way) if line.rolls else inside
                if steps.any() or way == 0:
                    shares.append(steps.astype(float))
                    figures.append(card.figures[k] + (layout.base[steps][0] if way else 0.0))
                    used.append((k, way))
        whole = replace(layout, share=np.stack(shares, axis=1), base=np.zeros(self.problem.steps))
        return whole, np.maximum(figures, 0.0), used

    def rounded(self, card: _Card, rounding: float | None) -> RideablePlan:
        """Round the figures to about 1 % of CP, finer where that costs what a line has to save."""
        layout, x, used = self.printed(card)
        x, ride = best_figures(layout, x, self.guess)
        if rounding == 0.0:
            return self.described(card, layout, x, ride, used)
        best = float(ride.finish_time)
        limit = self.problem.power_limit
        ceiling = np.where(limit >= self.problem.critical_power, limit, limit.max())
        highest = np.min(np.where(layout.share > 0, ceiling[:, None], limit.max()), axis=0)
        coarsest = figure_unit(self.critical_power)
        units = (rounding,) if rounding else [u for u in _UNITS if u <= coarsest]
        for unit in units:
            try:
                figures, ride = round_figures(layout, x, unit, self.guess, highest)
            except NoFigures:
                if unit == units[-1]:
                    raise
                continue
            if float(ride.finish_time) - best < self.least:
                break
        return self.described(card, layout, figures, ride, used)

    def described(self, card: _Card, layout: Layout, x: NDArray[np.float64], ride: SimulatedRide,
                  used: Sequence[tuple[int, int]]) -> RideablePlan:
        """Put a card and its ride into words and values."""
        p = self.problem
        asked = layout.asked(x)
        pedals = np.diff(ride.time) * ((ride.power >= asked * (1 - 1e-9)) & (asked > 0))
        at = dict(zip(used, x, strict=True))
        found = []
        for k, line in enumerate(card.lines):
            strip = self.strips[line.strip]
            first = strip.nodes[0]
            inside = layout.share[:, [j for j, (owner, _) in enumerate(used) if owner == k]]
            free = pedals * inside.any(axis=1)
            main = float(at[k, 0])
            climb, descent = (None if figure is None else float(figure)
                              for figure in (at.get((k, 1)), at.get((k, -1))))
            comes = what_comes(p, first[line.begin], first[line.end])
            if climb is not None:  # few hills are no flat road to who has figures for them
                comes = comes.replace("flat", "rolling")
            block = Block(
                0.0, 0.0, main, strip.names[line.begin], comes, climb, descent,
                float(ride.power @ free / free.sum()) if free.any() else main, line=k)
            for lap, row in enumerate(strip.nodes):
                begin, end = (float(self.plan.distance[row[at]]) for at in (line.begin, line.end))
                again = lap > 0 and line.begin == 0
                found.append(replace(block, start=begin, end=end, place=(
                    f"start of lap {lap + 1}" if again else block.place)))
        return RideablePlan(
            blocks=tuple(sorted(found, key=lambda block: block.start)), speed=ride.speed,
            time=ride.time, power=ride.power, reserve=ride.reserve,
            price=float(ride.finish_time) - self.plan.finish_time, asked=asked, saves=card.saves,
            hills_save=card.hills_save, ceiling=float(p.power_limit.max()),
            pedalling_speed=p.pedalling_speed, laps=self.laps)


def _even(maker: _Maker, rounding: float) -> RideablePlan | None:
    """Card of one line, the highest even power; None where no one power keeps the limits."""
    maker = _Maker(maker.plan, (), 1, rolling=False, laps=None, spare=maker.spare)
    lines = (_Line(0, 0, 1, rolls=False),)
    layout = maker.layout(lines)
    try:
        x, ride = highest_even(layout, maker.guess)
    except NoFigures:
        return None
    if rounding > 0:
        x = np.floor(x / rounding + 1e-6) * rounding
        ride = layout.ride(x, maker.guess)
        if room(maker.problem, ride) < -1e-6:  # a little less power may stall on a wall
            return None
    ridden = maker.described(_Card(lines, x, 0.0, float(ride.finish_time), (np.inf,)), layout, x,
                             ride, [(0, 0)])
    return replace(ridden, even=True, even_price=ridden.price)


def _by_speed(problem: PacingProblem) -> PacingProblem:
    """Let the rider's own speed say where to coast, not that of the plan."""
    limit = problem.power_limit
    return replace(problem, power_limit=np.where(limit <= COASTING_POWER, limit.max(), limit))


def _weights(plan: Plan) -> NDArray[np.float64]:
    """(n,) s/W²: a step whose power is off the ideal one by dP loses half of this times dP².

    The Lagrangian bends by the effort, μ p (p - 1) (P/CP)^(p-2)/CP² a second, and a little by the
    time itself. Nothing is lost where the plan is on a speed limit or too fast to pedal: there no
    card says otherwise.
    """
    p = plan.problem
    highest = np.minimum(np.minimum(p.speed_limit[1:], FASTEST), p.pedalling_speed)
    usual = max(plan.mean_power, 1.0)
    curvature = np.full(p.steps, _BENT / usual**2)
    if p.effort is not None:
        by = p.effort.exponent
        ratio = np.maximum(plan.power, 0.1 * p.critical_power) / p.critical_power
        curvature += (plan.seconds_per_effort * by * (by - 1) * ratio ** (by - 2)
                      / p.critical_power**2)
    return np.asarray(curvature * np.diff(plan.time) * (plan.speed[1:] < _HELD * highest))


def _strips(plan: Plan, places: Sequence[Mark], laps: Laps | None) -> list[_Strip]:
    """Parts of the road with their candidates for ends of lines."""
    nodes = plan.distance

    def node(distance: float) -> int:
        return int(np.argmin(np.abs(nodes - distance)))

    if laps is None:
        return [_once(nodes, places, 0, len(nodes) - 1, "start")]
    first, last = node(laps.edges[0]), node(laps.edges[-1])
    into: list[tuple[float, str]] = []
    for place in sorted(places, key=lambda place: (place.name == "", place.distance)):
        lap, at = laps.within(place.distance)
        if 0 <= lap < laps.count and all(abs(at - other) >= _TOGETHER for other, _ in into):
            into.append((float(at), place.name))
    into = [(at, name) for at, name in sorted(into)
            if 0.5 * _TOGETHER < at < laps.length - 0.5 * _TOGETHER]
    share = np.array([0.0, *(at / laps.length for at, _ in into), 1.0])
    rows = np.array([[node(a + part * (b - a)) for part in share]
                     for a, b in zip(laps.edges[:-1], laps.edges[1:], strict=True)])
    rows = rows[:, np.append(True, np.all(np.diff(rows, axis=1) > 0, axis=0))]
    names = ("start" if first == 0 else "start of the lap", *(name for _, name in into), "")
    out = [_Strip(rows, names)]
    if first > 0:
        out.insert(0, _once(nodes, places, 0, first, "start"))
    if last < len(nodes) - 1:
        out.append(_once(nodes, places, last, len(nodes) - 1, "end of the laps"))
    return out


def _once(nodes: NDArray[np.float64], places: Sequence[Mark], begin: int, end: int,
          name: str) -> _Strip:
    """Part of the road that is ridden once."""
    at = {begin: name}
    for place in places:
        k = int(np.argmin(np.abs(nodes - place.distance)))
        if begin < k < end:
            at.setdefault(k, place.name)
    inside = sorted(at)
    return _Strip(np.array([[*inside, end]]), (*(at[k] for k in inside), ""))


def _explain(plan: Plan, blocks: int) -> NoReturn:
    """Raise Infeasible with the reason why no figures on so few lines keep the limits."""
    p = plan.problem
    ride = simulate(p, np.minimum(p.critical_power, p.power_limit))
    if not ride.stalled:
        raise Infeasible("no power figures keep the limits on so few lines",
                         "allow more lines")
    finer = split_steps(p, np.ceil(p.step / FINE).astype(np.int64))
    if not simulate(finer, np.minimum(finer.critical_power, finer.power_limit)).stalled:
        blame_step(p, ride)
    k = int(np.argmin(ride.speed[1:]))
    where = f"at {p.distance[k] / 1000:.2f} km ({100 * p.grade[k]:.0f} %)"
    lines = "one power" if blocks == 1 else f"a card of {blocks} lines"
    raise Infeasible(
        f"the climb {where} takes more than critical power, and with {lines} that power "
        "would apply elsewhere too, where it is too much", "allow more lines")


def constant_speed(problem: PacingProblem) -> float:
    """Find the time at the highest speed that can be held wherever course and power limit allow.

    Getting up to speed takes the power limit.

    Parameters
    ----------
    problem : with the rider's limits

    Returns
    -------
    finish time [s]; nan where no speed can be held, such as over a climb that takes more than CP
    at a crawl
    """
    slow, fast = problem.lowest_speed, FASTEST
    best = float("nan")
    for _ in range(30):
        speed = 0.5 * (slow + fast)
        held = replace(problem, speed_limit=np.minimum(problem.speed_limit, speed),
                       pedalling_speed=float("inf"))
        ride = simulate(held, problem.power_limit)
        if room(problem, ride) < 0:
            fast = speed
        else:
            best, slow = float(ride.finish_time), speed
    return best
