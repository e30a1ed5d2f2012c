"""Rows in groups that follow each other, as arrays: what SQL would join and sort again for every group is one matrix
operation for all groups of a size. No loop over groups: over their few sizes only.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

LARGEST_BLOCK = 2_000_000  # cells of the largest matrix of pairs: what bounds the memory


class Groups:
    """Groups of neighbouring rows with the same key; `key` of shape (rows,), sorted."""

    def __init__(self, key: NDArray[Any]) -> None:
        new = np.ones(len(key), dtype=bool)
        new[1:] = key[1:] != key[:-1]
        self.start: Ints = np.flatnonzero(new)
        self.key = key[self.start]
        self.n: Ints = np.diff(np.append(self.start, len(key)))

    def sum(self, values: NDArray[Any]) -> Floats:
        """Sum of each group; values of shape (rows,), answer of shape (groups,)."""
        summed: Floats = np.add.reduceat(values, self.start) if len(self.start) else np.zeros(0)
        return summed

    def max(self, values: NDArray[Any]) -> NDArray[Any]:
        """Largest value of each group."""
        largest: NDArray[Any] = np.maximum.reduceat(values, self.start) if len(self.start) else values
        return largest

    def spread(self, values: NDArray[Any]) -> NDArray[Any]:
        """A value a group, given to each of its rows."""
        return np.repeat(values, self.n)

    def median(self, values: Floats) -> Floats:
        """Median of each group; values of shape (rows,) without NaN, answer of shape (groups,)."""
        middle = np.empty(len(self.n))
        for group, rows in self.blocks():
            ordered = np.sort(values[rows], axis=1)
            n = rows.shape[1]
            middle[group] = (ordered[:, (n - 1) // 2] + ordered[:, n // 2]) / 2
        return middle

    def blocks(self) -> Iterator[tuple[Ints, Ints]]:
        """Groups of one size at a time: their numbers (m,), and the places of their rows (m, size)."""
        by_size = np.argsort(self.n, kind="stable")
        ends = np.flatnonzero(np.diff(self.n[by_size], append=-1)) + 1
        first = 0
        for end in ends:
            size = int(self.n[by_size[first]])
            step = max(LARGEST_BLOCK // size**2, 1)
            for at in range(first, int(end), step):
                group = by_size[at : min(at + step, int(end))]
                yield group, self.start[group][:, None] + np.arange(size)
            first = int(end)


def sums_of_same(key: NDArray[Any], *values: Floats) -> list[Floats]:
    """For each cell of a row, the sum of `values` over the row's cells with its key; all of shape (m, n)."""
    sums = [np.zeros(key.shape) for _ in values]
    for k in range(key.shape[1]):
        same = key == key[:, k : k + 1]
        for summed, value in zip(sums, values, strict=True):
            summed += same * value[:, k : k + 1]
    return sums
