"""Power against duration: the models, their fits and how sure those are.

Symbols: t duration [s], P mean power over it [W], CP critical power [W], W' work capacity
above it [J], Pmax the power at t = 0 [W], L the part of CP lost per factor e of duration
beyond half an hour.

The two-parameter model is one hyperbola, (P - CP) t = W', in three classical forms that
weigh the efforts differently (Hill 1993, Sports Med. 16:237):

* "inverse-time", P = CP + W'/t, takes the same error in watts for every effort; short
  efforts, far out in 1/t, pull hardest. CP comes out highest, W' lowest.
* "work", P t = W' + CP t, takes the same error in joules, so that a long effort is trusted
  more in watts by its length. Time on both sides makes it look better than it is.
* "time", t = W'/(P - CP), takes the same error in seconds of endurance; the longest effort
  rules. CP comes out lowest, W' highest. Its errors suit trials to exhaustion at set power.

Beyond that: "three-parameter" (Morton 1996, Ergonomics 39:611), P = CP + W'/(t + k) with
k = W'/(Pmax - CP); "long", the hyperbola that loses A = L CP per factor e of duration from
half an hour on; and "omni", that loss with a finite sprint, W'/t (1 - exp(-t/k)) (both after
Puchowicz, Baker and Clarke 2020, J. Sports Sci. 38:801). "long-assumed" is "long" with L
taken as known, for efforts that cannot tell it.

All are linear in the rest once k is given, so each fit is a search over one number with a
linear solution inside (variable projection, Golub and Pereyra 1973): it cannot end in a
local minimum, and thousands of resampled fits run as one batch.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
from numpy.typing import NDArray

from optimizer.errors import InputError
from optimizer.rider.defaults import ENDURANCE_LOSS

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

__all__ = ["EFFORT_NOISE", "HALF_HOUR", "MODELS", "Efforts", "Model", "PowerCurve", "best_alone",
           "bootstrap", "choose_model", "effort_errors", "effort_warnings", "fit_curve",
           "mean_power", "never_shown"]

Model = Literal["inverse-time", "work", "time", "three-parameter", "long", "long-assumed", "omni"]
Array = NDArray[np.float64]

HALF_HOUR: Final = 1800.0
"""s, where the loss over hours sets in (Puchowicz et al. 2020)."""

EFFORT_NOISE: Final = 0.03
"""Relative standard error of one best effort, as it varies from day to day; a judgement, a
little under the 4.5 to 5.8 % by which field tests miss laboratory CP (Karsten et al. 2015)."""

MODELS: Final[dict[Model, str]] = {
    "inverse-time": "two parameters, power against 1/time",
    "work": "two parameters, work against time",
    "time": "two parameters, time against power",
    "three-parameter": "with a finite maximal power",
    "long-assumed": "with an assumed loss over hours",
    "long": "with a fitted loss over hours",
    "omni": "with maximal power and loss over hours",
}
_SIZE: Final[dict[Model, int]] = {
    "inverse-time": 2, "work": 2, "time": 2, "three-parameter": 3, "long-assumed": 2, "long": 3,
    "omni": 4}
_SHAPES: Final = np.geomspace(0.5, 900.0, 96)  # s, where k is looked for
_HIGHEST: Final = 2500.0  # W; more than any cyclist's maximal power
_PAIR: Final = 2  # efforts that make a curve
_ALIKE: Final = 1.5  # factor within which durations are about the same
_WELL: Final = 0.05  # part of the power by which a curve is well above an effort
_GOLDEN: Final = (np.sqrt(5.0) - 1.0) / 2.0


@dataclass(frozen=True)
class Efforts:
    """Best efforts, the shortest first.

    Attributes
    ----------
    duration : (m,) s
    power : (m,) W, the mean over the effort
    source : (m,) where each comes from; may be empty
    overlapping : whether they were cut from the same recordings, so that their errors are
        not independent and some may not have been all-out
    notes : what was understood of their file
    """

    duration: Array
    power: Array
    source: tuple[str, ...] = ()
    overlapping: bool = False
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        order = np.argsort(self.duration, kind="stable")
        for name in ("duration", "power"):
            array = np.array(getattr(self, name), dtype=float)[order]
            array.flags.writeable = False
            object.__setattr__(self, name, array)
        if self.source:
            object.__setattr__(self, "source", tuple(self.source[k] for k in order))

    def __len__(self) -> int:
        return len(self.duration)

    def within(self, shortest: float, longest: float = np.inf) -> Efforts:
        """Those efforts that last from `shortest` to `longest` seconds."""
        return self.only((self.duration >= shortest) & (self.duration <= longest))

    def only(self, keep: NDArray[np.bool_]) -> Efforts:
        """Those efforts of the mask (m,)."""
        source = tuple(self.source[k] for k in np.flatnonzero(keep)) if self.source else ()
        return Efforts(self.duration[keep], self.power[keep], source, self.overlapping)


@dataclass(frozen=True)
class PowerCurve:
    """One model fitted to efforts.

    Attributes
    ----------
    critical_power, w_prime : W, J
    max_power : W at zero duration; inf where the model has none
    endurance_loss : L; 0 where the model has none
    covariance : (4, 4) of (CP, W', Pmax, L) by the fit's own statistics, s² (JᵀJ)⁻¹ with
        zeros for what is not fitted; nan where no effort is left to judge the scatter
    residual : (m,) measured minus fitted power [W]; for "time" at the measured time
    degrees_of_freedom : efforts beyond the parameters
    aicc : corrected information criterion (Hurvich and Tsai 1989, Biometrika 76:297) for
        equal errors in watts; nan for "work" and "time", which weigh otherwise, inf for too
        few efforts
    """

    model: Model
    critical_power: float
    w_prime: float
    max_power: float = float("inf")
    endurance_loss: float = 0.0
    covariance: Array = field(default_factory=lambda: np.full((4, 4), np.nan))
    residual: Array = field(default_factory=lambda: np.zeros(0))
    degrees_of_freedom: int = 0
    aicc: float = float("nan")

    @property
    def parameters(self) -> Array:
        """(4,) CP, W', Pmax, L."""
        return np.array([self.critical_power, self.w_prime, self.max_power, self.endurance_loss])

    def power(self, duration: Array | float) -> Array:
        """Mean power [W] that can be held for `duration` [s]."""
        return mean_power(self.model, self.parameters, np.asarray(duration, dtype=float))

    def standard_error(self) -> Array:
        """(4,) standard errors of CP, W', Pmax, L by the fit's own statistics."""
        return np.sqrt(np.diag(self.covariance))

    def interval(self, level: float = 0.95) -> Array:
        """(4, 2) confidence limits of CP, W', Pmax, L by Student's t."""
        from scipy.stats import t as student

        if self.degrees_of_freedom < 1:
            return np.full((4, 2), np.nan)
        half = float(student.ppf(0.5 + level / 2, self.degrees_of_freedom)) * self.standard_error()
        with np.errstate(invalid="ignore"):
            return np.stack([self.parameters - half, self.parameters + half], axis=1)


def mean_power(model: Model, parameters: Array, duration: Array) -> Array:
    """Mean power that can be held for so long, by any of the models.

    Parameters
    ----------
    model : of power against duration
    parameters : (..., 4) CP [W], W' [J], Pmax [W], L; leading axes broadcast against the durations
    duration : s

    Returns
    -------
    W
    """
    cp, w_prime, top, loss = np.moveaxis(parameters, -1, 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        shape = np.where(np.isinf(top), 0.0, w_prime / np.maximum(top - cp, 1e-9))
    return np.asarray(cp * (1.0 - loss * _beyond(duration))
                      + w_prime * _short(model, duration, np.asarray(shape)))


def fit_curve(efforts: Efforts, model: Model, endurance_loss: float = ENDURANCE_LOSS) -> PowerCurve:
    """Fit one model by least squares.

    Parameters
    ----------
    efforts : best efforts
    model : to fit
    endurance_loss : L of "long-assumed", part of CP

    Returns
    -------
    parameters with their errors

    Raises
    ------
    InputError
        where there are fewer efforts than parameters, or where they lead to a CP, W', maximal power
        or loss that is not positive
    """
    size = _SIZE[model]
    if len(np.unique(efforts.duration)) < size:
        raise InputError("efforts", "", f'the model "{model}" needs {size} efforts of different '
                         f"duration, there are {len(np.unique(efforts.duration))}",
                         "add efforts, or choose a model with fewer parameters")
    if model in {"long", "omni"} and efforts.duration[-1] <= HALF_HOUR:
        raise InputError("efforts", "", f'the model "{model}" needs an effort of more than half an '
                         "hour, to show the loss over hours",
                         'add one, or choose "inverse-time" or "three-parameter"')
    parameters = _solve(model, efforts.duration, efforts.power[None, :], endurance_loss)[0]
    _refuse_senseless(model, parameters, efforts)
    residual = efforts.power - mean_power(model, parameters, efforts.duration)
    cp, w_prime, top, loss = map(float, parameters)
    return PowerCurve(model, cp, w_prime, top, loss, _covariance(model, efforts, parameters),
                      residual, len(efforts) - size, _aicc(model, residual, size))


def choose_model(efforts: Efforts, endurance_loss: float = ENDURANCE_LOSS) -> Model:
    """Model with the least corrected information criterion among those the efforts can tell.

    Efforts beyond half an hour call for a model with a loss over hours; "long-assumed" (or
    "inverse-time", the same where all are shorter) is the answer when there are too few to
    compare.

    Parameters
    ----------
    efforts : best efforts
    endurance_loss : L of "long-assumed", part of CP

    Returns
    -------
    name of the model
    """
    simple: Model = "long-assumed" if efforts.duration[-1] > HALF_HOUR else "inverse-time"
    others: tuple[Model, ...] = (
        ("long", "omni", "three-parameter") if simple == "long-assumed" else ("three-parameter",))
    best, least = simple, _aicc_of(efforts, simple, endurance_loss)
    for model in others:
        found = _aicc_of(efforts, model, endurance_loss)
        if found < least:
            best, least = model, found
    return best


def _aicc_of(efforts: Efforts, model: Model, endurance_loss: float) -> float:
    try:
        return fit_curve(efforts, model, endurance_loss).aicc
    except InputError:
        return np.inf


def bootstrap(efforts: Efforts, curve: PowerCurve, draws: int = 1000, seed: int = 0) -> Array:
    """Refit resampled efforts.

    With two or more efforts beyond the parameters the residuals (in watts, joules or seconds,
    as the form weighs them) are resampled, each widened by its leverage (Davison and Hinkley
    1997, Bootstrap Methods, section 6.2.3); with fewer the residuals say nothing and each
    effort gets a normal error of `EFFORT_NOISE`. Refits whose CP or W' is not positive are
    drawn as they are: they show how little is known.

    Parameters
    ----------
    efforts : best efforts
    curve : fit to them
    draws : refits
    seed : of the draws

    Returns
    -------
    (draws, 4) of CP [W], W' [J], Pmax [W], L
    """
    rng = np.random.default_rng(seed)
    t = efforts.duration
    fitted, shape = curve.power(t), (draws, len(t))
    if curve.degrees_of_freedom < 2:
        power = fitted * (1.0 + EFFORT_NOISE * rng.standard_normal(shape))
        return _solve(curve.model, t, power, curve.endurance_loss)
    jacobian, residual = _weighted(curve.model, efforts, curve.parameters)
    jacobian = _scaled(jacobian)[0]
    leverage = np.sum(jacobian * np.linalg.pinv(jacobian).T, axis=1)
    scaled = residual / np.sqrt(np.maximum(1.0 - leverage, 0.05))
    drawn = rng.choice(scaled - scaled.mean(), shape)
    if curve.model == "time":
        times = t - residual + drawn
        return _solve_time(times, np.broadcast_to(efforts.power, shape))
    weight = t if curve.model == "work" else 1.0
    return _solve(curve.model, t, fitted + drawn / weight, curve.endurance_loss)


def effort_errors(efforts: Efforts, curve: PowerCurve) -> Array:
    """Give standard errors of a fit if each effort is off by `EFFORT_NOISE`.

    To first order; the floor under the fit's own errors, which come out too small when few
    efforts happen to lie on one curve.

    Parameters
    ----------
    efforts : best efforts
    curve : fit to them

    Returns
    -------
    (4,) of CP [W], W' [J], Pmax [W], L
    """
    free = _free(curve.model)
    jacobian = _slopes(curve.model, curve.parameters, efforts.duration)
    exponent = {"work": 1.0, "time": 2.0}.get(curve.model, 0.0)  # dt/dP goes with t²
    weight = efforts.duration**exponent
    scaled, scale = _scaled(jacobian * weight[:, None])
    gain = np.linalg.pinv(scaled) * weight / scale[:, None]
    out = np.zeros(4)
    out[free] = np.sqrt(np.sum((gain * EFFORT_NOISE * efforts.power) ** 2, axis=1))
    return out


def effort_warnings(efforts: Efforts, curve: PowerCurve) -> tuple[str, ...]:
    """Say what is wrong with these efforts for this fit.

    Parameters
    ----------
    efforts : best efforts
    curve : fit to them

    Returns
    -------
    sentences
    """
    out, model = [], curve.model
    t, size = efforts.duration, _SIZE[model]
    if len(t) == size:
        out.append(f"{size} efforts for {size} numbers: the curve goes through all of them, "
                   "whatever their errors; one more effort would show how well it fits")
    if t[-1] < 3 * t[0]:
        out.append("the efforts are too similar: the longest should last at least three times "
                   "the shortest")
    if t[-1] < 600:
        out.append("no effort lasts ten minutes, so CP comes out too high "
                   "(J. Sci. Med. Sport 2018, 21:742)")
    if t[0] < 120 and model not in {"three-parameter", "omni"}:
        out.append("an effort under two minutes cannot use up W', so that W' comes out too low; "
                   'leave it out or choose "three-parameter" (common practice)')
    if t[0] > 600:
        out.append("no effort is shorter than ten minutes, so W' is hardly determined")
    if _HIGHEST < curve.max_power < np.inf:
        out.append("the shortest effort is too long to tell maximal power; what the fit makes of "
                   "it means nothing, the rest does")
    if t[-1] > HALF_HOUR and model in {"inverse-time", "work", "time", "three-parameter"}:
        out.append("this model has no loss over hours, but an effort lasts longer than half an "
                   "hour; CP comes out too low for shorter rides")
    if efforts.overlapping:
        out.append("best powers from rides need not be all-out, and those of one ride share "
                   "their seconds: the curve is what was shown, within 2 %; more could be held, "
                   "and its errors are larger than the fit says")
    return tuple(out)


def best_alone(efforts: Efforts) -> tuple[Efforts, tuple[str, ...]]:
    """Leave out what is less than was held for longer, as long as two efforts are left.

    Parameters
    ----------
    efforts : called best efforts

    Returns
    -------
    those that can be, and the others in words
    """
    later = np.append(np.maximum.accumulate(efforts.power[:0:-1])[::-1], 0.0)
    low = efforts.power < later
    if not np.any(low) or np.sum(~low) < _PAIR:
        return efforts, ()
    return efforts.only(~low), tuple(
        f"{efforts.power[k]:.0f} W over {_span(efforts.duration[k])}: less than was held for "
        "longer, so it is no best effort" for k in np.flatnonzero(low))


def never_shown(efforts: Efforts, curve: PowerCurve) -> tuple[str, ...]:
    """Say where the curve lies well above every effort of about that duration.

    Parameters
    ----------
    efforts : best efforts
    curve : fit to them

    Returns
    -------
    sentences
    """
    if efforts.overlapping:  # rides are not all-out everywhere, which their warning says
        return ()
    held = curve.power(efforts.duration)
    far = np.abs(np.log(np.divide.outer(efforts.duration, efforts.duration)))
    shown = np.max(np.where(far <= np.log(_ALIKE), efforts.power / held, 0.0), axis=1)
    return tuple(
        f"{efforts.power[k]:.0f} W over {_span(efforts.duration[k])} is "
        f"{held[k] - efforts.power[k]:.0f} W below the curve: a plan asks for more there than you "
        "have shown" for k in np.flatnonzero(shown < 1.0 - _WELL))


def _span(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 120 else f"{seconds / 60:.3g} min"


def _beyond(duration: Array) -> Array:
    """How many factors of e a duration lies beyond half an hour."""
    return np.asarray(np.log(np.maximum(duration, HALF_HOUR) / HALF_HOUR))


def _short(model: Model, duration: Array, shape: Array) -> Array:
    """Power per joule of W' [1/s] at the shape k [s]."""
    if model == "omni":
        return -np.expm1(-duration / np.maximum(shape, 1e-9)) / duration
    return np.asarray(1.0 / (duration + shape))


def _design(model: Model, duration: Array, shape: Array, loss: float) -> Array:
    """(..., m, q) columns of CP, W' and A = L CP; `shape` (...,) is k."""
    ones = np.ones(shape.shape + duration.shape)
    base = 1.0 - loss * _beyond(duration) if model == "long-assumed" else 1.0
    columns = [ones * base, _short(model, duration, shape[..., None])]
    if model in {"long", "omni"}:
        columns.append(-ones * _beyond(duration))
    return np.stack(columns, axis=-1)


def _solve(model: Model, duration: Array, power: Array, loss: float) -> Array:
    """(b, 4) least-squares CP, W', Pmax, L for each row of `power` (b, m)."""
    if model == "time":
        return _solve_time(duration, power)
    free = model in {"three-parameter", "omni"}
    weight = duration if model == "work" else np.ones_like(duration)

    def squares(shape: Array) -> tuple[Array, Array]:
        """Residual sum and coefficients for k (b,) or one k for all (1,)."""
        columns = _design(model, duration, shape, loss) * weight[:, None]
        scale = np.linalg.norm(columns, axis=-2, keepdims=True)
        scale[scale == 0.0] = 1.0
        solution = (np.linalg.pinv(columns / scale) @ (power * weight)[..., None])
        rest = (power * weight)[..., None] - columns / scale @ solution
        return np.sum(rest[..., 0] ** 2, axis=-1), solution[..., 0] / scale[..., 0, :]

    shape = _least(squares, _SHAPES, len(power)) if free else np.zeros(len(power))
    found = squares(shape if free else np.zeros(1))[1]
    cp, w_prime = found[:, 0], found[:, 1]
    top = cp + w_prime / shape if free else np.full_like(cp, np.inf)
    if model in {"long", "omni"}:
        lost = found[:, 2] / cp
    else:
        lost = np.full_like(cp, loss if model == "long-assumed" else 0.0)
    return np.stack([cp, w_prime, top, lost], axis=1)


def _solve_time(duration: Array, power: Array) -> Array:
    """Fit t = W'/(P - CP): W' in closed form for each CP below the least power."""
    lowest = power.min(axis=1)

    def squares(part: Array) -> tuple[Array, Array]:
        cp = lowest * (1.0 - part)
        rate = 1.0 / (power - cp[:, None])
        w_prime = np.sum(rate * duration, axis=1) / np.sum(rate**2, axis=1)
        return np.sum((duration - w_prime[:, None] * rate) ** 2, axis=1), w_prime

    part = _least(squares, np.geomspace(1e-4, 1.0, 96), len(power))
    w_prime = squares(part)[1]
    return np.stack([lowest * (1.0 - part), w_prime, np.full_like(part, np.inf),
                     np.zeros_like(part)], axis=1)


def _least(squares: Callable[[Array], tuple[Array, Array]], grid: Array, batch: int) -> Array:
    """Where the residual sum is least, for each of a batch: a grid, then golden section."""
    table = np.stack([squares(np.full(1, k))[0] * np.ones(batch) for k in grid])
    at = np.argmin(table, axis=0)
    low = np.log(grid[np.maximum(at - 1, 0)])
    high = np.log(grid[np.minimum(at + 1, len(grid) - 1)])
    left, right = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
    f_left, f_right = squares(np.exp(left))[0], squares(np.exp(right))[0]
    for _ in range(40):
        down = f_left < f_right
        high, low = np.where(down, right, high), np.where(down, low, left)
        new = np.where(down, high - _GOLDEN * (high - low), low + _GOLDEN * (high - low))
        f_new = squares(np.exp(new))[0]
        left, right = np.where(down, new, right), np.where(down, left, new)
        f_left, f_right = np.where(down, f_new, f_right), np.where(down, f_left, f_new)
    return np.asarray(np.exp(0.5 * (low + high)))


def _refuse_senseless(model: Model, parameters: Array, efforts: Efforts) -> None:
    cp, w_prime, top, loss = parameters
    wrong: Sequence[tuple[bool, str]] = (
        (not np.all(np.isfinite(parameters[[0, 1, 3]])), "no curve"),
        (cp <= 0.0, f"a critical power of {cp:.0f} W"),
        (w_prime <= 0.0, f"a W' of {w_prime / 1e3:.1f} kJ"),
        (top <= cp, f"a maximal power of {top:.0f} W"),
        (loss < 0.0, f"a loss over hours of {100 * loss:.1f} %"))
    for is_wrong, what in wrong:
        if is_wrong:
            if what.startswith("a W'") and (pair := _worst_pair(efforts)) is not None:
                short, long = (f"{efforts.duration[k]:g}-second" if efforts.duration[k] < 120.0 else
                               f"{efforts.duration[k] / 60:.3g}-minute" for k in pair)
                low, high = (efforts.power[k] for k in pair)
                raise InputError(
                    "efforts", "", f"the {short} effort ({low:.0f} W) is below the {long} one "
                    f"({high:.0f} W): one of them is no best effort",
                    "leave that one out, or give a better one")
            raise InputError("efforts", "", f'the model "{model}" gives {what} for these efforts',
                             "are all of them best efforts, the short ones at a higher power than "
                             "the long ones?")


def _worst_pair(efforts: Efforts) -> tuple[int, int] | None:
    """Find a short and a longer effort of which the longer has more power; the worst such pair."""
    t, power = efforts.duration, efforts.power
    more = np.where(t[None, :] > t[:, None], power[None, :] - power[:, None], -np.inf)
    k, other = np.unravel_index(int(np.argmax(more)), more.shape)
    return (int(k), int(other)) if more[k, other] > 0.0 else None


def _covariance(model: Model, efforts: Efforts, parameters: Array) -> Array:
    """s² (JᵀJ)⁻¹ in the weighting of the fit, laid out as (4, 4)."""
    free = _free(model)
    jacobian, residual = _weighted(model, efforts, parameters)
    beyond = len(efforts) - len(free)
    out = np.zeros((4, 4))
    if beyond < 1:
        out[np.ix_(free, free)] = np.nan
        return out
    scaled, scale = _scaled(jacobian)
    inverse = np.linalg.pinv(scaled.T @ scaled) / np.outer(scale, scale)
    out[np.ix_(free, free)] = (residual @ residual / beyond) * inverse
    blind = np.array(free)[~np.any(jacobian, axis=0)]  # no effort feels it
    out[blind, blind] = np.inf
    return out


def _scaled(jacobian: Array) -> tuple[Array, Array]:
    """Jacobian with columns of unit length, and their lengths (1 where a column is zero)."""
    length = np.linalg.norm(jacobian, axis=0)
    length[length == 0.0] = 1.0
    return jacobian / length, length


def _weighted(model: Model, efforts: Efforts, parameters: Array) -> tuple[Array, Array]:
    """Jacobian (m, q) and residuals (m,) in what the form takes as equally uncertain."""
    t, power = efforts.duration, efforts.power
    cp, w_prime = parameters[:2]
    if model == "time":
        rate = 1.0 / (power - cp)
        return np.stack([w_prime * rate**2, rate], axis=1), t - w_prime * rate
    weight = t if model == "work" else np.ones_like(t)
    return (_slopes(model, parameters, t) * weight[:, None],
            (power - mean_power(model, parameters, t)) * weight)


def _free(model: Model) -> list[int]:
    return [0, 1, *([2] if model in {"three-parameter", "omni"} else []),
            *([3] if model in {"long", "omni"} else [])]


def _slopes(model: Model, parameters: Array, duration: Array) -> Array:
    """(m, q) derivative of the power by each fitted parameter, by central differences."""
    columns = []
    for k in _free(model):
        step = np.zeros(4)
        step[k] = 1e-5 * max(abs(parameters[k]), 1e-2)
        rise = (mean_power(model, parameters + step, duration)
                - mean_power(model, parameters - step, duration))
        columns.append(rise / (2 * step[k]))
    return np.stack(columns, axis=1)


def _aicc(model: Model, residual: Array, size: int) -> float:
    if model in {"work", "time"}:
        return np.nan
    n, k = len(residual), size + 1  # the scatter counts as a parameter
    if n <= k + 1:
        return np.inf
    mean_square = max(float(np.mean(residual**2)), 1e-6)  # exact data are no better than 1 mW
    return n * float(np.log(mean_square)) + 2 * k + 2 * k * (k + 1) / (n - k - 1)
