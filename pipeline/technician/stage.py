"""The technician stage: fits on arrays between SQL files; results as published tables."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

from pipeline.technician.practice import judge_practice
from pipeline.technician.readings import Readings, fit_readings, read_readings
from pipeline.warehouse import Warehouse

Work = Callable[[Warehouse], None]


def count_all(warehouse: Warehouse) -> None:
    """Count all visits and findings, for the pages and by technician: visit_count, finding_count, technician_visits,
    technician_found, technician_month, training_count."""
    for name in ("counted_row", "technician_finding", "counted", "visit_count", "finding_count"):
        warehouse.run(f"count/{name}.sql")
    for name in ("technician_count", "technician_month"):
        warehouse.run(f"technician/{name}.sql")


def show_all(warehouse: Warehouse) -> None:
    """Make `coaching_group` and `coaching_visit`."""
    for name in ("coaching_group", "coaching_picked", "coaching_told", "coaching_visit"):
        warehouse.run(f"technician/{name}.sql")


def read_all(warehouse: Warehouse) -> Readings:
    """Make `offset_visit`, `offset_measurer`, `offset_reading`, `offset_cell` of all visits; read them for the fits."""
    for name in ("offset_visit", "offset_measurer", "offset_reading", "offset_cell"):
        warehouse.run(f"technician/{name}.sql")
    return read_readings(warehouse)


def run_technician(
    warehouse: Warehouse,
    read: Callable[[Warehouse], Readings | None] = read_all,
    count: Work = count_all,
    show: Work = show_all,
) -> None:
    """Make the published tables on technicians and their instruments. `read`, `count` and `show` do what `read_all`,
    `count_all` and `show_all` do, perhaps by what the last run left; no readings: its fits stand."""
    readings = read(warehouse)
    with ThreadPoolExecutor(1) as beside:
        # Arithmetic on arrays, while DuckDB counts.
        fits = beside.submit(fit_readings, readings, warehouse.settings) if readings else None
        count(warehouse)
        judge_practice(warehouse)
        for name in ("technician_training", "practice_rate"):
            warehouse.run(f"technician/{name}.sql")
    for name, frame in fits.result().items() if fits else ():
        warehouse.store(name, frame)
    for name in (
        "instrument_offset",
        "offset_port",
        "instrument_drift",
        "technician_zeroing",
        "offset_follows",
    ):
        warehouse.run(f"technician/{name}.sql")
    show(warehouse)
