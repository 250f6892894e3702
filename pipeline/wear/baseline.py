"""The shape of wearing out that a club's own beds show, beyond the Weibull's.

In: every bed's expected cumulative hazard u (family, player and inspections in it) and how it ended. Out: Baseline, a
piecewise-linear warp C(u): where beds of this club end more often than expected at some u its slope is above 1, where
less often below. Each slope is (prior + endings) / (prior + expected): a gamma update of a piecewise-constant hazard
(Kalbfleisch & Prentice, The Statistical Analysis of Failure Time Data, piecewise exponential model; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

EDGES = np.array([0.0, 0.01, 0.03, 0.07, 0.14, 0.25, 0.4, 0.65, 1.0, 1.6])
# a Weibull fitted to the club needs little of this; measured on weeks held out of trial clubs
PRIOR_ENDINGS = 50.0


@dataclass(frozen=True)
class Baseline:
    """edges: (n,) of u, the last bin open. slopes: (n,) of C within each bin."""

    edges: np.ndarray
    slopes: np.ndarray

    @property
    def _at_edges(self) -> np.ndarray:
        return np.concatenate([[0.0], np.cumsum(self.slopes[:-1] * np.diff(self.edges))])

    def warped(self, u: np.ndarray) -> np.ndarray:
        """C(u), for u >= 0 of any shape."""
        at = np.clip(np.searchsorted(self.edges, u, side="right") - 1, 0, len(self.edges) - 1)
        return np.asarray(self._at_edges[at] + self.slopes[at] * (u - self.edges[at]))

    def unwarped(self, c: np.ndarray) -> np.ndarray:
        """u at which C(u) = c."""
        knots = self._at_edges
        at = np.clip(np.searchsorted(knots, c, side="right") - 1, 0, len(knots) - 1)
        return np.asarray(self.edges[at] + (c - knots[at]) / self.slopes[at])


def expected_in_bins(start: np.ndarray, end: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """(bins,) endings expected between the edges. start, end: (n_steps,) u before and after each step; weight:
    (n_steps,) how far it counts."""
    upper = np.append(EDGES[1:], np.inf)
    return np.array(
        [
            float((weight * (np.clip(end, low, high) - np.clip(start, low, high))).sum())
            for low, high in zip(EDGES, upper, strict=True)
        ]
    )


def learn_baseline(expected: np.ndarray, u_ended: np.ndarray, ended: np.ndarray) -> Baseline:
    """Slopes from beds. expected: (bins,) endings between the edges. u_ended, ended: (n_beds,) u at the bed's end and
    how far it ended by this limit."""
    n = len(EDGES)
    at = np.clip(np.searchsorted(EDGES, u_ended, side="right") - 1, 0, n - 1)
    endings = np.bincount(at, ended, n)
    return Baseline(EDGES, (PRIOR_ENDINGS + endings) / (PRIOR_ENDINGS + expected))
