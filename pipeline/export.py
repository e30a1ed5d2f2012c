"""The whole publication as Parquet for other engines, with a manifest that says what is there.

`visit_static` and `visit` are partitioned by the year of the visit's local day (folders `year=2026`); every other
table is one file. A folder is written beside its place and put there at once, so a broken export leaves nothing.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from pathlib import Path
from typing import Any

import duckdb

from pipeline.errors import StageError, UsageError
from pipeline.warehouse import TABLES, attach_published, literal

PARTITIONED = {"visit_static": "visited_on", "visit": "visited_on"}
FORMAT = 1  # of the manifest


def export(published: Path, folder: Path) -> dict[str, Any]:
    """Write every published table into `folder` (new or empty) and return the manifest."""
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise UsageError(f"{folder} is there already and not empty; expected a new folder")
    folder.parent.mkdir(parents=True, exist_ok=True)
    # What an export that was killed left under this name is ours to remove.
    new = folder.with_name(f".{folder.name}.unfinished")
    shutil.rmtree(new, ignore_errors=True)
    new.mkdir()
    try:
        manifest = _write(published, new)
        if folder.exists():
            folder.rmdir()
        os.replace(new, folder)
    finally:
        shutil.rmtree(new, ignore_errors=True)
    return manifest


def _write(published: Path, folder: Path) -> dict[str, Any]:
    con = attach_published(published)
    try:
        con.execute("SET preserve_insertion_order = true")
        # One thread: one file a partition, and the same bytes from the same publication.
        con.execute("SET threads = 1")
        names = con.execute(f"SELECT table_name, comment FROM ({TABLES}) ORDER BY table_name").fetchall()
        tables = [_write_table(con, name, comment, folder) for name, comment in names]
        manifest = {"format": FORMAT, "publication": _publication(con), "tables": tables}
    except duckdb.Error as error:
        raise StageError(f"the export of {published} broke: {error}") from error
    finally:
        con.close()
    (folder / "manifest.json").write_text(
        json.dumps(manifest, indent=1, ensure_ascii=False) + "\n", encoding="utf-8"
    )
    return manifest


def _write_table(
    con: duckdb.DuckDBPyConnection, name: str, comment: str | None, folder: Path
) -> dict[str, Any]:
    day = PARTITIONED.get(name)
    if day is None:
        target = literal(folder / f"{name}.parquet")
        con.execute(f'COPY "{name}" TO {target} (FORMAT parquet, COMPRESSION zstd)')
    else:
        con.execute(
            f'COPY (SELECT *, year("{day}") AS year FROM "{name}") TO {literal(folder / name)} '
            "(FORMAT parquet, COMPRESSION zstd, PARTITION_BY (year), FILENAME_PATTERN 'part_{i}')"
        )
    files = sorted(p for p in folder.rglob("*.parquet") if name in (p.stem, p.relative_to(folder).parts[0]))
    (rows,) = con.execute(f'SELECT count(*) FROM "{name}"').fetchall()[0]
    columns = con.execute(
        "SELECT column_name, data_type, comment FROM duckdb_columns() WHERE database_name = 'fleet' "
        "AND schema_name = 'main' AND table_name = ? ORDER BY column_index",
        [name],
    ).fetchall()
    return {
        "name": name,
        "meaning": comment,
        "rows": rows,
        "partitioned_by": None if day is None else "year",
        "columns": [{"name": c, "type": type_, "meaning": text} for c, type_, text in columns],
        "files": [
            {
                "path": path.relative_to(folder).as_posix(),
                "bytes": path.stat().st_size,
                "sha256": hashlib.sha256(path.read_bytes()).hexdigest(),
            }
            for path in files
        ],
    }


def _publication(con: duckdb.DuckDBPyConnection) -> dict[str, Any]:
    row = con.execute(
        "SELECT today::VARCHAR, version, published_at::VARCHAR, settings FROM publication"
    ).fetchall()[0]
    return {"today": row[0], "version": row[1], "published_at": row[2], "settings": json.loads(row[3])}
