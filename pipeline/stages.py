"""The stages as plain functions, in order. Runs without Prefect; `flow.py` wraps each one as a task.

Each stage reads only what earlier stages made. A new table is a new file in `sql/` and a line in the list of its stage:
`CHECK` and `STATIC` here, `STEPS` in `site/stage.py` and `work/stage.py`, the functions of `technician/stage.py`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.checks import READ as CHECKS_READ
from pipeline.checks import find_by_equipment, find_over_fleet, store_catalog
from pipeline.imports import import_beside
from pipeline.settings import Settings
from pipeline.steps import Step, run_steps
from pipeline.warehouse import Warehouse

if TYPE_CHECKING:
    from pipeline.load.staging import ReadAhead


def _quiet(_: str) -> None:
    return None


@dataclass(frozen=True)
class RunOrder:
    """What one run was asked to do. `today` is the reference day for ages and future dates."""

    drops: tuple[Path, ...]
    into: Path
    today: date
    mapping: Path | None = None
    pseudonyms: bool = False  # technicians go by pseudonym in what is published
    settings: Settings = field(default_factory=Settings)
    say: Callable[[str], None] = _quiet
    keeps_computed: bool = (
        False  # what the last run computed stays in the work file, to build on (pipeline/day/)
    )
    # Files that others have read already, by SHA-256 and table.
    ahead: Mapping[tuple[str, str], ReadAhead] = field(default_factory=dict)

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


def load_stage(warehouse: Warehouse, order: RunOrder) -> None:
    """Drops -> clean input tables, ledger, rejected and superseded rows."""
    from pipeline.load import load

    if order.keeps_computed:  # a day's drop: loading it leaves a core idle
        import_beside("expectations.datasource")
    load(warehouse, order)
    warehouse.set_variable("today", order.today, "DATE")


def gate_stage(warehouse: Warehouse, order: RunOrder) -> None:
    """May what was loaded be published? Raises GateError; then the drop's rows are withdrawn, or held back."""
    from expectations.gate import gate, gate_page
    from pipeline.errors import GateError
    from pipeline.load import accept, hold, only_waits, withdraw

    page = order.into / "gate.html"
    try:
        gate(warehouse)
    except GateError as error:
        rows = warehouse.query("SELECT * FROM gate_result").to_dicts()
        page.write_text(gate_page(rows), encoding="utf-8")
        waits = error.curable and only_waits(warehouse)
        (hold if waits else withdraw)(warehouse, order)
        told = (
            "\n  the files are kept: each run tries again whether the rows they refer to have come"
            if waits
            else ""
        )
        raise GateError(f"{error}{told}\n  the same as a page: {page}") from None
    page.unlink(missing_ok=True)
    accept(warehouse, order)


# Of what the checks ask over a technician's visits; a day's drop counts what changed (pipeline/day/counts.py).
COUNT_DIGITS = (
    Step("fleet", "count/counted_reading.sql"),
    Step("fleet", "count/last_digit_count.sql", makes=("last_digit_count",)),
)

# What looks at the whole fleet stands first, with the small look-up tables: a part of the fleet then never waits again.
CHECK = (
    Step("fleet", "static/numbered.sql", makes=("site_number", "staging.equipment_number")),
    Step("fleet", "static/blower_segment.sql", makes=("blower_segment",)),
    Step("fleet", "static/blower_end.sql", makes=("blower_end",)),
    Step("fleet", "static/blower_cell.sql", makes=("blower_cell",)),
    Step("fleet", "static/instrument_limit.sql", makes=("instrument_limit",)),
    Step("fleet", store_catalog, makes=("check_catalog",)),
    *COUNT_DIGITS,
    Step("fleet", find_over_fleet, makes=("finding",)),
    Step("equipment", "static/equipment_facts.sql", makes=("staging.equipment_facts",)),
    Step("equipment", "repair/1_row.sql", makes=("reading_row",)),
    Step("equipment", "repair/2_unit.sql", makes=("reading_unit",)),
    Step("equipment", "repair/3_sign.sql", makes=("reading_sign",)),
    Step("equipment", "repair/4_zero.sql", makes=("reading_zero",)),
    Step("equipment", "repair/5_reading.sql", makes=("reading", "noticed_reading")),
    Step("equipment", find_by_equipment, makes=("finding",), reads=CHECKS_READ),
)

STATIC = (
    Step("equipment", "static/visit_judged.sql", makes=("visit_judged",)),
    Step("equipment", "static/visit_airflow.sql", makes=("visit_airflow",)),
    Step("equipment", "static/visit_uncertainty_part.sql", makes=("visit_uncertainty_part",)),
    Step("equipment", "static/visit_measured.sql", makes=("staging.visit_measured",)),
    Step("equipment", "static/visit_static.sql", makes=("staging.visit_computed", "visit_static")),
    Step("equipment", "static/visit_uncertainty.sql", makes=("visit_uncertainty",)),
    Step("equipment", "static/visit_component.sql", makes=("part_allowance", "visit_component")),
    Step("equipment", "static/visit_split_uncertainty.sql", makes=("visit_split_uncertainty",)),
    Step("equipment", "static/visit_segment.sql", makes=("visit_segment",)),
    Step("equipment", "static/visit_reading.sql", makes=("visit_reading",)),
)


def check_stage(warehouse: Warehouse, _: RunOrder) -> None:
    """Visits -> readings repaired in order, and findings."""
    run_steps(warehouse, CHECK)


def static_stage(warehouse: Warehouse, _: RunOrder) -> None:
    """Readings -> TESP, uncertainty, airflow and causes of every visit."""
    run_steps(warehouse, STATIC)


def technician_stage(warehouse: Warehouse, _: RunOrder) -> None:
    """Visits and findings -> how many there are, for the pages; hidden offsets, skipped zeroes, practice."""
    from pipeline.technician import run_technician

    run_technician(warehouse)


def site_stage(warehouse: Warehouse, _: RunOrder) -> None:
    """Visits and offsets -> verdicts, trends and the order of work."""
    from pipeline.site import run_site

    run_site(warehouse)


def work_stage(warehouse: Warehouse, _: RunOrder) -> None:
    """Works and visits around them -> what each kind of work helped."""
    from pipeline.work import run_work

    run_work(warehouse)


def contract_stage(warehouse: Warehouse, order: RunOrder) -> None:
    """The checks asked again by Great Expectations, and the contracts of what is about to be published."""
    from expectations.final import look_before_publishing

    look_before_publishing(warehouse, order)


def publish_stage(warehouse: Warehouse, order: RunOrder, *, only_touched: bool = False) -> None:
    """Write the published file and swap it into place."""
    from pipeline.publish import publish

    import_beside("reports")
    publish(warehouse, order, only_touched=only_touched)


def report_stage(_: Warehouse, order: RunOrder) -> None:
    """Draw the pages from what is published."""
    from reports import draw

    draw(order.published_file, order.reports_folder, order.say)


STAGES: tuple[tuple[str, Stage], ...] = (
    ("load", load_stage),
    ("gate", gate_stage),
    ("check", check_stage),
    ("static", static_stage),
    ("technician", technician_stage),
    ("site", site_stage),
    ("work", work_stage),
    ("contracts", contract_stage),
    ("publish", publish_stage),
    ("report", report_stage),
)
