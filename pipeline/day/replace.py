"""Equipment steps over what is touched alone, in a database of their own in memory; what they make then takes the place
of the rows that the last run made for it.

The database `part` stands first on the search path, so the same SQL finds there the touched rows, and everything else
(small tables, macros) behind it. Steps that look at each visit by itself need the touched visits; those that judge
units need all visits of the touched equipment.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from pipeline.errors import StageError
from pipeline.load.inputs import STAGING
from pipeline.scale.part import make_views_of
from pipeline.scale.spread import names_in
from pipeline.steps import Step, run_steps
from pipeline.warehouse import Warehouse, quoted

# Of this table of many columns those are brought that steps on units name; none asks for what visit_static makes of
# others, such as the uncertainties of single visits (tests/day would find one that did).
MEASURED = f"{STAGING}.visit_measured"


class Part:
    """The rows of the touched visits, or of all visits of the touched equipment, brought as steps ask for them."""

    def __init__(
        self,
        warehouse: Warehouse,
        of: Literal["visit", "equipment"],
        steps: Sequence[Step],
        before: Sequence[Step] = (),
    ) -> None:
        """`steps`: all that will be run here; what their SQL makes is never brought. `before`: those of which the work
        file has views, which are made here again."""
        self.warehouse = warehouse
        self.of = of
        self._views = {name: step.run for step in before for name in step.makes if isinstance(step.run, str)}
        self._named = {word for step in steps if isinstance(step.run, str) for word in names_in(step.run)[0]}
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

    def give(self, name: str, rows: str) -> None:
        """The touched rows of a table, by a query that finds them sooner than the table."""
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
        late = []  # visits of touched equipment are known once these are brought
        for name in sorted(asked & columns.keys()):
            if name in self._there:  # behind a view
                continue
            if name in self._views and self.warehouse.relations()[name] == "VIEW":
                self._bring_view(name, columns)
            elif (
                self.of == "equipment" and "equipment_id" not in columns[name] and "visit_id" in columns[name]
            ):
                late.append(name)
            else:
                self._bring_rows(name, columns[name])
        for name in late:
            self._take(name, f"{within('part', MEASURED)} USING (visit_id)")

    def _bring_view(self, name: str, columns: dict[str, list[str]]) -> None:
        file = self._views[name]
        asked, made = names_in(file)
        for behind in sorted(asked & columns.keys() - self._there - made):
            self._bring_rows(behind, columns[behind])
        with self.warehouse.looking_first_at("part.main", f"{self.home}.main", make_there=True):
            make_views_of(self.warehouse, file, {name})
        self._there.add(name)

    def _bring_rows(self, name: str, columns: Sequence[str]) -> None:
        keys = {"visit_id": "touched_visit USING (visit_id)"} if self.of == "visit" else {}
        # By number where there is one: quicker than by name.
        keys |= {
            "equipment_no": "touched_number USING (equipment_no)",
            "equipment_id": "touched USING (equipment_id)",
        }
        which = next((keys[key] for key in keys if key in columns), None)
        if which is not None:
            self._take(name, which)

    def _take(self, name: str, which: str) -> None:
        rows = f"SELECT * FROM {within(self.home, name)}"
        if self.of == "equipment" and name == MEASURED:  # half of it, and most of what bringing it costs
            unnamed = [c for c in self.warehouse.columns(within(self.home, name)) if c not in self._named]
            left_out = ", ".join(f"if(false, {column}, NULL) AS {column}" for column in unnamed)
            rows = rows.replace("*", f"* REPLACE ({left_out})")
        self.warehouse.execute(f"CREATE TABLE {within('part', name)} AS {rows} SEMI JOIN {which}")
        self._there.add(name)

    def leave(self, schema: str, name: str, rows: str) -> None:
        """Write the touched rows that a query finds here into a schema for them in the work file."""
        self.warehouse.execute(f"CREATE SCHEMA IF NOT EXISTS {self.home}.{schema}")
        with self.warehouse.looking_first_at("part.main", f"{self.home}.main"):
            self.warehouse.execute(f"CREATE TABLE {self.home}.{schema}.{name} AS {rows}")

    def put_back(self, step: Step, name: str, database: str) -> None:
        """The rows of table `name` that the step made for what is touched replace those of `database`."""
        kinds = self.warehouse.relations("part")
        if kinds[name] == "VIEW":
            if name not in self.warehouse.relations():
                assert isinstance(step.run, str)
                make_views_of(self.warehouse, step.run, {name})
            return
        made, kept = within("part", name), within(database, name)
        with self.warehouse.transaction():
            which = which_rows(name, self.warehouse.columns(made), self.of)
            self.warehouse.execute(f"DELETE FROM {kept} WHERE {which}")
            self.warehouse.execute(f"INSERT INTO {kept} BY NAME SELECT * FROM {made}")


def which_rows(name: str, columns: Sequence[str], of: Literal["visit", "equipment"]) -> str:
    """The condition for a row of the table `name` to be touched; StageError where its columns name no equipment."""
    if of == "visit" and "visit_id" in columns:
        return "visit_id IN (SELECT visit_id FROM touched_visit)"
    if "equipment_no" in columns:
        return "equipment_no IN (SELECT equipment_no FROM touched_number)"
    if "unit_no" in columns:
        return "unit_no // 2 IN (SELECT equipment_no FROM touched_number)"
    if "equipment_id" in columns:
        return "equipment_id IN (SELECT equipment_id FROM touched)"
    if "visit_id" in columns:
        return "visit_id IN (SELECT visit_id FROM touched_visit)"
    raise StageError(
        f"{name} is made by a step of scope equipment, and no column says of which equipment or visit a row is; "
        "a row of several (a site's, say) is made by a step of scope fleet"
    )


def within(database: str, name: str) -> str:
    """The table `name` (as `Warehouse.relations` names it) of an attached database."""
    return f"{database}.{quoted(name if '.' in name else f'main.{name}')}"


def made_by(step: Step) -> set[str]:
    return set(step.makes) | (names_in(step.run)[1] if isinstance(step.run, str) else set())


def read_by(step: Step) -> set[str]:
    return set(step.reads) | (names_in(step.run)[0] if isinstance(step.run, str) else set())
