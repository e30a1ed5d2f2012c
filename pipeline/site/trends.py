"""The trends of the fleet on arrays: all pairs of visits, robust lines, every place of a step (groups.py, slopes.py).

Each function reads `level_visit` and leaves tables; what is judged over the fleet, and what
is published, stands in SQL.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.site.groups import Floats, Groups
from pipeline.site.slopes import theil_sen
from pipeline.warehouse import Warehouse

DAY = "visited_on - DATE '1970-01-01' AS day"
LEAST_SXX = 1e-9  # visits at one time say nothing of a slope


def make_series(warehouse: Warehouse) -> None:
    """Make `series_test`, `trend_start` and `trend_distance`.

    series_test: slope, interval and Mann-Kendall of each unit with enough visits, of TESP and of restriction.
    trend_start: a robust slope of each equipment over its modes, and seasonal Kendall, its modes as the seasons.
    trend_distance: how far visits lie from that line, brought to what it would be with many visits.
    """
    unit, at_year, day, tesp, airflow_ratio = _in_time(
        warehouse, f"SELECT unit_no, at_year, {DAY}, tesp_inwc, airflow_ratio FROM level_visit"
    )
    least, least_days, exponent = _settings(
        warehouse, "trend_min_visits", "trend_min_span_days", "duct_exponent"
    )
    known = airflow_ratio > 0
    restriction = tesp[known] / airflow_ratio[known] ** exponent
    frames = [
        _series_test("tesp", unit, at_year, day, tesp, least, least_days),
        _series_test("restriction", unit[known], at_year[known], day[known], restriction, least, least_days),
    ]
    warehouse.store("series_test", pl.concat(frames), temporary=True)
    equipment = Groups(unit // 2)
    enough = (equipment.n >= least) & (equipment.max(day) + equipment.max(-day) >= least_days)
    rows = equipment.spread(enough)
    unit, at_year, tesp = unit[rows], at_year[rows], tesp[rows]
    equipment, modes = Groups(unit // 2), Groups(unit)
    found = theil_sen(equipment, at_year, tesp, unit)
    n_modes = equipment.sum(np.diff(unit, prepend=-1) != 0).astype(np.int64)
    line = (equipment.n > n_modes + 1) & ~np.isnan(found.slope)
    start = pl.DataFrame(
        {
            "equipment_no": equipment.key,
            "n_visits": equipment.n,
            "n_modes": n_modes,
            "slope": found.slope,
            "kendall_s": found.s,
            "kendall_p": found.p,
        }
    )
    warehouse.store("trend_start", start.filter(line), temporary=True)
    distance = _distance(modes, tesp - equipment.spread(found.slope) * at_year)
    enough = line & (equipment.n > n_modes + 2)  # where visits are few, what is left over says little
    rows = equipment.spread(enough)
    distance = distance[rows] / equipment.spread(_narrowing(equipment.n, n_modes))[rows]
    warehouse.store("trend_distance", pl.DataFrame({"distance_inwc": distance}), temporary=True)


def _series_test(
    name: str,
    unit: NDArray[Any],
    at_year: Floats,
    day: NDArray[Any],
    value: Floats,
    least: float,
    least_days: float,
) -> pl.DataFrame:
    """The rows of one series, those of units with enough visits over enough days."""
    units = Groups(unit)
    days = units.max(day) + units.max(-day)
    enough = (units.n >= least) & (days >= least_days)
    rows = units.spread(enough)
    unit = unit[rows]
    series = Groups(unit)
    found = theil_sen(series, at_year[rows], value[rows], unit)
    frame = pl.DataFrame(
        {
            "series": pl.repeat(name, len(series.n), eager=True),
            "unit_no": series.key,
            "n_visits": series.n,
            "span_days": days[enough],
            "slope_per_year": found.slope,
            "slope_lo": found.lo,
            "slope_hi": found.hi,
            "mann_kendall_s": found.s,
            "p_value": found.p,
        }
    )
    return frame.filter(pl.col("p_value").is_not_nan())


def make_trend_adjusted(warehouse: Warehouse) -> None:
    """Make `trend_adjusted`: false discovery rates over the fleet, each series and the equipment's lines a family.

    Benjamini and Hochberg 1995. `number` is that of the unit, or of the equipment (series 'line').
    """
    frames = []
    for series in ("tesp", "restriction", "line"):
        tested = (
            "SELECT equipment_no AS number, p_value FROM trend_test"
            if series == "line"
            else f"SELECT unit_no AS number, p_value FROM series_test WHERE series = '{series}'"
        )
        rows = warehouse.query(f"{tested} ORDER BY p_value, number")
        p = rows["p_value"].to_numpy()
        q = np.minimum.accumulate((p * len(p) / np.arange(1, len(p) + 1))[::-1])[::-1]
        frames.append(
            rows.select("number", pl.lit(series).alias("series"), pl.Series("q_value", np.minimum(q, 1)))
        )
    warehouse.store("trend_adjusted", pl.concat(frames, how="vertical_relaxed"), temporary=True)


def make_trend_line(warehouse: Warehouse) -> None:
    """Make `trend_line`: one slope and a level a mode by least squares, weights (Huber) from the robust line."""
    columns = _in_time(
        warehouse, "SELECT unit_no, at_year, tesp_inwc, measurer, measurer_variance FROM level_visit"
    )
    start, (unit, at_year, tesp, measurer, measurer_variance) = _with_line(warehouse, columns)
    equipment, modes = Groups(unit // 2), Groups(unit)
    n_modes, slope = start["n_modes"].to_numpy(), start["slope"].to_numpy()
    fleet, prior_visits, cutoff = _settings(
        warehouse, "trend_scatter_inwc", "yardstick_prior_visits", "robust_cutoff"
    )
    distance = _distance(modes, tesp - equipment.spread(slope) * at_year)
    df = equipment.n - n_modes - 1
    own = 1.4826 * equipment.median(distance) / _narrowing(equipment.n, n_modes)
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
            "shared_variance": _shared(equipment, weight * dx, measurer, measurer_variance)
            / np.where(line, sxx, 1) ** 2,
        }
    )
    warehouse.store("trend_line", frame.filter(pl.Series(line)), temporary=True)


def make_change_place(warehouse: Warehouse) -> None:
    """Make `change_place`: of all places between two days, the one where a step of all modes explains most.

    Least squares of a step with a level a mode: sxx is n_before n_after / n, summed over modes; sxy what dy sums to
    after it. Columns as change_point.sql reads them.
    """
    columns = _in_time(
        warehouse, f"SELECT unit_no, at_year, {DAY}, tesp_inwc FROM level_visit WHERE NOT offset_corrected"
    )
    start, (unit, at_year, day, tesp) = _with_line(warehouse, columns)
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
        in_time = np.take_along_axis(rows, np.argsort(day[rows], axis=1, kind="stable"), axis=1)
        days = day[in_time]
        sxx = np.zeros((len(group), size - 1))
        for mode in (0, 1):
            before = np.cumsum(unit[in_time] % 2 == mode, axis=1)
            whole = before[:, -1:]
            before = before[:, :-1]
            sxx += before * (whole - before) / np.maximum(whole, 1)
        sxy = -np.cumsum(dy[in_time], axis=1)[:, :-1]
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
    warehouse.store("change_place", frame.filter(pl.col("n_places") > 0), temporary=True)


def _distance(modes: Groups, level: Floats) -> Floats:
    """How far each visit's level lies from the median of its mode's."""
    distance: Floats = np.abs(level - modes.spread(modes.median(level)))
    return distance


def _narrowing(n_visits: NDArray[Any], n_modes: NDArray[Any]) -> Floats:
    """How much smaller what few visits leave over is than what many would: slope and levels are fitted to them."""
    narrowing: Floats = np.sqrt(np.maximum(1 - (n_modes + 1.0) / n_visits, 0))
    return narrowing


def _shared(groups: Groups, part: Floats, measurer: NDArray[np.uint64], variance: Floats) -> Floats:
    """What one measurer's visits share does not average out: what it adds beyond independent visits, by group.

    The sum over measurers of variance * max(square of the sum of their parts - sum of the squares of them, 0).
    """
    shared = np.zeros(len(groups.n))
    for group, rows in groups.blocks():
        same = (measurer[rows][:, :, None] == measurer[rows][:, None, :]).astype(np.float64)
        parts = part[rows][:, :, None]
        beyond = np.maximum((same @ parts) ** 2 - same @ parts**2, 0)[:, :, 0]
        # Each of a measurer's rows holds the same sums, so each gives its part of them.
        shared[group] = (variance[rows] * beyond / same.sum(axis=2)).sum(axis=1)
    return shared


def _in_time(warehouse: Warehouse, query: str) -> list[NDArray[Any]]:
    """The columns of a query, unit_no and at_year the first two, by unit and time: as they mostly come anyway."""
    columns = [column.to_numpy() for column in warehouse.query(query).iter_columns()]
    step = np.diff(columns[0])
    if ((step > 0) | ((step == 0) & (np.diff(columns[1]) >= 0))).all():
        return columns
    order = np.lexsort((columns[1], columns[0]))
    return [column[order] for column in columns]


def _with_line(warehouse: Warehouse, columns: list[NDArray[Any]]) -> tuple[pl.DataFrame, list[NDArray[Any]]]:
    """Rows of `trend_start`, one for each equipment among the visits, and the visits of the equipment that has one."""
    start = warehouse.query("SELECT * FROM trend_start ORDER BY equipment_no")
    equipment = Groups(columns[0] // 2)
    has = np.isin(equipment.key, start["equipment_no"].to_numpy())
    rows = equipment.spread(has)
    return start.filter(pl.Series(np.isin(start["equipment_no"].to_numpy(), equipment.key[has]))), [
        column[rows] for column in columns
    ]


def _settings(warehouse: Warehouse, *names: str) -> list[float]:
    return [float(warehouse.scalar(f"SELECT getvariable('{name}')")) for name in names]
