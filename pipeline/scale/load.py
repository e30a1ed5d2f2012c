"""Reading the files of a drop on the workers: each parses whole files, the run then takes their rows in as its own.

The run still copies and hashes every file itself, and takes a worker's rows only for the very same bytes. What a worker
cannot read, the run reads as it always would, and says what is wrong with it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime

from pipeline.errors import UsageError
from pipeline.load.copying import take_copy
from pipeline.load.files import InputFile, find_files
from pipeline.load.kept import INCOMING
from pipeline.load.mapping import Mapping, read_mapping
from pipeline.load.staging import ReadAhead, Ticket, plan, stage
from pipeline.load.work_tables import prepare
from pipeline.scale.part import own_warehouse
from pipeline.scale.pool import Pool
from pipeline.scale.shared import Shared
from pipeline.settings import Settings
from pipeline.stages import RunOrder, load_stage
from pipeline.warehouse import Warehouse, literal

WORTH_SENDING = 1 << 20  # bytes; a smaller file is read sooner than sent


@dataclass(frozen=True)
class FileOrder:
    """One file to read. `known`: SHA-256 of files that were loaded before, which nobody need read again."""

    file: InputFile
    mapping: Mapping
    known: frozenset[str]
    shared: Shared
    settings: Settings


def load_on_workers(pool: Pool, shared: Shared, warehouse: Warehouse, order: RunOrder) -> None:
    """The load stage, with its large files read by the pool."""
    mapping = read_mapping(order.mapping)
    known = frozenset(_loaded_before(warehouse))
    files = find_files(order.drops, mapping.table_of, lambda _: None).files
    orders = [
        FileOrder(replace(file, path=file.path.resolve()), mapping, known, shared, warehouse.settings)
        for file in files
        if not file.parquet and file.path.exists() and file.path.stat().st_size >= WORTH_SENDING
    ]
    read = [done for done in pool.map(read_file, orders) if done is not None] if orders else []
    load_stage(warehouse, replace(order, ahead=dict(read)))


def _loaded_before(warehouse: Warehouse) -> list[str]:
    if "load_file" not in warehouse.tables():
        return []
    return [sha256 for (sha256,) in warehouse.con.sql("SELECT file_sha256 FROM load_file").fetchall()]


def read_file(order: FileOrder) -> tuple[tuple[str, str], ReadAhead] | None:
    """Read one file into Parquet; None where it was loaded before or cannot be read as it is."""
    file = order.file
    with own_warehouse(order.shared, order.settings) as (own, scratch):
        try:
            copy = take_copy(file, scratch / INCOMING, order.mapping.encoding)
            if copy.sha256 in order.known:
                return None
            layout = plan(file, copy, order.mapping, own)
            if layout.missing:
                return None
            prepare(own)
            stage(own, file, copy, layout, Ticket(1, datetime.now(UTC), "", ""))
        except UsageError:
            return None
        names = [order.shared.new(f"read_{table}") for table in (layout.table.name, "refused")]
        for table, name in zip((layout.table.staged, "refused_row"), names, strict=True):
            own.execute(f"COPY (SELECT * FROM {table} ORDER BY rowid) TO {literal(name)} (FORMAT parquet)")
        rows_read, remark = own.con.sql("SELECT rows_read, remark FROM load_file").fetchall()[0]
        return (copy.sha256, file.table), ReadAhead(names[0], names[1], rows_read, remark)
