"""Which rejected rows were put right since: a row of the same key that comes after them is loaded.

What does not belong here: which of several rows of one key is kept (`resolve.py`).
"""

from __future__ import annotations

from pipeline.load.inputs import TABLES, Table
from pipeline.warehouse import Warehouse

# Rows are found by where they stand. After them: as a row of that key would take the place of an earlier one, but for
# `recorded_at`, which a rejected row may not have.
MENDED = """
WITH lost AS MATERIALIZED (
    SELECT p.first_row + r.ordinal AS row_id
    FROM refused_row AS r INNER JOIN load_place AS p ON r.load_id = p.load_id
    WHERE p.table_name = '{table}' AND r.ordinal IS NOT NULL
    UNION ALL
    SELECT row_id FROM {fates} WHERE fate = 'rejected'
),
wrong AS (
    SELECT s.rowid AS row_id, s.load_id, {{'file': k.file_rank, 'row': s.rowid}} AS place, {key}
    FROM {staged} AS s INNER JOIN load_rank AS k ON s.load_id = k.load_id
    WHERE s.rowid IN (SELECT row_id FROM lost)
),
sound AS (
    SELECT max({{'file': k.file_rank, 'row': s.rowid}}) AS place, {key}
    FROM {staged} AS s INNER JOIN load_rank AS k ON s.load_id = k.load_id
    WHERE ({key}) IN (SELECT ({key}) FROM wrong) AND s.rowid NOT IN (SELECT row_id FROM lost)
    GROUP BY {key}
)
INSERT INTO mended_row
SELECT w.load_id, w.row_id - p.first_row
FROM wrong AS w
INNER JOIN sound AS s USING ({key})
INNER JOIN load_place AS p ON w.load_id = p.load_id
WHERE s.place > w.place
"""
REJECTS = """
SELECT f.table_name FROM refused_row AS r INNER JOIN load_file AS f ON r.load_id = f.load_id WHERE r.ordinal IS NOT NULL
UNION
SELECT table_name FROM row_fate WHERE fate = 'rejected'
"""


def find_mended(warehouse: Warehouse) -> None:
    """(Re)make `mended_row`: load and ordinal of the rejected rows that were put right since."""
    warehouse.execute("CREATE OR REPLACE TABLE mended_row (load_id INTEGER, ordinal BIGINT)")
    rejects = {name for (name,) in warehouse.con.sql(REJECTS).fetchall()}
    for table in TABLES:
        if table.name in rejects:
            warehouse.execute(_query(table))


def _query(table: Table) -> str:
    return MENDED.format(table=table.name, staged=table.staged, fates=table.fates, key=", ".join(table.key))
