"""The technician stage: fits on arrays between SQL files; results as published tables."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import polars as pl

from pipeline.checks import all_checks
from pipeline.moderation import random_effect_sd
from pipeline.technician.crossed import CrossedFit, CrossedRows, Measurers
from pipeline.technician.drift import SCHEMA as DRIFT_SCHEMA
from pipeline.technician.drift import drift_lines
from pipeline.technician.places import Places
from pipeline.technician.skipping import skip_rates
from pipeline.warehouse import Warehouse

FITS_AT_ONCE = 2  # each holds a few numbers a reading
SERIES = ("return", "supply", "tesp")
PORT_OF = {"return": "return", "supply": "supply", "tesp": "both"}
RATES = ("fleet_rate", "p_value", "funnel_hi", "shrunk_rate")

# The fit of cells starts from that of measurers: these rounds bring it as near to where it ends.
CELL_HUBER_ROUNDS = 1
CELL_BISQUARE_ROUNDS = 7

READINGS = """
    SELECT r.place, r.in_order, r.measurer, c.cell, r.return_inwc, r.supply_inwc, r.tesp_inwc
    FROM offset_reading AS r INNER JOIN offset_cell AS c USING (measurer, year_no)
"""


def run_technician(warehouse: Warehouse) -> None:
    """Make the published tables on technicians and their instruments."""
    warehouse.run("technician/offset_reading.sql")
    fit_readings(warehouse)
    for name in ("instrument_offset", "instrument_drift", "technician_finding", "practice_count"):
        warehouse.run(f"technician/{name}.sql")
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


def fit_readings(warehouse: Warehouse) -> None:
    """Fit return, supply and TESP: `offset_fit`, a row a measurer with offsets and standard errors
    (in. w.c.), and `drift_fit`, a row a gauge and port with a line through its years."""
    rows = warehouse.query(READINGS)
    if rows.is_empty():
        numbers = {f"{s}_{what}": pl.Float64 for s in SERIES for what in ("offset", "se", "spread")}
        schema = {"measurer": pl.Int64, "group_no": pl.Int64, "group_size": pl.Int64, **numbers}
        warehouse.store("offset_fit", pl.DataFrame(schema=schema))
        warehouse.store("drift_fit", pl.DataFrame(schema=DRIFT_SCHEMA))
        return
    order = np.argsort(rows["in_order"].to_numpy())
    places = Places(rows["place"].to_numpy()[order])
    measurers = Measurers(places, rows["measurer"].to_numpy()[order])
    cells = Measurers(places, rows["cell"].to_numpy()[order])
    rows = rows.select(f"{name}_inwc" for name in SERIES)  # the rest of many rows is let go
    gauges = warehouse.query(
        """
        SELECT m.instrument_id, m.technician_id, c.years, c.n_visits,
            coalesce(m.calibrated_on IS NOT NULL AND c.year_no >= 0, FALSE) AS after_calibration
        FROM offset_cell AS c INNER JOIN offset_measurer AS m USING (measurer) ORDER BY c.cell
        """
    )

    def fit(name: str) -> tuple[CrossedFit, pl.DataFrame]:
        crossed = CrossedRows(places, measurers, rows[f"{name}_inwc"].to_numpy()[order])
        offsets = crossed.fit()
        fit = crossed.split(cells).fit(CELL_HUBER_ROUNDS, CELL_BISQUARE_ROUNDS)
        cell_offsets = gauges.with_columns(
            pl.Series("offset", fit.offset),
            pl.Series("se", fit.standard_error),
            pl.Series("group_no", fit.group),
        ).filter(pl.col("instrument_id") != "")
        return offsets, drift_lines(cell_offsets, PORT_OF[name], warehouse.settings["technician_min_visits"])

    # The series do not know of each other, and numpy works without the interpreter's lock.
    with ThreadPoolExecutor(FITS_AT_ONCE) as threads:
        fits = list(threads.map(fit, SERIES))
    offsets = pl.DataFrame({"measurer": np.arange(measurers.n)})
    for name, (crossed_fit, _) in zip(SERIES, fits, strict=True):
        offsets = offsets.with_columns(_offset_columns(name, crossed_fit, warehouse))
    warehouse.store("offset_fit", offsets)
    warehouse.store("drift_fit", pl.concat(lines for _, lines in fits))


def _offset_columns(name: str, fit: CrossedFit, warehouse: Warehouse) -> list[pl.Series]:
    sound = np.abs(fit.offset) < warehouse.settings["offset_material_inwc"]
    spread = random_effect_sd(fit.offset[sound], fit.standard_error[sound])
    return [
        pl.Series("group_no", fit.group),
        pl.Series("group_size", fit.group_size),
        pl.Series(f"{name}_offset", fit.offset),
        pl.Series(f"{name}_se", fit.standard_error),
        pl.Series(f"{name}_spread", np.full(len(fit.offset), spread)),
    ]


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
