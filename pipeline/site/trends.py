"""The trends of the fleet on arrays: all pairs of visits, robust lines, every place of a step (groups.py, slopes.py).

Each function reads `series_visit` (sorted by unit and time) and leaves a table; what is judged over the fleet, and what
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

LEAST_SXX = 1e-9  # visits at one time say nothing of a slope


def make_series_test(warehouse: Warehouse) -> None:
    """Make `series_test`: slope, interval and Mann-Kendall of each unit with enough visits, for both series."""
    asked = """
        SELECT unit_no, at_year, {value} AS value FROM series_visit JOIN level_centre USING (unit_no)
        WHERE {value} IS NOT NULL
            AND {n} >= getvariable('trend_min_visits') AND {days} >= getvariable('trend_min_span_days')
        ORDER BY unit_no, at_year
    """
    tesp = asked.format(value="tesp_inwc", n="n", days="date_diff('day', first_on, last_on)")
    restriction = asked.format(value="restriction_inwc", n="n_airflow", days="airflow_span_days")
    frames = []
    for name, query in (("tesp", tesp), ("restriction", restriction)):
        unit, at_year, value = _columns(warehouse, query)
        series = Groups(unit)
        found = theil_sen(series, at_year, value, unit)
        frames.append(
            pl.DataFrame(
                {
                    "series": pl.repeat(name, len(series.n), eager=True),
                    "unit_no": series.key,
                    "slope_per_year": found.slope,
                    "slope_lo": found.lo,
                    "slope_hi": found.hi,
                    "mann_kendall_s": found.s,
                    "p_value": found.p,
                }
            ).filter(pl.col("p_value").is_not_nan())
        )
    warehouse.store("series_test", pl.concat(frames), temporary=True)


def make_trend_start(warehouse: Warehouse) -> None:
    """Make `trend_start`: a robust slope of each equipment over its modes, and seasonal Kendall, modes as seasons."""
    unit, at_year, tesp = _columns(
        warehouse, "SELECT unit_no, at_year, tesp_inwc FROM series_visit ORDER BY unit_no, at_year"
    )
    equipment = Groups(unit // 2)
    found = theil_sen(equipment, at_year, tesp, unit)
    n_modes = equipment.sum((np.diff(unit, prepend=-1) != 0).astype(np.int64))
    frame = pl.DataFrame(
        {
            "equipment_no": equipment.key,
            "n_visits": equipment.n,
            "n_modes": n_modes,
            "slope": found.slope,
            "kendall_s": found.s,
            "kendall_p": found.p,
        }
    )
    enough = (pl.col("n_visits") > pl.col("n_modes") + 1) & pl.col("slope").is_not_nan()
    warehouse.store("trend_start", frame.filter(enough), temporary=True)


def make_trend_distance(warehouse: Warehouse) -> None:
    """Make `trend_distance`: how far visits lie from the robust line, as with many visits (not where these are few)."""
    lines = _Lines(warehouse)
    few = lines.n_visits <= lines.n_modes + 2
    distance = (lines.distance / lines.equipment.spread(lines.narrowing))[~lines.equipment.spread(few)]
    warehouse.store("trend_distance", pl.DataFrame({"distance_inwc": distance}), temporary=True)


def make_trend_line(warehouse: Warehouse) -> None:
    """Make `trend_line`: one slope and a level a mode by least squares, weights (Huber) from the robust line."""
    lines = _Lines(warehouse)
    equipment = lines.equipment
    fleet, prior_visits, cutoff = (
        float(warehouse.scalar(f"SELECT getvariable('{name}')"))
        for name in ("trend_scatter_inwc", "yardstick_prior_visits", "robust_cutoff")
    )
    df = lines.n_visits - lines.n_modes - 1
    own = 1.4826 * equipment.median(lines.distance) / lines.narrowing
    scatter = np.sqrt((prior_visits * fleet**2 + df * own**2) / (prior_visits + df))
    weight = np.minimum(1, cutoff * equipment.spread(scatter) / np.maximum(lines.distance, 1e-12))
    modes = Groups(lines.unit)
    total = modes.sum(weight)
    dx = lines.at_year - modes.spread(modes.sum(weight * lines.at_year) / total)
    dy = lines.tesp - modes.spread(modes.sum(weight * lines.tesp) / total)
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
            "shared_variance": _shared(equipment, weight * dx, lines.measurer, lines.measurer_variance)
            / np.where(line, sxx, 1) ** 2,
        }
    )
    warehouse.store("trend_line", frame.filter(pl.Series(line)), temporary=True)


def make_change_place(warehouse: Warehouse) -> None:
    """Make `change_place`: of all places between two days, the one where a step of all modes explains most.

    Least squares of a step with a level a mode: sxx is n_before n_after / n, summed over modes; sxy what dy sums to
    after it. Columns as change_point.sql reads them.
    """
    unit, day, at_year, tesp, n_visits, n_modes = _columns(
        warehouse,
        """
        SELECT unit_no, visited_on - DATE '1970-01-01' AS day, at_year, tesp_inwc, n_visits, n_modes
        FROM series_visit JOIN trend_start USING (equipment_no) WHERE NOT offset_corrected
        ORDER BY unit_no, at_year
        """,
    )
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
            "n_visits": n_visits[equipment.start],
            "n_modes": n_modes[equipment.start],
            "around_none": around_none,
            "around_line": np.maximum(around_none - along, 0),
        }
    )
    warehouse.store("change_place", frame.filter(pl.col("n_places") > 0), temporary=True)


class _Lines:
    """Visits of the equipment with a robust line: distance (rows,) from it; by equipment the numbers behind it."""

    def __init__(self, warehouse: Warehouse) -> None:
        self.unit, self.at_year, self.tesp, self.measurer, self.measurer_variance, slope, n_modes = _columns(
            warehouse,
            """
            SELECT unit_no, at_year, tesp_inwc, measurer, measurer_variance, slope, n_modes
            FROM series_visit JOIN trend_start USING (equipment_no)
            ORDER BY unit_no, at_year
            """,
        )
        self.equipment = Groups(self.unit // 2)
        self.n_visits = self.equipment.n
        self.n_modes = n_modes[self.equipment.start]
        # Residuals of few visits are smaller than those of many would be.
        self.narrowing: Floats = np.sqrt(1 - (self.n_modes + 1.0) / self.n_visits)
        level = self.tesp - slope * self.at_year
        modes = Groups(self.unit)
        self.distance: Floats = np.abs(level - modes.spread(modes.median(level)))


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


def _columns(warehouse: Warehouse, query: str) -> list[NDArray[Any]]:
    return [column.to_numpy() for column in warehouse.query(query).iter_columns()]
