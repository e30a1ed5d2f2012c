"""The load stage, step by step: copy, read, stage, decide, point at lines."""

from __future__ import annotations

import gzip
import os
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import polars as pl

from pipeline.errors import StageError, UsageError
from pipeline.load.files import Copy, InputFile, find_files, table_of, take_copy
from pipeline.load.header import read_header
from pipeline.load.inputs import BY_NAME, MADE_OF_VISITS, TABLES, Table
from pipeline.load.lines import find_records, lines_of
from pipeline.load.reader import Layout, lay_out, select
from pipeline.load.resolve import resolve, rows_to_point_at
from pipeline.stages import RunOrder
from pipeline.warehouse import Warehouse

SAID_PER_FILE = 20
PUBLISHED = ("load_ledger", "rejected_row", "superseded_row")


def load(warehouse: Warehouse, order: RunOrder) -> None:
    """Read what is new in the drops, keep what earlier runs loaded, and make the cleaned tables of all of it."""
    _prepare(warehouse)
    withdraw(warehouse, order)
    known = {(r[0], r[1]) for r in warehouse.con.sql("SELECT file, file_sha256 FROM load_file").fetchall()}
    for file in find_files(order.drops, table_of, order.say):
        copy = take_copy(file.path, order.into / "drops")
        if (file.name, copy.sha256) in known:
            order.say(f"{file.name}: loaded before, nothing new")
            continue
        known.add((file.name, copy.sha256))
        _stage(warehouse, order, file, copy)
    _forget_incoming(order)
    resolve(warehouse)
    _point_at_lines(warehouse, order)
    for name in PUBLISHED:
        warehouse.run(f"load/{name}.sql")
    _assert_conserved(warehouse)


def accept(warehouse: Warehouse, order: RunOrder) -> None:
    """The gate let this run pass: what it staged stays."""
    warehouse.execute("UPDATE load_file SET accepted = true WHERE NOT accepted")


def withdraw(warehouse: Warehouse, order: RunOrder) -> None:
    """Take out whatever was staged by a run that the gate did not let pass, or that died before."""
    with warehouse.transaction():
        for name in [*(t.staged for t in TABLES), "refused_row", "row_line"]:
            warehouse.execute(
                f"DELETE FROM {name} WHERE load_id IN (SELECT load_id FROM load_file WHERE NOT accepted)"
            )
        warehouse.execute("DELETE FROM load_file WHERE NOT accepted")


def _prepare(warehouse: Warehouse) -> None:
    warehouse.run("load/schema.sql")
    for table in TABLES:
        columns = [(c.name, c.sql_type) for c in table.columns]
        columns += [(n, t) for n, t, *_ in MADE_OF_VISITS] if table.name == "visits" else []
        columns += [("extras", "VARCHAR"), ("reason", "VARCHAR"), ("detail", "VARCHAR")]
        listed = ", ".join(f"{n} {t}" for n, t in columns)
        warehouse.execute(f"CREATE TABLE IF NOT EXISTS {table.staged} (load_id INTEGER, {listed})")


def _kept_path(order: RunOrder, sha256: str) -> Path:
    return order.into / "drops" / sha256


def _stage(warehouse: Warehouse, order: RunOrder, file: InputFile, copy: Copy) -> None:
    """Read one file into its staged table, and its unreadable rows into refused_row."""
    table = BY_NAME[file.table]
    if copy.bad_byte is not None:
        raise UsageError(
            f"{file.name}: byte {copy.bad_byte + 1} is not UTF-8; expected UTF-8 (save it again as CSV UTF-8)"
        )
    header = read_header(copy.text, file.name)
    layout = lay_out(table, header)
    missing = [c for c in table.required if c not in layout.places]
    if missing:
        raise UsageError(
            f"{file.name}:1: column {', '.join(missing)} is missing; the header has {', '.join(header.names)}"
        )
    if layout.extras:
        order.say(f"{file.name}: kept as extras: {', '.join(layout.extras)}")
    with warehouse.transaction():
        load_id = (warehouse.scalar("SELECT max(load_id) FROM load_file") or 0) + 1
        first = warehouse.scalar(f"SELECT max(rowid) FROM {table.staged}")
        warehouse.execute(f"INSERT INTO {table.staged} {select(layout, copy.text, load_id)}")
        _refuse(warehouse, table, layout, copy.text, load_id, -1 if first is None else first)
        rows = warehouse.scalar(
            f"SELECT (SELECT count(*) FROM {table.staged} WHERE load_id = {load_id}) "
            f"+ (SELECT count(*) FROM refused_row WHERE load_id = {load_id} AND record IS NOT NULL)"
        )
        warehouse.execute(
            "INSERT INTO load_file VALUES (?, ?, ?, ?, ?, ?, ?, false)",
            [load_id, file.name, file.folder, copy.sha256, table.name, datetime.now(UTC), rows],
        )
    os.replace(copy.path, _kept_path(order, copy.sha256))
    _say_refused(warehouse, order, file, load_id)


def _refuse(
    warehouse: Warehouse, table: Table, layout: Layout, text: Path, load_id: int, before: int
) -> None:
    ragged = warehouse.con.sql(
        "SELECT DISTINCT ON (line) line - 1, error_type, error_message FROM reject_errors ORDER BY line"
    ).fetchall()
    warehouse.execute("DROP TABLE reject_errors")
    warehouse.execute("DROP TABLE reject_scans")
    wrong = warehouse.con.sql(
        f"SELECT rowid, reason, detail FROM {table.staged} WHERE rowid > {before} AND reason IS NOT NULL ORDER BY rowid"
    ).fetchall()
    if not ragged and not wrong:
        return
    records = find_records(text)
    places = np.array([r[0] for r in ragged], dtype=np.int64)
    n = len(layout.header.names)
    frame = [
        (
            load_id,
            int(r[0]),
            None,
            int(records.lines[r[0]]),
            raw,
            "row_malformed",
            f"{r[2]}, expected {n} values",
        )
        for r, raw in zip(ragged, records.texts(places), strict=True)
    ]
    if wrong:
        first = warehouse.scalar(f"SELECT min(rowid) FROM {table.staged} WHERE load_id = {load_id}")
        ordinals = np.array([w[0] - first for w in wrong], dtype=np.int64)
        at = records.of_rows(places)[ordinals]
        frame += [
            (load_id, None, int(o), int(line), raw, w[1], w[2])
            for o, line, raw, w in zip(ordinals, records.lines[at], records.texts(at), wrong, strict=True)
        ]
    names = ("load_id", "record", "ordinal", "line_number", "raw_line", "reason", "detail")
    rows = pl.DataFrame(
        frame, schema=dict.fromkeys(names[:4], pl.Int64) | dict.fromkeys(names[4:], pl.String), orient="row"
    )
    _append(warehouse, "refused_row", rows)


def _append(warehouse: Warehouse, table: str, rows: pl.DataFrame) -> None:
    warehouse.con.register("_rows", rows)
    try:
        warehouse.execute(f"INSERT INTO {table} SELECT * FROM _rows")
    finally:
        warehouse.con.unregister("_rows")


def _say_refused(warehouse: Warehouse, order: RunOrder, file: InputFile, load_id: int) -> None:
    rows = warehouse.con.sql(
        f"SELECT line_number, reason, detail FROM refused_row WHERE load_id = {load_id} ORDER BY line_number"
    ).fetchall()
    for line, reason, detail in rows[:SAID_PER_FILE]:
        order.say(f"{file.name}:{line}: {detail} ({reason})")
    if len(rows) > SAID_PER_FILE:
        order.say(f"{file.name}: and {len(rows) - SAID_PER_FILE} more rejected rows")


def _point_at_lines(warehouse: Warehouse, order: RunOrder) -> None:
    """Fill row_line for the rows that rejected_row and superseded_row are about to show."""
    for load_id, ordinals in rows_to_point_at(warehouse).items():
        sha256, name = warehouse.con.sql(
            f"SELECT file_sha256, file FROM load_file WHERE load_id = {load_id}"
        ).fetchall()[0]
        ragged = warehouse.con.sql(
            f"SELECT record FROM refused_row WHERE load_id = {load_id} AND record IS NOT NULL ORDER BY record"
        ).fetchall()
        kept = _kept_path(order, sha256)
        text = kept
        if name.lower().endswith(".gz"):
            text = order.into / "drops" / "incoming.text"
            text.write_bytes(gzip.decompress(kept.read_bytes()))
        lines = lines_of(text, np.array([r[0] for r in ragged], dtype=np.int64), ordinals)
        _append(warehouse, "row_line", lines.insert_column(0, pl.lit(load_id).alias("load_id")))
    _forget_incoming(order)


def _forget_incoming(order: RunOrder) -> None:
    for name in ("incoming", "incoming.text"):
        (order.into / "drops" / name).unlink(missing_ok=True)


def _assert_conserved(warehouse: Warehouse) -> None:
    """rows_read = rows_loaded + rows_rejected + rows_repeated, for every file."""
    lost = warehouse.con.sql(
        "SELECT file, rows_read, rows_loaded, rows_rejected, rows_repeated FROM load_ledger "
        "WHERE rows_read <> rows_loaded + rows_rejected + rows_repeated"
    ).fetchall()
    if lost:
        raise StageError(f"rows are not conserved (file, read, loaded, rejected, repeated): {lost}")
