"""The visits behind coaching findings, brought up to date: those that moved, and those of what is told anew.

A row of `coaching_visit` rests on what is told to its technician (`coaching_group`), on the visit with its findings,
and, where a zero is doubtful, on all readings at the same place, which is of one piece of equipment. When a month was
closed, all is put together anew.
"""

from __future__ import annotations

from pipeline.day.offsets import bound_moved
from pipeline.technician.stage import show_all
from pipeline.warehouse import Warehouse, differing

# By name what is needed to tell which rows are put together anew.
WHICH = {
    "shown_anew": """
        SELECT visit_id, technician_id, visit_row FROM moved_row
        UNION
        SELECT visit_id, technician_id, rowid FROM staging.visit_measured
        WHERE equipment_id IN (SELECT equipment_id FROM offset_moved_at)
    """,
    "told_anew": "SELECT DISTINCT technician_id, finding "
    f"FROM ({differing('FROM told_before', 'FROM coaching_group')})",
    "practice_anew": "FROM told_anew WHERE NOT starts_with(finding, 'hidden_offset_')",
    # Practices are told anew of few: all findings of these technicians, and those of the visits that moved.
    "technician_finding": """
        SELECT v.technician_id, f.check_id, v.visit_row, f.rowid AS finding_row
        FROM finding AS f
        INNER JOIN (
            SELECT visit_id, technician_id, visit_row FROM shown_anew
            UNION
            SELECT visit_id, technician_id, rowid FROM staging.visit_measured
            WHERE technician_id IN (SELECT technician_id FROM practice_anew)
        ) AS v USING (visit_id)
    """,
}
ANEW = "(technician_id, finding) IN (SELECT (technician_id, finding) FROM told_anew)"


def show_moved(warehouse: Warehouse) -> None:
    """Do what `show_all` does, for what is told anew, and for the visits that moved (counts.py)."""
    if bound_moved(warehouse):
        warehouse.run("count/technician_finding.sql")
        show_all(warehouse)
        return
    warehouse.execute("CREATE OR REPLACE TEMP TABLE told_before AS FROM coaching_group")
    warehouse.run("technician/coaching_group.sql")
    for name, rows in WHICH.items():
        warehouse.execute(f"CREATE OR REPLACE TEMP TABLE {name} AS {rows}")
    warehouse.run("technician/coaching_picked.sql")
    for name in ("coaching_picked", "coaching_own"):
        warehouse.execute(
            f"DELETE FROM {name} WHERE NOT {ANEW} AND visit_row NOT IN (SELECT visit_row FROM shown_anew)"
        )
    warehouse.run("technician/coaching_told.sql")
    with warehouse.transaction():
        warehouse.execute(
            f"DELETE FROM coaching_visit WHERE {ANEW} OR visit_id IN (FROM moved_visit) "
            "OR visit_id IN (SELECT visit_id FROM shown_anew)"
        )
        warehouse.execute("INSERT INTO coaching_visit BY NAME FROM coaching_told")
