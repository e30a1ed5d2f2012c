"""The lines of the fleet's equipment on arrays: weighted least squares, and the best place of a step (groups.py)."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.site.groups import Floats, Groups, Ints, sums_of_same
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
    after it. Readings that were corrected for an offset are left out. A mode with visits on one side only says nothing
    of the step: its visits are not counted before or after. `holds_without_any`: the step is still material and better
    than a line when it is fitted anew without any one visit. Columns as change_point.sql reads them. Asks for
    `trend_start`.
    """
    start = _starts(warehouse)
    material, evidence, most_df = settings_of(
        warehouse, "change_point_material_inwc", "change_point_evidence", "trend_prior_df_cap"
    )
    return Look(
        ("change_place",),
        ("day", "tesp_inwc", "offset_corrected"),
        lambda visits: _change_place(
            _with_line(start, {name: c[~visits["offset_corrected"]] for name, c in visits.items()})[1],
            material,
            evidence,
            most_df,
        ),
    )


def _change_place(visits: Visits, material: float, evidence: float, most_df: float) -> tuple[pl.DataFrame]:
    equipment = Groups(visits["unit_no"] // 2)
    found: dict[str, NDArray[Any]] = {name: np.zeros(len(equipment.n)) for name in Steps._fields}
    holds = np.zeros(len(equipment.n), dtype=bool)
    for group, rows in equipment.blocks():
        size = rows.shape[1]
        if size < 4:  # two on each side
            continue
        ordered = np.take_along_axis(rows, np.argsort(visits["day"][rows], axis=1, kind="stable"), axis=1)
        steps = _best_steps(visits, ordered, np.ones(ordered.shape), least=2)
        for name, values in zip(Steps._fields, steps, strict=True):
            found[name][group] = values
        # No prior makes the evidence larger than this: what it leaves out would not be named, and need not hold.
        along, around = np.maximum(steps.around_line, 1e-12), np.maximum(steps.around_step, 1e-12)
        asked = (
            (steps.n_places > 0)
            & (np.abs(steps.sxy) >= material * steps.sxx)
            & ((size + most_df) / 2 * np.log(along / around) >= evidence)
        )
        holds[group[asked]] = _holds_without_any(visits, ordered[asked], np.sign(steps.sxy[asked]), material)
    frame = pl.DataFrame(
        {
            "equipment_no": equipment.key,
            **found,
            "n_visits": equipment.n,
            "n_modes": equipment.sum(np.diff(visits["unit_no"], prepend=-1) != 0).astype(np.int64),
            "holds_without_any": holds,
        }
    )
    return (frame.filter(pl.col("n_places") > 0),)


class Steps(NamedTuple):
    """The best step of each piece of equipment, and what is left over around it, around a line, and around neither."""

    sxx: Floats
    sxy: Floats
    last_before: Floats
    first_after: Floats
    n_before: Floats
    n_after: Floats
    n_places: Ints
    around_none: Floats
    around_line: Floats
    around_step: Floats


def _best_steps(visits: Visits, ordered: Ints, counted: Floats, least: int) -> Steps:
    """The steps of equipment with the same number of visits.

    `ordered`: places of its visits by day, shape (pieces, visits). `counted`, of that shape: 1, or 0 for a visit that
    is left out. `least`: visits that must speak on each side.
    """
    heating, day, at_year, tesp = (
        visits["unit_no"][ordered] % 2,
        visits["day"][ordered],
        visits["at_year"][ordered],
        visits["tesp_inwc"][ordered],
    )
    dx, dy = np.zeros(ordered.shape), np.zeros(ordered.shape)
    sxx, n_before, n_after = (np.zeros((len(ordered), ordered.shape[1] - 1)) for _ in range(3))
    for mode in (0, 1):
        of_mode = counted * (heating == mode)
        n = of_mode.sum(axis=1, keepdims=True)
        whole = np.maximum(n, 1)
        dx += of_mode * (at_year - (of_mode * at_year).sum(axis=1, keepdims=True) / whole)
        dy += of_mode * (tesp - (of_mode * tesp).sum(axis=1, keepdims=True) / whole)
        before = np.cumsum(of_mode, axis=1)[:, :-1]
        after = n - before
        sxx += before * after / whole
        speaks = (before > 0) & (after > 0)
        n_before += before * speaks
        n_after += after * speaks
    sxy = -np.cumsum(dy, axis=1)[:, :-1]
    tried = (day[:, 1:] > day[:, :-1]) & (n_before >= least) & (n_after >= least)
    explained = np.divide(sxy**2, sxx, out=np.full(sxx.shape, -1.0), where=tried)
    best = np.argmax(np.round(explained, 12), axis=1)
    at = (np.arange(len(ordered)), best)
    squares = (dx * dx).sum(axis=1)
    along = np.divide((dx * dy).sum(axis=1) ** 2, squares, out=np.zeros(squares.shape), where=squares > 0)
    around_none = (dy * dy).sum(axis=1)
    return Steps(
        sxx[at],
        sxy[at],
        day[at],
        day[at[0], best + 1],
        n_before[at],
        n_after[at],
        tried.sum(axis=1),
        around_none,
        np.maximum(around_none - along, 0),
        np.maximum(around_none - explained[at], 0),
    )


def _holds_without_any(visits: Visits, ordered: Ints, sign: Floats, material: float) -> NDArray[np.bool_]:
    """Whether each step is still material, the same way, and leaves less over than a line without any one visit."""
    holds = np.ones(len(ordered), dtype=bool)
    for k in range(ordered.shape[1]):
        asked = np.flatnonzero(holds)
        counted = np.ones((len(asked), ordered.shape[1]))
        counted[:, k] = 0
        rest = _best_steps(visits, ordered[asked], counted, least=1)
        holds[asked] = (
            (rest.n_places > 0)
            & (sign[asked] * rest.sxy >= material * rest.sxx)
            & (rest.around_step < rest.around_line)
        )
    return holds


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
