"""Storage that the run and every worker reach under one name: a folder, or the URL of an object store.

Every file has a name of its own, whoever writes it and however often: a task that is tried again, or a slow worker
that was given up, never writes where somebody reads.
"""

from __future__ import annotations

import shutil
import uuid
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import duckdb

from pipeline.errors import UsageError
from pipeline.warehouse import Warehouse

OF_HTTPFS = ("s3", "gs", "gcs", "r2")  # what DuckDB's extension writes to


@dataclass(frozen=True)
class Shared:
    """`root`: an absolute path, or a URL such as s3://bucket/folder, of a folder that is this run's own."""

    root: str

    @property
    def is_url(self) -> bool:
        return "://" in self.root

    def prepare(self, warehouse: Warehouse) -> None:
        """Make the folder empty, and let this warehouse use it; UsageError where it cannot be reached."""
        self.clear()
        if not self.is_url:
            Path(self.root).mkdir(parents=True)
        self.open(warehouse)

    def open(self, warehouse: Warehouse) -> None:
        """Let this warehouse read and write here: a URL by DuckDB's extension, else by what fsspec has for it."""
        if not self.is_url or self._by_extension(warehouse):
            return
        store = self._store()
        if store is None:
            raise UsageError(
                f"--shared {self.root}: neither DuckDB's httpfs extension nor a file system of fsspec for it (such as "
                "s3fs) is installed; install one on the machine of the run and on every worker, or name a folder that "
                "all of them reach"
            )
        names = [store.protocol] if isinstance(store.protocol, str) else store.protocol
        if not any(warehouse.con.filesystem_is_registered(name) for name in names):
            warehouse.con.register_filesystem(store)

    def _by_extension(self, warehouse: Warehouse) -> bool:
        if self.root.split("://")[0] not in OF_HTTPFS:
            return False
        try:
            warehouse.con.execute("LOAD httpfs")
        except duckdb.Error:
            return False
        return True

    def _store(self) -> Any:
        """The file system of the URL, with the credentials that it finds; None where nothing is installed for it."""
        import fsspec

        try:
            return fsspec.filesystem(self.root.split("://")[0])
        except (ImportError, ValueError):
            return None

    def clear(self) -> None:
        """Delete the folder. Where DuckDB's extension alone reaches an object store, its own rules have to do that."""
        if not self.is_url:
            shutil.rmtree(self.root, ignore_errors=True)
            return
        store = self._store()
        if store is not None and store.exists(self.root):
            store.rm(self.root, recursive=True)

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
