"""The technician stage: fits on arrays between SQL files; results as published tables."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

from pipeline.technician.practice import judge_practice
from pipeline.technician.readings import fit_readings, read_readings
from pipeline.warehouse import Warehouse

Work = Callable[[Warehouse], None]


def count_all(warehouse: Warehouse) -> None:
    """Count all visits and findings, for the pages and by technician: visit_count, finding_count, technician_visits,
    technician_found, technician_month, training_count."""
    for name in ("technician_finding", "counted", "visit_count", "finding_count"):
        warehouse.run(f"count/{name}.sql")
    for name in ("technician_count", "technician_month"):
        warehouse.run(f"technician/{name}.sql")


def show_all(warehouse: Warehouse) -> None:
    """Make `coaching_group` and `coaching_visit`."""
    for name in ("coaching_group", "coaching_picked", "coaching_told", "coaching_visit"):
        warehouse.run(f"technician/{name}.sql")


def run_technician(warehouse: Warehouse, count: Work = count_all, show: Work = show_all) -> None:
    """Make the published tables on technicians and their instruments. `count` and `show` do what `count_all` and
    `show_all` do, perhaps by what the last run left."""
    warehouse.run("technician/offset_reading.sql")
    with ThreadPoolExecutor(1) as beside:
        # Arithmetic on arrays, while DuckDB counts.
        fits = beside.submit(fit_readings, read_readings(warehouse), warehouse.settings)
        count(warehouse)
        judge_practice(warehouse)
        for name in ("technician_training", "practice_rate"):
            warehouse.run(f"technician/{name}.sql")
    for name, frame in fits.result().items():
        warehouse.store(name, frame)
    for name in (
        "instrument_offset",
        "instrument_drift",
        "technician_zeroing",
        "offset_follows",
    ):
        warehouse.run(f"technician/{name}.sql")
    show(warehouse)
