"""The visit checks as one suite, from the same files (`sql/checks/`): does the database, asked again, agree?

Each check is one expectation whose query is the check's own SELECT over the work file. Its count must equal
what stands in `finding`. The results are kept in `check_run`, a row a check and run, for the trend over runs.
"""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from expectations.rules import Outcome, Rule
from pipeline.checks import all_checks
from pipeline.errors import StageError
from pipeline.stages import RunOrder
from pipeline.warehouse import Warehouse

SCHEMA = {
    "run_id": pl.Int64,
    "today": pl.Date,
    "check_id": pl.String,
    "rows_looked_at": pl.Int64,
    "failing": pl.Int64,
    "share": pl.Float64,
    "seconds": pl.Float64,
    "loaded": pl.String,
}
# What a run's results depend on: the files it stands on. A repeated run replaces its own rows.
LOADED = """
    SELECT md5(coalesce(string_agg(file || file_sha256, '' ORDER BY file, file_sha256), '')) FROM load_ledger
"""


def check_rules() -> list[Rule]:
    """Every check as a rule: its SELECT finds the visits that fail."""
    return [Rule(check.check_id, "reading", check.sql) for check in all_checks()]


def record(warehouse: Warehouse, order: RunOrder, outcomes: Sequence[Outcome]) -> None:
    """Compare what the checks counted with `finding` (StageError if they differ); add it to `check_run`."""
    _compare(warehouse, outcomes)
    rows = int(warehouse.scalar("SELECT count(*) FROM visit"))
    loaded = str(warehouse.scalar(LOADED))
    before = _earlier(warehouse, order, loaded)
    run_id = 1 + int(before["run_id"].max() or 0) if before.height else 1  # type: ignore[arg-type]
    now = pl.DataFrame(
        [
            (
                run_id,
                order.today,
                o.rule.name,
                rows,
                o.failing,
                o.failing / rows if rows else None,
                o.seconds,
                loaded,
            )
            for o in outcomes
        ],
        schema=SCHEMA,
        orient="row",
    )
    warehouse.store("check_run", pl.concat([before, now]))


def _compare(warehouse: Warehouse, outcomes: Sequence[Outcome]) -> None:
    found = dict(warehouse.con.sql("SELECT check_id, count(*) FROM finding GROUP BY check_id").fetchall())
    wrong = [o for o in outcomes if o.failing != found.get(o.rule.name, 0)]
    if wrong:
        said = ", ".join(f"{o.rule.name} {o.failing} against {found.get(o.rule.name, 0)}" for o in wrong)
        raise StageError(f"checks asked again do not agree with the findings (suite against finding): {said}")


def _earlier(warehouse: Warehouse, order: RunOrder, loaded: str) -> pl.DataFrame:
    if "check_run" not in warehouse.tables():
        return pl.DataFrame(schema=SCHEMA)
    return warehouse.query(
        f"SELECT * FROM check_run WHERE NOT (loaded = '{loaded}' AND today = DATE '{order.today}') "
        "ORDER BY run_id, check_id"
    )
