"""The stages as plain functions, in order. Runs without Prefect; `flow.py` wraps each one as a task.

Each stage reads only what earlier stages made. A stage lists the SQL files that it runs; a new table is a new
file in `sql/` and one line here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from pipeline.settings import Settings
from pipeline.warehouse import Warehouse


def _quiet(_: str) -> None:
    return None


@dataclass(frozen=True)
class RunOrder:
    """What one run was asked to do. `today` is the reference day for ages and future dates."""

    drops: tuple[Path, ...]
    into: Path
    today: date
    mapping: Path | None = None
    settings: Settings = field(default_factory=Settings)
    say: Callable[[str], None] = _quiet

    @property
    def work_file(self) -> Path:
        return self.into / "work.duckdb"

    @property
    def published_file(self) -> Path:
        return self.into / "fleet.duckdb"

    @property
    def reports_folder(self) -> Path:
        return self.into / "reports"


Stage = Callable[[Warehouse, RunOrder], None]
