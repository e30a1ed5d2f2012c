"""The readings of the crossed fits as arrays, and what the fits tell as tables."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.moderation import random_effect_sd
from pipeline.settings import Settings
from pipeline.technician.crossed import CrossedFit, CrossedRows, Measurers
from pipeline.technician.drift import SCHEMA as DRIFT_SCHEMA
from pipeline.technician.drift import drift_lines
from pipeline.technician.places import Floats, Ints, Places
from pipeline.warehouse import Warehouse

AT_ONCE = 2  # fits; each holds a few numbers a reading
SERIES = ("return", "supply", "tesp")
PORT_OF = {"return": "return", "supply": "supply", "tesp": "both"}

# The fit of cells starts from that of measurers: these rounds bring it as near to where it ends.
CELL_HUBER_ROUNDS = 1
CELL_BISQUARE_ROUNDS = 7

READINGS = """
    SELECT r.in_order, r.place, r.measurer, c.cell, r.site_no, r.return_inwc, r.supply_inwc, r.tesp_inwc
    FROM offset_reading AS r INNER JOIN offset_cell AS c USING (measurer, year_no)
"""

GAUGES = """
    SELECT m.instrument_id, m.technician_id, c.measurer, c.year_no, c.years, c.n_visits,
        coalesce(m.calibrated_on IS NOT NULL AND c.year_no >= 0, FALSE) AS after_calibration
    FROM offset_cell AS c INNER JOIN offset_measurer AS m USING (measurer) ORDER BY c.cell
"""

COUNTS = ("measurer", "n_visits", "n_sites", "group_no", "group_size")
OFFSET_SCHEMA = {
    **dict.fromkeys(COUNTS, pl.Int64),
    **{f"{name}_{what}": pl.Float64 for name in SERIES for what in ("offset", "se", "spread")},
}


@dataclass(frozen=True)
class Readings:
    """A row a reading (READINGS), and a row a cell (GAUGES)."""

    rows: pl.DataFrame
    gauges: pl.DataFrame


def read_readings(warehouse: Warehouse) -> Readings:
    """What `sql/technician/offset_reading.sql` and `offset_cell.sql` made."""
    return Readings(warehouse.query(READINGS), warehouse.query(GAUGES))


def fit_readings(readings: Readings, settings: Settings) -> dict[str, pl.DataFrame]:
    """Fit return, supply and TESP: `offset_fit`, a row a measurer with offsets and standard errors
    (in. w.c.), and `drift_fit`, a row a gauge and port with a line through its years."""
    rows, gauges = readings.rows, readings.gauges
    if rows.is_empty():
        return {
            "offset_fit": pl.DataFrame(schema=OFFSET_SCHEMA),
            "drift_fit": pl.DataFrame(schema=DRIFT_SCHEMA),
        }
    places = Places(rows["place"].to_numpy(), np.argsort(rows["in_order"].to_numpy()))

    def fit(name: str) -> tuple[CrossedFit, pl.DataFrame]:
        crossed = CrossedRows(places, measurers, rows[f"{name}_inwc"].to_numpy())
        offsets = crossed.fit()
        fit = crossed.split(cells).fit(CELL_HUBER_ROUNDS, CELL_BISQUARE_ROUNDS)
        cell_offsets = gauges.with_columns(
            pl.Series("offset", fit.offset),
            pl.Series("se", fit.standard_error),
            pl.Series("group_no", fit.group),
        ).filter(pl.col("instrument_id") != "")
        return offsets, drift_lines(cell_offsets, PORT_OF[name], settings["technician_min_visits"])

    hands = gauges.unique("measurer", maintain_order=True).sort("measurer")
    voices = {
        "measurer": _voices(hands),
        "cell": _voices(gauges, "year_no"),
    }
    # Numpy works without the interpreter's lock; the series do not know of each other.
    with ThreadPoolExecutor(AT_ONCE) as threads:
        measurers, cells = threads.map(
            lambda name: Measurers(places, rows[name].to_numpy(), *voices[name]), ("measurer", "cell")
        )
        fits = list(threads.map(fit, SERIES))
    return {
        "offset_fit": _offsets(rows, dict(zip(SERIES, (fit for fit, _ in fits), strict=True)), settings),
        "drift_fit": pl.concat(lines for _, lines in fits),
    }


def _voices(hands: pl.DataFrame, *year: str) -> tuple[Ints, Ints]:
    """Who has one gauge (in one year) has one voice: its error is theirs together. No gauge named: a voice each. The
    gauges of one hand (in one year) have one voice too: its habit is in all of their readings."""
    own = pl.when(pl.col("instrument_id") == "").then(pl.int_range(pl.len())).otherwise(-1)
    by_gauge = _codes(hands, "instrument_id", *year, own.alias("own"))
    return by_gauge, _codes(hands, "technician_id", *year)


def _codes(hands: pl.DataFrame, *by: str | pl.Expr) -> Ints:
    code: Ints = hands.select(pl.struct(*by).rank("dense")).to_series().to_numpy()
    return code.astype(np.int64)


def _offsets(rows: pl.DataFrame, fits: dict[str, CrossedFit], settings: Settings) -> pl.DataFrame:
    measurer, some = rows["measurer"].to_numpy().astype(np.int64), fits["return"]
    columns: dict[str, Ints | Floats] = {
        "measurer": np.arange(len(some.offset)),
        "n_visits": np.bincount(measurer),
        "n_sites": _n_sites(measurer, rows["site_no"].to_numpy()),
        "group_no": some.group,
        "group_size": some.group_size,
    }
    for name, fit in fits.items():
        sound = np.abs(fit.offset) < settings["offset_material_inwc"]
        spread = random_effect_sd(fit.offset[sound], fit.standard_error[sound])
        columns[f"{name}_offset"] = fit.offset
        columns[f"{name}_se"] = fit.standard_error
        columns[f"{name}_spread"] = np.full(len(fit.offset), spread)
    return pl.DataFrame(columns, schema=OFFSET_SCHEMA)


def _n_sites(measurer: Ints, site_no: Ints) -> Ints:
    """At how many sites each measurer read; a sort of numbers costs a fifth of DuckDB's count of so many pairs."""
    sites = int(site_no.max()) + 1
    pair = measurer * sites + site_no
    pair.sort()
    return np.bincount(pair[np.append(True, pair[1:] != pair[:-1])] // sites)
