"""Synthetic fleets of any size with their planted truth. Other stages never import this.

Beside the drop, `truth/` holds Parquet files: `equipment` (a row per unit, mode and segment), `visit_part*` (a row per
visit: true statics, causes, slip, zero, hidden shift), `technician`, `technician_instrument`, `work`; the profile as
JSON. In what order a fleet is made: `plan.py` (units), `crew.py`, `visits.py`, `works.py`; then, a stretch of visits at
a time, `slips.py`, `states.py` (the true state), `readings.py`, `repeats.py`, `record.py` (rows); `make.py` joins them.
"""

from __future__ import annotations

from pathlib import Path

from pipeline.errors import UsageError
from pipeline.simulate.make import make_fleet
from pipeline.simulate.profile import Profile, SlipRates

__all__ = ["Profile", "SlipRates", "make_fleet", "make_fleet_command"]


def make_fleet_command(folder: Path, sites: int, visits: int, seed: int) -> None:
    """`fleet-static make-fleet`: a realistic fleet of that size; the crew grows with the visits."""
    if sites < 1 or visits < 0:
        raise UsageError(
            f"make-fleet needs --sites of 1 or more and --visits of 0 or more, got {sites}, {visits}"
        )
    if folder.exists() and any(folder.iterdir()):
        raise UsageError(f"{folder} is not empty; name a new folder for the synthetic drop")
    crew = max(4, round(visits / 180) if visits < 20_000 else 110 + round((visits - 20_000) / 500))
    make_fleet(
        folder,
        Profile(
            n_sites=sites,
            total_visits=visits,
            n_technicians=crew,
            n_skippers=max(1, round(0.06 * crew)),
            n_paper_zeroers=max(1, round(0.04 * crew)),
            n_wrong_ports=max(1, round(0.04 * crew)),
        ),
        seed,
    )
