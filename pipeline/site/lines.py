"""The lines of the fleet's equipment on arrays: weighted least squares, and the best place of a step (groups.py)."""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.site.groups import Floats, Groups, sums_of_same
from pipeline.site.visits import Look, Visits, distance_in, narrowing_of, settings_of
from pipeline.warehouse import Warehouse

LEAST_SXX = 1e-9  # visits at one time say nothing of a slope


def trend_line(warehouse: Warehouse) -> Look:
    """`trend_line`: one slope and a level a mode by least squares, weights (Huber) from the robust line.

    Asks for `trend_start`.
    """
    start = _starts(warehouse)
    fleet, prior_visits, cutoff = settings_of(
        warehouse, "trend_scatter_inwc", "yardstick_prior_visits", "robust_cutoff"
    )
    return Look(
        ("trend_line",),
        ("tesp_inwc", "measurer", "measurer_variance"),
        lambda visits: _trend_line(*_with_line(start, visits), fleet, prior_visits, cutoff),
    )


def _trend_line(
    start: pl.DataFrame, visits: Visits, fleet: float, prior_visits: float, cutoff: float
) -> tuple[pl.DataFrame]:
    unit, at_year, tesp = (visits[name] for name in ("unit_no", "at_year", "tesp_inwc"))
    equipment, modes = Groups(unit // 2), Groups(unit)
    n_modes, slope = start["n_modes"].to_numpy(), start["slope"].to_numpy()
    distance = distance_in(modes, tesp - equipment.spread(slope) * at_year)
    df = equipment.n - n_modes - 1
    own = 1.4826 * equipment.median(distance) / narrowing_of(equipment.n, n_modes)
    scatter = np.sqrt((prior_visits * fleet**2 + df * own**2) / (prior_visits + df))
    weight = np.minimum(1, cutoff * equipment.spread(scatter) / np.maximum(distance, 1e-12))
    total = modes.sum(weight)
    dx = at_year - modes.spread(modes.sum(weight * at_year) / total)
    dy = tesp - modes.spread(modes.sum(weight * tesp) / total)
    sxx = equipment.sum(weight * dx**2)
    line = sxx > LEAST_SXX
    slope = np.divide(equipment.sum(weight * dx * dy), sxx, out=np.zeros_like(sxx), where=line)
    left_over = equipment.sum((weight * (dy - equipment.spread(slope) * dx)) ** 2)
    # As for a level: a Huber fit's variance divides by (share not clipped)^2 instead of the mean weight.
    not_clipped = np.maximum(equipment.sum((weight >= 1).astype(np.float64)), 1) / equipment.n
    frame = pl.DataFrame(
        {
            "equipment_no": equipment.key,
            "slope_inwc_per_year": slope,
            "effective_sxx": sxx * not_clipped**2 / (equipment.sum(weight) / equipment.n),
            "df": df,
            "scatter_variance": left_over / df,
            "shared_variance": _shared(
                equipment, weight * dx, visits["measurer"], visits["measurer_variance"]
            )
            / np.where(line, sxx, 1) ** 2,
        }
    )
    return (frame.filter(pl.Series(line)),)


def change_place(warehouse: Warehouse) -> Look:
    """`change_place`: of all places between two days, the one where a step of all modes explains most.

    Least squares of a step with a level a mode: sxx is n_before n_after / n, summed over modes; sxy what dy sums to
    after it. Readings that were corrected for an offset are left out. Columns as change_point.sql reads them. Asks for
    `trend_start`.
    """
    start = _starts(warehouse)
    return Look(
        ("change_place",),
        ("day", "tesp_inwc", "offset_corrected"),
        lambda visits: _change_place(
            *_with_line(start, {name: c[~visits["offset_corrected"]] for name, c in visits.items()})
        ),
    )


def _change_place(start: pl.DataFrame, visits: Visits) -> tuple[pl.DataFrame]:
    unit, at_year, day, tesp = (visits[name] for name in ("unit_no", "at_year", "day", "tesp_inwc"))
    modes, equipment = Groups(unit), Groups(unit // 2)
    dx = at_year - modes.spread(modes.sum(at_year) / modes.n)
    dy = tesp - modes.spread(modes.sum(tesp) / modes.n)
    shape = len(equipment.n)
    found = {
        name: np.zeros(shape) for name in ("sxx", "sxy", "last_before", "first_after", "n_before", "n_places")
    }
    for group, rows in equipment.blocks():
        size = rows.shape[1]
        if size < 4:  # two on each side
            continue
        ordered = np.take_along_axis(rows, np.argsort(day[rows], axis=1, kind="stable"), axis=1)
        days = day[ordered]
        sxx = np.zeros((len(group), size - 1))
        for mode in (0, 1):
            before = np.cumsum(unit[ordered] % 2 == mode, axis=1)
            whole = before[:, -1:]
            before = before[:, :-1]
            sxx += before * (whole - before) / np.maximum(whole, 1)
        sxy = -np.cumsum(dy[ordered], axis=1)[:, :-1]
        n_before = np.arange(1, size)
        tried = (days[:, 1:] > days[:, :-1]) & (n_before >= 2) & (size - n_before >= 2) & (sxx > LEAST_SXX)
        explained = np.divide(sxy**2, sxx, out=np.full(sxx.shape, -1.0), where=tried)
        best = np.argmax(np.round(explained, 12), axis=1)
        at = (np.arange(len(group)), best)
        found["sxx"][group], found["sxy"][group] = sxx[at], sxy[at]
        found["last_before"][group], found["first_after"][group] = days[at], days[at[0], best + 1]
        found["n_before"][group] = n_before[best]
        found["n_places"][group] = tried.sum(axis=1)
    squares = equipment.sum(dx * dx)
    along = np.divide(equipment.sum(dx * dy) ** 2, squares, out=np.zeros(shape), where=squares > 0)
    around_none = equipment.sum(dy * dy)
    frame = pl.DataFrame(
        {
            "equipment_no": equipment.key,
            **found,
            "n_after": equipment.n - found["n_before"],
            "n_visits": start["n_visits"],
            "n_modes": start["n_modes"],
            "around_none": around_none,
            "around_line": np.maximum(around_none - along, 0),
        }
    )
    return (frame.filter(pl.col("n_places") > 0),)


def _shared(groups: Groups, part: Floats, measurer: NDArray[np.uint64], variance: Floats) -> Floats:
    """What one measurer's visits share does not average out: what it adds beyond independent visits, by group.

    The sum over measurers of variance * max(square of the sum of their parts - sum of the squares of them, 0).
    """
    shared = np.zeros(len(groups.n))
    for group, rows in groups.blocks():
        parts = part[rows]
        own, squares, count = sums_of_same(measurer[rows], parts, parts**2, np.ones(parts.shape))
        # Each of a measurer's rows holds the same sums, so each gives its part of them.
        shared[group] = (variance[rows] * np.maximum(own**2 - squares, 0) / count).sum(axis=1)
    return shared


def _starts(warehouse: Warehouse) -> pl.DataFrame:
    return warehouse.query("SELECT * FROM trend_start ORDER BY equipment_no")


def _with_line(start: pl.DataFrame, visits: Visits) -> tuple[pl.DataFrame, Visits]:
    """Rows of `trend_start`, one for each equipment among the visits, and the visits of the equipment that has one."""
    equipment = Groups(visits["unit_no"] // 2)
    place = np.searchsorted(start["equipment_no"].to_numpy(), equipment.key)
    found = np.append(start["equipment_no"].to_numpy(), -1)[place] == equipment.key
    rows = equipment.spread(found)
    return start[place[found]], {name: column[rows] for name, column in visits.items()}
