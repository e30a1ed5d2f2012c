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

from pipeline.technician.crossed_error import Equations, Meetings, standard_error
from pipeline.technician.places import Floats, Ints, Places

HUBER_K = 1.345  # 95 % efficiency under the normal (Huber 1981); from memory
BISQUARE_C = 4.685  # likewise (Beaton and Tukey 1974); from memory
HUBER_ROUNDS = 4  # the first of them with equal weights, for nothing is known of the scale
BISQUARE_ROUNDS = 8  # at most; fewer where the offsets stand still
# A round solves its step to a share of what is left; the next takes the rest, under other weights. The first and the
# last are solved well, for groups with weak links: what is left shows little of an error that two halves share.
STEP_RTOL = 1e-3
ROUGH_RTOL = 0.1
MOST_STEPS = 10_000
NEAR = 0.03  # share by which the scale moves at most between most rounds
SAME_VOTES = 1e-9  # sums of shares that differ by less are the same
CONVERGED = 1e-8  # in the unit of the readings: offsets that move less stand still


@dataclass(frozen=True)
class CrossedFit:
    """Offsets of the measurers in the unit of the readings; all arrays are indexed by measurer but `scale`."""

    offset: Floats  # relative to the median of its connected group, in which each voice has a vote
    standard_error: Floats  # the larger of the model's and the place-clustered one
    group: Ints  # which connected group of measurers and places
    group_size: Ints  # measurers in that group
    scale: float  # robust standard deviation of the noise


class Measurers:
    """Who read where, once for all series and rounds; numbered in order of their group, so that a group is a slice."""

    def __init__(self, places: Places, measurer: Ints, *voices: Ints) -> None:
        """`measurer`: a code from 0 a row, in the order that the rows came in. Of `voices`, a code a
        measurer each: who has the same one (hands with one gauge; gauges in one hand) shares one vote on the centre of
        their group."""
        self.n = int(measurer.max()) + 1
        self.group = places.groups(measurer, self.n)
        self.group_size = np.bincount(self.group)[self.group]
        self.rank = np.empty(self.n, np.int64)  # a measurer's number in order of the groups
        self.rank[np.argsort(self.group, kind="stable")] = np.arange(self.n)
        self.first = np.append(0, np.cumsum(np.bincount(self.group)))  # of each group
        self.at = self.rank[measurer[places.order]]
        self.meetings = Meetings(places, self.at, self.n)
        self.vote = _votes(self.group, np.bincount(measurer), *voices)


class CrossedRows:
    """One series' rows while they are fitted: what is left of the readings, and their weights. Blocks of places are
    taken one after another, and all that a round does with their rows is done at once, while they are in the cache."""

    def __init__(self, places: Places, measurers: Measurers, reading: Floats) -> None:
        """`reading`: one a row, in the order that the rows came in."""
        self.places, self.measurers = places, measurers
        self.residual = reading[places.order]
        self.weight = np.empty(places.n_rows)
        self.room = np.empty(places.n_rows)  # for what is needed for a moment only
        self.per_place = np.empty(places.n_places)
        self.offset = np.zeros(measurers.n)
        self.scale = np.inf

    def fit(self, huber_rounds: int = HUBER_ROUNDS, bisquare_rounds: int = BISQUARE_ROUNDS) -> CrossedFit:
        """The robust fit, from where the rows stand."""
        last = huber_rounds + bisquare_rounds - 1
        for round_ in range(last + 1):
            right = self._weigh(bisquare=round_ >= huber_rounds)
            scaling = 1 / np.maximum(self.per_measurer, 1e-12)
            rtol = STEP_RTOL if round_ in (0, last) else ROUGH_RTOL
            step = _conjugate_gradients(self._image, right, scaling, rtol)
            self._move(step)
            if round_ >= huber_rounds - 1 and np.abs(step).max() < CONVERGED:
                break
        m = self.measurers
        offset = self.offset[m.rank]
        return CrossedFit(
            offset - _group_centres(offset, m.group, m.vote)[m.group],
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

    def _weigh(self, *, bisquare: bool) -> Floats:
        """Weigh the rows by what is left of them, and centre each place; returns what is left by measurer.

        The measurers' normal equations after the places are eliminated are (D - N' W^-1 N) step = that. Each round
        starts where the last one ended, so that a step need not be solved to the last digit: what it leaves, the next
        takes. The equations are singular by one level a group, which the centring takes out.
        """
        weigh, n = _bisquare if bisquare else _huber, self.measurers.n
        self.per_measurer, right = np.zeros(n), np.zeros(n)
        for k, rows, places in self.places.blocks:
            weight, residual, at = self.weight[rows], self.residual[rows], self.measurers.at[rows]
            weigh(residual, self.scale, weight)
            per_place = np.maximum(_totals(weight, k), 1e-12, out=self.per_place[places])
            _of_place(residual, k)[:] -= _totals(weight * residual, k) / per_place
            np.add.at(self.per_measurer, at, weight)
            np.add.at(right, at, weight * residual)
        return right

    def _image(self, v: Floats) -> Floats:
        """The normal equations times v."""
        sums = np.zeros(len(v))
        for k, rows, places in self.places.blocks:
            weight, at = self.weight[rows], self.measurers.at[rows]
            found = v[at]
            found *= weight
            mean = _totals(found, k) / self.per_place[places]
            np.multiply(_of_place(weight, k), mean, out=_of_place(found, k))
            np.add.at(sums, at, found)
        return self.per_measurer * v - sums

    def _move(self, step: Floats) -> None:
        """Take the step and what the places make of it; then the scale: 1.4826 times the median absolute residual; each
        is smaller than the noise by the place effect that it helped to fit, and inflated for it."""
        for k, rows, places in self.places.blocks:
            residual, found = self.residual[rows], step[self.measurers.at[rows]]
            residual -= found
            found *= self.weight[rows]
            _of_place(residual, k)[:] += _totals(found, k) / self.per_place[places]
            inflated = np.abs(residual, out=self.room[rows])
            inflated *= 1.4826 / np.sqrt(1 - 1 / k)
        self.offset += step
        self.scale = max(_median(self.room, self.scale), 1e-6) if len(self.room) else 1e-6

    def _standard_error(self) -> Floats:
        places, m = self.places, self.measurers
        tie, score, products = self.room, self.weight, 0.0
        for k, rows, of_places in places.blocks:
            np.multiply(
                _of_place(self.weight[rows], k),
                1 / np.sqrt(self.per_place[of_places]),
                out=_of_place(tie[rows], k),
            )
            residual = self.residual[rows]
            _bisquare(residual, self.scale, score[rows])
            score[rows] *= residual
            products += float(np.einsum("i,i", score[rows], residual))
        variance = max(products / max(places.n_rows - places.n_places - m.n, 1), 1e-12)
        return standard_error(
            Equations(places, m.at, m.meetings, m.first, self.per_measurer, tie, score), variance
        )


def _of_place(by_row: Floats, k: int) -> Floats:
    """A block's rows, a column a place."""
    return by_row.reshape(k, -1)


def _totals(by_row: Floats, k: int) -> Floats:
    """The sum over each place of a block."""
    total: Floats = np.add.reduce(by_row.reshape(k, -1), axis=0)
    return total


def _huber(residual: Floats, scale: float, out: Floats) -> None:
    np.abs(residual, out=out)
    out /= scale
    np.maximum(out, HUBER_K, out=out)  # above it: K / z
    np.divide(HUBER_K, out, out=out)


def _bisquare(residual: Floats, scale: float, out: Floats) -> None:
    np.multiply(residual, 1 / (scale * BISQUARE_C), out=out)
    out *= out
    np.subtract(1, out, out=out)
    np.maximum(out, 0, out=out)
    out *= out
    out += 1e-9


def _median(values: Floats, near: float) -> float:
    """As numpy's, which looks for missing values too; the order of the values is lost. Sooner found where it is `near`:
    then few of the values have to be put in order."""
    half, odd = divmod(len(values), 2)
    low, high = (1 - NEAR) * near, (1 + NEAR) * near
    below = int(np.count_nonzero(values < low))
    if below < half:
        some = values[(values >= low) & (values <= high)]
        if half < below + len(some):
            values, half = some, half - below
    values.partition(half)
    upper = float(values[half])
    return upper if odd else (float(values[:half].max()) + upper) / 2


def _conjugate_gradients(
    apply: Callable[[Floats], Floats], right: Floats, scaling: Floats, rtol: float
) -> Floats:
    """Solve apply(x) = right to `rtol`, preconditioned by a diagonal (Hestenes and Stiefel 1952).

    scipy.sparse.linalg.cg does the same with BLAS's threaded dot products, whose waiting costs more processor time here
    than the products with the matrix; the tests compare with it.
    """
    x, left = np.zeros_like(right), right.copy()
    enough = max(rtol * _length(right), 1e-12)
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


def _votes(group: Ints, n_readings: Ints, *voices: Ints) -> Floats:
    """By measurer: one, or where several of a group speak with one voice, the share of its readings; the least such."""
    votes = np.ones(len(group))
    for voice in voices:
        _, who = np.unique(np.column_stack([group, voice]), axis=0, return_inverse=True)
        who = who.reshape(-1)
        votes = np.minimum(votes, n_readings / np.bincount(who, weights=n_readings)[who])
    return votes


def _group_centres(offset: Floats, group: Ints, vote: Floats) -> Floats:
    """The median of each group's offsets, by votes: numpy's where each has one."""
    centres = np.empty(int(group.max()) + 1)
    for g in range(len(centres)):
        of_group = np.flatnonzero(group == g)
        ordered = of_group[np.argsort(offset[of_group], kind="stable")]
        counted = np.cumsum(vote[ordered])
        half = counted[-1] / 2
        lower = np.searchsorted(counted, half - SAME_VOTES)
        upper = np.searchsorted(counted, half + SAME_VOTES, side="right")
        centres[g] = (offset[ordered[lower]] + offset[ordered[min(upper, len(ordered) - 1)]]) / 2
    return centres
