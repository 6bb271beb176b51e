"""Several data on one change, pooled to one figure with its uncertainty."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, get_args

import numpy as np

from optimizer.errors import InputError
from optimizer.evidence.convert import change_of
from optimizer.evidence.effect import Effect, Grounds
from optimizer.evidence.priors import default_priors
from optimizer.evidence.properties import Channel
from optimizer.evidence.yaw import hat_weights, road_weights

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimizer.evidence.datum import Datum
    from optimizer.evidence.priors import Priors
    from optimizer.evidence.reference import Reference

__all__ = ["ItemEvidence", "Observation", "Pooled", "observe", "pool", "pool_effects",
           "pool_items"]

_LEADS = 0.8  # share of the weight from which one source carries the result
_OBLIQUE = math.radians(4.0)  # beyond this a test says little on riding straight ahead
_DISAGREES = 0.1  # p-value of Q; the usual level, as the test is weak with few data


@dataclass(frozen=True)
class Observation:
    """A datum as a change of one property, before and after the priors.

    Attributes
    ----------
    stated : the change as converted
    value : after the factors of the priors
    sd : its own standard deviation: statement or runs, and what had to be assumed
    shared_sd : uncertainty about the factors, one and the same for all data of its `kind`
    assumptions : what the source does not say, in words
    """

    datum: Datum
    channel: Channel
    stated: float
    value: float
    sd: float
    shared_sd: float
    assumptions: tuple[str, ...]

    @property
    def kind(self) -> tuple[str, str]:
        """Test and measurer: data of one kind share the uncertainty about its factor."""
        return self.datum.test, self.datum.measured_by

    @property
    def source(self) -> str:
        """Where it comes from; what names no source is told apart by its kind only."""
        if self.datum.source:
            return self.datum.source
        seller = " of a seller" if self.datum.measured_by == "seller" else ""
        return f"unnamed {self.datum.test}{seller}"


@dataclass(frozen=True)
class Pooled:
    """A random-effects pool of n data with p coefficients.

    `mean` (p,), `covariance` (p, p), `influence` (p, n) with mean = influence @ values;
    `between` the between-source variance, Q with its degrees of freedom and p-value, I².
    """

    mean: NDArray[np.float64]
    covariance: NDArray[np.float64]
    influence: NDArray[np.float64]
    between: float
    q: float
    freedom: int
    p_value: float
    disagreement: float


@dataclass(frozen=True)
class ItemEvidence:
    """All that is known of one item: the effect, the data, and their pool by property."""

    effect: Effect
    observations: tuple[Observation, ...]
    pools: dict[Channel, Pooled]


def pool(values: NDArray[np.float64], variances: NDArray[np.float64],
         design: NDArray[np.float64] | None = None) -> Pooled:
    """Inverse-variance pool with a between-source term.

    Parameters
    ----------
    values : (n,) in any unit
    variances : (n,) in that unit squared
    design : (n, p) of a regression; None for one mean

    Returns
    -------
    mean, standard error, the variance between sources and I²

    References
    ----------
    DerSimonian and Laird 1986, Control. Clin. Trials 7:177; with a `design` the same moment
    estimator for a regression, Thompson and Sharp 1999, Stat. Med. 18:2693. I² by Higgins and
    Thompson 2002, Stat. Med. 21:1539.
    """
    X = np.ones((len(values), 1)) if design is None else design
    mean, _, influence = _least_squares(values, variances, X)
    weight = 1.0 / variances
    q = float(weight @ (values - X @ mean) ** 2)
    freedom = len(values) - X.shape[1]
    # E[Q] = freedom + between * spread, so that Q itself estimates the between-source variance.
    spread = float(weight.sum() - np.trace(influence @ (weight[:, None] * X)))
    between = max(0.0, (q - freedom) / spread) if freedom > 0 else 0.0
    mean, covariance, influence = _least_squares(values, variances + between, X)
    return Pooled(mean, covariance, influence, between, q, freedom, _chi_square_tail(q, freedom),
                  max(0.0, 1.0 - freedom / q) if q > 0 and freedom > 0 else 0.0)


def _least_squares(values: NDArray[np.float64], variances: NDArray[np.float64],
                   X: NDArray[np.float64],
                   ) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Coefficients (p,), their covariance (p, p), and the matrix (p, n) that gives them."""
    covariance = np.asarray(np.linalg.inv(X.T @ (X / variances[:, None])), dtype=np.float64)
    influence = covariance @ (X / variances[:, None]).T
    return influence @ values, covariance, influence


def _chi_square_tail(q: float, freedom: int) -> float:
    """Chance of at least `q`: Γ(k/2, q/2)/Γ(k/2) by recurrence (Abramowitz and Stegun 6.5.22).

    Written out, since `scipy.special` takes longer to import than all evidence to pool.
    """
    if freedom <= 0 or q <= 0.0:
        return 1.0
    x, a = 0.5 * q, 0.5 if freedom % 2 else 1.0
    tail = math.erfc(math.sqrt(x)) if freedom % 2 else math.exp(-x)
    while a < 0.5 * freedom:
        tail += math.exp(a * math.log(x) - x - math.lgamma(a + 1.0))
        a += 1.0
    return tail


def observe(datum: Datum, reference: Reference, priors: Priors | None = None) -> Observation:
    """Convert one datum and apply the priors for its test and its measurer.

    Parameters
    ----------
    datum : one row of the table
    reference : rider, bike and air that stand for what is not stated
    priors : factors of the kinds of test; those of the package by default

    Returns
    -------
    change in SI, with its standard error and the priors applied

    Raises
    ------
    InputError
        for a change that no part can make, with the place of the datum
    """
    priors = priors or default_priors()
    try:
        change = change_of(datum.figure, reference, air_density=datum.air_density,
                           yaw=0.5 * sum(datum.yaw) if datum.yaw else 0.0, priors=priors)
    except InputError as error:
        raise InputError(datum.place or error.file, "column figure", error.problem,
                         error.remedy) from error
    require_possible(datum.figure.text, change.channel, change.value, reference,
                     datum.place or "your input")
    test, measurer = priors.test[datum.test], priors.measured_by[datum.measured_by]
    factor, factor_sd = 1.0, 0.0
    if change.channel == "drag_area":  # kind of test matters to the flow only
        factor, factor_sd = test.factor, test.factor_sd
    if change.channel != "mass":
        factor_sd = math.hypot(factor_sd * measurer.factor, measurer.factor_sd * factor)
        factor *= measurer.factor
    one_run = {"drag_area": test.sd, "rolling_resistance": priors.rolling_resistance_sd,
               "efficiency": priors.efficiency_sd, "mass": priors.mass_sd}[change.channel]
    own = one_run / math.sqrt(datum.runs or 1)
    if datum.uncertainty is not None:
        own = abs(change.slope) * datum.uncertainty
    elif change.own_sd is not None:
        own = change.own_sd
    # A stated uncertainty of zero is a rounded one; a tenth of one run is the least we believe.
    own = max(own, 0.1 * one_run)
    return Observation(datum, change.channel, change.value, factor * change.value,
                       factor * math.hypot(own, change.assumed_sd),
                       factor_sd * abs(change.value), change.assumptions)


def require_possible(text: str, channel: Channel, value: float, reference: Reference,
                     place: str) -> None:
    """Refuse a change of more than half of what there is: a slip in the unit or the sign.

    `text` and `place` are for the message; raises InputError.
    """
    whole, words = {
        "drag_area": (reference.drag_area, "whole drag area"),
        "rolling_resistance": (reference.rolling_resistance, "whole rolling resistance"),
        "efficiency": (2 * (1 - reference.efficiency) if value > 0 else 0.4,
                       "losses of the drivetrain"),
        "mass": (reference.mass, "whole mass")}[channel]
    if abs(value) > 0.5 * whole:
        raise InputError(
            place, "column figure" if place != "your input" else "",
            f'"{text}" is a change of {value:+.4g}, more than the {words} of this rider allows',
            "check the number and its unit")


def pool_effects(data: Sequence[Datum], reference: Reference,
                 priors: Priors | None = None) -> tuple[Effect, ...]:
    """Pool to one effect per item, in the order in which the items first appear.

    Parameters
    ----------
    data : rows of the evidence
    reference : rider, bike and air that stand for what a row does not state
    priors : factors of the kinds of test; those of the package by default

    Returns
    -------
    change of CdA [m²] against yaw, Crr, efficiency and mass [kg] of each item, with standard errors

    Raises
    ------
    InputError
        for a figure that no rider could show
    """
    return tuple(item.effect for item in pool_items(data, reference, priors))


def pool_items(data: Sequence[Datum], reference: Reference,
               priors: Priors | None = None) -> tuple[ItemEvidence, ...]:
    """Pool as `pool_effects` does, and keep what each effect rests on.

    Parameters
    ----------
    data, reference, priors : as `pool_effects` has them

    Returns
    -------
    effect and converted rows of each item

    Raises
    ------
    InputError
        for a figure that no rider could show
    """
    priors = priors or default_priors()
    by_item: dict[str, list[Observation]] = defaultdict(list)
    for datum in data:
        by_item[datum.item].append(observe(datum, reference, priors))
    return tuple(_pool_item(item, tuple(found), priors) for item, found in by_item.items())


def _pool_item(item: str, found: tuple[Observation, ...], priors: Priors) -> ItemEvidence:
    pools: dict[Channel, Pooled] = {}
    figures: dict[str, float] = {}
    yaw, drag = np.zeros(1), np.zeros(1)
    warnings: list[str] = []
    for channel in get_args(Channel):
        here = [o for o in found if o.channel == channel]
        if not here:
            continue
        nodes = _yaw_nodes(here)
        pooled, covariance = _pool_observations(here, nodes, priors)
        pools[channel] = pooled
        # One uncertainty for all angles: the mean of their variances, errors taken as common.
        figures[f"{channel}_sd"] = math.sqrt(float(np.mean(np.diag(covariance))))
        if channel == "drag_area":
            yaw, drag = nodes, pooled.mean
        else:
            figures[channel] = float(pooled.mean[0])
        warnings += _warnings(here, pooled, nodes, priors)
    effect = Effect(
        item, yaw=yaw, drag_area=drag, data=len(found),
        disagreement=max(p.disagreement for p in pools.values()), basis=_basis(found),
        warnings=tuple(dict.fromkeys([*warnings, *(a for o in found for a in o.assumptions)])),
        grounds=_grounds(found), **figures)
    return ItemEvidence(effect, found, pools)


def _yaw_nodes(found: Sequence[Observation]) -> NDArray[np.float64]:
    """Angles [rad] of the data that name one, if they name more than one; else just 0."""
    angles = {round(o.datum.yaw[0], 6) for o in found
              if o.channel == "drag_area" and o.datum.yaw and o.datum.yaw[0] == o.datum.yaw[1]}
    return np.array(sorted(angles)) if len(angles) > 1 else np.zeros(1)


def _pool_observations(found: Sequence[Observation], nodes: NDArray[np.float64], priors: Priors,
                       ) -> tuple[Pooled, NDArray[np.float64]]:
    """Pool, and the covariance (p, p) with what data of a kind or a source have in common."""
    on_road = road_weights(nodes, priors.yaw_90_percent)
    design = np.array([hat_weights(nodes, *o.datum.yaw) if o.datum.yaw else on_road
                       for o in found])
    values = np.array([o.value for o in found])
    own = np.array([o.sd for o in found]) ** 2
    shared = np.array([o.shared_sd for o in found])
    pooled = pool(values, own + shared**2, design)
    # The uncertainty about a factor is common to its kind, and what sets sources apart is common to
    # the data of a source: neither averages out within it.
    alike = np.equal.outer(*2 * [np.array([" by ".join(o.kind) for o in found])])
    same = np.equal.outer(*2 * [np.array([o.source for o in found])])
    between = pooled.between * np.ones_like(values)
    if same.all() and found[0].channel != "mass":
        between = between + (priors.between_share * values) ** 2
    full = (np.diag(own) + alike * np.outer(shared, shared)
            + same * np.sqrt(np.outer(between, between)))
    return pooled, pooled.influence @ full @ pooled.influence.T


def _warnings(found: Sequence[Observation], pooled: Pooled, nodes: NDArray[np.float64],
              priors: Priors) -> list[str]:
    out = []
    if pooled.p_value < _DISAGREES:
        out.append(_disagreement(found, pooled))
    weight = np.abs(road_weights(nodes, priors.yaw_90_percent) @ pooled.influence)
    share: dict[str, float] = defaultdict(float)
    for o, w in zip(found, weight / weight.sum(), strict=True):
        share[o.source] += float(w)
    name, most = max(share.items(), key=lambda pair: pair[1])
    if len(share) == 1:
        if found[0].channel != "mass":  # a scale needs no second opinion
            out.append(f"one source only: {name}")
    elif most > _LEADS:
        out.append(f"{name} has {most:.0%} of the weight")
    if len(nodes) > 1 and any(o.datum.yaw is None for o in found):
        out.append("a figure without a yaw was taken as a mean over the yaw on the road")
    angles = [o.datum.yaw[0] for o in found if o.datum.yaw]
    if len(nodes) == 1 and len(angles) == len(found) and min(angles) > _OBLIQUE:
        out.append(f"measured at {math.degrees(min(angles)):.0f}° of yaw and more only")
    return out


def _disagreement(found: Sequence[Observation], pooled: Pooled) -> str:
    """Call the datum by name that lies farthest from the others."""
    values = np.array([o.value for o in found])
    spread = np.hypot([o.sd for o in found], [o.shared_sd for o in found])
    mean = float(np.average(values, weights=spread**-2.0))
    far = int(np.argmax(np.abs(values - mean) / spread))
    return (f"the data disagree beyond their uncertainties (Q {pooled.q:.1f} on "
            f"{pooled.freedom}, I² {pooled.disagreement:.0%}); farthest out: {found[far].source}, "
            f'"{found[far].datum.figure.text}"')


def _grounds(found: Sequence[Observation]) -> Grounds:
    """Say what a gain rests on; who weighs it does not matter, and an estimate tests nothing."""
    who = {o.datum.measured_by for o in found if o.channel != "mass"}
    if not who:
        return "mass"
    return "seller" if "seller" in who and who <= {"seller", "estimate"} else "tested"


def _basis(found: Sequence[Observation]) -> str:
    kinds: dict[str, int] = defaultdict(int)
    for o in found:
        words = o.datum.test + (" by a seller" if o.datum.measured_by == "seller" else "")
        if any(said.startswith("test speed not stated") for said in o.assumptions):
            words += " (speed assumed)"
        kinds[words] += 1
    return ", ".join(f"{n} x {kind}" if n > 1 else kind for kind, n in kinds.items())
