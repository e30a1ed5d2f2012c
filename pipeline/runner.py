"""One run from the command line: the lock, the order, the stages with or without Prefect, the closing summary."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from datetime import date
from pathlib import Path

from pipeline.errors import UsageError
from pipeline.settings import read_settings
from pipeline.stages import STAGES, RunOrder
from pipeline.warehouse import Warehouse, folder_lock


def run_drops(
    drops: Sequence[Path],
    into: Path,
    *,
    today: date,
    mapping: Path | None = None,
    settings_file: Path | None = None,
    direct: bool = False,
    quiet: bool = False,
) -> None:
    """Load the drops into `into`, publish and report; raises FleetStaticError with what the user must know."""
    if into.exists() and not into.is_dir():
        raise UsageError(f"--into {into} is a file; expected a folder")
    order = RunOrder(
        drops=tuple(drops),
        into=into,
        today=today,
        mapping=mapping,
        settings=read_settings(settings_file),
        say=_silent if quiet else _say,
    )
    with folder_lock(into):
        if direct:
            with Warehouse(order.work_file, order.settings) as warehouse:
                for _, stage in STAGES:
                    stage(warehouse, order)
        else:
            from pipeline.flow import run_with_prefect

            run_with_prefect(order, list(STAGES))


def _say(line: str) -> None:
    sys.stderr.write(line + "\n")


def _silent(_: str) -> None:
    return None
