"""Equipment steps over the touched equipment alone, in a database of their own in memory; what they make then takes the
place of the rows that the last run made for it.

The database `part` stands first on the search path, so the same SQL finds there the rows of the touched equipment, and
everything else (small tables, macros) behind it.
"""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.load.inputs import STAGING
from pipeline.scale.part import make_views_of
from pipeline.scale.spread import names_in, words_in
from pipeline.steps import Step, run_steps
from pipeline.warehouse import Warehouse, quoted


class Part:
    """The rows of the touched equipment, brought as steps ask for them."""

    def __init__(self, warehouse: Warehouse, steps: Sequence[Step]) -> None:
        """`steps`: all that will be run here; what their SQL makes is never brought."""
        self.warehouse = warehouse
        self.home = str(warehouse.scalar("SELECT current_database()"))  # the work file's
        self._there = {
            name
            for step in steps
            if step.scope == "equipment" and isinstance(step.run, str)
            for name in made_by(step)
        }
        warehouse.execute("ATTACH ':memory:' AS part")
        warehouse.execute(f"CREATE SCHEMA part.{STAGING}")

    def close(self) -> None:
        self.warehouse.execute("DETACH part")

    def run(self, steps: Sequence[Step]) -> None:
        """Run equipment steps that follow each other; what they made stays in the part for those that come."""
        self._bring(steps)
        with self.warehouse.looking_first_at("part.main", f"{self.home}.main", make_there=True):
            run_steps(self.warehouse, steps)

    def bring(self, name: str) -> None:
        """The rows of touched equipment of a table that names its equipment."""
        self._take(name, "touched USING (equipment_id)")

    def give(self, name: str, rows: str) -> None:
        """The rows of touched equipment of a table, by a query that finds them sooner than the table."""
        self.warehouse.execute(f"CREATE TABLE {within('part', name)} AS {rows}")
        self._there.add(name)

    def _bring(self, steps: Sequence[Step]) -> None:
        columns = dict(
            self.warehouse.con.sql(
                f"SELECT if(schema_name = '{STAGING}', '{STAGING}.', '') || table_name, list(column_name) "
                f"FROM duckdb_columns() WHERE database_name = '{self.home}' AND NOT internal GROUP BY ALL"
            ).fetchall()
        )
        asked: set[str] = set()
        for step in steps:
            asked |= read_by(step) - self._there
        late = []
        for name in sorted(asked & columns.keys()):
            if "equipment_id" in columns[name]:
                self.bring(name)
            elif "visit_id" in columns[name]:
                late.append(name)
        for name in late:
            self._take(name, "touched_visit USING (visit_id)")

    def _take(self, name: str, which: str) -> None:
        self.warehouse.execute(
            f"CREATE TABLE {within('part', name)} AS "
            f"SELECT * FROM {within(self.home, name)} SEMI JOIN {which}"
        )
        self._there.add(name)

    def widen(self, steps: Sequence[Step], late: str) -> None:
        """Add the rows of equipment that was touched since, a table `late` (equipment_id), to what `steps` read."""
        asked = {name for step in steps for name in read_by(step)}
        views = self.warehouse.con.sql(
            "SELECT view_name, sql FROM duckdb_views() WHERE database_name = 'part' AND NOT internal"
        ).fetchall()
        asked |= {word for name, sql in views if name in asked for word in words_in(sql)}
        visits = f"SELECT visit_id FROM {within(self.home, 'visit')} SEMI JOIN {late} USING (equipment_id)"
        for name, kind in self.warehouse.relations("part").items():
            if kind == "TABLE" and name in asked:
                table = within("part", name)
                key = "equipment_id" if "equipment_id" in self.warehouse.columns(table) else "visit_id"
                self.warehouse.execute(
                    f"INSERT INTO {table} BY NAME SELECT * FROM {within(self.home, name)} "
                    f"SEMI JOIN {late if key == 'equipment_id' else f'({visits})'} USING ({key})"
                )

    def leave(self, name: str, schema: str) -> None:
        """Write the rows of the touched equipment beside the work file's own, into a schema for them."""
        self.warehouse.execute(f"CREATE SCHEMA IF NOT EXISTS {self.home}.{schema}")
        with self.warehouse.looking_first_at("part.main", f"{self.home}.main"):
            self.warehouse.execute(f"CREATE TABLE {self.home}.{schema}.{name} AS FROM {name}")

    def put_back(self, step: Step, name: str, database: str) -> None:
        """The rows of table `name` that the step made for the touched equipment replace those of `database`."""
        kinds = self.warehouse.relations("part")
        if kinds[name] == "VIEW":
            if name not in self.warehouse.relations():
                assert isinstance(step.run, str)
                make_views_of(self.warehouse, step.run, {name})
            return
        made, kept = within("part", name), within(database, name)
        with self.warehouse.transaction():
            self.warehouse.execute(f"DELETE FROM {kept} WHERE {which_rows(self.warehouse.columns(made))}")
            self.warehouse.execute(f"INSERT INTO {kept} BY NAME SELECT * FROM {made}")


def which_rows(columns: Sequence[str]) -> str:
    """The condition for a row to belong to touched equipment."""
    if "equipment_no" in columns:  # by number where there is one: quicker than by name
        return "equipment_no IN (SELECT equipment_no FROM touched_number)"
    if "unit_no" in columns:
        return "unit_no // 2 IN (SELECT equipment_no FROM touched_number)"
    if "equipment_id" in columns:
        return "equipment_id IN (SELECT equipment_id FROM touched)"
    return "visit_id IN (SELECT visit_id FROM touched_visit)"


def within(database: str, name: str) -> str:
    """The table `name` (as `Warehouse.relations` names it) of an attached database."""
    return f"{database}.{quoted(name if '.' in name else f'main.{name}')}"


def made_by(step: Step) -> set[str]:
    return set(step.makes) | (names_in(step.run)[1] if isinstance(step.run, str) else set())


def read_by(step: Step) -> set[str]:
    return set(step.reads) | (names_in(step.run)[0] if isinstance(step.run, str) else set())
