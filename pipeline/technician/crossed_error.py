"""Standard errors of a crossed fit's offsets (`crossed.py`).

All that is needed are sums over the pairs of measurers who met at places. Few pairs meet twice: all others are summed
place by place, without a number of their own.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, sparse

from pipeline.technician.places import Floats, Ints, Places

EXACT_UP_TO = 300  # measurers in a group whose equations are inverted outright
SERIES_UP_TO = 0.5  # largest eigenvalue with which a series in its place is good
INVERSE_UP_TO = 4000  # a larger group takes the series all the same: its bound then overstates the errors
LANCZOS_STEPS = 8  # on a million visits within 3 % of what more find
LEAST_WEIGHT = 1e-9  # of a measurer whose readings all count for nothing


class Meetings:
    """Which rows of a place have one measurer, and which two measurers met more than once; for all series."""

    def __init__(self, places: Places, measurer: Ints, n: int) -> None:
        """`measurer`: a code from 0 to n - 1 a row, in the order of `places`."""
        key, end, with_self = np.empty(places.n_pairs, np.int64), [0], [np.empty((2, 0), np.int32)]
        for pair in places.pairs():
            one, other = measurer[pair]
            with_self.append(pair[:, np.flatnonzero(one == other)])
            end.append(end[-1] + len(one))
            key[end[-2] : end[-1]] = np.minimum(one, other) * n + np.maximum(one, other)
        self.self_one, self.self_other = np.concatenate(with_self, axis=1)
        again, slot = occurs_again(key, n * n)
        pair_of = np.empty(int(slot.max(initial=-1)) + 1, np.int64)
        pair_of[slot] = key[again]
        self.low, self.high = pair_of // n, pair_of % n
        differ = (self.low != self.high)[slot]
        again, self.slot = again[differ], slot[differ]
        # Rows of pairs are made anew for the few that are needed: all of them would be the most that a fit holds.
        within = np.searchsorted(again, end)
        rows = [np.empty((2, 0), np.int32)]
        for block, pair in enumerate(places.pairs()):
            rows.append(pair[:, again[within[block] : within[block + 1]] - end[block]])
        self.one, self.other = np.concatenate(rows, axis=1)


def occurs_again(key: Ints, above: int) -> tuple[Ints, Ints]:
    """Where the numbers from 0 to before `above` lie that occur more than once, and which of these it is, from 0."""
    order, key = _sorted(key, above)
    as_before = np.zeros(len(key) + 1, np.bool_)
    np.equal(key[1:], key[:-1], out=as_before[1:-1])
    again = np.flatnonzero(as_before[1:] | as_before[:-1])
    slot = np.cumsum(~as_before[again]) - 1
    by_place, where = _sorted(order[again], len(order))
    return where, slot[by_place]


def _sorted(key: Ints, above: int) -> tuple[Ints, Ints]:
    """In which order the numbers from 0 to before `above` rise, and they in this order."""
    bits = len(key).bit_length()
    if above.bit_length() + bits < 64:
        # Sorted with their places in their last bits: a fifth of the time of sorting places by them.
        packed = key << bits
        packed |= np.arange(len(key))
        packed.sort()
        order = packed & ((1 << bits) - 1)
        packed >>= bits
        return order, packed
    order = np.argsort(key, kind="stable")
    return order, key[order]


@dataclass(frozen=True)
class Equations:
    """What the standard errors rest on. With A the matrix of places by measurers that holds `tie`, the offsets' normal
    equations are diag(per_measurer) - A' A; `score` is weight times residual. `places`, `at` (the measurer) and these
    two by row; group g has the measurers from first[g] on."""

    places: Places
    at: Ints
    meetings: Meetings
    first: Ints
    per_measurer: Floats
    tie: Floats
    score: Floats

    def own_squares(self, by_row: Floats) -> Floats:
        """The diagonal of the square of the matrix that holds `by_row`."""
        m, own = self.meetings, np.zeros(len(self.per_measurer))
        for _, rows, _ in self.places.blocks:
            np.add.at(own, self.at[rows], by_row[rows] ** 2)
        # Who came twice to a place met himself there.
        np.add.at(own, self.at[m.self_one], 2 * by_row[m.self_one] * by_row[m.self_other])
        return own

    def ties(self, v: Floats) -> Floats:
        """A' A v."""
        image = np.zeros(len(v))
        for k, rows, _ in self.places.blocks:
            at, tie = self.at[rows], self.tie[rows]
            found = v[at]
            found *= tie
            at_place = np.add.reduce(found.reshape(k, -1), axis=0)
            np.multiply(tie.reshape(k, -1), at_place, out=found.reshape(k, -1))
            np.add.at(image, at, found)
        return image

    def over_pairs(self, inverse: Floats, own: Floats) -> tuple[Floats, Floats]:
        """Sums over the others n that each m met: ties_mn^2 inverse_n; (2 ties_mn meat_mn + ties_mn^2 own_n) inverse_n.
        Meat is the square of the matrix that holds the scores."""
        second, across = np.zeros_like(inverse), np.zeros_like(inverse)
        for k, rows, _ in self.places.blocks:
            at = self.at[rows]
            square, both = self.tie[rows] ** 2, self.tie[rows] * self.score[rows]
            scaling = inverse[at]
            one, two, three = square * scaling, both * scaling, square * (scaling * own[at])
            np.add.at(second, at, square * _of_others(one, k))
            np.add.at(across, at, 2 * both * _of_others(two, k) + square * _of_others(three, k))
        m = self.meetings
        # The same measurer was taken for two.
        ties, meats = self._of_two(m.self_one, m.self_other)
        at = self.at[m.self_one]
        np.subtract.at(second, at, 2 * ties**2 * inverse[at])
        np.subtract.at(across, at, 2 * (2 * ties * meats + ties**2 * own[at]) * inverse[at])
        # Two who met again were taken for others: the square of a sum is not the sum of squares.
        ties, meats = self._of_two(m.one, m.other)
        n = len(m.low)
        all_ties, all_meats = np.bincount(m.slot, ties, n), np.bincount(m.slot, meats, n)
        squares = all_ties**2 - np.bincount(m.slot, ties**2, n)
        products = all_ties * all_meats - np.bincount(m.slot, ties * meats, n)
        for at, other in ((m.low, m.high), (m.high, m.low)):
            np.add.at(second, at, squares * inverse[other])
            np.add.at(across, at, (2 * products + squares * own[other]) * inverse[other])
        return second, across

    def _of_two(self, one: NDArray[np.int32], other: NDArray[np.int32]) -> tuple[Floats, Floats]:
        return self.tie[one] * self.tie[other], self.score[one] * self.score[other]


def _of_others(by_row: Floats, k: int) -> Floats:
    """The sum over the other rows of the place, a row."""
    block = by_row.reshape(k, -1)
    others: Floats = np.add.reduce(block, axis=0) - block
    return others.ravel()


def standard_error(equations: Equations, variance: float) -> Floats:
    """The larger of the model's standard error and the sandwich clustered by place (readings of one place may drift
    together), of offsets that sum to 0 in their group."""
    first = equations.first
    size = np.diff(first)
    error, small = np.zeros(first[-1]), size <= EXACT_UP_TO
    if not small.all():
        inverse, sandwich, coarse = _by_series(equations)
        error = np.maximum(inverse * variance, sandwich)
        small |= coarse & (size <= INVERSE_UP_TO)
    for own, ties, meat in _dense(equations, small):
        inverse, sandwich = _exactly(np.diag(equations.per_measurer[own]) - ties, meat)
        error[own] = np.maximum(inverse * variance, sandwich)
    return np.sqrt(np.maximum(error, 0))


def _dense(equations: Equations, wanted: NDArray[np.bool_]) -> Iterator[tuple[slice, Floats, Floats]]:
    """The wanted groups one after another: their measurers, ties and meat."""
    if not wanted.any():
        return
    e, first = equations, equations.first
    rows = np.flatnonzero(np.repeat(wanted, np.diff(first))[e.at])
    rows = rows[np.argsort(e.at[rows], kind="stable")]
    at, place = e.at[rows], e.places.of_rows()[rows]
    for g in np.flatnonzero(wanted).tolist():
        own = slice(*np.searchsorted(at, first[g : g + 2]).tolist())
        names, here = np.unique(place[own], return_inverse=True)
        shape = (len(names), int(first[g + 1] - first[g]))
        where = (here, at[own] - first[g])
        tie, score = (sparse.csr_array((x[rows[own]], where), shape=shape) for x in (e.tie, e.score))
        yield slice(*first[g : g + 2].tolist()), (tie.T @ tie).toarray(), (score.T @ score).toarray()


def _exactly(equations: Floats, meat: Floats) -> tuple[Floats, Floats]:
    """Diagonals of the inverse of the normal equations and of inverse * meat * inverse; offsets sum to 0."""
    tie = max(1.0, float(equations.diagonal().mean())) / len(equations)
    inverse = np.linalg.inv(equations + tie)
    return np.diag(inverse), np.einsum("ij,ji->i", inverse @ meat, inverse)


def _by_series(equations: Equations) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """The same for large groups without their inverse, whose cost grows with the cube; and in which group it is coarse.

    With D the diagonal, R = 1 - D^-1/2 block D^-1/2 has one eigenvector u for 1 (the group's level); without it the
    inverse is D^-1/2 (1 + R + R^2 + ...) D^-1/2. With s the largest other eigenvalue, all terms from the second on
    are at most R^2 / (1 - s) on the diagonal: that bound is taken, so that the error is never understated by it.
    """
    first, own_ties = equations.first, equations.own_squares(equations.tie)
    size = np.diff(first)
    diagonal = equations.per_measurer - own_ties
    none_left = diagonal <= 0
    diagonal = np.maximum(diagonal, LEAST_WEIGHT)
    inverse = 1 / diagonal
    level = np.sqrt(diagonal / np.repeat(np.add.reduceat(diagonal, first[:-1]), size))
    root = np.sqrt(inverse)

    def beside_level(v: Floats) -> Floats:
        shared = np.repeat(np.add.reduceat(level * v, first[:-1]), size)
        image: Floats = root * equations.ties(root * v) - own_ties * inverse * v - level * shared
        return image

    largest = largest_eigenvalues(beside_level, first)
    own = equations.own_squares(equations.score) * inverse
    second, across = equations.over_pairs(inverse, own)
    more = (second * inverse - level**2) / np.repeat(1 - np.minimum(largest, 0.999), size) - level**2
    coarse = (largest > SERIES_UP_TO) | np.logical_or.reduceat(none_left, first[:-1])
    return (1 + more) * inverse, (own * (1 + 2 * more) + across * inverse) * inverse, coarse


def largest_eigenvalues(apply: Callable[[Floats], Floats], first: Ints) -> Floats:
    """About the largest absolute eigenvalue of each block of a symmetric block-diagonal matrix, whose block g has the
    rows from first[g] on, rather too large than too small; the start is fixed.

    LANCZOS_STEPS steps for all blocks at once (Lanczos 1950); what they find is raised by what is left of its
    eigenvector's equation (Zhou and Li 2011; from memory).
    """
    size = np.diff(first)

    def dot(u: Floats, v: Floats) -> Floats:
        found: Floats = np.add.reduceat(u * v, first[:-1])
        return found

    v = np.where(np.arange(first[-1]) % 2 == 0, 1.0, -0.5)
    known: list[Floats] = []
    across, beside = [], [np.sqrt(dot(v, v))]
    for _ in range(LANCZOS_STEPS):
        known.append(v / np.repeat(np.maximum(beside[-1], 1e-300), size))
        v = apply(known[-1])
        across.append(dot(v, known[-1]))
        for u in known:
            v -= np.repeat(dot(v, u), size) * u
        beside.append(np.sqrt(dot(v, v)))
    found = np.zeros(len(size))
    for g in range(len(size)):
        values, vectors = linalg.eigh_tridiagonal([a[g] for a in across], [b[g] for b in beside[1:-1]])
        found[g] = (np.abs(values) + beside[-1][g] * np.abs(vectors[-1])).max()
    return found
