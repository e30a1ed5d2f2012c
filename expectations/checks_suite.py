"""The visit checks as one suite, from the same files (`sql/checks/`): does the database, asked again, agree?

Each check is one expectation whose query is the check's own SELECT over the work file. Its count must equal
what stands in `finding`. Those that look along all visits of a technician are dear: of a long history they are asked of
some technicians, of other ones each day. What each check found of all visits is kept in `check_run`, a row a check and
run, for the trend over runs.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from math import ceil

import polars as pl

from expectations.rules import Outcome, Rule
from pipeline.checks import all_checks
from pipeline.errors import StageError
from pipeline.stages import RunOrder
from pipeline.warehouse import SQL_DIR, Warehouse

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


def some_technicians(warehouse: Warehouse, today: date) -> str:
    """The condition on a row of `visit` to be one of theirs: about `look_again_visits`, or all if they are fewer."""
    visits = warehouse.scalar("SELECT count(*) FROM visit")
    groups = max(ceil(visits / warehouse.settings["look_again_visits"]), 1)
    return f"hash(technician_id) % {groups} = {today.toordinal() % groups}" if groups > 1 else "true"


def check_rules(some: str = "true") -> list[Rule]:
    """Every check as a rule: its SELECT finds the visits that fail; one of scope fleet among the visits of `some`."""
    return [
        Rule(c.check_id, "reading", _among(some, c.sql) if c.scope == "fleet" else c.sql)
        for c in all_checks()
    ]


def _among(some: str, sql: str) -> str:
    """The same SELECT over some rows of `visit`, whose place they take by their name, and what is counted of them."""
    counted = (SQL_DIR / "count" / "last_digit_count.sql").read_text(encoding="utf-8")
    counted = counted.partition("last_digit_count AS\n")[2].strip().rstrip(";")
    return (
        f"WITH visit AS (SELECT * FROM main.visit WHERE {some}),\n"
        "counted_reading AS (SELECT *, 1 AS times FROM visit),\n"
        f"last_digit_count AS ({counted})\nSELECT * FROM ({sql})"
    )


def record(
    warehouse: Warehouse, order: RunOrder, outcomes: Sequence[Outcome], found: Mapping[str, int]
) -> None:
    """Add to `check_run` what each check `found`, and how long asking it again took."""
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


def compare(warehouse: Warehouse, outcomes: Sequence[Outcome], some: str, found: Mapping[str, int]) -> None:
    """StageError where a check, asked again, does not find what was `found` (of the visits of `some`)."""
    rows = f"finding SEMI JOIN (SELECT visit_id FROM visit WHERE {some}) USING (visit_id)"
    of_some = found_in(warehouse, rows)
    expected = {
        **found,
        **{c.check_id: of_some.get(c.check_id, 0) for c in all_checks() if c.scope == "fleet"},
    }
    wrong = [o for o in outcomes if o.failing != expected.get(o.rule.name, 0)]
    if wrong:
        said = ", ".join(f"{o.rule.name} {o.failing} against {expected.get(o.rule.name, 0)}" for o in wrong)
        raise StageError(f"checks asked again do not agree with the findings (suite against finding): {said}")


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
