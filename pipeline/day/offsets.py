"""Do the fits of offsets stand? They do where no reading that they rest on came, went or changed: of a large fleet,
where the day's drop brings visits of the open month alone (sql/technician/offset_visit.sql).

What belongs here: telling so, and then bringing what is shown of readings beside those of moved visits. What does not:
what a reading rests on; whatever may move it touches its visit, and those are looked at (`moved_row`, counts.py).
"""

from __future__ import annotations

from pipeline.technician.readings import Readings
from pipeline.technician.stage import read_all
from pipeline.warehouse import Warehouse, differing

# A gauge was calibrated on another day than was known, or a unit stands at another site: no reading, yet it counts.
KNOWN_OTHERWISE = """
    SELECT
        EXISTS (
            FROM offset_measurer AS m INNER JOIN instrument AS i USING (instrument_id)
            WHERE m.calibrated_on IS DISTINCT FROM i.calibrated_on
        )
        OR EXISTS (
            FROM offset_measurer AS m ANTI JOIN instrument AS i USING (instrument_id)
            WHERE m.calibrated_on IS NOT NULL
        )
        OR EXISTS (FROM changed_site)
"""
TOUCHED = "SELECT * EXCLUDE (visit_row) FROM offset_touched"
# Where a reading came, went or changed: what is told of the others there may be told otherwise.
MOVED_AT = f"SELECT DISTINCT equipment_id FROM ({differing('FROM offset_before', TOUCHED)})"


def remember_readings(warehouse: Warehouse) -> None:
    """Keep the readings of `moved_row` on which the fits of the last run rest, before anything is replaced."""
    warehouse.execute("CREATE OR REPLACE TEMP TABLE offset_bound_before AS FROM offset_bound")
    _look_at_touched(warehouse)
    warehouse.execute(f"CREATE OR REPLACE TEMP TABLE offset_before AS {TOUCHED}")


def read_moved(warehouse: Warehouse) -> Readings | None:
    """Do what `read_all` does, where a reading moved. Where none did: nothing to fit; `offset_reading` holds all that
    were taken at the places of moved visits."""
    _look_at_touched(warehouse)
    warehouse.execute(f"CREATE OR REPLACE TEMP TABLE offset_moved_at AS {MOVED_AT}")
    moved = warehouse.scalar("SELECT count(*) FROM offset_moved_at")
    if moved or bound_moved(warehouse) or warehouse.scalar(KNOWN_OTHERWISE):
        return read_all(warehouse)
    warehouse.execute(
        "CREATE OR REPLACE TEMP TABLE offset_near AS "
        "FROM offset_visit WHERE equipment_id IN (SELECT equipment_id FROM offset_touched)"
    )
    warehouse.execute("CREATE OR REPLACE TEMP VIEW offset_visit AS FROM offset_near")
    warehouse.run("technician/offset_reading.sql")
    return None


def bound_moved(warehouse: Warehouse) -> bool:
    """Was a month closed since the last run? Then readings count that nobody touched."""
    return bool(warehouse.scalar("SELECT (FROM offset_bound) IS DISTINCT FROM (FROM offset_bound_before)"))


def _look_at_touched(warehouse: Warehouse) -> None:
    warehouse.run("technician/offset_visit.sql")
    warehouse.execute(
        "CREATE OR REPLACE TEMP TABLE offset_touched AS "
        "FROM offset_visit WHERE visit_row IN (SELECT visit_row FROM moved_row)"
    )
