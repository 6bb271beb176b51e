"""Several data on one change, pooled to one figure with its doubt."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimizer.evidence.convert import change_of
from optimizer.evidence.effect import Effect
from optimizer.evidence.priors import default_priors

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimizer.evidence.datum import Channel, Datum
    from optimizer.evidence.priors import Priors
    from optimizer.evidence.reference import Reference

__all__ = ["Observation", "Pooled", "observe", "pool", "pool_effects"]


@dataclass(frozen=True)
class Observation:
    """A datum as a change of one property, before and after the priors.

    Attributes
    ----------
    stated : the change as converted; `value` after the factors of the priors
    sd : own standard deviation: runs or statement, and what had to be assumed
    shared_sd : doubt about the factors, shared with data of the same `kind`
    yaw : rad, lowest and highest angle that it speaks of
    notes : assumptions, in words
    """

    datum: Datum
    channel: Channel
    stated: float
    value: float
    sd: float
    shared_sd: float
    yaw: tuple[float, float]
    notes: tuple[str, ...] = ()

    @property
    def kind(self) -> tuple[str, str]:
        """Data of one kind share the doubt about its factor."""
        return self.datum.test, self.datum.measured_by


@dataclass(frozen=True)
class Pooled:
    """Random-effects pool: mean and standard error per coefficient, Q, I², weights.

    `mean`: (p,); `covariance`: (p, p); `influence`: (p, n) so that mean = influence @ values.
    """

    mean: NDArray[np.float64]
    covariance: NDArray[np.float64]
    influence: NDArray[np.float64]
    between: float
    q: float
    q_p_value: float
    disagreement: float


def pool(values: NDArray[np.float64], variances: NDArray[np.float64],
         design: NDArray[np.float64] | None = None) -> Pooled:
    """Inverse-variance pool with a between-source term.

    DerSimonian and Laird 1986, Control. Clin. Trials 7:177; with a design matrix (n, p) the
    same moment estimator for a regression: Thompson and Sharp 1999, Stat. Med. 18:2693.
    `values`, `variances`: (n,); I² by Higgins and Thompson 2002, Stat. Med. 21:1539.
    """
    n = len(values)
    X = np.ones((n, 1)) if design is None else design
    w = 1.0 / variances
    normal = np.linalg.inv(X.T @ (w[:, None] * X))
    residual = values - X @ (normal @ (X.T @ (w * values)))
    q = float(np.sum(w * residual**2))
    freedom = n - X.shape[1]
    trace = float(np.sum(w) - np.trace(normal @ (X.T @ ((w**2)[:, None] * X))))
    between = max(0.0, (q - freedom) / trace) if freedom > 0 else 0.0
    w = 1.0 / (variances + between)
    covariance = np.linalg.inv(X.T @ (w[:, None] * X))
    influence = covariance @ (X * w[:, None]).T
    if freedom > 0:
        from scipy.special import gammaincc

        p_value = float(gammaincc(freedom / 2, q / 2))
        disagreement = max(0.0, 1.0 - freedom / q) if q > 0 else 0.0
    else:
        p_value, disagreement = 1.0, 0.0
    return Pooled(influence @ values, covariance, influence, between, q, p_value, disagreement)


def observe(datum: Datum, reference: Reference, priors: Priors | None = None) -> Observation:
    """Convert one datum and apply the priors for its test and its measurer."""
    priors = priors or default_priors()
    yaw = datum.yaw if datum.yaw is not None else (0.0, priors.largest_yaw)
    change = change_of(datum.figure, reference, air_density=datum.air_density,
                       yaw=0.5 * (datum.yaw[0] + datum.yaw[1]) if datum.yaw else 0.0,
                       priors=priors)
    drag = change.channel == "drag_area"
    test, measurer = priors.test[datum.test], priors.measured_by[datum.measured_by]
    factor, factor_sd = 1.0, 0.0
    if drag:
        factor, factor_sd = test.factor, test.factor_sd
    if change.channel != "mass":
        factor_sd = math.hypot(factor_sd * measurer.factor, measurer.factor_sd * factor)
        factor *= measurer.factor
    if datum.uncertainty is not None:
        own = abs(change.slope) * datum.uncertainty
    else:
        one_run = {"drag_area": test.sd, "rolling_resistance": priors.rolling_resistance_sd,
                   "efficiency": priors.efficiency_sd, "mass": priors.mass_sd}[change.channel]
        own = one_run / math.sqrt(datum.runs or 1)
    return Observation(datum, change.channel, change.value, factor * change.value,
                       factor * math.hypot(own, change.sd), factor_sd * abs(change.value), yaw,
                       change.assumptions)


def pool_effects(data: Sequence[Datum], reference: Reference,
                 priors: Priors | None = None) -> tuple[Effect, ...]:
    """One effect per item, in the order in which the items first appear."""
    priors = priors or default_priors()
    by_item: dict[str, list[Observation]] = defaultdict(list)
    for datum in data:
        by_item[datum.item].append(observe(datum, reference, priors))
    return tuple(_effect(item, found, priors) for item, found in by_item.items())


def _effect(item: str, found: list[Observation], priors: Priors) -> Effect:
    parts: dict[str, tuple[float, float]] = {}
    yaw, drag, drag_sd, disagreement = np.zeros(1), np.zeros(1), 0.0, 0.0
    warnings: list[str] = []
    for channel in ("drag_area", "rolling_resistance", "efficiency", "mass"):
        here = [o for o in found if o.channel == channel]
        if not here:
            continue
        nodes = _yaw_nodes(here) if channel == "drag_area" else np.zeros(1)
        pooled, covariance = _pool_observations(here, nodes, priors)
        disagreement = max(disagreement, pooled.disagreement)
        warnings += _warnings(here, pooled)
        if channel == "drag_area":
            yaw, drag = nodes, pooled.mean
            drag_sd = math.sqrt(float(np.mean(np.diag(covariance))))
        else:
            parts[channel] = float(pooled.mean[0]), math.sqrt(float(covariance[0, 0]))
    rolling, efficiency, mass = (parts.get(name, (0.0, 0.0))
                                 for name in ("rolling_resistance", "efficiency", "mass"))
    return Effect(item, yaw, drag, drag_sd, *rolling, *efficiency, *mass, data=len(found),
                  disagreement=disagreement, basis=_basis(found),
                  warnings=tuple(dict.fromkeys(warnings)))


def _yaw_nodes(found: list[Observation]) -> NDArray[np.float64]:
    """Angles at which single-angle data stand; one node where there is no more than one."""
    angles = sorted({round(o.yaw[0], 6) for o in found
                     if o.datum.yaw is not None and o.yaw[0] == o.yaw[1]})
    return np.array(angles) if len(angles) > 1 else np.zeros(1)


def _design(found: list[Observation], nodes: NDArray[np.float64]) -> NDArray[np.float64]:
    """Rows of weights on the nodes: hat functions at the datum's angle, or their mean."""
    if len(nodes) == 1:
        return np.ones((len(found), 1))
    hats = np.eye(len(nodes))
    rows = []
    for o in found:
        angles = np.linspace(o.yaw[0], o.yaw[1], 31)
        rows.append([float(np.mean(np.interp(angles, nodes, hat))) for hat in hats])
    return np.array(rows)


def _pool_observations(found: list[Observation], nodes: NDArray[np.float64], priors: Priors,
                       ) -> tuple[Pooled, NDArray[np.float64]]:
    values = np.array([o.value for o in found])
    own = np.array([o.sd for o in found]) ** 2
    shared = np.array([o.shared_sd for o in found])
    floor = 1e-16
    pooled = pool(values, np.maximum(own + shared**2, floor), _design(found, nodes))
    # The doubt about a factor is common to its kind: it does not average out.
    kinds = [o.kind for o in found]
    alike = np.array([[a == b for b in kinds] for a in kinds])
    full = np.diag(own + pooled.between) + alike * np.outer(shared, shared)
    if len({_source(o) for o in found}) == 1:
        # One source can say nothing on the scatter between sources.
        full = full + priors.between_share**2 * np.outer(values, values)
    covariance = pooled.influence @ full @ pooled.influence.T
    return pooled, covariance


def _source(o: Observation) -> str:
    return o.datum.source or o.datum.measured_by or o.datum.test


def _warnings(found: list[Observation], pooled: Pooled) -> list[str]:
    out = []
    share: dict[str, float] = defaultdict(float)
    weight = np.abs(pooled.influence).sum(axis=0)
    for o, w in zip(found, weight / weight.sum(), strict=True):
        share[_source(o)] += float(w)
    name, most = max(share.items(), key=lambda pair: pair[1])
    if len(share) == 1:
        out.append(f"one source only: {name}")
    elif most > 0.8:
        out.append(f"{name} carries {most:.0%} of the weight")
    if pooled.q_p_value < 0.1:
        out.append(f"the data disagree beyond their doubts (Q {pooled.q:.1f}, I² "
                   f"{pooled.disagreement:.0%})")
    for o in found:
        out.extend(o.notes)
    return out


def _basis(found: list[Observation]) -> str:
    kinds: dict[str, int] = defaultdict(int)
    for o in found:
        kinds[o.datum.test + (" (seller)" if o.datum.measured_by == "seller" else "")] += 1
    return ", ".join(f"{n} {kind}" if n > 1 else kind for kind, n in kinds.items())
