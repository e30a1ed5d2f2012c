"""The level visits as arrays, some of the fleet at a time: what bounds the memory of the trends."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.site.groups import Floats, Groups
from pipeline.warehouse import Warehouse

ROWS_AT_ONCE = 1_000_000
DAY = "visited_on - DATE '1970-01-01' AS day"


def make_by_parts(
    warehouse: Warehouse,
    names: Sequence[str],
    query: str,
    make: Callable[[list[NDArray[Any]]], Sequence[pl.DataFrame]],
) -> None:
    """Make the tables `names` of what `make` returns for each part of the fleet.

    `make` gets the columns of `query`, in which {part} stands for a condition on visits, by unit and time. As many
    parts are worked on at once as DuckDB has threads: numpy works without the interpreter's lock.
    """
    at_once = warehouse.scalar("SELECT current_setting('threads')")
    made: list[Future[Sequence[pl.DataFrame]]] = []
    with ThreadPoolExecutor(at_once) as threads:
        for part in _parts(warehouse, at_once):
            rows = warehouse.query(query.format(part=part))
            if len(made) >= at_once:  # no more rows are held than are worked on, and the next ones
                made[-at_once].result()
            made.append(threads.submit(lambda rows: make(_in_time(rows)), rows))
    parts = [part.result() for part in made]
    for name, frames in zip(names, zip(*parts, strict=True), strict=True):
        warehouse.store(name, pl.concat(frames), temporary=True)


def _parts(warehouse: Warehouse, at_once: int) -> list[str]:
    """Conditions that cut the fleet between pieces of equipment: `at_once` have about ROWS_AT_ONCE visits together."""
    rows = warehouse.scalar("SELECT count(*) FROM level_visit")
    pieces = warehouse.scalar("SELECT coalesce(max(unit_no), 0) // 2 + 1 FROM level_visit")
    n = max(math.ceil(rows / ROWS_AT_ONCE * at_once), 1)
    width = 2 * math.ceil(pieces / n)
    return [f"unit_no >= {i * width} AND unit_no < {(i + 1) * width}" for i in range(n)]


def _in_time(rows: pl.DataFrame) -> list[NDArray[Any]]:
    """The columns, unit_no and at_year the first two, by unit and time: as they mostly come anyway."""
    columns = [column.to_numpy() for column in rows.iter_columns()]
    step = np.diff(columns[0])
    if ((step > 0) | ((step == 0) & (np.diff(columns[1]) >= 0))).all():
        return columns
    order = np.lexsort((columns[1], columns[0]))
    return [column[order] for column in columns]


def settings_of(warehouse: Warehouse, *names: str) -> list[float]:
    """Values of settings and of what was fitted over the fleet."""
    return [float(warehouse.scalar(f"SELECT getvariable('{name}')")) for name in names]


def distance_in(modes: Groups, level: Floats) -> Floats:
    """How far each visit's level lies from the median of its mode's."""
    distance: Floats = np.abs(level - modes.spread(modes.median(level)))
    return distance


def narrowing_of(n_visits: NDArray[Any], n_modes: NDArray[Any]) -> Floats:
    """How much smaller what few visits leave over is than what many would: slope and levels are fitted to them."""
    narrowing: Floats = np.sqrt(np.maximum(1 - (n_modes + 1.0) / n_visits, 0))
    return narrowing
