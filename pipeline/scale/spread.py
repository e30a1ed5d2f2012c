"""The run's side of a stage that is spread over parts: hands rows to the workers, gathers what they made.

Equipment steps run on the workers, fleet steps here, in the order of the stage. A table that the workers made is here a
table where it is published, else a view on their files; a table that fleet steps made goes to the workers as a file.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import groupby
from math import ceil

from pipeline.load.inputs import STAGING
from pipeline.scale.part import (
    MAKES,
    PartDone,
    PartOrder,
    Source,
    make_views_of,
    parquet,
    run_part,
    without_comments,
)
from pipeline.scale.pool import Pool
from pipeline.scale.registry import steps_of
from pipeline.scale.shared import Shared
from pipeline.steps import Step, run_steps
from pipeline.warehouse import SQL_DIR, Warehouse, literal, quoted

SPLIT_BY = "hash(equipment_id)"  # DuckDB's own: the same on every machine with the same version


class Spread:
    """One run's parts: what has been made of them so far, and where it lies."""

    def __init__(self, pool: Pool, shared: Shared) -> None:
        self.pool = pool
        self.shared = shared
        self.parts = pool.workers
        self._made: dict[str, list[str]] = {}  # table made by workers -> a file a part
        self._handed: dict[str, list[Source]] = {}  # table handed down -> its files by part
        self._views: dict[str, tuple[str, str]] = {}  # view that workers made -> its stage and file, in order

    def divide(self, warehouse: Warehouse) -> None:
        """Decide on the parts of the fleet: one a worker, more where a part would hold too many visits."""
        visits = int(warehouse.scalar("SELECT count(*) FROM visit"))
        self.parts = max(self.pool.workers, ceil(visits / warehouse.settings["part_visits"]))

    def run(self, warehouse: Warehouse, stage: str) -> None:
        """All steps of a stage, in order."""
        first = 0
        for scope, group in groupby(steps_of(stage), key=lambda step: step.scope):
            steps = tuple(group)
            if scope == "fleet":
                run_steps(warehouse, steps)
                for name in (name for step in steps for name in step.makes):
                    self._made.pop(name, None)
                    self._handed.pop(name, None)
            else:
                self._on_workers(warehouse, stage, first, steps)
            first += len(steps)

    def _on_workers(self, warehouse: Warehouse, stage: str, first: int, steps: tuple[Step, ...]) -> None:
        asked, views = self._asked_for(warehouse, stage, steps)
        for name in asked:
            if name not in self._made and name not in self._handed:
                self._handed[name] = self._hand_down(warehouse, name)
        orders = [
            PartOrder(
                stage=stage,
                first=first,
                last=first + len(steps),
                part=part,
                sources={name: self._source(name, part) for name in asked},
                shared=self.shared,
                settings=warehouse.settings,
                variables=warehouse.variables(),
                views=views,
            )
            for part in range(self.parts)
        ]
        self._gather(warehouse, stage, steps, self.pool.map(run_part, orders))

    def _source(self, name: str, part: int) -> Source:
        return Source((self._made[name][part],)) if name in self._made else self._handed[name][part]

    def _asked_for(
        self, warehouse: Warehouse, stage: str, steps: Sequence[Step]
    ) -> tuple[list[str], dict[str, str]]:
        """Tables that stand here, or that the workers made, and that the steps read before they make them.

        Of a view that an earlier stage made on the workers, what it stands on, and the file that makes it again.
        """
        there = {*warehouse.relations(), *warehouse.relations("temp"), *self._made}
        asked: set[str] = set()
        made: set[str] = set()
        for step in steps:
            read, makes = names_in(step.run) if isinstance(step.run, str) else (set(), set())
            asked |= ((read | set(step.reads)) & there) - made
            made |= makes | set(step.makes)
        views: dict[str, str] = {}
        for view, (of_stage, file) in reversed(self._views.items()):
            if view in asked and of_stage != stage:
                views[view] = file
                asked = (asked | names_in(file)[0] & there) - {view}
        return sorted(asked), dict(reversed(views.items()))

    def _hand_down(self, warehouse: Warehouse, name: str) -> list[Source]:
        """Write a table of the run's for the workers: by part where it names equipment, else whole."""
        columns = warehouse.columns(quoted(name))
        if "equipment_id" in columns:
            return [Source(files) for files in self._split(warehouse, name)]
        file = self.shared.new(name)
        warehouse.execute(f"COPY (SELECT * FROM {quoted(name)}) TO {literal(file)} (FORMAT parquet)")
        return [Source((file,), "of its visits" if "visit_id" in columns else "all")] * self.parts

    def _split(self, warehouse: Warehouse, name: str) -> list[tuple[str, ...]]:
        """The rows of a table by part of the fleet: the files of each part, at least an empty one."""
        folder = self.shared.new_folder(name)
        warehouse.execute(
            f"COPY (SELECT *, ({SPLIT_BY} % {self.parts})::INTEGER AS part_of_fleet FROM {quoted(name)}) "
            # Not asked whether the folder is empty: an object store has none before its first file.
            f"TO {literal(folder)} (FORMAT parquet, PARTITION_BY (part_of_fleet), APPEND)"
        )
        found = warehouse.con.sql(
            f"SELECT file FROM glob({literal(f'{folder}/**/*.parquet')}) ORDER BY file"
        ).fetchall()
        files = []
        for part in range(self.parts):
            mine = tuple(file for (file,) in found if f"/part_of_fleet={part}/" in file)
            if not mine:
                mine = (self.shared.new(name, part),)
                warehouse.execute(
                    f"COPY (SELECT * FROM {quoted(name)} WHERE false) TO {literal(mine[0])} (FORMAT parquet)"
                )
            files.append(mine)
        return files

    def _gather(
        self, warehouse: Warehouse, stage: str, steps: Sequence[Step], done: Sequence[PartDone]
    ) -> None:
        """Put what the workers made under its name: a table where it is kept, a view where it only passes."""
        for step in steps:
            for name in step.makes:
                kind = done[0].kinds[name]
                if kind == "view":
                    assert isinstance(step.run, str)  # functions make tables
                    make_views_of(warehouse, step.run, {name})
                    self._views[name] = stage, step.run
                    continue
                files = self._made[name] = [part.files[name] for part in done]
                self._handed.pop(name, None)
                made_of = "TABLE" if kind == "table" else "TEMP VIEW"
                warehouse.execute(
                    f"CREATE OR REPLACE {made_of} {quoted(name)} AS SELECT * FROM {parquet(files)}"
                )


def names_in(file: str) -> tuple[set[str], set[str]]:
    """Words of `sql/<file>` that may be tables, and the tables and views that it makes."""
    text = without_comments((SQL_DIR / file).read_text(encoding="utf-8"))
    makes = {made[2] for made in MAKES.finditer(text)}
    return words_in(MAKES.sub(" ", text)), makes


def words_in(sql: str) -> set[str]:
    """Words that may be tables."""
    return set(re.findall(rf"(?:{STAGING}\.)?\w+", sql))
