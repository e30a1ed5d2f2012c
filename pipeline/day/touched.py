"""Which equipment must be judged anew: the temporary table `touched` (equipment_id). Which of its visits must be looked
at anew, row by row: `touched_visit` (visit_id); that a unit has one visit more moves none of its others.
Which visits came, went or changed, as they were and as they are: `changed_visit` (`times`: -1 of a row that is a visit
no more, 1 of one that was none). Which equipment now stands at another site: `changed_site`.

What belongs here: what has come or changed since the last run, found by the staged rows. What does not: what a fleet
step found that moves somebody else's figures (`around.py` and `stages.py` add that).
"""

from __future__ import annotations

from pipeline.day.last_run import loads, today_then
from pipeline.load.inputs import EQUIPMENT, TABLES, VISITS
from pipeline.warehouse import Warehouse, differing, literal

# From a changed row of an input table to the equipment all of whose visits rest on it.
RESTS_ON = {
    "sites": "SELECT equipment_id FROM equipment SEMI JOIN changed_row USING (site_id)",
    "equipment": "SELECT equipment_id FROM changed_row",
    "blower_tables": "SELECT equipment_id FROM equipment SEMI JOIN changed_row USING (blower_table_id)",
    "technicians": "SELECT equipment_id FROM equipment WHERE false",  # no step of one piece of equipment looks at them
    "instruments": "SELECT equipment_id FROM visit SEMI JOIN changed_row USING (instrument_id)",
    "work": "SELECT equipment_id FROM changed_row",
}
# What else of a changed row, beside its key, is asked for.
LOOKED_AT = {
    "visits": (
        "equipment_id",
        "technician_id",
        "instrument_id",
        "visited_at",
        "visited_on",
        "pressure_unit",
        "return_static",
        "supply_static",
    ),
    "work": ("equipment_id",),
    "equipment": ("site_id",),
}
# What a later reference day alone changes: something of the future has come to pass since the last run's reference day,
# a work should have been measured again by now, a unit was not measured lately any more.
VISITS_COME_TO_PASS = f"""
    SELECT visit_id, {", ".join(LOOKED_AT["visits"])}, 0 AS times FROM visit WHERE visited_on $between
"""
EVENTS_COME_TO_PASS = """
    SELECT equipment_id FROM work WHERE done_on $between
    UNION ALL
    SELECT equipment_id FROM equipment WHERE retired_on $between OR installed_on $between
"""
TERMS_COME_TO_PASS = """
    SELECT equipment_id FROM work WHERE done_on + getvariable('follow_up_days')::INTEGER + 1 $between
    UNION ALL
    SELECT equipment_id FROM staging.unit_verdict
    WHERE last_valid_on + getvariable('measured_lately_days')::INTEGER + 1 $between
"""


def nothing_was_taken_out(warehouse: Warehouse) -> bool:
    """Are all loads of the last run there, each at its place, so that their rows bear the same numbers?"""
    return not warehouse.scalar(f"SELECT count(*) FROM (FROM last.state.load EXCEPT ({loads()}))")


def find_touched(warehouse: Warehouse) -> None:
    """Make `touched` and `touched_visit`, by rows that came, went or changed since the last run, and by the days that
    passed."""
    warehouse.execute("CREATE OR REPLACE TEMP TABLE touched (equipment_id VARCHAR PRIMARY KEY)")
    for table in TABLES:
        cleaned = {column.name: column.cleaned for column in table.columns}
        columns = ", ".join(
            f"{cleaned.get(name, f's.{name}')} AS {name}"
            for name in dict.fromkeys((*table.key, *LOOKED_AT.get(table.name, ())))
        )
        warehouse.execute(f"""
            CREATE OR REPLACE TEMP TABLE changed_row AS
            WITH moved AS (
                FROM ({differing(f"SELECT row_id FROM {table.fates}", f"FROM last.state.fate_{table.name}")})
                UNION
                SELECT rowid FROM {table.staged}
                WHERE load_id NOT IN (SELECT load_id FROM last.state.load)
                EXCEPT
                SELECT row_id FROM {table.fates}
                WHERE fate = 'repeated' AND load_id NOT IN (SELECT load_id FROM last.state.load)
            )
            SELECT DISTINCT {columns}, stands::INTEGER - stood::INTEGER AS times
            FROM (
                SELECT
                    s.*,
                    m.row_id NOT IN (SELECT row_id FROM {table.fates}) AS stands,
                    s.load_id IN (SELECT load_id FROM last.state.load)
                    AND m.row_id NOT IN (SELECT row_id FROM last.state.fate_{table.name}) AS stood
                FROM {table.staged} AS s INNER JOIN moved AS m ON s.rowid = m.row_id
                WHERE s.wrong IS NULL
            ) AS s
            WHERE stands OR stood
        """)
        if table is VISITS:
            warehouse.execute("CREATE OR REPLACE TEMP TABLE changed_visit AS FROM changed_row")
        else:
            touch(warehouse, RESTS_ON[table.name])
        if table is EQUIPMENT:
            warehouse.execute(
                "CREATE OR REPLACE TEMP TABLE changed_site AS "
                "SELECT equipment_id FROM changed_row GROUP BY ALL HAVING count(DISTINCT site_id) > 1"
            )
    warehouse.execute("DROP TABLE changed_row")
    between = f"BETWEEN DATE {literal(today_then(warehouse))} + 1 AND getvariable('today')"
    warehouse.execute(f"INSERT INTO changed_visit BY NAME {VISITS_COME_TO_PASS.replace('$between', between)}")
    touch(warehouse, EVENTS_COME_TO_PASS.replace("$between", between))
    of_touched = "UNION SELECT visit_id FROM visit SEMI JOIN touched USING (equipment_id)"
    warehouse.execute(
        "CREATE OR REPLACE TEMP TABLE touched_visit AS SELECT visit_id FROM changed_visit "
        + (of_touched if warehouse.scalar("SELECT count(*) FROM touched") else "")
    )
    touch(warehouse, "SELECT equipment_id FROM changed_visit")
    touch(warehouse, TERMS_COME_TO_PASS.replace("$between", between))


def touch(warehouse: Warehouse, equipment: str) -> None:
    """Add what a query of equipment_id finds."""
    warehouse.execute(
        f"INSERT OR IGNORE INTO touched SELECT DISTINCT equipment_id FROM ({equipment}) WHERE equipment_id IS NOT NULL"
    )


def number_touched(warehouse: Warehouse) -> None:
    """Make `touched_number`, the numbers of what is touched."""
    warehouse.execute(
        "CREATE OR REPLACE TEMP TABLE touched_number AS "
        "SELECT equipment_no FROM staging.equipment_number SEMI JOIN touched USING (equipment_id)"
    )


def share_touched(warehouse: Warehouse) -> float:
    """How much of the fleet's equipment is touched."""
    touched = warehouse.scalar("SELECT count(*) FROM touched")
    return float(touched) / max(1, int(warehouse.scalar("SELECT count(*) FROM equipment")))
