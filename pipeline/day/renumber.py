"""New equipment moves the numbers of all that stands behind it by name: what was kept by number follows."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.warehouse import Warehouse

MOVED = """
    SELECT count(*) FROM last.state.equipment_number AS f
    FULL JOIN equipment_number AS n ON f.equipment_id = n.equipment_id
    WHERE f.equipment_no IS DISTINCT FROM n.equipment_no
"""


def renumber(warehouse: Warehouse, names: Sequence[str]) -> None:
    """Give the rows of the kept tables `names` the numbers of this run, and make `touched_number` (equipment_no)."""
    if warehouse.scalar(MOVED):
        warehouse.execute(
            "CREATE OR REPLACE TEMP TABLE number_moved AS SELECT f.equipment_no, n.equipment_no AS new_no "
            "FROM last.state.equipment_number AS f JOIN equipment_number AS n USING (equipment_id)"
        )
        for name in names:
            _renumber(warehouse, name)
    warehouse.execute(
        "CREATE OR REPLACE TEMP TABLE touched_number AS "
        "SELECT equipment_no FROM equipment_number SEMI JOIN touched USING (equipment_id)"
    )


def _renumber(warehouse: Warehouse, name: str) -> None:
    columns = {c[0] for c in warehouse.con.sql(f'SELECT * FROM last.main."{name}" LIMIT 0').description or ()}
    given = [f"m.new_no AS {c}" for c in ("equipment_no",) if c in columns]
    given += [f"2 * m.new_no + t.{c} % 2 AS {c}" for c in ("unit_no",) if c in columns]
    own = "t.equipment_no" if "equipment_no" in columns else "t.unit_no // 2"
    warehouse.execute(
        f'CREATE OR REPLACE TABLE last.main."{name}" AS SELECT t.* REPLACE ({", ".join(given)}) '
        f'FROM last.main."{name}" AS t JOIN number_moved AS m ON {own} = m.equipment_no'
    )
