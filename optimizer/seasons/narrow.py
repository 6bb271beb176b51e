"""What of a season may still be better than what is known, by linear programs of one rider each.

What riders share (money, stock, what is lent) is taken into the objective at its price in the
linear program of the whole season, so that the rest falls apart into programs of one rider
(Lagrangian relaxation; Geoffrion 1974, Math. Programming Study 2:82). The least values of all
others say what one of them may come to in a better season; a purchase, a hire or a use that
alone brings its rider above that is ruled out, and so is leaving a place empty. Over what remains
the range of times is small, and bounds on them are close.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from optimizer.highs import quiet_highs
from optimizer.seasons.program import Rest, cut_model

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray
    from scipy.sparse import csr_array

    from optimizer.seasons.cut import Cut
    from optimizer.seasons.program import Decision, Model
    from optimizer.seasons.times import EntryTimes
    from optimizer.seasons.values import Season

__all__ = ["Arrays", "Findings", "Linear", "Split", "everything", "narrowed", "split"]

_ROUNDING = 1e-5  # s, by which a linear program has to be above a limit
_HALF = 0.5


def everything(times: Sequence[EntryTimes]) -> Rest:
    """Nothing ruled out yet.

    Parameters
    ----------
    times : of its entries

    Returns
    -------
    all that entries may use
    """
    return Rest(tuple(there.all_left() for there in times), {}, {})


def narrowed(season: Season, times: Sequence[EntryTimes], cuts: Sequence[Sequence[Cut]],
             best: Decision, rest: Rest, limit: float, budget: float | None,
             ) -> tuple[Rest, list[tuple[float, float]]] | None:
    """Rule out what cannot be in a season whose value is below a limit.

    Parameters
    ----------
    season : riders, races, kit and money
    times : of its entries
    cuts : bounds of each entry
    best : season that is known
    rest : what is left so far
    limit : s, value that a better season is below
    budget : money instead of that of the season

    Returns
    -------
    what is left now, with the ends of `Boxes.along` by entry in the units of before; None where
    nothing remains
    """
    made, _ = cut_model(season, times, cuts, whole=False, budget=budget, rest=rest)
    found = split(season, made)
    if found.least > limit + _ROUNDING:
        return None
    linears = [Linear(part) for part in found.parts.values()]
    floors = [one.least() for one in linears]
    spare = limit - found.constant - sum(floors)
    if spare < -_ROUNDING:
        return None
    out = Findings(season, times, made, best, rest)
    for linear, floor in zip(linears, floors, strict=True):
        if not out.look(linear, floor + max(spare, 0.0) + _ROUNDING):
            return None
    return out.rest(), out.ends


@dataclass(frozen=True)
class Arrays:
    """Least c x where rows of A x are within limits, with the columns by variable.

    Attributes
    ----------
    cost : (n,)
    low, high : (n,) ends of the columns
    matrix : (r, n)
    least, most : (r,)
    column : by id of a variable
    row : by id of a constraint
    entries : whose times are columns
    unpriced : rows that `Linear.reduced` leaves aside
    """

    cost: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    matrix: csr_array
    least: NDArray[np.float64]
    most: NDArray[np.float64]
    column: Mapping[int, int]
    row: Mapping[int, int] = field(default_factory=dict)
    entries: tuple[int, ...] = ()
    unpriced: tuple[int, ...] = ()

    @classmethod
    def of(cls, made: Model) -> Arrays:
        """Take a program apart."""
        from pyomo.repn.plugins.standard_form import LinearStandardFormCompiler
        from scipy.sparse import csr_array

        found = LinearStandardFormCompiler().write(made.model, mixed_form=True)
        kind = np.array([row.bound_type for row in found.rows])
        limit = np.array(found.rhs, dtype=float)
        low, high = (np.array([unbounded if end is None else end for end in ends], dtype=float)
                     for ends, unbounded in (((var.lb for var in found.columns), -np.inf),
                                             ((var.ub for var in found.columns), np.inf)))
        return cls(found.c.toarray()[0], low, high, csr_array(found.A),
                   np.where(kind <= 0, limit, -np.inf), np.where(kind >= 0, limit, np.inf),
                   {id(var): k for k, var in enumerate(found.columns)},
                   {id(row.constraint): r for r, row in enumerate(found.rows)},
                   tuple(made.model.time))

    def within(self, terms: NDArray[np.float64], least: float, most: float) -> Arrays:
        """Return the program with one more row, terms (n,) x between two ends, without a price."""
        from scipy.sparse import csr_array, vstack

        return replace(self, matrix=csr_array(vstack([self.matrix, csr_array(terms[None])])),
                       least=np.append(self.least, least), most=np.append(self.most, most),
                       unpriced=(*self.unpriced, len(self.least)))


@dataclass(frozen=True)
class Split:
    """A season as programs of its riders, by name, "" for what is lent among all.

    Attributes
    ----------
    parts : by rider
    constant : s, to be added to their values
    least : s, of the linear program of the whole season
    price : s that one more of the currency saves, of the money in all
    links : by rider (s, n) other rows that riders share, of the columns of each
    limits, worth : (s,) of these rows, and what one more of each limit saves [s]
    """

    parts: dict[str, Arrays]
    constant: float
    least: float
    price: float
    links: dict[str, csr_array]
    limits: NDArray[np.float64]
    worth: NDArray[np.float64]


def split(season: Season, made: Model) -> Split:
    """Split a season by riders, at the prices of its linear program for what they share.

    Parameters
    ----------
    season : riders, races, kit and money
    made : its program

    Returns
    -------
    programs of one rider each
    """
    whole = Arrays.of(made)
    top = Linear(whole)
    least = top.least()
    prices = top.prices()
    riders = _riders(season, made)
    names = sorted(set(riders.values()))
    number = np.zeros(len(whole.cost), dtype=int)
    for var, k in whole.column.items():
        number[k] = names.index(riders[var])
    parts, shared, constant = _parts(whole, prices, number, len(names))
    entries = [tuple(e for e, entry in enumerate(season.entries) if entry.rider == name)
               for name in names]
    money = made.money_rows.get(len(season.money) - 1)
    row = -1 if money is None else whole.row[id(made.model.rows[money])]
    price = 0.0 if row < 0 else -min(float(prices[row]), 0.0)
    links = np.flatnonzero(shared & (np.arange(len(shared)) != row))
    return Split({name: replace(part, entries=some) for name, part, some in zip(
        names, parts, entries, strict=True)}, constant, least, price,
        {name: whole.matrix[links][:, np.flatnonzero(number == k)]
         for k, name in enumerate(names)}, whole.most[links], -np.minimum(prices[links], 0.0))


class Linear:
    """A linear program in HiGHS, asked again and again with other ends of its columns."""

    def __init__(self, arrays: Arrays) -> None:
        import highspy

        self.arrays = arrays
        program = highspy.HighsLp()
        program.num_col_, program.num_row_ = len(arrays.cost), len(arrays.least)
        program.col_cost_, program.col_lower_, program.col_upper_ = (
            arrays.cost, arrays.low, arrays.high)
        program.row_lower_, program.row_upper_ = arrays.least, arrays.most
        program.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        program.a_matrix_.start_ = arrays.matrix.indptr
        program.a_matrix_.index_ = arrays.matrix.indices
        program.a_matrix_.value_ = arrays.matrix.data
        self._highs = quiet_highs(random_seed=1)
        self._status = highspy.HighsModelStatus
        self._highs.passModel(program)
        self._rows = program.num_row_
        self._added: list[tuple[Mapping[int, float], float]] = []

    def least(self) -> float:
        """Least value; inf where nothing is feasible."""
        self._highs.run()
        status = self._highs.getModelStatus()
        if status == self._status.kOptimal:
            return float(self._highs.getInfo().objective_function_value)
        return np.inf if status in {self._status.kInfeasible, self._status.kObjectiveBound
                                    } else -np.inf

    def values(self) -> NDArray[np.float64]:
        """(n,) columns as they were found last."""
        return np.array(self._highs.getSolution().col_value)

    def prices(self) -> NDArray[np.float64]:
        """(r,) what a unit more of each row's limit is worth."""
        return np.array(self._highs.getSolution().row_dual)

    def stop_at(self, limit: float) -> None:
        """Let values above a limit count as nothing feasible."""
        self._highs.setOptionValue("objective_bound", limit)

    def hold(self, columns: Sequence[int], low: float, high: float) -> None:
        """Set the ends of some columns."""
        for k in columns:
            self._highs.changeColBounds(k, low, high)

    def free(self, columns: Sequence[int]) -> None:
        """Set the ends of some columns back to those of the program."""
        for k in columns:
            self._highs.changeColBounds(k, self.arrays.low[k], self.arrays.high[k])

    def ends(self, limit: float, sums: Sequence[Mapping[int, float]],
             ) -> list[tuple[float, float]]:
        """Least and greatest value of some sums over columns where the cost is within a limit."""
        n, highs = len(self.arrays.cost), self._highs
        some = np.flatnonzero(self.arrays.cost)
        highs.addRow(-np.inf, limit, len(some), some.astype(np.int32), self.arrays.cost[some])
        every = np.arange(n, dtype=np.int32)
        out = []
        for terms in sums:
            found = []
            for sign in (1.0, -1.0):
                cost = np.zeros(n)
                cost[list(terms)] = sign * np.array(list(terms.values()))
                highs.changeColsCost(n, every, cost)
                found.append(sign * self.least())
            out.append((found[0], found[1]))
        highs.changeColsCost(n, every, self.arrays.cost)
        highs.deleteRows(1, np.array([self._rows], dtype=np.int32))
        return out

    def add(self, terms: Mapping[int, float], least: float) -> None:
        """Add a row for good."""
        self._highs.addRow(least, np.inf, len(terms), np.array(list(terms), dtype=np.int32),
                           np.array(list(terms.values()), dtype=float))
        self._rows += 1
        self._added.append((terms, least))

    def reduced(self, group: NDArray[np.int64]) -> tuple[NDArray[np.float64], float]:
        """Costs (n,) of the columns when rows are priced as in the last solution; a constant.

        Of rows that link columns of one `group` (n,) alone the price is left out; -1 is no group.
        """
        arrays, every = self.arrays, self.prices()
        matrix, prices = arrays.matrix, every[:len(arrays.least)]
        of_row = np.repeat(np.arange(len(prices)), np.diff(matrix.indptr))
        first, last = np.full(len(prices), len(group)), np.full(len(prices), -1)
        np.minimum.at(first, of_row, group[matrix.indices])
        np.maximum.at(last, of_row, group[matrix.indices])
        linked = (first < last) | (first < 0)
        linked[list(arrays.unpriced)] = False
        cost, constant = _priced(arrays, np.where(linked, prices, 0.0))
        for (terms, least), price in zip(self._added, every[len(prices):], strict=True):
            for k, value in terms.items():
                cost[k] -= max(price, 0.0) * value
            constant += max(price, 0.0) * least
        return cost, constant


def _riders(season: Season, made: Model) -> dict[int, str]:
    """Whose each variable is, by its id; "" for what is lent among all."""
    model = made.model
    out = {id(var): season.pools[p].rider for (p, _), var in model.buy.items()}
    for some in (model.use, model.overlap, model.hire, model.time):
        for key, var in some.items():
            e = key if isinstance(key, int) else key[0]
            out[id(var)] = season.entries[e].rider
    return out


def _parts(whole: Arrays, prices: NDArray[np.float64], number: NDArray[np.int64], count: int,
           ) -> tuple[list[Arrays], NDArray[np.bool_], float]:
    """Programs of one rider each, the rows they share, and what is to be added to their values."""
    matrix = whole.matrix
    of_row = np.repeat(np.arange(len(whole.least)), np.diff(matrix.indptr))
    first = np.full(len(whole.least), count)
    last = np.full(len(whole.least), -1)
    np.minimum.at(first, of_row, number[matrix.indices])
    np.maximum.at(last, of_row, number[matrix.indices])
    shared = first < last
    cost, constant = _priced(whole, np.where(shared, prices, 0.0))
    out = []
    for k in range(count):
        columns = np.flatnonzero(number == k)
        rows = np.flatnonzero(~shared & (first == k))
        place = {int(column): j for j, column in enumerate(columns)}
        out.append(Arrays(cost[columns], whole.low[columns], whole.high[columns],
                           matrix[rows][:, columns], whole.least[rows], whole.most[rows],
                           {var: place[c] for var, c in whole.column.items() if c in place}))
    return out, shared, constant


def _priced(arrays: Arrays, prices: NDArray[np.float64]) -> tuple[NDArray[np.float64], float]:
    """Costs (n,) of columns with rows (r,) priced, and what that adds to the value [s]."""
    # A price has the sign that its row allows, whatever rounding says.
    y = np.where(np.isfinite(arrays.least), prices, np.minimum(prices, 0.0))
    y = np.where(np.isfinite(arrays.most), y, np.maximum(y, 0.0))
    constant = float(sum(price * (arrays.least[r] if price > 0 else arrays.most[r])
                         for r, price in enumerate(y) if price))
    return np.asarray(arrays.cost - arrays.matrix.T @ y), constant


class Findings:
    """What is ruled out, rider by rider."""

    def __init__(self, season: Season, times: Sequence[EntryTimes], made: Model, best: Decision,
                 rest: Rest) -> None:
        self.season, self.times, self.made, self.best = season, times, made, best
        self.left = list(rest.entries)
        self.bought, self.hired = dict(rest.bought), dict(rest.hired)
        self.ends: list[tuple[float, float]] = [(-np.inf, np.inf)] * len(times)

    def rest(self) -> Rest:
        """Give what remains."""
        return Rest(tuple(self.left), self.bought, self.hired)

    def look(self, linear: Linear, limit: float) -> bool:
        """Find what a rider may do below a limit [s]; whether there is anything."""
        linear.least()
        usual = linear.values()
        column = linear.arrays.column
        mine = [e for e, var in self.made.model.time.items() if id(var) in column]
        self.spans(linear, limit, mine)
        linear.stop_at(limit)
        if linear.least() > limit:
            return False
        for some, found in ((self.made.model.buy, self.bought), (self.made.model.hire,
                                                                 self.hired)):
            for key, var in some.items():
                k = column.get(id(var))
                if k is not None and (linear.arrays.low[k], linear.arrays.high[k]) == (0.0, 1.0):
                    other = float(usual[k] < _HALF)
                    if self._ruled_out(linear, limit, [k], other):
                        found[key] = 1.0 - other, 1.0 - other
                        linear.hold([k], 1.0 - other, 1.0 - other)
        for e in mine:
            self._uses(linear, limit, e, usual)
        return True

    def _ruled_out(self, linear: Linear, limit: float, columns: list[int], value: float) -> bool:
        linear.hold(columns, value, value)
        out = linear.least() > limit
        linear.free(columns)
        return out

    def spans(self, linear: Linear, limit: float, mine: Sequence[int]) -> None:
        """Find the range of each entry, and add the bound over it."""
        sums, lines = [], []
        for e in mine:
            boxes = self.times[e].boxes(self.left[e])
            line = boxes.along()
            lines.append((boxes, line))
            sums += [self._terms(linear, e, line.item, line.overlap),
                     {linear.arrays.column[id(self.made.model.time[e])]: 1.0}]
        ends = linear.ends(limit, sums)
        for e, (boxes, line), (low, high), (_, slowest) in zip(mine, lines, ends[::2], ends[1::2],
                                                               strict=True):
            left = self.left[e]
            # What the linear program does not limit, all sets together do.
            least, most = map(float, boxes.model.spread(line.constant, line.item, line.overlap))
            if np.isfinite([low, high]).all():
                least = max(least, line.constant + low)
                most = max(least, min(most, line.constant + high))
            self.ends[e] = least - line.slack, most + line.slack
            span = boxes.places(self.ends[e])
            self.left[e] = replace(
                left, slowest=min(left.slowest, slowest + _ROUNDING)
                if np.isfinite(slowest) else left.slowest,
                span=(max(left.span[0], span[0]), min(left.span[1], span[1])))
            cut = self.times[e].cut(self.best.sets[e], self.left[e])
            terms = self._terms(linear, e, cut.price, cut.overlap)
            terms[linear.arrays.column[id(self.made.model.time[e])]] = 1.0
            linear.add(terms, cut.floor)

    def _terms(self, linear: Linear, e: int, item: NDArray[np.float64],
               overlap: NDArray[np.float64]) -> dict[int, float]:
        """Write a sum over items and overlaps of an entry by columns."""
        model, column = self.made.model, linear.arrays.column
        out = {column[id(model.use[e, row])]: float(item[row])
               for row in map(int, np.flatnonzero(item)) if (e, row) in model.use}
        out.update({column[id(model.overlap[e, t])]: float(overlap[t])
                    for t in map(int, np.flatnonzero(overlap))})
        return out

    def _uses(self, linear: Linear, limit: float, e: int, usual: NDArray[np.float64]) -> None:
        """Rule out items of an entry, and leaving places empty."""
        column, model, rules = (linear.arrays.column, self.made.model,
                                self.times[e].search.rules)
        usable, needed = self.left[e].usable.copy(), self.left[e].needed.copy()
        for row in map(int, np.flatnonzero(usable)):
            k = column[id(model.use[e, row])]
            if usual[k] < _HALF and self._ruled_out(linear, limit, [k], 1.0):
                usable[row] = False
                linear.hold([k], 0.0, 0.0)
        for place, rows in enumerate(rules.places):
            columns = [column[id(model.use[e, int(row)])] for row in rows[usable[rows]]]
            if columns and not needed[place] and usual[columns].sum() > _HALF:
                needed[place] = self._ruled_out(linear, limit, columns, 0.0)
        self.left[e] = replace(self.left[e], usable=usable, needed=needed)
