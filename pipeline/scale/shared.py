"""Storage that the run and every worker reach under one name: a folder, or the URL of an object store.

Every file has a name of its own, whoever writes it and however often: a task that is tried again, or a slow worker
that was given up, never writes where somebody reads.
"""

from __future__ import annotations

import shutil
import uuid
from dataclasses import dataclass
from pathlib import Path

import duckdb

from pipeline.errors import UsageError
from pipeline.warehouse import Warehouse


@dataclass(frozen=True)
class Shared:
    """`root`: an absolute path, or a URL such as s3://bucket/folder."""

    root: str

    @property
    def is_url(self) -> bool:
        return "://" in self.root

    def prepare(self, warehouse: Warehouse) -> None:
        """Make the folder empty, or load what DuckDB needs for URLs; UsageError where that is not installed."""
        if not self.is_url:
            self.clear()
            Path(self.root).mkdir(parents=True)
            return
        self.open(warehouse)

    def open(self, warehouse: Warehouse) -> None:
        """Let this warehouse read and write here."""
        if not self.is_url:
            return
        try:
            warehouse.con.execute("LOAD httpfs")
        except duckdb.Error as error:
            raise UsageError(
                f"--shared {self.root}: DuckDB's httpfs extension is not installed on this machine; install it on the "
                "machine of the run and on every worker, or name a folder that all of them reach"
            ) from error

    def clear(self) -> None:
        """Delete what is in the folder. In an object store files stay until its own rules remove them."""
        if not self.is_url:
            shutil.rmtree(self.root, ignore_errors=True)

    def new(self, table: str, part: int | None = None) -> str:
        """A name that nobody else writes to, for the rows of one table (of one part of the fleet)."""
        stem = "whole" if part is None else f"{part:05d}"
        return self._below(f"{table}/{stem}-{uuid.uuid4().hex}.parquet")

    def new_folder(self, table: str) -> str:
        """A folder that nobody else writes to."""
        return self._below(f"{table}/{uuid.uuid4().hex}")

    def _below(self, name: str) -> str:
        if not self.is_url:
            (Path(self.root) / name).parent.mkdir(parents=True, exist_ok=True)
        return f"{self.root.rstrip('/')}/{name}"
