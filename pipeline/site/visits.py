"""The level visits as arrays, some of the fleet at a time: what bounds the memory of the trends."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.site.groups import Floats, Groups
from pipeline.warehouse import Warehouse

ROWS_AT_ONCE = 1_000_000
Visits = dict[str, NDArray[Any]]  # columns of level_visit, each of shape (visits,)
# Columns that are not in the table as they are wanted.
COMPUTED = {"day": "visited_on - DATE '1970-01-01'"}
UNIT_AND_TIME = ("unit_no", "at_year")


@dataclass(frozen=True)
class Look:
    """What `make` tells of visits by unit and time: the tables `names`, from `columns` beside unit_no and at_year."""

    names: tuple[str, ...]
    columns: tuple[str, ...]
    make: Callable[[Visits], Sequence[pl.DataFrame]]


def make_by_parts(warehouse: Warehouse, *looks: Look) -> None:
    """Make the tables of the looks, part by part of the fleet; each part is brought once for all of them.

    As many parts are worked on at once as DuckDB has threads: numpy works without the interpreter's lock.
    """
    columns = dict.fromkeys(UNIT_AND_TIME + tuple(c for look in looks for c in look.columns))
    asked = ", ".join(f"{COMPUTED[c]} AS {c}" if c in COMPUTED else c for c in columns)

    def make(rows: pl.DataFrame) -> list[pl.DataFrame]:
        visits = _in_time(rows)
        return [frame for look in looks for frame in look.make(visits)]

    at_once = warehouse.scalar("SELECT current_setting('threads')")
    made: list[Future[list[pl.DataFrame]]] = []
    with ThreadPoolExecutor(at_once) as threads:
        for part in _parts(warehouse, at_once):
            rows = warehouse.query(f"SELECT {asked} FROM level_visit WHERE {part}")
            if len(made) >= at_once:  # no more rows are held than are worked on, and the next ones
                made[-at_once].result()
            made.append(threads.submit(make, rows))
    parts = [part.result() for part in made]
    names = [name for look in looks for name in look.names]
    for name, frames in zip(names, zip(*parts, strict=True), strict=True):
        warehouse.store(name, pl.concat(frames), temporary=True)


def _parts(warehouse: Warehouse, at_once: int) -> list[str]:
    """Conditions that cut the fleet between pieces of equipment: `at_once` have about ROWS_AT_ONCE visits together."""
    rows = warehouse.scalar("SELECT count(*) FROM level_visit")
    pieces = warehouse.scalar("SELECT coalesce(max(unit_no), 0) // 2 + 1 FROM level_visit")
    n = max(math.ceil(rows / ROWS_AT_ONCE * at_once), 1)
    width = 2 * math.ceil(pieces / n)
    return [f"unit_no >= {i * width} AND unit_no < {(i + 1) * width}" for i in range(n)]


def _in_time(rows: pl.DataFrame) -> Visits:
    """The columns by unit and time: as the rows mostly come anyway."""
    visits: Visits = {column.name: column.to_numpy() for column in rows.iter_columns()}
    unit, at_year = (visits[name] for name in UNIT_AND_TIME)
    step = np.diff(unit)
    if ((step > 0) | ((step == 0) & (np.diff(at_year) >= 0))).all():
        return visits
    order = np.lexsort((at_year, unit))
    return {name: column[order] for name, column in visits.items()}


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
