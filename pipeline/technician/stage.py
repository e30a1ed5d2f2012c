"""The technician stage: fits on arrays between SQL files; results as published tables."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import polars as pl

from pipeline.checks import all_checks
from pipeline.technician.readings import fit_readings, read_readings
from pipeline.technician.skipping import skip_rates
from pipeline.warehouse import Warehouse

Work = Callable[[Warehouse], None]
RATES = ("fleet_rate", "p_value", "funnel_hi", "shrunk_rate")


def count_all(warehouse: Warehouse) -> None:
    """Count all visits and findings, for the pages and by technician: visit_count, finding_count, technician_visits,
    technician_found, technician_month, training_count."""
    for name in ("technician_finding", "counted", "visit_count", "finding_count"):
        warehouse.run(f"count/{name}.sql")
    for name in ("technician_count", "technician_month"):
        warehouse.run(f"technician/{name}.sql")


def show_all(warehouse: Warehouse) -> None:
    """Make `coaching_group` and `coaching_visit`."""
    for name in ("coaching_group", "coaching_picked", "coaching_told", "coaching_visit"):
        warehouse.run(f"technician/{name}.sql")


def run_technician(warehouse: Warehouse, count: Work = count_all, show: Work = show_all) -> None:
    """Make the published tables on technicians and their instruments. `count` and `show` do what `count_all` and
    `show_all` do, perhaps by what the last run left."""
    warehouse.run("technician/offset_reading.sql")
    with ThreadPoolExecutor(1) as beside:
        # Arithmetic on arrays, while DuckDB counts.
        fits = beside.submit(fit_readings, read_readings(warehouse), warehouse.settings)
        count(warehouse)
        warehouse.run("technician/practice_count.sql")
        warehouse.store("practice_fit", fit_practice(warehouse), temporary=True)
        for name in ("technician_training", "practice_rate"):
            warehouse.run(f"technician/{name}.sql")
        warehouse.execute(practice_sql())
    for name, frame in fits.result().items():
        warehouse.store(name, frame)
    for name in (
        "instrument_offset",
        "instrument_drift",
        "technician_zeroing",
        "offset_follows",
    ):
        warehouse.run(f"technician/{name}.sql")
    show(warehouse)


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
    """technician_practice: a count and a rate for every check, in the order of the check files."""
    counts = ",\n    ".join(
        f"any_value(n_found) FILTER (WHERE check_id = '{c.check_id}') AS {c.check_id}_n,\n"
        f"    {c.check_id}_n / n_visits AS {c.check_id}_rate"
        for c in all_checks()
    )
    return f"""
CREATE OR REPLACE TABLE technician_practice AS
SELECT
    technician_id,
    n_visits,
    {counts}
FROM practice_count
GROUP BY technician_id, n_visits
ORDER BY technician_id
"""
