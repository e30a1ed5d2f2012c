"""The reference over a whole work file, beside what the stages made of it: every disagreement as a line of text.

Reads the tables that the load stage hands over (`visit`, `equipment`, `site`, `work`, `blower_table`) and compares
with `finding`, `visit_static`, `visit_segment`'s verdicts and the trends.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

import duckdb

from tests.truth import reference
from tests.truth.reference_site import Series

Row = dict[str, Any]

MODES = ("cooling", "heating")

# the checks of the contract; the project may add others, on which the contract has no opinion
CONTRACT_CHECKS = frozenset(
    (
        "zero_not_recorded", "zero_offset_large", "zero_after_reading", "zero_stale", "return_sign_wrong",
        "supply_sign_wrong", "ports_swapped", "reading_near_zero", "unit_mismatch", "reading_out_of_range",
        "tesp_sum_mismatch", "component_drop_impossible", "return_port_wrong", "supply_port_wrong", "probe_near_turn",
        "stage_not_high", "filter_dirty", "coil_dirty", "blower_dirty", "registers_closed", "holes_left_open",
        "visit_in_future", "visit_before_install", "visit_after_retirement", "readings_repeated",
    )
)  # fmt: skip


@dataclass
class WorkFile:
    """The tables of one work file as rows, and the reference's own checks of every visit."""

    path: Path
    today: date
    visits: list[Row] = field(default_factory=list)
    checked: dict[str, reference.Checked] = field(default_factory=dict)

    def __post_init__(self) -> None:
        with duckdb.connect(str(self.path), read_only=True) as con:
            con.execute("SET TimeZone = 'UTC'")
            self._con = con
            self.visits = self.rows("visit")
            self.equipment = {e["equipment_id"]: e for e in self.rows("equipment")}
            self.sites = {s["site_id"]: s for s in self.rows("site")}
            self.blower_table = self.rows("blower_table")
            self.works = self.rows("work")
            self.static = {v["visit_id"]: v for v in self.rows("visit_static")}
            self.findings: defaultdict[str, dict[str, str]] = defaultdict(dict)
            for row in self.rows("finding"):
                if row["check_id"] in CONTRACT_CHECKS:
                    self.findings[row["visit_id"]][row["check_id"]] = row["consequence"]
            self.site_static = self.rows("site_static") if self.has("site_static") else []
            self.site_trend = self.rows("site_trend") if self.has("site_trend") else []
            self.equipment_trend = self.rows("equipment_trend") if self.has("equipment_trend") else []
            self.offsets = self.rows("instrument_offset") if self.has("instrument_offset") else []
        self.check_all()

    def rows(self, table: str) -> list[Row]:
        return self._con.sql(f"SELECT * FROM {table}").pl().to_dicts()

    def has(self, table: str) -> bool:
        return bool(
            self._con.sql(f"SELECT 1 FROM information_schema.tables WHERE table_name = '{table}'").fetchall()
        )

    def check_all(self) -> None:
        of_technician: defaultdict[str, list[Row]] = defaultdict(list)
        for visit in self.visits:
            of_technician[visit["technician_id"]].append(visit)
        for visit in self.visits:
            others = [o for o in of_technician[visit["technician_id"]] if o["visit_id"] != visit["visit_id"]]
            equipment = self.equipment[visit["equipment_id"]]
            self.checked[visit["visit_id"]] = reference.check_visit(
                visit, equipment, None, others, self.today
            )

    def doubtful(self, equipment_id: str, mode: str) -> bool:
        """Some reading there may be corrected or left out for its technician's and instrument's offset."""
        pairs = {
            (o["technician_id"], o["instrument_id"])
            for o in self.offsets
            if (o["q_value"] is None or o["q_value"] <= 0.05)
            and max(abs(o["return_offset_inwc"] or 0), abs(o["supply_offset_inwc"] or 0)) >= 0.02
        }
        visits = [v for v in self.visits if (v["equipment_id"], v["mode"]) == (equipment_id, mode)]
        return any((v["technician_id"], v["instrument_id"]) in pairs for v in visits)

    def comparable(self, equipment_id: str, mode: str) -> list[Row]:
        """Valid like-new visits since the last work, in one mode, in the order of time."""
        visits = [v for v in self.visits if (v["equipment_id"], v["mode"]) == (equipment_id, mode)]
        works = [w for w in self.works if w["equipment_id"] == equipment_id]
        since = reference.last_segment(visits, works, self.today)
        usable = [
            v for v in since if self.checked[v["visit_id"]].valid and self.checked[v["visit_id"]].like_new
        ]
        return sorted(usable, key=lambda v: v["visited_at"])

    def series(self, equipment_id: str, mode: str) -> Series:
        """Years and TESP of the comparable visits, as read (no hidden offset taken off)."""
        visits = self.comparable(equipment_id, mode)
        years = [v["visited_at"].timestamp() / 86400 / 365.25 for v in visits]
        return years, [self.checked[v["visit_id"]].tesp_inwc for v in visits]


def differs(mine: float | None, theirs: float | None, tolerance: float = 1e-9) -> bool:
    if mine is None or theirs is None:
        return mine is not theirs
    return not abs(mine - theirs) <= tolerance


def check_differences(work: WorkFile) -> Iterator[str]:
    """Findings of every visit, and its readings after the repairs."""
    for visit_id, mine in work.checked.items():
        theirs, row = work.findings[visit_id], work.static[visit_id]
        if mine.findings != theirs:
            odd = sorted(set(mine.findings.items()) ^ set(theirs.items()))
            yield f"{visit_id}: findings differ in {odd}"
        for column in ("return_inwc", "supply_inwc", "tesp_inwc"):
            if differs(getattr(mine, column), row[column]):
                yield f"{visit_id}: {column} {getattr(mine, column)} here, {row[column]} there"
        if mine.valid != row["valid"]:
            yield f"{visit_id}: valid {mine.valid} here, {row['valid']} there"
        # of a visit that is set aside the contract does not say whether it is like new or its sides are known
        if mine.valid and (mine.like_new, mine.sides_known) != (row["like_new"], row["sides_known"]):
            yield f"{visit_id}: like new {mine.like_new}, sides known {mine.sides_known} here, not there"
        drops = (mine.filter_drop, mine.coil_drop)
        if mine.valid and any(map(differs, drops, (row["filter_drop_inwc"], row["coil_drop_inwc"]))):
            yield f"{visit_id}: drops {drops} here, {row['filter_drop_inwc']} and {row['coil_drop_inwc']} there"


def airflow_differences(work: WorkFile) -> Iterator[str]:
    """Airflow, power and the split of the excess of every valid visit."""
    for visit in work.visits:
        mine, row = work.checked[visit["visit_id"]], work.static[visit["visit_id"]]
        if not mine.valid:
            continue
        equipment = work.equipment[visit["equipment_id"]]
        elevation = work.sites[visit["site_id"]]["elevation_ft"] or 0
        air = reference.visit_airflow(visit, mine.tesp_inwc, equipment, work.blower_table, elevation)
        parts = reference.excess_parts(
            mine.return_inwc, mine.supply_inwc, reference.side_budgets(equipment), air.ratio
        )
        if air.source != row["airflow_source"]:
            yield f"{visit['visit_id']}: airflow from {air.source} here, {row['airflow_source']} there"
        pairs = {
            "airflow_cfm": (air.cfm, 1e-6),
            "airflow_ratio": (air.ratio, 1e-9),
            "power_w": (air.power_w, 1e-6),
            "return_restriction_inwc": (parts[0], 1e-9),
            "supply_restriction_inwc": (parts[1], 1e-9),
            "airflow_setting_inwc": (parts[2], 1e-9),
        }
        for column, (value, tolerance) in pairs.items():
            if differs(value, row[column], tolerance):
                yield f"{visit['visit_id']}: {column} {value} here, {row[column]} there"


def state_differences(work: WorkFile) -> Iterator[str]:
    """Which visits count, and the state that follows from the published probability."""
    groups = {(v["equipment_id"], v["mode"]) for v in work.visits}
    if groups != {(r["equipment_id"], r["mode"]) for r in work.site_static}:
        yield "site_static has not a row per equipment and mode with a visit"
    for row in work.site_static:
        key = (row["equipment_id"], row["mode"])
        if work.doubtful(*key):
            continue
        visits = work.comparable(*key)
        if len(visits) != row["n_visits"] or row["n_offset_corrected"]:
            yield f"{key}: {len(visits)} visits here, {row['n_visits']} there"
        state = reference.static_state([v["visited_on"] for v in visits], row["prob_over_rated"])
        if state != row["static_state"]:
            yield f"{key}: {state} here, {row['static_state']} there"


def trend_differences(work: WorkFile) -> Iterator[str]:
    """Slopes and Kendall's test per mode, where no reading is in doubt for a hidden offset."""
    for row in work.site_trend:
        key = (row["equipment_id"], row["mode"])
        if work.doubtful(*key):
            continue
        trend = reference.mode_trend(work.series(*key))
        if trend is None and row["trend"] == "too_few_visits":
            continue
        if trend is None or row["trend"] == "too_few_visits":
            yield f"{key}: a trend on one side only"
            continue
        mine = (trend.slope, trend.lo, trend.hi, trend.test.s, trend.test.p)
        theirs = [
            row[c] for c in ("slope_inwc_per_year", "slope_lo", "slope_hi", "mann_kendall_s", "p_value")
        ]
        if any(map(differs, mine, theirs)):
            yield f"{key}: {mine} here, {theirs} there"


def equipment_trend_differences(work: WorkFile) -> Iterator[str]:
    """Kendall's S and its p-value summed over the modes, where no reading is in doubt for a hidden offset."""
    for row in work.equipment_trend:
        equipment = row["equipment_id"]
        if row["kendall_s"] is None or any(work.doubtful(equipment, mode) for mode in MODES):
            continue
        modes = [work.series(equipment, mode) for mode in MODES]
        _, test = reference.seasonal_kendall(modes)
        if test.s != row["kendall_s"] or differs(test.p, row["kendall_p"]):
            yield f"{equipment}: {test} here, {row['kendall_s']}, {row['kendall_p']} there"
