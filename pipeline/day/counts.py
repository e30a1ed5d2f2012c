"""What is counted of visits and findings, brought up to date by those that moved: exact, for they are whole numbers.

What was counted of a visit, and of the findings on it, is taken back before anything of it is replaced (`take_back`);
what stands there afterwards is counted (`count_moved`). Of what the checks ask, the rows that came and went are counted
(`count_changed`). The counts themselves lie in the work file from run to run.
"""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.technician.stage import count_all
from pipeline.warehouse import Warehouse, literal

# Their rows are found first, so that only these are read.
MOVED_ROW = """
    FROM counted_row
    WHERE visit_row IN (SELECT rowid FROM staging.visit_measured SEMI JOIN moved_visit USING (visit_id))
"""
# Somebody was trained since, or on another day than was known: then all are counted before and after it.
TRAINED_OTHERWISE = """
    SELECT count(*)
    FROM (SELECT technician_id, trained_on FROM technician SEMI JOIN technician_visits USING (technician_id)) AS t
    FULL JOIN technician_training AS k USING (technician_id)
    WHERE t.trained_on IS DISTINCT FROM k.trained_on
"""
COUNTING = ("count/visit_count.sql", "count/finding_count.sql", "technician/technician_count.sql")
# Tables of counts (n_...), by what their other columns say.
COUNTS = ("visit_count", "finding_count", "technician_visits", "technician_found")
# What else is brought up to date, by name, in this order. Of what is published with rates, the counts are taken.
BROUGHT_UP_TO_DATE = {
    "moved_month": "SELECT technician_id, month_on FROM month_count",
    "month_count": """
        SELECT technician_id, month_on, sum(n_visits)::BIGINT AS n_visits, sum(n_not_zeroed)::BIGINT AS n_not_zeroed
        FROM (
            FROM month_count
            UNION ALL BY NAME
            SELECT technician_id, month_on, n_visits, n_not_zeroed
            FROM $home.technician_month SEMI JOIN month_count USING (technician_id, month_on)
        )
        GROUP BY technician_id, month_on HAVING sum(n_visits) > 0
    """,
    "training_count": """
        SELECT
            technician_id,
            trained_on,
            sum(n_before)::BIGINT AS n_before,
            sum(n_not_zeroed_before)::BIGINT AS n_not_zeroed_before,
            sum(n_after)::BIGINT AS n_after,
            sum(n_not_zeroed_after)::BIGINT AS n_not_zeroed_after
        FROM (
            FROM training_count
            UNION ALL BY NAME
            SELECT technician_id, trained_on, n_before, n_not_zeroed_before, n_after, n_not_zeroed_after
            FROM $home.technician_training
        )
        SEMI JOIN technician_visits USING (technician_id)
        GROUP BY technician_id, trained_on
    """,
}


def take_back(warehouse: Warehouse, since: str) -> None:
    """Remember what the last run counted, at its reference day `since`, of `moved_visit` and `moved_finding`: visits
    that are about to be replaced, or of which the fleet's checks were asked again, and the findings on them.
    """
    find_moved_rows(warehouse)
    for name, rows in _counted(f"DATE {literal(since)}", -1).items():
        warehouse.execute(f"CREATE OR REPLACE TEMP TABLE {name} AS {rows}")


def count_moved(warehouse: Warehouse) -> None:
    """Do what `count_all` does, by what was taken back and what stands there now (`find_moved_rows`)."""
    if warehouse.scalar(TRAINED_OTHERWISE):
        for name in COUNTED:
            warehouse.execute(f"DROP TABLE temp.{name}")
        count_all(warehouse)
        return
    for name, rows in _counted("getvariable('today')", 1).items():
        warehouse.execute(f"INSERT INTO {name} BY NAME {rows}")
    home = _home(warehouse)
    warehouse.execute("ATTACH ':memory:' AS moved")
    _bring_up_to_date(warehouse, COUNTING, COUNTS)
    with warehouse.looking_first_at("moved.main", home, make_there=True):
        for name, rows in BROUGHT_UP_TO_DATE.items():
            warehouse.execute(f"CREATE OR REPLACE TABLE {name} AS {rows.replace('$home', home)}")
        warehouse.run("technician/technician_month.sql")
    with warehouse.transaction():
        warehouse.execute("CREATE OR REPLACE TEMP TABLE training_count AS FROM moved.training_count")
        warehouse.execute(
            "DELETE FROM technician_month "
            "WHERE (technician_id, month_on) IN (SELECT (technician_id, month_on) FROM moved.moved_month)"
        )
        warehouse.execute("INSERT INTO technician_month BY NAME FROM moved.technician_month")
    warehouse.execute("DETACH moved")


def count_changed(warehouse: Warehouse) -> None:
    """Bring up to date what is counted of readings before the checks are asked. Needs `changed_visit` (touched.py)."""
    warehouse.execute("CREATE OR REPLACE TEMP VIEW counted_reading AS FROM changed_visit")
    warehouse.execute("ATTACH ':memory:' AS moved")
    _bring_up_to_date(warehouse, ("count/last_digit_count.sql",), ("last_digit_count",))
    warehouse.execute("DETACH moved")


def _home(warehouse: Warehouse) -> str:
    return f"{warehouse.scalar('SELECT current_database()')}.main"


def _bring_up_to_date(warehouse: Warehouse, files: Sequence[str], names: Sequence[str]) -> None:
    """Count what moved by these files, in the database `moved`, and add it to the tables that they make."""
    home = _home(warehouse)
    with warehouse.looking_first_at("moved.main", home, make_there=True):
        for file in files:
            warehouse.run(file)
        for name in names:
            together = _together(name, home, warehouse.columns(name))
            warehouse.execute(f"CREATE OR REPLACE TABLE {name} AS {together}")
    with warehouse.transaction():
        for name in names:
            warehouse.execute(f"CREATE OR REPLACE TABLE {name} AS FROM moved.{name}")


def find_moved_rows(warehouse: Warehouse) -> None:
    """Make `moved_row` of the moved visits as they stand now."""
    warehouse.run("count/counted_row.sql")
    warehouse.execute(f"CREATE OR REPLACE TEMP TABLE moved_row AS {MOVED_ROW}")


def _counted(today: str, times: int) -> dict[str, str]:
    """What is counted of the moved visits, as sql/count/counted.sql does of all."""
    visit = f"moved_row.* EXCLUDE (visit_id, visit_row), visited_on <= {today} AS has_been, {times} AS times"
    findings = "moved_row INNER JOIN moved_finding USING (visit_id)"
    return {
        "counted_visit": f"SELECT {visit} FROM moved_row",
        "counted_finding": f"SELECT {visit}, check_id, consequence FROM {findings}",
    }


COUNTED = tuple(_counted("", 0))


def _together(name: str, home: str, columns: Sequence[str]) -> str:
    """The counts of the last run and of what moved: rows of both, and none of which nothing is left."""
    counts = [column for column in columns if column.startswith("n_")]
    of = ", ".join(column for column in columns if column not in counts)
    sums = ", ".join(f"sum({count})::BIGINT AS {count}" for count in counts)
    return (
        f"SELECT {of}, {sums} FROM (FROM {home}.{name} UNION ALL FROM {name}) GROUP BY {of} "
        f"HAVING sum({counts[0]}) > 0 ORDER BY {of}"
    )
