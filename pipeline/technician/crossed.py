"""Crossed effects of places and measurers on a reading, fitted robustly over the whole fleet at once.

What belongs here: the arithmetic on arrays. What does not: which visits count (`sql/technician/`), what an
offset means for a person (`sql/technician/technician_zeroing.sql`).

Model: reading = effect of the place (equipment, mode, segment) + offset of the measurer (technician with
instrument) + noise. Places are fixed effects, eliminated exactly; measurers are solved from the reduced normal
equations; weights are Huber's, then Tukey's bisquare, so that sites that change and slips do not steer the fit.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
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
BISQUARE_ROUNDS = 8  # at most; fewer where the offsets stand still
STEP_RTOL = 1e-3  # a round solves its step to this share of what is left; the next takes the rest
MOST_STEPS = 10_000
EXACT_UP_TO = 300  # measurers in a group whose equations are inverted outright
SERIES_UP_TO = 0.5  # largest eigenvalue with which a series in its place is good
INVERSE_UP_TO = 4000  # a larger group takes the series all the same: its bound then overstates the errors
CONVERGED = 1e-8  # in the unit of the readings: offsets that move less stand still


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
    return fit_crossed_series({"reading": reading}, place, measurer)["reading"]


def fit_crossed_series(series: Mapping[str, Floats], place: Ints, measurer: Ints) -> dict[str, CrossedFit]:
    """Fit each of the named series of n readings; places and measurers (each shape (n,)) are the same for all."""
    design = _Design(place, measurer)
    return {name: _fit(values[design.order], design) for name, values in series.items()}


def _fit(reading: Floats, design: _Design) -> CrossedFit:
    system = _Reduced(np.ones_like(reading), design)
    residual, offset, scale = reading, np.zeros(design.n_measurers), np.inf
    for round_ in range(HUBER_ROUNDS + BISQUARE_ROUNDS):
        if round_:
            system = _Reduced(_weights(residual, scale, bisquare=round_ > HUBER_ROUNDS), design)
        residual, step = system.step(residual)
        offset += step
        scale = design.scale(residual)
        if round_ >= HUBER_ROUNDS and np.abs(step).max() < CONVERGED:
            break
    weight = _weights(residual, scale, bisquare=True)
    error = _standard_error(residual, weight, system)
    group, rank = design.group, design.rank
    offset = offset[rank]
    centre = _group_centres(offset, group)
    return CrossedFit(offset - centre[group], error[rank], group, np.bincount(group)[group], scale)


def _groups(place: Ints, measurer: Ints, n_places: int, n_measurers: int) -> Ints:
    """Connected groups: measurers who share places, directly or through others."""
    n = n_places + n_measurers
    graph = sparse.coo_matrix((np.ones(len(place)), (place, n_places + measurer)), shape=(n, n))
    _, label = connected_components(graph, directed=False)
    _, group = np.unique(label[n_places:], return_inverse=True)
    return group.astype(np.int64)


class _Design:
    """Who read where, once for all series and rounds. Rows stand in order of their group and place, measurers are
    numbered in order of their group, so that a group is a slice. A place with one reading tells nothing about
    anybody (its effect takes it up whole) and is left out."""

    def __init__(self, place: Ints, measurer: Ints) -> None:
        n_places, self.n_measurers = int(place.max()) + 1, int(measurer.max()) + 1
        self.group = _groups(place, measurer, n_places, self.n_measurers)
        self.rank = np.empty(self.n_measurers, np.int32)  # a measurer's number in order of the groups
        self.rank[np.argsort(self.group, kind="stable")] = np.arange(self.n_measurers, dtype=np.int32)
        kept = np.flatnonzero(np.bincount(place)[place] > 1)
        # Numbers of a group and a place in it fit well below 2^63.
        key = self.group[measurer[kept]] * n_places + place[kept]
        self.order = kept[np.argsort(key, kind="stable")]
        self.measurer = self.rank[measurer[self.order]]
        ends = np.flatnonzero(np.diff(place[self.order])) + 1
        self.pointer = np.unique(np.concatenate([[0], ends, [len(self.order)]])).astype(np.int32)
        self.start, self.size = self.pointer[:-1], np.diff(self.pointer)
        self.n_places = len(self.start)
        n_groups = int(self.group.max()) + 1
        self.first_member = np.append(0, np.cumsum(np.bincount(self.group, minlength=n_groups)))
        group_of_place = self.group[measurer[self.order]][self.start]
        self.first_place = np.append(0, np.cumsum(np.bincount(group_of_place, minlength=n_groups)))
        # A residual is smaller than the noise by the place effect that it helped to fit.
        self.inflation = self.spread(1.4826 / np.sqrt(1 - 1 / self.size))

    def spread(self, by_place: Floats) -> Floats:
        """A value a place, written at each of its rows."""
        return np.repeat(by_place, self.size)

    def totals(self, by_row: Floats) -> Floats:
        """Sum over the rows of each place."""
        return np.asarray(np.add.reduceat(by_row, self.start), dtype=np.float64) if self.n_places else by_row

    def matrix(self, values: Floats) -> sparse.csr_matrix:
        """Places by measurers, without copying; a measurer who came twice stands twice."""
        return sparse.csr_matrix(
            (values, self.measurer, self.pointer), shape=(self.n_places, self.n_measurers), copy=False
        )

    def block(self, values: Floats, group: int) -> sparse.csr_matrix:
        """The places and measurers of one group."""
        first, last = self.first_place[group], self.first_place[group + 1]
        member, beyond = self.first_member[group], self.first_member[group + 1]
        rows = slice(self.pointer[first], self.pointer[last])
        pointer = self.pointer[first : last + 1] - self.pointer[first]
        return sparse.csr_matrix(
            (values[rows], self.measurer[rows] - np.int32(member), pointer),
            shape=(last - first, beyond - member),
        )

    def scale(self, residual: Floats) -> float:
        """1.4826 times the median absolute residual, each inflated for its place's effect."""
        if not len(residual):
            return 1e-6
        return max(float(np.median(np.abs(residual) * self.inflation)), 1e-6)


class _Reduced:
    """The measurers' normal equations after the places are eliminated: (D - N' W^-1 N) offset = right side."""

    def __init__(self, weight: Floats, design: _Design) -> None:
        self.weight, self.design = weight, design
        self.cross = design.matrix(weight)
        self.per_place = np.maximum(design.totals(weight), 1e-12)
        self.per_measurer = np.bincount(design.measurer, weight, design.n_measurers).astype(np.float64)

    def step(self, residual: Floats) -> tuple[Floats, Floats]:
        """(new residual, change of the offsets) towards the solution under these weights, by conjugate gradients.

        Each round starts where the last one ended, so that a step need not be solved to the last digit: what it
        leaves, the next takes. The system is singular by one level a group, which the centring takes out.
        """
        design, n = self.design, self.design.n_measurers
        centred = residual - design.spread(design.totals(self.weight * residual) / self.per_place)
        right = np.asarray(np.bincount(design.measurer, self.weight * centred, n), dtype=np.float64)
        transposed = self.cross.T

        def apply(v: Floats) -> Floats:
            out: Floats = self.per_measurer * v - transposed @ ((self.cross @ v) / self.per_place)
            return out

        step = _conjugate_gradients(apply, right, 1 / np.maximum(self.per_measurer, 1e-12))
        left = design.spread((self.cross @ step) / self.per_place)
        return centred - step[design.measurer] + left, step

    def block(self, group: int) -> sparse.csr_matrix:
        """The equations of one connected group."""
        design = self.design
        members = slice(design.first_member[group], design.first_member[group + 1])
        columns = design.block(self.weight / design.spread(np.sqrt(self.per_place)), group)
        return sparse.csr_matrix(sparse.diags(self.per_measurer[members]) - columns.T @ columns)


def _conjugate_gradients(apply: Callable[[Floats], Floats], right: Floats, scaling: Floats) -> Floats:
    """Solve apply(x) = right to STEP_RTOL, preconditioned by a diagonal (Hestenes and Stiefel 1952).

    scipy.sparse.linalg.cg does the same with BLAS's threaded dot products, whose waiting costs more processor time here
    than the products with the matrix; the tests compare with it.
    """
    x, left = np.zeros_like(right), right.copy()
    enough = max(STEP_RTOL * _length(right), 1e-12)
    direction, size = np.zeros_like(right), 1.0
    for _ in range(MOST_STEPS):
        if _length(left) <= enough:
            return x
        scaled = scaling * left
        new = float(np.einsum("i,i", left, scaled))
        direction = scaled + (new / size) * direction
        size = new
        image = apply(direction)
        length = new / float(np.einsum("i,i", direction, image))
        x += length * direction
        left -= length * image
    raise ArithmeticError(f"the crossed fit of {len(right)} measurers did not converge")


def _length(values: Floats) -> float:
    return float(np.sqrt(np.einsum("i,i", values, values)))


def _weights(residual: Floats, scale: float, *, bisquare: bool) -> Floats:
    z = np.abs(residual) / scale
    if bisquare:
        return np.where(z < BISQUARE_C, (1 - (z / BISQUARE_C) ** 2) ** 2, 0.0) + 1e-9
    return np.minimum(1.0, HUBER_K / np.maximum(z, 1e-12))


def _standard_error(residual: Floats, weight: Floats, system: _Reduced) -> Floats:
    """The larger of the model's standard error and the sandwich clustered by place (readings of one place may
    drift together), group by group."""
    design = system.design
    free = max(len(residual) - design.n_places - design.n_measurers, 1)
    variance = max(float((weight * residual**2).sum()) / free, 1e-12)
    score = weight * residual
    error = np.zeros(design.n_measurers)
    for g in range(len(design.first_member) - 1):
        block, cluster = system.block(g), design.block(score, g)
        meat = sparse.csr_matrix(cluster.T @ cluster)
        answer = _by_series(block, meat) if block.shape[0] > EXACT_UP_TO else None
        inverse, sandwich = answer or _exactly(block, meat)
        members = slice(design.first_member[g], design.first_member[g + 1])
        error[members] = np.sqrt(np.maximum(np.maximum(inverse * variance, sandwich), 0))
    return error


def _exactly(block: sparse.csr_matrix, meat: sparse.csr_matrix) -> tuple[Floats, Floats]:
    """Diagonals of the inverse and of inverse * meat * inverse, offsets tied to sum to 0."""
    dense = block.toarray()
    tie = max(1.0, float(dense.diagonal().mean())) / len(dense)
    inverse = np.linalg.inv(dense + tie)
    return np.diag(inverse), np.einsum("ij,ji->i", inverse @ meat.toarray(), inverse)


def _by_series(block: sparse.csr_matrix, meat: sparse.csr_matrix) -> tuple[Floats, Floats] | None:
    """The same for a large group without its inverse, whose cost grows with the cube; None where it would be coarse.

    With D the diagonal, R = 1 - D^-1/2 block D^-1/2 has one eigenvector u for 1 (the group's level); without it the
    inverse is D^-1/2 (1 + R + R^2 + ...) D^-1/2. With s the largest other eigenvalue, all terms from the second on
    are at most R^2 / (1 - s) on the diagonal: that bound is taken, so that the error is never understated by it.
    """
    diagonal = block.diagonal()
    if (diagonal <= 0).any():
        return None
    root = sparse.diags(1 / np.sqrt(diagonal))
    ties = (-(root @ (block - sparse.diags(diagonal)) @ root)).tocsr()
    level = np.sqrt(diagonal / diagonal.sum())
    largest = _largest_eigenvalue(ties, level)
    if largest > SERIES_UP_TO and len(level) <= INVERSE_UP_TO:
        return None
    squares = ties.multiply(ties)
    second = np.asarray(squares.sum(axis=1)).ravel() - level**2
    largest = min(largest, 0.999)
    more = -(level**2) + second / (1 - largest)
    scaled = (root @ meat @ root).tocsr()
    own = scaled.diagonal()
    across = 2 * np.asarray(ties.multiply(scaled).sum(axis=1)).ravel() + squares @ own
    return (1 + more) / diagonal, (own * (1 + 2 * more) + across) / diagonal


def _largest_eigenvalue(ties: sparse.csr_matrix, level: Floats) -> float:
    """Largest absolute eigenvalue of `ties` beside that of its eigenvector `level`; the start is fixed."""
    n = len(level)

    def apply(v: Floats) -> Floats:
        v = np.asarray(v, dtype=np.float64).ravel()
        out: Floats = ties @ v - level * (level @ v)
        return out

    operator = linalg.LinearOperator((n, n), matvec=apply, dtype=np.float64)
    start = np.where(np.arange(n) % 2 == 0, 1.0, -0.5)
    found = linalg.eigsh(operator, k=1, which="LM", v0=start, tol=1e-3, return_eigenvectors=False)
    return float(np.abs(found).max())


def _group_centres(offset: Floats, group: Ints) -> Floats:
    return np.array([np.median(offset[group == g]) for g in range(int(group.max()) + 1)])
