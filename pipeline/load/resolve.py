"""What becomes of each staged row (kept, rejected, repeated, superseded), and the cleaned tables made of the kept ones.

Decided anew at every run over everything that was ever staged, so order and split of the files do not matter.
What does not belong here: reading files (`reader.py`); the rules that look at other tables (`sql/load/unreferred_*`).
"""

from __future__ import annotations

import numpy as np

from pipeline.load.files import natural_key
from pipeline.load.inputs import MADE_OF_VISITS, TABLES, Table
from pipeline.warehouse import SQL_DIR, Warehouse

FATE = "row_id BIGINT, load_id INTEGER, fate VARCHAR, reason VARCHAR, detail VARCHAR, by_row_id BIGINT, key VARCHAR"


def rank_files(warehouse: Warehouse) -> None:
    """load_rank: the order of the loaded files, natural by name, then folder, then load."""
    rows = warehouse.con.sql("SELECT load_id, file, folder FROM load_file").fetchall()
    ordered = sorted(rows, key=lambda r: (natural_key(r[1]), natural_key(r[2]), r[0]))
    warehouse.execute("CREATE OR REPLACE TABLE load_rank (load_id INTEGER, file_rank INTEGER)")
    if ordered:
        values = ", ".join(f"({r[0]}, {i})" for i, r in enumerate(ordered))
        warehouse.execute(f"INSERT INTO load_rank VALUES {values}")


def resolve(warehouse: Warehouse) -> None:
    """(Re)make the cleaned tables, `row_fate` and `kept_count` from the staged tables."""
    rank_files(warehouse)
    for table in TABLES:
        if (SQL_DIR / "load" / f"unreferred_{table.name}.sql").exists():
            warehouse.run(f"load/unreferred_{table.name}.sql")
        else:
            warehouse.execute(
                f"CREATE OR REPLACE TABLE unreferred_{table.name} (row_id BIGINT, reason VARCHAR, detail VARCHAR)"
            )
        with warehouse.transaction():
            _decide(warehouse, table)
            _clean(warehouse, table)
    with warehouse.transaction():
        _collect(warehouse)


def _decide(warehouse: Warehouse, table: Table) -> None:
    """fate_<table>: a row per staged row that is rejected by reference, repeated or superseded."""
    key = ", ".join(f"s.{k}" for k in table.key)
    same = ", ".join([*(f"s.{c.name}" for c in table.columns), "s.extras"])
    key_text = " || '|' || ".join(f"s.{k}::VARCHAR" for k in table.key)
    fate = f"fate_{table.name}"
    warehouse.execute(f"CREATE OR REPLACE TABLE {fate} ({FATE})")
    warehouse.execute(
        f"INSERT INTO {fate} SELECT u.row_id, s.load_id, 'rejected', u.reason, u.detail, NULL, {key_text} "
        f"FROM unreferred_{table.name} AS u JOIN {table.staged} AS s ON s.rowid = u.row_id"
    )
    candidates = (
        f"SELECT s.*, s.rowid AS row_id FROM {table.staged} AS s ANTI JOIN {fate} AS f ON f.row_id = s.rowid"
    )
    warehouse.execute(
        f"CREATE OR REPLACE TEMP TABLE contested AS SELECT s.*, r.file_rank FROM ({candidates}) AS s "
        f"JOIN load_rank AS r USING (load_id) WHERE s.reason IS NULL AND ({key}) IN "
        f"(SELECT ({key}) FROM ({candidates}) AS s WHERE s.reason IS NULL GROUP BY {key} HAVING count(*) > 1)"
    )
    warehouse.execute(
        f"INSERT INTO {fate} SELECT s.row_id, s.load_id, 'repeated', NULL, NULL, NULL, {key_text} FROM contested AS s "
        f"QUALIFY row_number() OVER (PARTITION BY {same} ORDER BY s.file_rank, s.row_id) > 1"
    )
    order = "s.recorded_at DESC NULLS LAST, s.file_rank DESC, s.row_id DESC"
    warehouse.execute(
        f"INSERT INTO {fate} SELECT s.row_id, s.load_id, 'superseded', NULL, NULL, "
        f"first(s.row_id) OVER latest_first, {key_text} "
        f"FROM contested AS s ANTI JOIN {fate} AS f ON f.row_id = s.row_id "
        f"WINDOW latest_first AS (PARTITION BY {key} ORDER BY {order}) "
        f"QUALIFY row_number() OVER latest_first > 1"
    )
    warehouse.execute("DROP TABLE contested")


def _clean(warehouse: Warehouse, table: Table) -> None:
    values = [f"coalesce({c.name}, {c.default}) AS {c.name}" if c.default else c.name for c in table.columns]
    if table.name == "visits":
        values += [name for name, *_ in MADE_OF_VISITS]
    warehouse.execute(
        f"CREATE OR REPLACE TABLE {table.cleaned} AS SELECT {', '.join(values)} FROM {table.staged} AS s "
        f"ANTI JOIN fate_{table.name} AS f ON f.row_id = s.rowid WHERE s.reason IS NULL"
    )


def _collect(warehouse: Warehouse) -> None:
    """row_fate over all tables, with places in the file; kept_count: rows per load that stand in a cleaned table."""
    fates, counts = [], []
    for t in TABLES:
        first = f"(SELECT load_id, min(rowid) AS first_row FROM {t.staged} GROUP BY load_id)"
        fates.append(
            f"SELECT '{t.name}' AS table_name, f.load_id, f.row_id - a.first_row AS ordinal, f.fate, f.reason, f.detail, "
            f"w.load_id AS by_load_id, f.by_row_id - b.first_row AS by_ordinal, f.key FROM fate_{t.name} AS f "
            f"JOIN {first} AS a ON a.load_id = f.load_id LEFT JOIN {t.staged} AS w ON w.rowid = f.by_row_id "
            f"LEFT JOIN {first} AS b ON b.load_id = w.load_id"
        )
        counts.append(
            f"SELECT s.load_id, count(*) AS n FROM {t.staged} AS s ANTI JOIN fate_{t.name} AS f ON f.row_id = s.rowid "
            f"WHERE s.reason IS NULL GROUP BY s.load_id"
        )
    warehouse.execute("CREATE OR REPLACE TABLE row_fate AS " + " UNION ALL ".join(fates))
    warehouse.execute("CREATE OR REPLACE TABLE kept_count AS " + " UNION ALL ".join(counts))


def rows_to_point_at(warehouse: Warehouse) -> dict[int, np.ndarray]:
    """Staged rows whose line and text are wanted and not yet known: load_id -> ordinals."""
    rows = warehouse.con.sql(
        """
        WITH wanted AS (
            SELECT load_id, ordinal FROM row_fate WHERE fate IN ('rejected', 'superseded')
            UNION
            SELECT by_load_id, by_ordinal FROM row_fate WHERE fate = 'superseded'
        )
        SELECT load_id, list(ordinal ORDER BY ordinal) FROM wanted ANTI JOIN row_line USING (load_id, ordinal)
        GROUP BY load_id ORDER BY load_id
        """
    ).fetchall()
    return {load_id: np.array(ordinals, dtype=np.int64) for load_id, ordinals in rows}
