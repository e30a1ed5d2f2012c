"""How often each check finds something at each technician's visits, against the fleet: the same judgement as of skipped
zeroes (`skipping.py`), for every check of how a reading was taken, with the false discovery rate over all technicians
and these checks. Checks of a unit or a gauge are counted alone: one unit visited twelve times is not twelve slips.

The counts stand in an array, a row a technician, a column a check: so no pair of them is ever looked up.
"""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import stats

from pipeline.checks import all_checks
from pipeline.technician.skipping import Floats, skip_rates
from pipeline.warehouse import Warehouse

Counts = NDArray[np.int64]


def judge_practice(warehouse: Warehouse) -> None:
    """Make `practice_fit` (temporary) and `technician_practice` of `technician_visits` and `technician_found`."""
    technicians = warehouse.query(
        "SELECT technician_id, n_visits FROM technician_visits ORDER BY technician_id"
    )
    of = {check.check_id: check.of for check in all_checks()}
    checks = pl.Series("check_id", sorted(of))
    judged = np.array([of[check] == "reading" for check in checks])
    found = _found(warehouse, technicians["technician_id"], checks)
    rates = _rates(warehouse, found, technicians["n_visits"].to_numpy().astype(np.float64), judged)
    each, of_each = np.divmod(np.arange(found.size), len(checks))
    fit = technicians[each].with_columns(
        checks[of_each],
        pl.Series("n_found", found.ravel()),
        *(pl.Series(name, values.ravel(), nan_to_null=True) for name, values in rates.items()),
    )
    warehouse.store("practice_fit", fit, temporary=True)
    warehouse.store("technician_practice", _practice(technicians, checks, found))


def _found(warehouse: Warehouse, technicians: pl.Series, checks: pl.Series) -> Counts:
    """How often each check found something at each technician's visits."""
    rows = (
        warehouse.query("FROM technician_found")
        .join(technicians.to_frame().with_row_index("row"), on="technician_id")
        .join(checks.to_frame().with_row_index("column"), on="check_id")
    )
    found = np.zeros((len(technicians), len(checks)), dtype=np.int64)
    found[rows["row"].to_numpy(), rows["column"].to_numpy()] = rows["n_found"].to_numpy()
    return found


def _rates(
    warehouse: Warehouse, found: Counts, visits: Floats, judged: NDArray[np.bool_]
) -> dict[str, Floats]:
    """By name what skip_rates says of each technician and check, and q; no q of those with too few visits.

    `judged`: by check; of the others nothing is said.
    """
    said = {
        name: np.full(found.shape, np.nan)
        for name in ("fleet_rate", "p_value", "funnel_hi", "shrunk_rate", "q_value")
    }
    if not found.size:
        return said
    enough = np.asarray(visits >= warehouse.settings["technician_min_visits"], dtype=np.bool_)
    for check in np.flatnonzero(judged):
        rates = skip_rates(found[:, check].astype(np.float64), visits, warehouse.settings["funnel_p"], enough)
        said["fleet_rate"][:, check] = rates.fleet_rate
        said["p_value"][:, check] = rates.p_value
        said["funnel_hi"][:, check] = rates.funnel_hi
        said["shrunk_rate"][:, check] = rates.shrunk_rate
    if enough.any():  # Benjamini and Hochberg, as bh_adjusted in sql/macros/multiplicity.sql
        family = np.ix_(enough, judged)
        q = stats.false_discovery_control(said["p_value"][family].ravel())
        said["q_value"][family] = q.reshape(-1, judged.sum())
    return said


def _practice(technicians: pl.DataFrame, checks: pl.Series, found: Counts) -> pl.DataFrame:
    """A row per technician: a count and a rate for every check."""
    visits = technicians["n_visits"].to_numpy()
    columns = {}
    for column, check in enumerate(checks):
        columns[f"{check}_n"] = found[:, column]
        columns[f"{check}_rate"] = found[:, column] / visits
    return technicians.with_columns(pl.Series(name, values) for name, values in columns.items())
