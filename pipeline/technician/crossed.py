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
        inverse = _reduced_inverse(weight, place, measurer, group, n_places)
        offset, residual = _solve(reading, weight, place, measurer, inverse, n_places)
        scale = _scale(residual, place)
        weight = _weights(residual, scale, bisquare=round_ >= HUBER_ROUNDS)
    error = _standard_error(residual, weight, place, measurer, inverse, scale, n_places)
    centre = _group_centres(offset, group)
    return CrossedFit(offset - centre[group], error, group, np.bincount(group)[group], scale)


def _groups(place: Ints, measurer: Ints, n_places: int, n_measurers: int) -> Ints:
    """Connected groups: measurers who share places, directly or through others."""
    n = n_places + n_measurers
    graph = sparse.coo_matrix((np.ones(len(place)), (place, n_places + measurer)), shape=(n, n))
    _, label = connected_components(graph, directed=False)
    _, group = np.unique(label[n_places:], return_inverse=True)
    return group.astype(np.int64)


def _reduced_inverse(weight: Floats, place: Ints, measurer: Ints, group: Ints, n_places: int) -> Floats:
    """Inverse of the measurers' normal matrix after the places are eliminated, offsets summing to 0 a group."""
    n_measurers = len(group)
    cross = sparse.csr_matrix((weight, (place, measurer)), shape=(n_places, n_measurers))
    per_place = np.bincount(place, weight, n_places)
    scaled = sparse.diags(1 / np.maximum(per_place, 1e-12)) @ cross
    reduced = np.diag(np.bincount(measurer, weight, n_measurers)) - (cross.T @ scaled).toarray()
    same_group = (group[:, None] == group[None, :]).astype(np.float64)
    size = np.bincount(group)[group]
    tie = same_group / size[:, None]
    inverse: Floats = np.linalg.inv(reduced + tie * max(1.0, float(reduced.diagonal().mean())))
    return inverse


def _solve(
    reading: Floats, weight: Floats, place: Ints, measurer: Ints, inverse: Floats, n_places: int
) -> tuple[Floats, Floats]:
    per_place = np.maximum(np.bincount(place, weight, n_places), 1e-12)
    mean = np.bincount(place, weight * reading, n_places) / per_place
    offset = inverse @ np.bincount(measurer, weight * (reading - mean[place]), len(inverse))
    adjusted = reading - offset[measurer]
    effect = np.bincount(place, weight * adjusted, n_places) / per_place
    return offset, adjusted - effect[place]


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


def _standard_error(
    residual: Floats,
    weight: Floats,
    place: Ints,
    measurer: Ints,
    inverse: Floats,
    scale: float,
    n_places: int,
) -> Floats:
    """The larger of the model's standard error and the sandwich clustered by place (readings of one place may
    drift together)."""
    score = weight * residual
    cluster = sparse.csr_matrix((score, (place, measurer)), shape=(n_places, len(inverse)))
    meat = (cluster.T @ cluster).toarray()
    sandwich = np.sqrt(np.maximum(np.diag(inverse @ meat @ inverse), 0))
    n, p = len(residual), n_places + len(inverse)
    variance = float((weight * residual**2).sum()) / max(n - p, 1)
    model = np.sqrt(np.maximum(np.diag(inverse), 0) * max(variance, 1e-12))
    return np.maximum(model, sandwich)


def _group_centres(offset: Floats, group: Ints) -> Floats:
    return np.array([np.median(offset[group == g]) for g in range(int(group.max()) + 1)])
