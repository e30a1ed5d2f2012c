"""The level of each unit and what its visits say on average, on arrays (groups.py)."""

from __future__ import annotations

from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.site.groups import Floats, Groups, sums_of_same
from pipeline.site.visits import Look, Visits, settings_of
from pipeline.warehouse import Warehouse

CAUSES = ("return_cause", "supply_cause", "airflow_cause")
# The causes of a visit, in their order, and what else a unit's visits say on average.
RESTRICTIONS = ("return_restriction_inwc", "supply_restriction_inwc", "airflow_setting_inwc")
SAID = ("return_inwc", "supply_inwc", "airflow_ratio", "airflow_cfm", "power_w")
AVERAGED = ("return_level_inwc", "supply_level_inwc", "airflow_ratio", "airflow_cfm", "power_w")


def level_centre(warehouse: Warehouse) -> Look:
    """`level_centre` and `level_distance`.

    level_centre: a first, robust look at each unit: how many visits from when to when, their median, and the median
    distance from it. level_distance: how far visits lie from the middle of their unit, brought to what it would be with
    many visits.
    """
    (least,) = settings_of(warehouse, "min_visits")
    return Look(
        ("level_centre", "level_distance"),
        ("day", "tesp_inwc"),
        lambda visits: _level_centre(visits, least),
    )


def _level_centre(visits: Visits, least: float) -> tuple[pl.DataFrame, pl.DataFrame]:
    unit, day, tesp = (visits[name] for name in ("unit_no", "day", "tesp_inwc"))
    units = Groups(unit)
    middle = units.median(tesp)
    distance = np.abs(tesp - units.spread(middle))
    centre = pl.DataFrame(
        {
            "unit_no": units.key,
            "n": units.n,
            "first_on": -units.max(-day),
            "last_on": units.max(day),
            "middle_inwc": middle,
            "mad_inwc": units.median(distance),
        }
    ).with_columns(pl.col("first_on", "last_on").cast(pl.Int32).cast(pl.Date))
    enough = units.n >= max(least, 2)
    as_with_many = distance[units.spread(enough)] / np.sqrt(
        1 - 1 / np.repeat(units.n[enough], units.n[enough])
    )
    unit = np.repeat(units.key[enough], units.n[enough])
    return centre, pl.DataFrame({"unit_no": unit, "distance_inwc": as_with_many})


def level_scatter(warehouse: Warehouse) -> Look:
    """`level_scatter` and `cause_mean`, of the weighted visits; asks for `level_centre`.

    Huber weights against a bad visit: the yardstick of a unit is its own median distance, pooled with the fleet's (few
    visits borrow the fleet's scatter; a unit that scatters more keeps its own).
    level_scatter: level and scatter of each unit, the mean day of its visits (level_on), and what else they say on
    average: both sides (where they are known), airflow and fan power. The scatter is pooled with the fleet's afterwards
    (pipeline/moderation.py).
    cause_mean: the three causes of each unit over its visits with known sides, and which is the largest. Visits
    without an airflow, or with one of 0, count only where none has one: then all of it is restriction.
    """
    centre = warehouse.query("SELECT * FROM level_centre ORDER BY unit_no")
    fleet, prior_visits, cutoff = settings_of(
        warehouse, "level_scatter_inwc", "yardstick_prior_visits", "robust_cutoff"
    )
    own = 1.4826**2 * pl.col("mad_inwc") ** 2 / (1 - 1 / pl.col("n")).clip(0.1)
    pooled = (prior_visits * fleet**2 + (pl.col("n") - 1) * own) / (prior_visits + pl.col("n") - 1)
    units = centre.with_columns(reach_inwc=cutoff * pooled.sqrt())
    own_columns = ("day", "tesp_inwc", "measurer", "measurer_variance", "offset_corrected", "sides_known")
    return Look(
        ("level_scatter", "cause_mean"),
        (*own_columns, *SAID, *RESTRICTIONS),
        lambda visits: _levels(visits, units),
    )


def _levels(visits: Visits, centre: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame]:
    unit, day, tesp, sides_known = (visits[name] for name in ("unit_no", "day", "tesp_inwc", "sides_known"))
    averaged, causes = ([visits[name] for name in names] for names in (SAID, RESTRICTIONS))
    units = Groups(unit)
    centre = centre[np.searchsorted(centre["unit_no"].to_numpy(), units.key)]
    middle = centre["middle_inwc"].to_numpy()
    off = tesp - units.spread(middle)
    weight = np.minimum(1, units.spread(centre["reach_inwc"].to_numpy()) / np.maximum(np.abs(off), 1e-12))
    n, total = units.n, units.sum(weight)
    level_off = units.sum(weight * off) / total
    clipped_off = weight * (off - units.spread(level_off))
    not_clipped = np.maximum(units.sum((weight >= 1).astype(np.float64)), 1)
    for side in (0, 1):
        averaged[side] = np.where(sides_known, averaged[side], np.nan)
    scatter = pl.DataFrame(
        {
            "unit_no": units.key,
            "n": n,
            "first_on": centre["first_on"],
            "last_on": centre["last_on"],
            "level_on": np.round(units.sum(weight * day) / total),
            "level_inwc": middle + level_off,
            "shared_variance": _shared(
                units, weight / units.spread(total), visits["measurer"], visits["measurer_variance"]
            ),
            "scatter_variance": _ratio(units.sum(clipped_off**2), n - 1),
            # Variance of a Huber mean: clipped scatter / (share not clipped)^2 / n (Huber 1981; from memory).
            "effective_visits": not_clipped**2 / n,
            **{name: _mean(units, weight, value) for name, value in zip(AVERAGED, averaged, strict=True)},
            "n_offset_corrected": units.sum(visits["offset_corrected"].astype(np.int64)).astype(np.int64),
        }
    )
    airflow_known = averaged[2] > 0  # of an airflow of 0 no excess is laid on the fan either (excess_airflow)
    n_known = units.sum((sides_known & airflow_known).astype(np.int64))
    rows = sides_known & (airflow_known | units.spread(n_known == 0))
    mean = _causes(Groups(unit[rows]), weight[rows], [cause[rows] for cause in causes], airflow_known[rows])
    return scatter.fill_nan(None).with_columns(pl.col("level_on").cast(pl.Int32).cast(pl.Date)), mean


def _causes(units: Groups, weight: Floats, causes: list[Floats], known: NDArray[np.bool_]) -> pl.DataFrame:
    total = units.sum(weight)
    return_, supply, airflow = causes
    frame = pl.DataFrame(
        {
            "unit_no": units.key,
            "airflow_known": known[units.start],
            "n": units.n,
            **{
                name: _ratio(_sum(units, weight * cause), total)
                for name, cause in zip(CAUSES, causes, strict=True)
            },
            "var_return_supply": _variance(units, return_ - supply),
            "var_return_airflow": _variance(units, return_ - airflow),
            "var_supply_airflow": _variance(units, supply - airflow),
        }
    ).fill_nan(None)
    over_airflow = {
        name: (pl.col(name) >= pl.col("airflow_cause")).fill_null(False) | ~pl.col("airflow_known")
        for name in CAUSES[:2]
    }
    return frame.with_columns(
        pl.when((pl.col("return_cause") >= pl.col("supply_cause")) & over_airflow["return_cause"])
        .then(pl.lit("return"))
        .when(over_airflow["supply_cause"])
        .then(pl.lit("supply"))
        .otherwise(pl.lit("airflow_setting"))
        .alias("side")
    )


def _shared(units: Groups, share: Floats, measurer: NDArray[np.uint64], variance: Floats) -> Floats:
    """What one technician with one instrument shares and does not average out within the unit."""
    shared = np.zeros(len(units.n))
    for group, rows in units.blocks():
        size = rows.shape[1]
        own, count = sums_of_same(measurer[rows], share[rows], np.ones(rows.shape))
        # Each of a measurer's rows holds the same sum, so each gives its part of it.
        shared[group] = (variance[rows] * np.maximum(own**2 - own / size, 0) / count).sum(axis=1)
    return shared


def _ratio(upper: NDArray[Any], lower: NDArray[Any]) -> Floats:
    ratio: Floats = np.divide(upper, lower, out=np.full(len(upper), np.nan), where=lower > 0)
    return ratio


def _sum(groups: Groups, values: Floats) -> Floats:
    """Sum of each group's values that are known; NaN where none is."""
    known = ~np.isnan(values)
    if known.all():
        return groups.sum(values)
    return np.where(groups.sum(known.astype(np.int64)) > 0, groups.sum(np.where(known, values, 0)), np.nan)


def _mean(groups: Groups, weight: Floats, values: Floats) -> Floats:
    """Weighted mean of each group's values that are known; NaN where none is."""
    known = ~np.isnan(values)
    return _ratio(groups.sum(np.where(known, weight * values, 0)), groups.sum(np.where(known, weight, 0)))


def _variance(groups: Groups, values: Floats) -> Floats:
    """Variance (n - 1) of each group's values that are known; NaN where fewer than two are."""
    known = ~np.isnan(values)
    n = groups.sum(known.astype(np.int64))
    mean = _ratio(groups.sum(np.where(known, values, 0)), n)
    return _ratio(groups.sum(np.where(known, values - groups.spread(mean), 0) ** 2), n - 1)
