"""Rows sorted by place, so that a sum over each place is a handful of sums over long rows.

Places with equally many readings form a class: its first readings lie side by side, then its second ones, and so on.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.csgraph import connected_components

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Places:
    """Where the rows of each place lie once they are in `order`. A place with one reading tells nothing about anybody
    (its effect takes it up whole) and is left out."""

    def __init__(self, place: Ints) -> None:
        """`place`: a code a row, shape (n,), any numbers."""
        self._by_place = np.argsort(place, kind="stable")
        begins = np.flatnonzero(np.diff(place[self._by_place])) + 1
        self._begin = np.concatenate([[0], begins]) if len(place) else begins
        size = np.diff(np.append(self._begin, len(place)))
        kept = np.flatnonzero(size > 1)
        by_size = kept[np.argsort(size[kept], kind="stable")]
        self.classes: list[tuple[int, slice, slice]] = []  # readings a place, the rows, the places
        parts, row, at = [np.empty(0, np.int64)], 0, 0
        for k, n in zip(*(x.tolist() for x in np.unique(size[kept], return_counts=True)), strict=True):
            first = self._begin[by_size[at : at + n]]
            parts.append(self._by_place[first + np.arange(k)[:, None]].ravel())
            self.classes.append((k, slice(row, row + k * n), slice(at, at + n)))
            row, at = row + k * n, at + n
        self.order = np.concatenate(parts)
        self.n_rows, self.n_places = row, at

    def totals(self, by_row: Floats) -> Floats:
        """Sum over the rows of each place."""
        out = np.empty(self.n_places)
        for k, rows, places in self.classes:
            np.add.reduce(by_row[rows].reshape(k, -1), axis=0, out=out[places])
        return out

    def add(self, by_row: Floats, by_place: Floats) -> None:
        """Add the value of its place to each row, in place."""
        for k, rows, places in self.classes:
            block = by_row[rows].reshape(k, -1)
            block += by_place[places]

    def times(self, by_row: Floats, by_place: Floats, out: Floats) -> Floats:
        """Each row times the value of its place."""
        for k, rows, places in self.classes:
            np.multiply(by_row[rows].reshape(k, -1), by_place[places], out=out[rows].reshape(k, -1))
        return out

    def groups(self, column: Ints, n_columns: int) -> Ints:
        """Which columns are connected by places that they share, directly or through others: a number a column, in
        order of the places' codes. `column`: a code a row, in the order that the rows came in."""
        column = column[self._by_place]
        same = np.ones(max(len(column) - 1, 0), dtype=np.bool_)
        same[self._begin[1:] - 1] = False
        edges = (np.ones(int(same.sum()), np.int8), (column[:-1][same], column[1:][same]))
        graph = sparse.coo_matrix(edges, shape=(n_columns, n_columns))
        n_groups, label = connected_components(graph, directed=False)
        first = np.full(n_groups, len(column))
        first[label[column[::-1]]] = np.arange(len(column))[::-1]  # the last one written stands
        number = np.empty(n_groups, np.int64)
        number[np.argsort(first, kind="stable")] = np.arange(n_groups)
        return number[label]
