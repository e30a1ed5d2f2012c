"""What becomes of each staged row (kept, rejected, repeated, superseded), and the cleaned tables made of the kept ones.

Decided over everything that was ever staged, so order and split of the files do not matter; anew at every run but for
rows on which nothing new bears (`asked.py`). What does not belong here: reading files (`reader.py`); the rules that
look at other tables (`sql/load/orphan_*.sql`).
"""

from __future__ import annotations

from pipeline.load.asked import Asked, Question
from pipeline.load.files import natural_key
from pipeline.load.inputs import MADE_OF_VISITS, TABLES, VISITS, Table
from pipeline.warehouse import SQL_DIR, Warehouse

FATE = "row_id BIGINT, load_id INTEGER, fate VARCHAR, reason VARCHAR, detail VARCHAR, by_row_id BIGINT, key VARCHAR"


def resolve(warehouse: Warehouse) -> None:
    """(Re)make the cleaned tables, `row_fate` and `kept_count` from the staged tables."""
    question = Question(warehouse)
    rank_files(warehouse)
    for table in TABLES:
        asked = question.ask(table)
        if asked is Asked.NOTHING:
            continue
        orphans = (SQL_DIR / "load" / f"orphan_{table.name}.sql").exists()
        if orphans:
            warehouse.run(f"load/orphan_{table.name}.sql")
        with warehouse.transaction():
            _decide(warehouse, table, orphans, asked)
            _clean(warehouse, table)
        question.settle(table, asked)
    with warehouse.transaction():
        _collect(warehouse)
        question.answered()


def rank_files(warehouse: Warehouse) -> None:
    """load_rank: the order of the loaded files, natural by name, then folder, then load."""
    rows = warehouse.con.sql("SELECT load_id, file, folder FROM load_file").fetchall()
    ordered = sorted(rows, key=lambda r: (natural_key(r[1]), natural_key(r[2]), r[0]))
    warehouse.execute("CREATE OR REPLACE TABLE load_rank (load_id INTEGER, file_rank INTEGER)")
    if ordered:
        values = ", ".join(f"({r[0]}, {i})" for i, r in enumerate(ordered))
        warehouse.execute(f"INSERT INTO load_rank VALUES {values}")


def _decide(warehouse: Warehouse, table: Table, orphans: bool, asked: Asked) -> None:
    """staging.fate_<table>: a row per staged row that is rejected as an orphan, repeated or superseded."""
    key = ", ".join(f"s.{k}" for k in table.key)
    key_text = " || '|' || ".join(f"s.{k}::VARCHAR" for k in table.key)
    fate, rows = table.fates, f"asked_{table.name}"
    if asked is Asked.PART:
        warehouse.execute(f"DELETE FROM {fate} WHERE row_id IN (SELECT row_id FROM {rows})")
    else:
        warehouse.execute(f"CREATE OR REPLACE TABLE {fate} ({FATE})")
    if orphans:
        warehouse.execute(
            f"INSERT INTO {fate} SELECT o.row_id, s.load_id, 'rejected', o.reason, o.detail, NULL, {key_text} "
            f"FROM orphan_{table.name} AS o JOIN {rows} AS s ON s.row_id = o.row_id"
        )
    # the rows that take part and share their key with another such row; hashes first, they are quicker to count
    shared = f"SELECT hash({key}) FROM {rows} AS s GROUP BY ALL HAVING count(*) > 1"
    warehouse.execute(
        f"CREATE OR REPLACE TEMP TABLE contested AS SELECT s.row_id FROM {rows} AS s "
        f"ANTI JOIN {fate} AS f ON f.row_id = s.row_id WHERE hash({key}) IN ({shared})"
    )
    if warehouse.scalar("SELECT count(*) FROM contested"):
        _settle(warehouse, table, key, key_text)


def _settle(warehouse: Warehouse, table: Table, key: str, key_text: str) -> None:
    """Of identical rows all but the first are repeated; of one key the first of those is kept that came last, as they
    last came: a row may be corrected back. One instant on another local day is another visit time: an export may learn
    of its time zone."""
    fate = table.fates
    local_day = ["s.visited_on"] if table is VISITS else []
    same = ", ".join([*(f"s.{c.name}" for c in table.columns), *local_day, "s.extras"])
    warehouse.execute(
        f"CREATE OR REPLACE TEMP TABLE contest AS SELECT s.*, r.file_rank FROM asked_{table.name} AS s "
        f"JOIN contested AS c ON c.row_id = s.row_id JOIN load_rank AS r ON r.load_id = s.load_id"
    )
    warehouse.execute(
        f"INSERT INTO {fate} SELECT s.row_id, s.load_id, 'repeated', NULL, NULL, NULL, {key_text} FROM contest AS s "
        f"QUALIFY row_number() OVER (PARTITION BY {same} ORDER BY s.file_rank, s.row_id) > 1"
    )
    warehouse.execute(
        f"INSERT INTO {fate} WITH came AS (SELECT s.*, max({{'file_rank': s.file_rank, 'row_id': s.row_id}}) "
        f"OVER (PARTITION BY {same}) AS latest FROM contest AS s) "
        f"SELECT s.row_id, s.load_id, 'superseded', NULL, NULL, first(s.latest.row_id) OVER latest_first, {key_text} "
        f"FROM came AS s ANTI JOIN {fate} AS f ON f.row_id = s.row_id "
        f"WINDOW latest_first AS (PARTITION BY {key} ORDER BY s.recorded_at DESC NULLS LAST, s.latest DESC) "
        f"QUALIFY row_number() OVER latest_first > 1"
    )
    warehouse.execute("DROP TABLE contest")


def _clean(warehouse: Warehouse, table: Table) -> None:
    """The cleaned table, a view: of the rows that can be understood those without a fate. A copy of them would cost as
    much as reading them did.
    """
    warehouse.execute(f"CREATE OR REPLACE VIEW {table.cleaned} AS {cleaned_rows(table)}")


def cleaned_rows(table: Table, only: str = "") -> str:
    """A query of the rows of the cleaned table, or those `only` whose staged row (its rowid) another query names: these
    are found by where they stand, so that no others are read.
    """
    values = [f"{c.cleaned} AS {c.name}" for c in table.columns]
    if table.name == "visits":
        values += [f"s.{name}" for name, *_ in MADE_OF_VISITS]
    # One anti-join for all that is left out: for each condition more, DuckDB expects a fifth of the rows to remain, and
    # would soon hash the visits to look the equipment up in them.
    out = (
        f"SELECT row_id FROM {table.fates} UNION ALL SELECT rowid FROM {table.staged} WHERE wrong IS NOT NULL"
    )
    rows = f"(SELECT *, rowid FROM {table.staged} WHERE rowid IN ({only}))" if only else table.staged
    return f"SELECT {', '.join(values)} FROM {rows} AS s ANTI JOIN ({out}) AS f ON f.row_id = s.rowid"


def _collect(warehouse: Warehouse) -> None:
    """row_fate over all tables, with places in the file; kept_count: rows per load that stand in a cleaned table."""
    fates = []
    for t in TABLES:
        first = (
            f"(SELECT load_id, first_row FROM load_place WHERE table_name = '{t.name}' AND rows_staged > 0)"
        )
        fates.append(
            f"SELECT '{t.name}' AS table_name, f.load_id, f.row_id - a.first_row AS ordinal, f.fate, f.reason, "
            f"f.detail, b.load_id AS by_load_id, f.by_row_id - b.first_row AS by_ordinal, f.key "
            f"FROM {t.fates} AS f JOIN {first} AS a ON a.load_id = f.load_id "
            f"ASOF LEFT JOIN {first} AS b ON f.by_row_id >= b.first_row"  # the rows of a load stand together
            if warehouse.scalar(f"SELECT count(*) FROM {t.fates}")
            else f"SELECT '{t.name}', load_id, row_id, fate, reason, detail, load_id, by_row_id, key FROM {t.fates}"
        )
    names = "table_name, load_id, ordinal, fate, reason, detail, by_load_id, by_ordinal, key"
    warehouse.execute(f"CREATE OR REPLACE TABLE row_fate ({names}) AS " + " UNION ALL ".join(fates))
    warehouse.execute(
        "CREATE OR REPLACE TABLE kept_count AS "
        "SELECT f.load_id, f.rows_staged - f.rows_wrong - coalesce(t.n, 0) AS n FROM load_file AS f "
        "LEFT JOIN (SELECT load_id, count(*) AS n FROM row_fate GROUP BY load_id) AS t USING (load_id)"
    )
