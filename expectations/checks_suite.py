"""The visit checks as one suite, from the same files (`sql/checks/`): does the database, asked again, agree?

Each check is one expectation whose query is the check's own SELECT over the work file, of a long history over some of
its visits, other ones each day (`again.py`). Its count must equal what stands in `finding` of these visits. What each
check found of all visits is kept in `check_run`, a row a check and run, for the trend over runs.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import polars as pl

from expectations.again import Again, number_of_visits
from expectations.rules import Outcome, Rule
from pipeline.checks import all_checks
from pipeline.errors import StageError
from pipeline.stages import RunOrder
from pipeline.warehouse import Warehouse, literal

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


def check_rules(again: Again) -> list[Rule]:
    """Every check as a rule: its SELECT finds the visits that fail, among those of which it is asked again."""
    return [Rule(c.check_id, "reading", again.asked(c)) for c in all_checks()]


def record(
    warehouse: Warehouse, order: RunOrder, outcomes: Sequence[Outcome], found: Mapping[str, int]
) -> None:
    """Add to `check_run` what each check `found`, and how long asking it again took."""
    rows = number_of_visits(warehouse)
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
                found.get(o.rule.name, 0),
                found.get(o.rule.name, 0) / rows if rows else None,
                o.seconds,
                loaded,
            )
            for o in outcomes
        ],
        schema=SCHEMA,
        orient="row",
    )
    warehouse.store("check_run", pl.concat([before, now]))


def compare(warehouse: Warehouse, outcomes: Sequence[Outcome], again: Again) -> None:
    """StageError where a check, asked again, does not find what stands in `finding` of these visits."""
    expected = _found_of(warehouse, again)
    wrong = [o for o in outcomes if o.failing != expected.get(o.rule.name, 0)]
    if wrong:
        said = ", ".join(f"{o.rule.name} {o.failing} against {expected.get(o.rule.name, 0)}" for o in wrong)
        raise StageError(f"checks asked again do not agree with the findings (suite against finding): {said}")


def _found_of(warehouse: Warehouse, again: Again) -> dict[str, int]:
    """How many of the visits of which it is asked again each check found."""
    found: dict[str, int] = {}
    for some, scope in ((again.days, "equipment"), (again.technicians, "fleet")):
        asked = ", ".join(literal(check.check_id) for check in all_checks() if check.scope == scope)
        visits = f"SELECT visit_id FROM staging.visit_measured WHERE {some}"
        rows = f"finding SEMI JOIN ({visits}) USING (visit_id)"
        found |= found_in(warehouse, f"{rows} WHERE check_id IN ({asked})")
    return found


def found_in(warehouse: Warehouse, rows: str = "finding") -> dict[str, int]:
    """How many visits each check found, of these rows of `finding`."""
    return dict(warehouse.con.sql(f"SELECT check_id, count(*) FROM {rows} GROUP BY check_id").fetchall())


def _earlier(warehouse: Warehouse, order: RunOrder, loaded: str) -> pl.DataFrame:
    if "check_run" not in warehouse.tables():
        return pl.DataFrame(schema=SCHEMA)
    return warehouse.query(
        f"SELECT * FROM check_run WHERE NOT (loaded = '{loaded}' AND today = DATE '{order.today}') "
        "ORDER BY run_id, check_id"
    )
