"""The technician stage: fits on arrays between SQL files; results as published tables."""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.checks import all_checks
from pipeline.moderation import random_effect_sd
from pipeline.technician.crossed import fit_crossed_series
from pipeline.technician.drift import SCHEMA as DRIFT_SCHEMA
from pipeline.technician.drift import drift_lines
from pipeline.technician.skipping import skip_rates
from pipeline.warehouse import Warehouse

SERIES = ("return", "supply", "tesp")
PORT_OF = {"return": "return", "supply": "supply", "tesp": "both"}
RATES = ("fleet_rate", "p_value", "funnel_hi", "shrunk_rate")


def run_technician(warehouse: Warehouse) -> None:
    """Make the published tables on technicians and their instruments."""
    warehouse.run("technician/offset_reading.sql")
    warehouse.store("offset_fit", fit_offsets(warehouse))
    warehouse.run("technician/instrument_offset.sql")
    warehouse.run("technician/drift_reading.sql")
    warehouse.store("drift_fit", fit_drift(warehouse))
    warehouse.run("technician/instrument_drift.sql")
    warehouse.run("technician/practice_count.sql")
    warehouse.store("practice_fit", fit_practice(warehouse))
    for name in (
        "technician_zeroing",
        "technician_training",
        "technician_month",
        "offset_follows",
        "practice_rate",
        "coaching_visit",
    ):
        warehouse.run(f"technician/{name}.sql")
    warehouse.execute(practice_sql())


def fit_offsets(warehouse: Warehouse) -> pl.DataFrame:
    """One row per measurer: offsets and standard errors of return, supply and TESP, in in. w.c."""
    rows = warehouse.query(
        "SELECT place, measurer, return_inwc, supply_inwc, tesp_inwc FROM offset_reading ORDER BY visit_id"
    )
    if rows.is_empty():
        numbers = {f"{s}_{what}": pl.Float64 for s in SERIES for what in ("offset", "se", "spread")}
        return pl.DataFrame(
            schema={"measurer": pl.Int64, "group_no": pl.Int64, "group_size": pl.Int64, **numbers}
        )
    place = rows["place"].to_numpy().astype(np.int64)
    measurer = rows["measurer"].to_numpy().astype(np.int64)
    fits = fit_crossed_series({s: rows[f"{s}_inwc"].to_numpy() for s in SERIES}, place, measurer)
    group = fits["tesp"]
    columns: dict[str, NDArray[np.generic]] = {
        "measurer": np.arange(len(group.group)),
        "group_no": group.group,
        "group_size": group.group_size,
    }
    for name, fit in fits.items():
        columns[f"{name}_offset"] = fit.offset
        columns[f"{name}_se"] = fit.standard_error
        sound = np.abs(fit.offset) < warehouse.settings["offset_material_inwc"]
        columns[f"{name}_spread"] = np.full(
            len(fit.offset), random_effect_sd(fit.offset[sound], fit.standard_error[sound])
        )
    return pl.DataFrame(columns)


def fit_drift(warehouse: Warehouse) -> pl.DataFrame:
    """One row per gauge and port with a line through its years: slope, step and latest offset with their errors."""
    rows = warehouse.query(
        "SELECT place, cell, return_inwc, supply_inwc, tesp_inwc FROM drift_reading ORDER BY visit_id"
    )
    if rows.is_empty():
        return pl.DataFrame(schema=DRIFT_SCHEMA)
    cells = warehouse.query("SELECT * FROM drift_cell ORDER BY cell")
    series = {PORT_OF[s]: rows[f"{s}_inwc"].to_numpy() for s in SERIES}
    fits = fit_crossed_series(
        series, rows["place"].to_numpy().astype(np.int64), rows["cell"].to_numpy().astype(np.int64)
    )
    min_visits = warehouse.settings["technician_min_visits"]
    return pl.concat(
        drift_lines(
            cells.with_columns(
                pl.Series("offset", fit.offset),
                pl.Series("se", fit.standard_error),
                pl.Series("group_no", fit.group),
            ).filter(pl.col("instrument_id") != ""),
            port,
            min_visits,
        )
        for port, fit in fits.items()
    )


def fit_practice(warehouse: Warehouse) -> pl.DataFrame:
    """practice_count with, per check, the fleet's rate, p value, funnel limit and shrunk rate of each technician."""
    counts = warehouse.query("SELECT * FROM practice_count ORDER BY check_id, technician_id")
    if counts.is_empty():
        return counts.with_columns(pl.lit(None, dtype=pl.Float64).alias(name) for name in RATES)
    return pl.concat(
        _judged(part, warehouse) for part in counts.partition_by("check_id", maintain_order=True)
    )


def _judged(part: pl.DataFrame, warehouse: Warehouse) -> pl.DataFrame:
    found = part["n_found"].to_numpy().astype(np.float64)
    visits = part["n_visits"].to_numpy().astype(np.float64)
    enough = np.asarray(visits >= warehouse.settings["technician_min_visits"], dtype=np.bool_)
    rates = skip_rates(found, visits, warehouse.settings["funnel_p"], enough)
    return part.with_columns(
        pl.lit(rates.fleet_rate).alias("fleet_rate"),
        pl.Series("p_value", rates.p_value),
        pl.Series("funnel_hi", rates.funnel_hi),
        pl.Series("shrunk_rate", rates.shrunk_rate),
    )


def practice_sql() -> str:
    """technician_practice: a count and a rate for every check, made from the check files themselves."""
    counts = ",\n    ".join(
        f"count(*) FILTER (WHERE f.check_id = '{c.check_id}') AS {c.check_id}_n,\n"
        f"    {c.check_id}_n / n_visits AS {c.check_id}_rate"
        for c in all_checks()
    )
    return f"""
CREATE OR REPLACE TABLE technician_practice AS
SELECT
    v.technician_id,
    count(DISTINCT v.visit_id) AS n_visits,
    {counts}
FROM visit_static AS v
LEFT JOIN finding AS f USING (visit_id)
GROUP BY v.technician_id
ORDER BY v.technician_id
"""
