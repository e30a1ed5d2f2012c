"""What is counted of visits and findings, after a day's drop: what the last run counted, and what the touched equipment
changes of it.

The last publication shows how the touched equipment stood. What belongs here: whether that may be built on. What does
not: what is counted (`sql/count/counted.sql`).
"""

from __future__ import annotations

from pathlib import Path

import polars as pl

from pipeline.change import IS_THE_LAST, last_publication
from pipeline.checks import all_checks
from pipeline.stages import COUNT
from pipeline.steps import run_steps
from pipeline.warehouse import Warehouse

COUNTED = ("visit_count", "finding_count")
ADDS_UP = """
    SELECT (SELECT count(*) FROM staging.visit_measured)
        = (SELECT coalesce(sum(n_visits), 0) FROM visit_count WHERE counted_by = 'day')
        AND (SELECT count(*) FROM finding)
        = (SELECT coalesce(sum(n_found), 0) FROM finding_count WHERE counted_by = 'day')
"""


def count_again(warehouse: Warehouse, published_file: Path) -> bool:
    """Bring the counts up to date for the equipment in `touched`, or count everything; was it the former?

    `published_file`: the last publication, which must be that of the run on which this one builds.
    """
    if _count_touched(warehouse, published_file) and warehouse.scalar(ADDS_UP):
        return True
    run_steps(warehouse, COUNT)
    return False


def _count_touched(warehouse: Warehouse, published_file: Path) -> bool:
    if not set(COUNTED) | {"publication"} <= warehouse.tables():
        return False
    with last_publication(warehouse, published_file) as is_there:
        if not (is_there and warehouse.scalar(IS_THE_LAST)):
            return False
        fleet = [check.check_id for check in all_checks() if check.scope == "fleet"]
        warehouse.store("fleet_check", pl.DataFrame({"check_id": fleet}), temporary=True)
        for name in COUNTED:
            warehouse.execute(f"CREATE OR REPLACE TEMP TABLE {name}_before AS FROM {name}")
        warehouse.run("day/counted.sql")
        warehouse.run("count/visit_count.sql")
        warehouse.run("count/finding_count.sql")
        warehouse.run("day/count_together.sql")
        for kind, name in (("VIEW", "counted_finding"), ("VIEW", "counted_unit"), ("TABLE", "counted_visit")):
            warehouse.execute(f"DROP {kind} temp.{name}")
    return True
