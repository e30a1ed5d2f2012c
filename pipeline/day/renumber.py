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
    kept = f'last.main."{name}"'
    columns = warehouse.columns(kept)
    new = {"equipment_no": "m.new_no", "unit_no": "2 * m.new_no + t.unit_no % 2"}
    given = ", ".join(f"{number} AS {c}" for c, number in new.items() if c in columns)
    own = "t.equipment_no" if "equipment_no" in columns else "t.unit_no // 2"
    warehouse.execute(
        f"CREATE OR REPLACE TABLE {kept} AS SELECT t.* REPLACE ({given}) "
        f"FROM {kept} AS t JOIN number_moved AS m ON {own} = m.equipment_no"
    )
