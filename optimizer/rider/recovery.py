"""How a plan's reserve refills below critical power: each law once, with all that asks for it.

What a stretch gives or takes is `net` = (CP - P) Δt [J]. Above CP all of it is taken. Below, a law
says what comes back, gives the derivative of the reserve for the card's powers, and the line that
bounds it for the convex program.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, Protocol

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

__all__ = ["BY_SHARE", "LAWS", "RECOVERY", "SLOWING", "SLOWS", "Recovery", "RecoveryLaw"]

Recovery = Literal["linear", "partial", "slowing"]
"""Names in a rider's file."""

RECOVERY: Final[Mapping[Recovery, str]] = {
    "linear": "refills at CP − P below CP",
    "partial": "refills at {share:.0%} of CP − P below CP",
    "slowing": "refills more slowly as it fills (Skiba et al. 2015, differential form)"}
"""The same in words."""


class RecoveryLaw(Protocol):
    """What plan, simulation and card ask of a law; `share` is r, `full` W' [J]."""

    @property
    def convex(self) -> bool:
        """Whether the pacing program takes it as it is."""

    def march(self, net: NDArray[np.float64], share: NDArray[np.float64],
              full: NDArray[np.float64] | float) -> NDArray[np.float64]:
        """Reserve [J] (n + 1, ...) at the ends of stretches with `net` (n, ...), from full."""

    def slopes(self, net: NDArray[np.float64], net_by: NDArray[np.float64],
               share: NDArray[np.float64], full: float,
               reserve: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n + 1, m) derivative of the reserve (n + 1,), from that of `net` (n,), (n, m)."""

    def line(self, net: NDArray[np.float64], share: NDArray[np.float64], full: float,
             reserve: NDArray[np.float64],
             ) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        """r, c, o (n,) of W' ≤ c W + r net + o, which touches the law at this reserve."""


@dataclass(frozen=True)
class _ByShare:
    """A fixed share r of CP - P refills, 1 for all of it."""

    convex: bool = True

    def march(self, net: NDArray[np.float64], share: NDArray[np.float64],
              full: NDArray[np.float64] | float) -> NDArray[np.float64]:
        """W = min(W', W + d) telescopes: the running sum less the excess it ever had."""
        if np.any(share < 1.0):
            net = net * np.where(net > 0, share, 1.0)
        out = np.empty((len(net) + 1, *net.shape[1:]))
        out[0] = full
        if net.ndim > 1:  # running sums down columns take ten times as long as going by rows
            for before, change, after in zip(out[:-1], net, out[1:], strict=True):
                np.minimum(np.add(before, change, out=after), full, out=after)
            return out
        np.cumsum(net, axis=0, out=out[1:])
        excess = np.maximum.accumulate(out[1:], axis=0)
        out[1:] -= np.maximum(excess, 0.0, out=excess)
        out[1:] += full
        return out

    def slopes(self, net: NDArray[np.float64], net_by: NDArray[np.float64],
               share: NDArray[np.float64], full: float,
               reserve: NDArray[np.float64]) -> NDArray[np.float64]:
        """Sum up from where the reserve was full, which forgets what was before."""
        by = np.where(net > 0, share, 1.0)[:, None] * net_by
        out = np.concatenate([np.zeros((1, net_by.shape[1])), np.cumsum(by, axis=0)])
        again = np.append(False, reserve[1:] >= full * (1 - 1e-12))
        last = np.maximum.accumulate(np.where(again, np.arange(len(out)), 0))
        return np.asarray(out - out[last])

    def line(self, net: NDArray[np.float64], share: NDArray[np.float64],
             full: float, reserve: NDArray[np.float64],  # noqa: ARG002 - as the protocol has it
             ) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        """Give the law itself."""
        return share, np.ones(len(net)), np.zeros(len(net))


@dataclass(frozen=True)
class _Slowing:
    """dW/dt = r (CP - P) (W' - W)/W' below CP, solved exactly on each stretch.

    Skiba, Fulford, Clarke, Vanhatalo and Jones 2015, Eur. J. Appl. Physiol. 115:703 (differential
    form, from memory).
    """

    convex: bool = False

    def march(self, net: NDArray[np.float64], share: NDArray[np.float64],
              full: NDArray[np.float64] | float) -> NDArray[np.float64]:
        """Let what is missing fade by exp(-r net/W')."""
        out = np.empty((len(net) + 1, *net.shape[1:]))
        out[0] = full
        drain, keep = np.minimum(net, 0.0), self._kept(net, share, full)
        for k in range(len(net)):
            out[k + 1] = full - (full - out[k]) * keep[k] + drain[k]
        return np.asarray(np.minimum(out, full))

    def slopes(self, net: NDArray[np.float64], net_by: NDArray[np.float64],
               share: NDArray[np.float64], full: float,
               reserve: NDArray[np.float64]) -> NDArray[np.float64]:
        """Let derivatives fade as what is missing does."""
        keep = self._kept(net, share, full)
        by = np.where(net > 0, share * keep * (1 - reserve[:-1] / full), 1.0)[:, None] * net_by
        out = np.zeros((len(net) + 1, net_by.shape[1]))
        for k in range(len(net)):
            out[k + 1] = keep[k] * out[k] + by[k]
        return out

    def line(self, net: NDArray[np.float64], share: NDArray[np.float64], full: float,
             reserve: NDArray[np.float64],
             ) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        """Tangent of W' - (W' - W) exp(-r net/W') in W and net."""
        empty = np.maximum(full - reserve[:-1], 0.0)
        keep = self._kept(net, share, full)
        left = empty / full * keep
        offset = np.where(net > 0, full - empty * keep - keep * reserve[:-1]
                          - left * share * net, 0.0)
        return share * left, keep, offset

    @staticmethod
    def _kept(net: NDArray[np.float64], share: NDArray[np.float64],
              full: NDArray[np.float64] | float) -> NDArray[np.float64]:
        return np.asarray(np.exp(-np.maximum(net, 0.0) * share / full))


BY_SHARE: Final[RecoveryLaw] = _ByShare()
SLOWING: Final[RecoveryLaw] = _Slowing()
LAWS: Final[Mapping[Recovery, RecoveryLaw]] = {
    "linear": BY_SHARE, "partial": BY_SHARE, "slowing": SLOWING}
"""The law of each name; only that of "partial" takes another share than 1."""
SLOWS: Final[Mapping[RecoveryLaw, bool]] = {BY_SHARE: False, SLOWING: True}
"""What the JSON and the page's own planner are told of a law: they know these two and no other."""
