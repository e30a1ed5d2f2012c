"""The series of the fleet on arrays: pairs of visits, robust lines (groups.py, slopes.py)."""

from __future__ import annotations

from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.site.groups import Floats, Groups
from pipeline.site.slopes import theil_sen
from pipeline.site.visits import Look, Visits, distance_in, narrowing_of, settings_of
from pipeline.warehouse import Warehouse


def series(warehouse: Warehouse) -> Look:
    """`series_test`, `trend_start` and `trend_distance`.

    series_test: slope, interval, Mann-Kendall and medians of each unit with enough visits, of TESP and of restriction.
    trend_start: a robust slope of each equipment over its modes, and seasonal Kendall, its modes as the seasons.
    trend_distance: how far visits lie from that line, brought to what it would be with many visits.
    """
    least, least_days, exponent = settings_of(
        warehouse, "trend_min_visits", "trend_min_span_days", "duct_exponent"
    )
    return Look(
        ("series_test", "trend_start", "trend_distance"),
        ("day", "tesp_inwc", "airflow_ratio"),
        lambda visits: _series(visits, least, least_days, exponent),
    )


def _series(
    visits: Visits, least: float, least_days: float, exponent: float
) -> tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame]:
    unit, at_year, day, tesp, airflow_ratio = (
        visits[name] for name in ("unit_no", "at_year", "day", "tesp_inwc", "airflow_ratio")
    )
    known = airflow_ratio > 0
    restriction = tesp[known] / airflow_ratio[known] ** exponent
    frames = [
        _series_test("tesp", unit, at_year, day, tesp, least, least_days),
        _series_test("restriction", unit[known], at_year[known], day[known], restriction, least, least_days),
    ]
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
    distance = distance_in(modes, tesp - equipment.spread(found.slope) * at_year)
    enough = line & (equipment.n > n_modes + 2)  # where visits are few, what is left over says little
    rows = equipment.spread(enough)
    distance = distance[rows] / equipment.spread(narrowing_of(equipment.n, n_modes))[rows]
    distances = pl.DataFrame(
        {"equipment_no": equipment.spread(equipment.key)[rows], "distance_inwc": distance}
    )
    return pl.concat(frames), start.filter(line), distances


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
            "middle_year": series.median(at_year[rows]),
            "middle": series.median(value[rows]),
        }
    )
    return frame.filter(pl.col("p_value").is_not_nan())
