"""Standard errors of a crossed fit's offsets (`crossed.py`), group by group.

All that is needed are sums over the pairs of measurers who met at places, which are numbered once for all series.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse import linalg

from pipeline.technician.places import Floats, Ints, Places

Codes = NDArray[np.int32]

EXACT_UP_TO = 300  # measurers in a group whose equations are inverted outright
SERIES_UP_TO = 0.5  # largest eigenvalue with which a series in its place is good
INVERSE_UP_TO = 4000  # a larger group takes the series all the same: its bound then overstates the errors


@dataclass(frozen=True)
class Square:
    """A symmetric matrix of measurers: its diagonal, and its values at the pairs `low` < `high`, in order of `low`."""

    diagonal: Floats
    low: Codes
    high: Codes
    values: Floats

    def block(self, begin: int, end: int) -> Square:
        """The measurers from `begin` to before `end`, who share no place with others."""
        pairs = slice(*np.searchsorted(self.low, [begin, end]))
        return Square(
            self.diagonal[begin:end], self.low[pairs] - begin, self.high[pairs] - begin, self.values[pairs]
        )

    def times(self, values: Floats) -> Callable[[Floats], Floats]:
        """The product of other values at the same pairs, with 0 on the diagonal, and a vector."""
        n = len(self.diagonal)
        pointer = np.searchsorted(self.low, np.arange(n + 1)).astype(np.int32)
        upper = sparse.csr_matrix((values, self.high, pointer), shape=(n, n))
        lower = upper.T

        def apply(v: Floats) -> Floats:
            return np.asarray(upper @ v, dtype=np.float64) + np.asarray(lower @ v, dtype=np.float64)

        return apply

    def dense(self) -> Floats:
        """All of it."""
        out = np.diag(self.diagonal)
        out[self.low, self.high] = out[self.high, self.low] = self.values
        return out


class Pairs:
    """Which two measurers met at a place, once for each two rows of the place."""

    def __init__(self, places: Places, measurer: Ints, n: int) -> None:
        """`measurer`: a code from 0 to n - 1 a row, in the order of `places`."""
        self.places, self.measurer, self.n = places, measurer, n
        one, other = self._of_rows(measurer)
        key, self._slot = np.unique(np.minimum(one, other) * n + np.maximum(one, other), return_inverse=True)
        self._low, self._high = (key // n).astype(np.int32), (key % n).astype(np.int32)

    def _of_rows(self, by_row: Floats | Ints) -> tuple[Floats, Floats]:
        one, other = [by_row[:0]], [by_row[:0]]
        for k, rows, _ in self.places.classes:
            block, (a, b) = by_row[rows].reshape(k, -1), np.triu_indices(k, 1)
            one.append(block[a].ravel())
            other.append(block[b].ravel())
        return np.concatenate(one), np.concatenate(other)

    def squared(self, by_row: Floats) -> Square:
        """M' M, with M the matrix of places by measurers that holds `by_row`."""
        one, other = self._of_rows(by_row)
        one *= other
        values = np.bincount(self._slot, one, len(self._low)).astype(np.float64, copy=False)
        diagonal = np.bincount(self.measurer, by_row * by_row, self.n).astype(np.float64, copy=False)
        # Who came twice to a place met himself there.
        self_met = self._low == self._high
        diagonal[self._low[self_met]] += 2 * values[self_met]
        return Square(diagonal, self._low[~self_met], self._high[~self_met], values[~self_met])


def standard_error(per_measurer: Floats, ties: Square, meat: Square, variance: float, first: Ints) -> Floats:
    """The larger of the model's standard error, from the equations diag(per_measurer) - ties, and the sandwich
    clustered by place (readings of one place may drift together). Group g has the measurers from first[g] on."""
    error = np.zeros(len(per_measurer))
    for begin, end in zip(first[:-1].tolist(), first[1:].tolist(), strict=True):
        own = per_measurer[begin:end], ties.block(begin, end), meat.block(begin, end)
        answer = _by_series(*own) if end - begin > EXACT_UP_TO else None
        inverse, sandwich = answer or _exactly(*own)
        error[begin:end] = np.sqrt(np.maximum(np.maximum(inverse * variance, sandwich), 0))
    return error


def _exactly(per_measurer: Floats, ties: Square, meat: Square) -> tuple[Floats, Floats]:
    """Diagonals of the inverse of diag(per_measurer) - ties and of inverse * meat * inverse; offsets sum to 0."""
    dense = np.diag(per_measurer) - ties.dense()
    tie = max(1.0, float(dense.diagonal().mean())) / len(dense)
    inverse = np.linalg.inv(dense + tie)
    return np.diag(inverse), np.einsum("ij,ji->i", inverse @ meat.dense(), inverse)


def _by_series(per_measurer: Floats, ties: Square, meat: Square) -> tuple[Floats, Floats] | None:
    """The same for a large group without its inverse, whose cost grows with the cube; None where it would be coarse.

    With D the diagonal, R = 1 - D^-1/2 block D^-1/2 has one eigenvector u for 1 (the group's level); without it the
    inverse is D^-1/2 (1 + R + R^2 + ...) D^-1/2. With s the largest other eigenvalue, all terms from the second on
    are at most R^2 / (1 - s) on the diagonal: that bound is taken, so that the error is never understated by it.
    """
    diagonal = per_measurer - ties.diagonal
    if (diagonal <= 0).any():
        return None
    root, level = 1 / np.sqrt(diagonal), np.sqrt(diagonal / diagonal.sum())
    scaling = root[ties.low] * root[ties.high]
    r = ties.values * scaling
    largest = _largest_eigenvalue(ties.times(r), level)
    if largest > SERIES_UP_TO and len(level) <= INVERSE_UP_TO:
        return None
    own, ones = meat.diagonal / diagonal, np.ones(len(level))
    squares = ties.times(r * r)
    second = squares(ones) - level**2
    more = second / (1 - min(largest, 0.999)) - level**2
    across = 2 * ties.times(r * meat.values * scaling)(ones) + squares(own)
    return (1 + more) / diagonal, (own * (1 + 2 * more) + across) / diagonal


def _largest_eigenvalue(ties: Callable[[Floats], Floats], level: Floats) -> float:
    """Largest absolute eigenvalue beside that of the eigenvector `level`; the start is fixed."""
    n = len(level)

    def apply(v: Floats) -> Floats:
        v = np.asarray(v, dtype=np.float64).ravel()
        beside: Floats = level * np.einsum("i,i", level, v)  # BLAS's threads wait longer than this takes
        return ties(v) - beside

    operator = linalg.LinearOperator((n, n), matvec=apply, dtype=np.float64)
    start = np.where(np.arange(n) % 2 == 0, 1.0, -0.5)
    found = linalg.eigsh(operator, k=1, which="LM", v0=start, tol=1e-3, return_eigenvectors=False)
    return float(np.abs(found).max())
