"""What a worker does: some steps of a stage over one part of the fleet, from Parquet to Parquet.

An order holds names and numbers only; the steps are looked up in the worker's own copy of the program.
"""

from __future__ import annotations

import os
import re
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from pipeline import __version__
from pipeline.errors import UsageError
from pipeline.load.inputs import STAGING
from pipeline.scale.registry import steps_of
from pipeline.scale.shared import Shared
from pipeline.settings import Settings
from pipeline.steps import run_steps
from pipeline.warehouse import SQL_DIR, Warehouse, literal, quoted

Kind = Literal["table", "temp table", "view"]
MAKES = re.compile(
    r"CREATE\s+(?:OR\s+REPLACE\s+)?(?:TEMP\s+|TEMPORARY\s+)?(TABLE|VIEW)\s+\"?((?:staging\.)?\w+)\"?",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Source:
    """Files that hold a table, and which of their rows belong to the part: all, or those of its visits."""

    files: tuple[str, ...]
    rows: Literal["all", "of its visits"] = "all"


@dataclass(frozen=True)
class PartOrder:
    """Steps `first` to `last` (excluded) of a stage, over the part number `part` of the fleet."""

    stage: str
    first: int
    last: int
    part: int
    sources: dict[str, Source]
    shared: Shared
    settings: Settings
    variables: dict[str, tuple[object, str]]
    views: dict[str, str] = field(default_factory=dict)  # of an earlier stage, and the file that makes each
    version: str = __version__


@dataclass(frozen=True)
class PartDone:
    """What each made table is, and the file that holds its rows of this part (views: none)."""

    part: int
    kinds: dict[str, Kind]
    files: dict[str, str] = field(default_factory=dict)


def run_part(order: PartOrder) -> PartDone:
    """Run the steps; UsageError if the worker has another version of the program than the run."""
    if order.version != __version__:
        raise UsageError(
            f"a worker has fleet-static {__version__}, the run {order.version}; install the same version everywhere"
        )
    steps = steps_of(order.stage)[order.first : order.last]
    with own_warehouse(order.shared, order.settings) as (warehouse, _):
        for name, (value, sql_type) in order.variables.items():
            warehouse.set_variable(name, value, sql_type)
        _bring(warehouse, order.sources)
        for view, file in order.views.items():
            make_views_of(warehouse, file, {view})
        make_views(warehouse, order.stage, order.first, set(order.sources))
        run_steps(warehouse, steps)
        return _take_away(warehouse, order, [name for step in steps for name in step.makes])


@contextmanager
def own_warehouse(shared: Shared, settings: Settings) -> Iterator[tuple[Warehouse, Path]]:
    """A warehouse in memory for the time of a task, and a scratch folder, where it also spills.

    On a Dask worker: with as many threads as it has, the folder below its own.
    """
    worker = _dask_worker()
    with (
        tempfile.TemporaryDirectory(
            prefix=f"fleet-static-{os.getpid()}-", dir=worker and worker.local_directory
        ) as scratch,
        Warehouse(":memory:", settings) as warehouse,
    ):
        warehouse.execute(f"SET temp_directory = {literal(scratch)}")
        warehouse.execute(f"CREATE SCHEMA IF NOT EXISTS {STAGING}")
        if worker:
            warehouse.execute(f"SET threads = {worker.state.nthreads}")
        shared.open(warehouse)
        yield warehouse, Path(scratch)


def _dask_worker() -> Any:
    """The Dask worker that this task runs on; None outside of Dask."""
    try:
        from distributed import get_worker

        return get_worker()
    except (ImportError, ValueError):
        return None


def _bring(warehouse: Warehouse, sources: dict[str, Source]) -> None:
    """Rows of the part as views on their files; what a step may add rows to, as tables."""
    late = {name: source for name, source in sources.items() if source.rows == "of its visits"}
    for name, source in sources.items():
        if name not in late:
            warehouse.execute(f"CREATE VIEW {quoted(name)} AS SELECT * FROM {parquet(source.files)}")
    for name, source in late.items():
        warehouse.execute(
            f"CREATE TABLE {quoted(name)} AS SELECT * FROM {parquet(source.files)} SEMI JOIN visit USING (visit_id)"
        )


def parquet(files: Sequence[str]) -> str:
    """The call that reads these files as one table, without the column that the files are split by."""
    names = ", ".join(literal(file) for file in files)
    return f"read_parquet([{names}], hive_partitioning = false)"


def make_views(warehouse: Warehouse, stage: str, before: int, there: set[str]) -> None:
    """Make the views again that earlier steps of the stage left and that are not there as rows."""
    for step in steps_of(stage)[:before]:
        wanted = {name for name in step.makes if name not in there}
        if wanted and isinstance(step.run, str):
            make_views_of(warehouse, step.run, wanted)


def make_views_of(warehouse: Warehouse, file: str, wanted: set[str]) -> None:
    """Run those statements of `sql/<file>` that make one of the wanted views."""
    for statement in warehouse.con.extract_statements((SQL_DIR / file).read_text(encoding="utf-8")):
        made = MAKES.match(without_comments(statement.query).lstrip())
        if made and made[1].upper() == "VIEW" and made[2] in wanted:
            warehouse.execute(statement.query)


def without_comments(sql: str) -> str:
    """SQL of the house's own files, whose texts hold no two dashes."""
    return "\n".join(line.split("--")[0] for line in sql.splitlines())


def _take_away(warehouse: Warehouse, order: PartOrder, made: Sequence[str]) -> PartDone:
    """Write the tables that the steps made, each into a file of its own."""
    done = PartDone(order.part, {})
    for name in dict.fromkeys(made):
        kind = kind_of(warehouse, name)
        done.kinds[name] = kind
        if kind != "view":
            done.files[name] = order.shared.new(name, order.part)
            warehouse.execute(
                f"COPY (SELECT * FROM {quoted(name)}) TO {literal(done.files[name])} (FORMAT parquet)"
            )
    return done


def kind_of(warehouse: Warehouse, name: str) -> Kind:
    """What the name stands for on this connection; temporary things hide others."""
    temporary = warehouse.relations("temp").get(name)
    if temporary is not None:
        return "temp table" if temporary == "TABLE" else "view"
    return "table" if warehouse.relations()[name] == "TABLE" else "view"
