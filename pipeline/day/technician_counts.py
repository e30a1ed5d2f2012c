"""Each technician's counts of visits and findings, brought up to date by those that moved: exact, for they are whole
numbers.

What was counted of a visit, and of the findings on it, is taken back before anything of it is replaced (`take_back`);
what stands there afterwards is counted (`count_moved`). The counts themselves lie in the work file from run to run.
"""

from __future__ import annotations

from pipeline.technician.stage import count_all
from pipeline.warehouse import Warehouse, literal

# Visits that are replaced (touched.py), and others of which the fleet's checks were asked again (around.py).
MOVED_VISIT = "SELECT visit_id FROM touched_visit UNION SELECT visit_id FROM asked"
# Somebody was trained since, or on another day than was known: then all are counted before and after it.
TRAINED_OTHERWISE = """
    SELECT count(*)
    FROM (SELECT technician_id, trained_on FROM technician SEMI JOIN technician_visits USING (technician_id)) AS t
    FULL JOIN technician_training AS k USING (technician_id)
    WHERE t.trained_on IS DISTINCT FROM k.trained_on
"""
# By name what counts of the last run and of what moved make together, in this order.
BROUGHT_UP_TO_DATE = {
    "technician_visits": """
        SELECT technician_id, sum(n_visits)::BIGINT AS n_visits
        FROM (FROM $home.technician_visits UNION ALL FROM technician_visits)
        GROUP BY technician_id HAVING sum(n_visits) > 0
    """,
    "technician_found": """
        SELECT technician_id, check_id, sum(n_found)::BIGINT AS n_found
        FROM (FROM $home.technician_found UNION ALL FROM technician_found)
        GROUP BY technician_id, check_id HAVING sum(n_found) > 0
    """,
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
    """Remember what the last run counted, on its reference day `since`, of the visits that are about to be replaced."""
    warehouse.execute(f"CREATE OR REPLACE TEMP TABLE moved_visit AS {MOVED_VISIT}")
    _find_moved_rows(warehouse)
    for name, rows in _counted(f"DATE {literal(since)}", -1).items():
        warehouse.execute(f"CREATE OR REPLACE TEMP TABLE {name} AS {rows}")


def count_moved(warehouse: Warehouse) -> None:
    """Do what `count_all` does, by what was taken back and what stands there now."""
    _find_moved_rows(warehouse)
    if warehouse.scalar(TRAINED_OTHERWISE):
        for name in COUNTED:
            warehouse.execute(f"DROP TABLE temp.{name}")
        count_all(warehouse)
        return
    for name, rows in _counted("getvariable('today')", 1).items():
        warehouse.execute(f"INSERT INTO {name} BY NAME {rows}")
    home = f"{warehouse.scalar('SELECT current_database()')}.main"
    warehouse.execute("ATTACH ':memory:' AS moved")
    with warehouse.looking_first_at("moved.main", home, make_there=True):
        warehouse.run("technician/technician_count.sql")
        for name, rows in BROUGHT_UP_TO_DATE.items():
            warehouse.execute(f"CREATE OR REPLACE TABLE {name} AS {rows.replace('$home', home)}")
        warehouse.run("technician/technician_month.sql")
    with warehouse.transaction():
        for name in ("technician_visits", "technician_found"):
            warehouse.execute(f"CREATE OR REPLACE TABLE {name} AS FROM moved.{name}")
        warehouse.execute("CREATE OR REPLACE TEMP TABLE training_count AS FROM moved.training_count")
        warehouse.execute(
            "DELETE FROM technician_month "
            "WHERE (technician_id, month_on) IN (SELECT (technician_id, month_on) FROM moved.moved_month)"
        )
        warehouse.execute("INSERT INTO technician_month BY NAME FROM moved.technician_month")
    warehouse.execute("DETACH moved")


def _find_moved_rows(warehouse: Warehouse) -> None:
    """Make `moved_row` of the moved visits as they stand now."""
    warehouse.execute(
        "CREATE OR REPLACE TEMP TABLE moved_row AS SELECT visit_id, technician_id, visited_on, rowid AS visit_row "
        "FROM staging.visit_measured SEMI JOIN moved_visit USING (visit_id)"
    )


def _counted(today: str, times: int) -> dict[str, str]:
    """What is counted of the moved visits, as sql/technician/technician_counted.sql does of all."""
    visit = f"technician_id, visited_on, visited_on <= {today} AS has_been, {times} AS times"
    return {
        "counted_of_visit": f"SELECT {visit} FROM moved_row",
        "counted_of_finding": f"SELECT {visit}, check_id FROM moved_row INNER JOIN finding USING (visit_id)",
    }


COUNTED = tuple(_counted("", 0))
