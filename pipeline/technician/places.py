"""Rows sorted by place, so that a sum over each place is a handful of sums over long rows.

Places with equally many readings form blocks: a block's first readings lie side by side, then its second ones, and so
on. A block is small enough for its rows to stay in the processor's cache while several things are done with them.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.csgraph import connected_components

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

BLOCK_ROWS = 32_768


class Block(NamedTuple):
    """Some places with `k` readings each: where their rows and they themselves lie."""

    k: int
    rows: slice
    places: slice


class Places:
    """Where the rows of each place lie once they are in `order`. A place with one reading tells nothing about anybody
    (its effect takes it up whole) and is left out."""

    def __init__(self, place: Ints, by_place: Ints | None = None) -> None:
        """`place`: a code a row, shape (n,), any numbers. `by_place`: the rows in order of these, where their order
        within a place is to be kept."""
        self._by_place = np.argsort(place, kind="stable") if by_place is None else by_place
        place = place[self._by_place]
        begins = np.flatnonzero(place[1:] != place[:-1]) + 1
        self._begin = np.concatenate([[0], begins]) if len(place) else begins
        size = np.diff(np.append(self._begin, len(place)))
        kept = np.flatnonzero(size > 1)
        first = self._begin[kept[np.argsort(size[kept], kind="stable")]]
        self.blocks: list[Block] = []
        parts, row, at = [np.empty(0, np.int64)], 0, 0
        for k, n in zip(*(x.tolist() for x in np.unique(size[kept], return_counts=True)), strict=True):
            most, end = max(BLOCK_ROWS // k, 1), at + n
            while at < end:
                some = min(most, end - at)
                parts.append(self._by_place[first[at : at + some] + np.arange(k)[:, None]].ravel())
                self.blocks.append(Block(k, slice(row, row + k * some), slice(at, at + some)))
                row, at = row + k * some, at + some
        self.order = np.concatenate(parts)
        self.n_rows, self.n_places = row, at
        self.n_pairs = sum((rows.stop - rows.start) * (k - 1) // 2 for k, rows, _ in self.blocks)

    def pairs(self) -> Iterator[NDArray[np.int32]]:
        """Every two rows of the same place, once: of each block the first and the second of them, shape (2, n)."""
        for k, rows, _ in self.blocks:
            row = np.arange(rows.start, rows.stop, dtype=np.int32).reshape(k, -1)
            yield row[np.stack(np.triu_indices(k, 1))].reshape(2, -1)

    def of_rows(self) -> NDArray[np.int32]:
        """The number of its place a row."""
        place = np.empty(self.n_rows, np.int32)
        for k, rows, places in self.blocks:
            place[rows].reshape(k, -1)[:] = np.arange(places.start, places.stop, dtype=np.int32)
        return place

    def groups(self, column: Ints, n_columns: int) -> Ints:
        """Which columns are connected by places that they share, directly or through others: a number a column, in
        order of the places' codes. `column`: a code a row, in the order that the rows came in."""
        column = column[self._by_place]
        same = np.ones(max(len(column) - 1, 0), dtype=np.bool_)
        same[self._begin[1:] - 1] = False
        n_groups, label = _components(column[:-1][same], column[1:][same], n_columns)
        first = np.full(n_groups, len(column))
        first[label[column[::-1]]] = np.arange(len(column))[::-1]  # the last one written stands
        number = np.empty(n_groups, np.int64)
        number[np.argsort(first, kind="stable")] = np.arange(n_groups)
        return number[label]


def _components(one: Ints, other: Ints, n: int) -> tuple[int, Ints]:
    """How many sets of the numbers from 0 to before `n` the edges join, and which set each number is in. A few of the
    edges join most; then only those are looked at that lead out of a set."""
    some = slice(None, None, 16)
    n_sets, label = _joined(one[some], other[some], n)
    one, other = label[one], label[other]
    lead_out = one != other
    n_sets, of_set = _joined(one[lead_out], other[lead_out], n_sets)
    return n_sets, of_set[label]


def _joined(one: Ints, other: Ints, n: int) -> tuple[int, Ints]:
    graph = sparse.coo_array((np.ones(len(one), np.int8), (one, other)), shape=(n, n))
    n_sets, label = connected_components(graph, directed=False)
    return n_sets, label.astype(np.int64)
