"""Crossed effects of places and measurers on a reading, fitted robustly over the whole fleet at once.

What belongs here: the arithmetic on arrays. What does not: which visits count (`sql/technician/`), what an
offset means for a person (`sql/technician/technician_zeroing.sql`).

Model: reading = effect of the place (equipment, mode, segment) + offset of the measurer (technician with
instrument) + noise. Places are fixed effects, eliminated exactly; measurers are solved from the reduced normal
equations; weights are Huber's, then Tukey's bisquare, so that sites that change and slips do not steer the fit.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pipeline.technician.crossed_error import Pairs, standard_error
from pipeline.technician.places import Floats, Ints, Places

HUBER_K = 1.345  # 95 % efficiency under the normal (Huber 1981); from memory
BISQUARE_C = 4.685  # likewise (Beaton and Tukey 1974); from memory
HUBER_ROUNDS = 7  # the first of them with equal weights, for nothing is known of the scale
BISQUARE_ROUNDS = 7  # at most; fewer where the offsets stand still
STEP_RTOL = 1e-3  # a round solves its step to this share of what is left; the next takes the rest
MOST_STEPS = 10_000
CONVERGED = 1e-8  # in the unit of the readings: offsets that move less stand still


@dataclass(frozen=True)
class CrossedFit:
    """Offsets of the measurers in the unit of the readings; all arrays are indexed by measurer but `scale`."""

    offset: Floats  # relative to the robust centre of its connected group
    standard_error: Floats  # the larger of the model's and the place-clustered one
    group: Ints  # which connected group of measurers and places
    group_size: Ints  # measurers in that group
    scale: float  # robust standard deviation of the noise


class Measurers:
    """Who read where, once for all series and rounds; numbered in order of their group, so that a group is a slice."""

    def __init__(self, places: Places, measurer: Ints) -> None:
        """`measurer`: a code from 0 a row, in the order that the rows came in."""
        self.n = int(measurer.max()) + 1
        self.group = places.groups(measurer, self.n)
        self.group_size = np.bincount(self.group)[self.group]
        self.rank = np.empty(self.n, np.int64)  # a measurer's number in order of the groups
        self.rank[np.argsort(self.group, kind="stable")] = np.arange(self.n)
        self.first = np.append(0, np.cumsum(np.bincount(self.group)))  # of each group
        self.at = self.rank[measurer[places.order]]
        self.pairs = Pairs(places, self.at, self.n)

    def sums(self, by_row: Floats) -> Floats:
        """Sum over the rows of each measurer."""
        # Of no rows they are whole numbers.
        return np.bincount(self.at, by_row, self.n).astype(np.float64, copy=False)


class CrossedRows:
    """One series' rows while they are fitted: what is left of the readings, and their weights."""

    def __init__(self, places: Places, measurers: Measurers, reading: Floats) -> None:
        self.places, self.measurers = places, measurers
        self.residual = reading[places.order]
        self.weight = np.ones(places.n_rows)
        self.room = np.empty(places.n_rows)  # for what is needed for a moment only
        self.offset = np.zeros(measurers.n)
        self.scale = np.inf

    def fit(self, huber_rounds: int = HUBER_ROUNDS, bisquare_rounds: int = BISQUARE_ROUNDS) -> CrossedFit:
        """The robust fit, from where the rows stand."""
        for round_ in range(huber_rounds + bisquare_rounds):
            self._weigh(bisquare=round_ >= huber_rounds)
            step = self._step()
            self.scale = self._scale()
            if round_ >= huber_rounds - 1 and np.abs(step).max() < CONVERGED:
                break
        m = self.measurers
        offset = self.offset[m.rank]
        return CrossedFit(
            offset - _group_centres(offset, m.group)[m.group],
            self._standard_error()[m.rank],
            m.group,
            m.group_size,
            self.scale,
        )

    def split(self, finer: Measurers) -> CrossedRows:
        """The same rows with each measurer split into finer ones, who start with its offset. These rows are used up."""
        offset = np.zeros(finer.n)
        offset[finer.at] = self.offset[self.measurers.at]
        self.measurers, self.offset = finer, offset
        return self

    def _weigh(self, *, bisquare: bool) -> None:
        w = self.weight
        if bisquare:
            np.multiply(self.residual, 1 / (self.scale * BISQUARE_C), out=w)
            w *= w
            np.subtract(1, w, out=w)
            np.maximum(w, 0, out=w)
            w *= w
            w += 1e-9
        else:
            np.abs(self.residual, out=w)
            w /= self.scale
            np.maximum(w, HUBER_K, out=w)  # above it: K / z
            np.divide(HUBER_K, w, out=w)

    def _step(self) -> Floats:
        """Move the offsets towards the solution under these weights, by conjugate gradients; returns how far.

        The measurers' normal equations after the places are eliminated are (D - N' W^-1 N) offset = right side. Each
        round starts where the last one ended, so that a step need not be solved to the last digit: what it leaves,
        the next takes. The system is singular by one level a group, which the centring takes out.
        """
        places, measurers, weight, room = self.places, self.measurers, self.weight, self.room
        self.per_place = np.maximum(places.totals(weight), 1e-12)
        self.per_measurer = measurers.sums(weight)
        places.add(
            self.residual, -places.totals(np.multiply(weight, self.residual, out=room)) / self.per_place
        )
        right = measurers.sums(np.multiply(weight, self.residual, out=room))

        def place_means(v: Floats) -> Floats:
            np.take(v, measurers.at, out=room, mode="clip")  # every code is there; checking them takes a copy
            return places.totals(np.multiply(room, weight, out=room)) / self.per_place

        def apply(v: Floats) -> Floats:
            return self.per_measurer * v - measurers.sums(places.times(weight, place_means(v), out=room))

        step = _conjugate_gradients(apply, right, 1 / np.maximum(self.per_measurer, 1e-12))
        places.add(self.residual, place_means(step))
        self.residual -= np.take(step, measurers.at, out=room, mode="clip")
        self.offset += step
        return step

    def _scale(self) -> float:
        """1.4826 times the median absolute residual; each is smaller than the noise by the place effect that it helped
        to fit, and inflated for it."""
        if not self.places.n_rows:
            return 1e-6
        np.abs(self.residual, out=self.room)
        for k, rows, _ in self.places.classes:
            self.room[rows] *= 1.4826 / np.sqrt(1 - 1 / k)
        return max(_median(self.room), 1e-6)

    def _standard_error(self) -> Floats:
        places, m = self.places, self.measurers
        places.times(self.weight, 1 / np.sqrt(self.per_place), out=self.room)
        ties = m.pairs.squared(self.room)
        self._weigh(bisquare=True)
        score = np.multiply(self.weight, self.residual, out=self.room)
        free = max(places.n_rows - places.n_places - m.n, 1)
        variance = max(float(np.einsum("i,i", score, self.residual)) / free, 1e-12)
        return standard_error(self.per_measurer, ties, m.pairs.squared(score), variance, m.first)


def _median(values: Floats) -> float:
    """As numpy's, which looks for missing values too; the order of the values is lost."""
    half = len(values) // 2
    values.partition(half)
    upper = float(values[half])
    return upper if len(values) % 2 else (float(values[:half].max()) + upper) / 2


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


def _group_centres(offset: Floats, group: Ints) -> Floats:
    return np.array([np.median(offset[group == g]) for g in range(int(group.max()) + 1)])
