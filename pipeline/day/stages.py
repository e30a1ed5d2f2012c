"""The stages of a run that looks first whether it may compute the touched equipment alone.

Everything is computed where there is nothing to build on (`last_run.is_usable`), where loads were taken out, where too
much is touched, or where a figure of the whole fleet has moved in its settled digits.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import groupby

import duckdb

from pipeline.change import is_of_last_run
from pipeline.day import last_run
from pipeline.day.around import (
    IS_FLEET_CHECK,
    ask_around_changes,
    put_in_findings,
    take_out_findings,
)
from pipeline.day.coaching import show_moved
from pipeline.day.counts import count_changed, count_moved, find_moved_rows, take_back
from pipeline.day.offsets import read_moved, remember_readings
from pipeline.day.replace import Part, read_by
from pipeline.day.touched import (
    find_touched,
    nothing_was_taken_out,
    number_touched,
    share_touched,
    touch,
)
from pipeline.errors import StageError
from pipeline.load.asked import forget_changes
from pipeline.load.inputs import STAGING, VISITS
from pipeline.load.resolve import cleaned_rows
from pipeline.publish import PUBLISHED
from pipeline.site.stage import STEPS as SITE
from pipeline.stages import (
    CHECK,
    COUNT_DIGITS,
    STAGES,
    STATIC,
    RunOrder,
    Stage,
    load_stage,
    publish_stage,
)
from pipeline.steps import Step, run_steps
from pipeline.technician.stage import run_technician
from pipeline.warehouse import Warehouse, differing
from pipeline.work.stage import STEPS as WORK

# What the site and work stages make of each piece of equipment, and what of it stands in the work file.
MADE = {name for step in SITE + WORK if step.scope == "equipment" for name in step.makes}
LASTING = {name for name in MADE if name in PUBLISHED or name.startswith(f"{STAGING}.")}
# What else of it fleet steps look at.
KEPT = sorted(
    (MADE - LASTING) & {name for step in SITE + WORK if step.scope == "fleet" for name in read_by(step)}
)

# Published tables of touched equipment's rows whose contracts are asked of these alone.
ASKED_OF_TOUCHED = ("change_point", "site_attention", "site_upkeep", "site_what_if")

# Replaced rows leave gaps in the work file, and in each publication, until all is written anew.
WORN_OUT = 0.5


class _Everything(Exception):
    """All equipment must be computed; says why."""


class Day:
    """One run's choice between the touched equipment and everything, and what stands between its stages."""

    def __init__(self) -> None:
        self.may_be_part = False  # is there a last run to build on?
        self.is_part = False
        self.checked_part = False  # were checks asked of the touched equipment's visits only?
        self.replaced = 0.0  # share of the equipment whose rows were replaced since everything was computed
        self._part: Part | None = None

    def load(self, warehouse: Warehouse, order: RunOrder) -> None:
        """Load; what the last run computed stays for now where it can be built on."""
        self.may_be_part = last_run.is_usable(warehouse, order)
        load_stage(warehouse, replace(order, keeps_computed=self.may_be_part))

    def gate(self, warehouse: Warehouse, order: RunOrder) -> None:
        """Judge the drop. Where this breaks on what the last run left (a damaged file), the next run does not build on
        that; a drop that is refused leaves it as it was."""
        try:
            dict(STAGES)["gate"](warehouse, order)
        except (duckdb.Error, StageError):
            last_run.forget(order.into)
            raise

    def check(self, warehouse: Warehouse, order: RunOrder) -> None:
        """Find what is touched; repairs and checks of that, or of everything."""
        # Asked again: a damaged work file was perhaps made anew by the load.
        self.may_be_part = self.may_be_part and last_run.is_usable(warehouse, order)
        last_run.forget_mark(warehouse)  # whatever happens from here on, the next run does not build on it
        if self.may_be_part:
            try:
                self._check_touched(warehouse, order)
                return
            except _Everything as why:
                self._drop_part()
                order.say(f"everything is computed anew: {why}")
                last_run.detach(warehouse)
        run_steps(warehouse, CHECK)

    def static(self, warehouse: Warehouse, _: RunOrder) -> None:
        """Physics of the visits of touched equipment, or of all."""
        if self._part is None:
            run_steps(warehouse, STATIC)
            return
        self._part.run(STATIC)
        for step in STATIC:
            for name in step.makes:
                self._part.put_back(step, name, self._part.home)
        self._part.leave("changed", "visit_static", "FROM visit_static")
        self._drop_part()

    def technician(self, warehouse: Warehouse, order: RunOrder) -> None:
        """What is told of technicians; what is counted and shown of visits is brought up to date, or made of all."""
        if self.is_part:
            find_moved_rows(warehouse)
            run_technician(warehouse, read_moved, count_moved, show_moved)
        else:
            dict(STAGES)["technician"](warehouse, order)

    def site(self, warehouse: Warehouse, order: RunOrder) -> None:
        """Verdicts on touched equipment, and on whatever a correction that moved has touched; or on all."""
        if self.is_part:
            try:
                self._site_part(warehouse)
                last_run.keep_grounds(warehouse)
                return
            except _Everything as why:
                order.say(f"all sites are judged anew: {why}")
                self.is_part = False
                self._drop_part()
                last_run.detach(warehouse)
        run_steps(warehouse, SITE)

    def work(self, warehouse: Warehouse, order: RunOrder) -> None:
        """What work helped, by the works of touched equipment, or by all; then what the next run needs is kept."""
        if self.is_part:
            self._run_part(warehouse, WORK)
            self._drop_part()
            last_run.detach(warehouse)
            return
        dict(STAGES)["work"](warehouse, order)
        last_run.forget(order.into)
        if _is_long(warehouse):
            last_run.attach(warehouse, order.into)
            last_run.keep(warehouse, KEPT)
            last_run.keep_grounds(warehouse)
            last_run.detach(warehouse)

    def contracts(self, warehouse: Warehouse, order: RunOrder) -> None:
        """The contracts, asked of the rows that were computed where what they say of the others still holds."""
        if self.checked_part:
            warehouse.execute("CREATE SCHEMA IF NOT EXISTS changed")
            warehouse.execute("CREATE TABLE changed.finding AS FROM moved_finding")
            # What visit_static now holds of moved visits, and which of them it should hold of touched equipment.
            warehouse.execute("CREATE TABLE changed.visit AS SELECT visit_id FROM moved_row")
            warehouse.execute("CREATE TABLE changed.touched_visit AS FROM touched_visit")
        dict(STAGES)["contracts"](warehouse, order)
        forget_changes(warehouse)

    def publish(self, warehouse: Warehouse, order: RunOrder) -> None:
        """Publish; then the run is complete, and the next may build on it."""
        only_touched = self.is_part and is_of_last_run(warehouse, order.published_file)
        publish_stage(warehouse, order, only_touched=only_touched)
        if _is_long(warehouse):
            last_run.attach(warehouse, order.into)
            last_run.remember(warehouse, order, self.replaced)
            last_run.detach(warehouse)

    def _hold_against_limit(self, warehouse: Warehouse) -> None:
        share, most = share_touched(warehouse), warehouse.settings["day_most_touched"]
        if share > most:
            raise _Everything(f"{share:.0%} of the equipment is touched, more than {most:.0%}")

    def _check_touched(self, warehouse: Warehouse, order: RunOrder) -> None:
        last_run.attach(warehouse, order.into)
        if last_run.replaced_before(warehouse) > WORN_OUT:
            raise _Everything(
                "rows of half the fleet were replaced since it was last, and left gaps in the file"
            )
        if not nothing_was_taken_out(warehouse):
            raise _Everything("files that were loaded before are gone or stand elsewhere")
        find_touched(warehouse)
        self._hold_against_limit(warehouse)
        self._check_part(warehouse)
        self.replaced = last_run.replaced_before(warehouse) + share_touched(warehouse)
        self.is_part = True
        order.say(
            f"{warehouse.scalar('SELECT count(*) FROM touched')} of "
            f"{warehouse.scalar('SELECT count(*) FROM equipment')} pieces of equipment are computed anew"
        )

    def _check_part(self, warehouse: Warehouse) -> None:
        """CHECK, whose fleet steps stand first: what these find of other visits touches more equipment."""
        over_fleet = [s for s in CHECK if s.scope == "fleet" and "finding" not in s.makes]
        run_steps(warehouse, [step for step in over_fleet if step not in COUNT_DIGITS])
        count_changed(warehouse)
        ask_around_changes(warehouse)
        self._hold_against_limit(warehouse)
        by_equipment = [step for step in CHECK if step.scope == "equipment"]
        number_touched(warehouse)
        self._part = part = Part(warehouse, "visit", CHECK + STATIC)
        warehouse.execute(
            "CREATE OR REPLACE TEMP TABLE moved_visit AS "
            "SELECT visit_id FROM touched_visit UNION SELECT visit_id FROM asked"
        )
        take_out_findings(warehouse)
        take_back(warehouse, last_run.today_then(warehouse))
        remember_readings(warehouse)
        put_in_findings(warehouse)
        staged = f"SELECT rowid FROM {VISITS.staged} SEMI JOIN touched_visit USING (visit_id)"
        part.give("visit", cleaned_rows(VISITS, staged))
        part.give("finding", "FROM moved_finding SEMI JOIN touched_visit USING (visit_id)")
        part.run(by_equipment)
        warehouse.execute(
            "CREATE OR REPLACE TEMP TABLE touched_visit AS "
            "SELECT DISTINCT visit_id, visit_id IN (SELECT visit_id FROM part.main.visit) AS loaded FROM touched_visit"
        )
        for step in by_equipment:
            for name in step.makes:
                if name != "finding":
                    part.put_back(step, name, part.home)
        for name in ("finding", "moved_finding"):
            warehouse.execute(f"INSERT INTO {name} FROM part.main.finding WHERE NOT {IS_FLEET_CHECK}")
        self.checked_part = True

    def _site_part(self, warehouse: Warehouse) -> None:
        first = next(number for number, step in enumerate(SITE) if step.scope == "equipment")
        _run_over_fleet(warehouse, SITE[:first])  # the fleet's numbers and corrections
        touch(warehouse, JUDGED_BY_OTHER_CORRECTIONS)
        self._hold_against_limit(warehouse)
        self._part = Part(warehouse, "equipment", SITE + WORK, before=CHECK + STATIC)
        number_touched(warehouse)
        self._run_part(warehouse, SITE[first:])
        self._part.leave(
            "changed", "unit_visit", "SELECT DISTINCT equipment_id, mode FROM staging.visit_measured"
        )
        for name in ("site_static", *ASKED_OF_TOUCHED):
            self._part.leave("changed", name, f"FROM {name}")

    def _run_part(self, warehouse: Warehouse, steps: Sequence[Step]) -> None:
        """Equipment steps over the touched equipment, whose rows take their place; fleet steps over all rows."""
        assert self._part is not None
        for scope, group in groupby(steps, key=lambda step: step.scope):
            together = tuple(group)
            if scope == "fleet":
                _run_over_fleet(warehouse, together)
                continue
            self._part.run(together)
            for step in together:
                for name in step.makes:
                    if name in LASTING:
                        self._part.put_back(step, name, self._part.home)
                    elif name in KEPT:
                        self._part.put_back(step, name, "last")

    def _drop_part(self) -> None:
        if self._part is not None:
            self._part.close()
            self._part = None


# Equipment that was read by somebody whose readings are corrected otherwise than in the last run.
JUDGED_BY_OTHER_CORRECTIONS = f"""
    SELECT v.equipment_id
    FROM staging.visit_measured AS v
    SEMI JOIN ({differing("FROM correction", "FROM last.state.correction")}) AS c
        ON v.technician_id = c.technician_id AND coalesce(v.instrument_id, '') = c.instrument_id
"""


def _run_over_fleet(warehouse: Warehouse, steps: Sequence[Step]) -> None:
    """Fleet steps, for which the tables kept from the last run hold what they hold after a run over everything."""
    home = warehouse.scalar("SELECT current_database()")
    with warehouse.looking_first_at(f"{home}.main", "last.main"):
        run_steps(warehouse, steps)
    _hold_against_former_fits(warehouse)


def _hold_against_former_fits(warehouse: Warehouse) -> None:
    """What is fitted over the fleet must be what the untouched equipment was judged by."""
    for name, former in warehouse.con.sql("SELECT name, value FROM last.state.fitted").fetchall():
        now = warehouse.scalar(f"SELECT getvariable('{name}')")
        if now is not None and now != former:
            raise _Everything(f"{name} is {now:.4g} after {former:.4g}")


def _is_long(warehouse: Warehouse) -> bool:
    """Is the history long enough for a day's drop to be worth a memory?"""
    visits = warehouse.scalar("SELECT coalesce(sum(n_visits), 0) FROM visit_count WHERE counted_by = 'day'")
    return bool(visits >= warehouse.settings["day_from_visits"])


def day_stages() -> list[tuple[str, Stage]]:
    """The stages of a run on one machine."""
    day = Day()
    own: dict[str, Callable[[Warehouse, RunOrder], None]] = {
        "load": day.load,
        "gate": day.gate,
        "check": day.check,
        "static": day.static,
        "technician": day.technician,
        "site": day.site,
        "work": day.work,
        "contracts": day.contracts,
        "publish": day.publish,
    }
    return [(name, own.get(name, stage)) for name, stage in STAGES]
