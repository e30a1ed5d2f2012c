"""Crossed effects of places and measurers on a reading, fitted robustly over the whole fleet at once.

What belongs here: the arithmetic on arrays. What does not: which visits count (`sql/technician/`), what an
offset means for a person (`sql/technician/technician_zeroing.sql`).

Model: reading = effect of the place (equipment, mode, segment) + offset of the measurer (technician with
instrument) + noise. Places are fixed effects, eliminated exactly; measurers are solved from the reduced normal
equations; weights are Huber's, then Tukey's bisquare, so that sites that change and slips do not steer the fit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse import linalg
from scipy.sparse.csgraph import connected_components

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

HUBER_K = 1.345  # 95 % efficiency under the normal (Huber 1981); from memory
BISQUARE_C = 4.685  # likewise (Beaton and Tukey 1974); from memory
HUBER_ROUNDS = 6
BISQUARE_ROUNDS = 8


@dataclass(frozen=True)
class CrossedFit:
    """Offsets of the measurers in the unit of the readings; all arrays are indexed by measurer but `scale`."""

    offset: Floats  # relative to the robust centre of its connected group
    standard_error: Floats  # the larger of the model's and the place-clustered one
    group: Ints  # which connected group of measurers and places
    group_size: Ints  # measurers in that group
    scale: float  # robust standard deviation of the noise


def fit_crossed(reading: Floats, place: Ints, measurer: Ints) -> CrossedFit:
    """Fit the model to n readings with place and measurer codes from 0 (each shape (n,))."""
    n_places, n_measurers = int(place.max()) + 1, int(measurer.max()) + 1
    group = _groups(place, measurer, n_places, n_measurers)
    weight = np.ones_like(reading)
    offset = np.zeros(n_measurers)
    scale = np.inf
    for round_ in range(HUBER_ROUNDS + BISQUARE_ROUNDS):
        system = _Reduced(weight, place, measurer, n_places, n_measurers)
        offset = system.solve(reading, offset)
        residual = system.residual(reading, offset)
        scale = _scale(residual, place)
        weight = _weights(residual, scale, bisquare=round_ >= HUBER_ROUNDS)
    error = _standard_error(residual, weight, system, group)
    centre = _group_centres(offset, group)
    return CrossedFit(offset - centre[group], error, group, np.bincount(group)[group], scale)


def _groups(place: Ints, measurer: Ints, n_places: int, n_measurers: int) -> Ints:
    """Connected groups: measurers who share places, directly or through others."""
    n = n_places + n_measurers
    graph = sparse.coo_matrix((np.ones(len(place)), (place, n_places + measurer)), shape=(n, n))
    _, label = connected_components(graph, directed=False)
    _, group = np.unique(label[n_places:], return_inverse=True)
    return group.astype(np.int64)


class _Reduced:
    """The measurers' normal equations after the places are eliminated: (D - N' W^-1 N) offset = right side."""

    def __init__(self, weight: Floats, place: Ints, measurer: Ints, n_places: int, n_measurers: int) -> None:
        self.weight, self.place, self.measurer = weight, place, measurer
        self.n_places, self.n_measurers = n_places, n_measurers
        self.cross = sparse.csr_matrix((weight, (place, measurer)), shape=(n_places, n_measurers))
        self.per_place = np.maximum(np.bincount(place, weight, n_places), 1e-12)
        self.per_measurer = np.bincount(measurer, weight, n_measurers)

    def _means(self, values: Floats) -> Floats:
        totals = np.bincount(self.place, self.weight * values, self.n_places)
        return np.asarray(totals / self.per_place, dtype=np.float64)

    def solve(self, reading: Floats, start: Floats) -> Floats:
        """Offsets by conjugate gradients from `start`; the system is singular by one level a group, which the
        centring takes out afterwards."""
        centred = self.weight * (reading - self._means(reading)[self.place])
        right = np.asarray(np.bincount(self.measurer, centred, self.n_measurers), dtype=np.float64)
        transposed = self.cross.T.tocsr()

        def apply(v: Floats) -> Floats:
            out: Floats = self.per_measurer * v - transposed @ ((self.cross @ v) / self.per_place)
            return out

        shape = (self.n_measurers, self.n_measurers)
        scaling = 1 / np.maximum(self.per_measurer, 1e-12)
        offset, failed = linalg.cg(
            linalg.LinearOperator(shape, matvec=apply, dtype=np.float64),
            right,
            x0=start,
            rtol=1e-12,
            atol=1e-12,
            maxiter=10_000,
            M=sparse.diags(scaling),
        )
        if failed:
            raise ArithmeticError(f"the crossed fit of {self.n_measurers} measurers did not converge")
        return np.asarray(offset, dtype=np.float64)

    def residual(self, reading: Floats, offset: Floats) -> Floats:
        """What place and measurer leave of each reading."""
        adjusted = reading - offset[self.measurer]
        return np.asarray(adjusted - self._means(adjusted)[self.place], dtype=np.float64)

    def inverse(self, members: Ints) -> Floats:
        """Inverse of the block of one connected group, offsets tied to sum to 0."""
        columns = self.cross[:, members]
        scaled = sparse.diags(1 / self.per_place) @ columns
        block = np.diag(self.per_measurer[members]) - (columns.T @ scaled).toarray()
        tie = max(1.0, float(block.diagonal().mean())) / len(members)
        return np.asarray(np.linalg.inv(block + tie), dtype=np.float64)


def _scale(residual: Floats, place: Ints) -> float:
    """1.4826 times the median absolute residual, each inflated for the place effect that it helped to fit."""
    n = np.bincount(place)[place]
    shared = n > 1
    if not shared.any():
        return 1e-6
    spread = np.abs(residual[shared]) / np.sqrt(1 - 1 / n[shared])
    return max(1.4826 * float(np.median(spread)), 1e-6)


def _weights(residual: Floats, scale: float, *, bisquare: bool) -> Floats:
    z = np.abs(residual) / scale
    if bisquare:
        return np.where(z < BISQUARE_C, (1 - (z / BISQUARE_C) ** 2) ** 2, 0.0) + 1e-9
    return np.minimum(1.0, HUBER_K / np.maximum(z, 1e-12))


def _standard_error(residual: Floats, weight: Floats, system: _Reduced, group: Ints) -> Floats:
    """The larger of the model's standard error and the sandwich clustered by place (readings of one place may
    drift together), group by group."""
    free = max(len(residual) - system.n_places - system.n_measurers, 1)
    variance = max(float((weight * residual**2).sum()) / free, 1e-12)
    score = sparse.csc_matrix(
        (weight * residual, (system.place, system.measurer)), shape=(system.n_places, system.n_measurers)
    )
    error = np.zeros(system.n_measurers)
    for g in range(int(group.max()) + 1):
        members = np.flatnonzero(group == g)
        inverse = system.inverse(members)
        cluster = score[:, members]
        meat = (cluster.T @ cluster).toarray()
        sandwich = np.einsum("ij,ji->i", inverse @ meat, inverse)
        model = np.diag(inverse) * variance
        error[members] = np.sqrt(np.maximum(np.maximum(model, sandwich), 0))
    return error


def _group_centres(offset: Floats, group: Ints) -> Floats:
    return np.array([np.median(offset[group == g]) for g in range(int(group.max()) + 1)])
