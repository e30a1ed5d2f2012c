"""A small published file made by hand, for the tests of the reports: of the tables and columns those that they read.

What belongs here: rows that look like a publication (invented, seeded). What does not: any statistics;
levels and states here are plain means and limits, good enough to be drawn and compared with a query.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import duckdb

from pipeline.warehouse import SQL_DIR

TODAY = date(2026, 4, 1)
TABLES = Path(__file__).with_name("published_tables.sql")
HOSTILE = (
    "</script><script>window.hacked=1</script>",
    '"Loft" & \'rear\' <b onmouseover="window.hacked=1">',
    "x" * 10_000,
    "\u202eשלום עולם\u202c مرحبا",
    "Unit 👷🏽‍♀️🔧 №5\u0000".replace("\u0000", ""),
    '{{ 7 * 7 }} ${7*7} =HYPERLINK("x")',
)
FATES = """count(*), count(*) FILTER (NOT valid), count(*) FILTER (valid AND NOT like_new),
    count(*) FILTER (valid AND like_new AND repairs <> ''), count(*) FILTER (repairs <> '')"""
COUNTS = f"""
    CREATE TEMP TABLE counted AS FROM visit_static JOIN site USING (site_id);
    INSERT INTO visit_count SELECT 'day', visited_on, NULL, NULL, NULL, {FATES} FROM counted GROUP BY ALL;
    INSERT INTO visit_count SELECT 'measurer', NULL, technician_id, instrument_id, NULL, {FATES}
    FROM counted GROUP BY ALL;
    INSERT INTO visit_count SELECT 'branch', NULL, NULL, NULL, branch, {FATES} FROM counted GROUP BY ALL;
    INSERT INTO finding_count SELECT 'day', visited_on, NULL, check_id, consequence, count(*)
        FROM finding JOIN counted USING (visit_id) GROUP BY ALL;
    INSERT INTO finding_count SELECT 'branch', NULL, branch, check_id, consequence, count(*)
        FROM finding JOIN counted USING (visit_id) GROUP BY ALL;
"""
# What the lists say of a unit beside its place, as site_static has it, and of its other mode. For a test that changes
# site_static, too.
LISTS = """
    CREATE OR REPLACE TEMP TABLE unit AS
    SELECT s.*, site.site_label, COLUMNS(o.*) AS 'other_\\0'
    FROM site_static AS s JOIN site USING (site_id)
    LEFT JOIN site_static AS o ON s.equipment_id = o.equipment_id AND s.mode <> o.mode;
    UPDATE site_priority AS p SET
        static_state = u.static_state, n_visits = u.n_visits, n_offset_corrected = u.n_offset_corrected,
        last_on = u.last_on, level_lo_inwc = u.level_lo_inwc, level_hi_inwc = u.level_hi_inwc,
        return_level_inwc = u.return_level_inwc, supply_level_inwc = u.supply_level_inwc,
        prob_over_rated = u.prob_over_rated, prob_side = u.prob_side, site_label = u.site_label,
        equipment_kind = u.equipment_kind, other_mode = u.other_mode, other_state = u.other_static_state,
        other_problem_side = u.other_problem_side, other_level_inwc = u.other_level_inwc,
        other_level_lo_inwc = u.other_level_lo_inwc, other_level_hi_inwc = u.other_level_hi_inwc,
        other_prob_over_rated = u.other_prob_over_rated, other_n_visits = u.other_n_visits
    FROM unit AS u WHERE p.equipment_id = u.equipment_id AND p.mode = u.mode;
    DELETE FROM site_priority WHERE equipment_id IN (SELECT equipment_id FROM unit WHERE NOT in_service);
    DELETE FROM site_upkeep;
    INSERT INTO site_upkeep BY NAME
    SELECT site_id, site_label, branch, equipment_id, equipment_kind, mode,
        as_found_level_inwc - rated_tesp_inwc AS as_found_excess_inwc, as_found_level_inwc, level_inwc, level_lo_inwc,
        level_hi_inwc, rated_tesp_inwc, prob_over_rated, n_visits, last_on, n_valid,
        (SELECT count(*) FROM visit_static AS v JOIN finding AS f USING (visit_id)
         WHERE v.valid AND v.equipment_id = u.equipment_id AND v.mode = u.mode AND f.check_id = 'filter_dirty')
        AS n_filter_dirty, 0 AS n_coil_dirty, 0 AS n_blower_dirty, 0 AS n_registers_closed,
        other_mode, other_static_state AS other_state, other_level_inwc, other_as_found_level_inwc
    FROM unit AS u
    WHERE in_service AND needs_upkeep;
"""
SIDES = ("return", "supply", "airflow_setting", "within", "upkeep", "uncertain", "few")
BRANCHES = ("Northbank", "Millrace", "Hollow Oak")
CHECK_FIRST = {
    "return": "filter and its cabinet, then the return drop and grille: undersized or blocked",
    "supply": "registers shut, runs kinked or strapped tight, then the size of the trunk",
    "airflow_setting": "blower tap: the fan moves more than the design asks for",
}
CHECKS = (
    (
        "zero_not_recorded",
        "Zero not recorded",
        "set_aside",
        "Without a zero to atmosphere a reading is no evidence.",
    ),
    (
        "ports_swapped",
        "Ports exchanged",
        "repaired or set_aside",
        "Hoses on the wrong ports exchange the readings.",
    ),
    (
        "filter_dirty",
        "Dirty filter at the test",
        "not_like_new",
        "A loaded filter adds static that no duct causes.",
    ),
    ("probe_near_turn", "Probe near a turn", "note", "Turbulence near a turn moves the reading."),
    (
        "component_drop_impossible",
        "Impossible drop across filter or coil",
        "set_aside",
        "A drop cannot be larger than the static that contains it.",
    ),
    ("unit_mismatch", "Another unit meant", "repaired or set_aside", "Pascals typed into an inches form."),
)


@dataclass
class Rows:
    """Rows for every table, filled step by step."""

    tables: dict[str, list[tuple[object, ...]]] = field(default_factory=dict)

    def add(self, table: str, *row: object) -> None:
        self.tables.setdefault(table, []).append(row)

    def write(self, path: Path) -> Path:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.unlink(missing_ok=True)
        con = duckdb.connect(str(path))
        con.execute(TABLES.read_text(encoding="utf-8"))
        for macros in sorted((SQL_DIR / "macros").glob("*.sql")):
            con.execute(macros.read_text(encoding="utf-8"))
        for table, rows in self.tables.items():
            marks = f"({', '.join('?' for _ in rows[0])})"
            for i in range(0, len(rows), 200):  # many rows a statement: far quicker than one by one
                some = rows[i : i + 200]
                con.execute(
                    f"INSERT INTO {table} VALUES {', '.join(marks for _ in some)}",
                    [v for r in some for v in r],
                )
        con.execute(COUNTS)
        con.execute(LISTS)
        con.close()
        return path


def _publication(rows: Rows) -> None:
    at = datetime(2026, 4, 1, 6, 30, tzinfo=UTC)
    rows.add("publication", TODAY, "0.1.0", at, "{}", TODAY.replace(day=1))
    for name, value in (("technician_min_visits", 20), ("gate_rejected_share", 0.05), ("min_visits", 3),
                        ("chronic_probability", 0.95), ("min_span_days", 90), ("within_probability", 0.05),
                        ("technician_q", 0.05), ("offset_material_inwc", 0.02), ("trend_q", 0.10),
                         ("offset_min_group", 4),
                        ("least_airflow_share", 0.80), ("change_material_inwc", 0.03),
                        ("tariff_per_kwh", 0.15)):  # fmt: skip
        rows.add("setting", name, value, "", "test")
    for check in CHECKS:
        applies_to = "drops" if check[0] == "component_drop_impossible" else "visit"
        rows.add("check_catalog", *check, applies_to, "reading")
    rows.add("gate_result", "loaded", "site_id is unique", "site", True, 0, 0, None)


def write_empty(path: Path) -> Path:
    """A publication in which nothing was loaded but a file of visits that held only its header."""
    rows = Rows()
    _publication(rows)
    rows.add("load_ledger", "visits.csv", "0" * 64, "visits", datetime(2026, 4, 1, tzinfo=UTC), 0, 0, 0, 0, 0)
    return rows.write(path)


def write_one_visit(path: Path) -> Path:
    """One site, one unit, one technician, one visit."""
    return write_published(path, sites=1, visits=1, technicians=1, kinds=("few",), hostile=False)


def _visit(rows: Rows, rng: random.Random, number: int, unit: tuple[str, str, str, float], on: date,
           ret: float, sup: float, tech: int, kind: str) -> tuple[float, bool]:  # fmt: skip
    site_id, equipment_id, mode, rated = unit
    visit_id = f"V{number:05d}"
    at = datetime(on.year, on.month, on.day, 15, 20, tzinfo=UTC)
    r, s = round(ret + rng.gauss(0, 0.012), 3), round(sup + rng.gauss(0, 0.012), 3)
    aside = (tech % 5 == 1 and rng.random() < 0.6) or rng.random() < 0.04
    dirty = (kind == "upkeep" and rng.random() < 0.5) or rng.random() < 0.05
    if dirty:
        r = round(r - 0.14, 3)
    tesp = round(s - r, 3)
    excess = tesp - rated
    air = excess * (0.7 if kind == "airflow_setting" else 0.1)
    on_return = (excess - air) * (0.8 if kind == "return" else 0.25)
    repairs = "return and supply exchanged: reported 0.52 agrees" if number % 17 == 0 else None
    rows.add("visit", visit_id, site_id, equipment_id, f"T{tech:03d}", f"M{tech:03d}a", at, on, mode,
             HOSTILE[number % len(HOSTILE)] if number % 29 == 0 else None)  # fmt: skip
    rows.add("visit_static", visit_id, site_id, equipment_id, f"T{tech:03d}", f"M{tech:03d}a", at, mode, r, s,
             tesp, 0.016, rated, 0.5 + 0.5 * math.erf(excess / 0.02), 0.09, 0.12, 1010.0, "blower_table", 0.94,
             310.0, on_return, excess - air - on_return, air, not aside, not dirty, True,
             "zero_not_recorded" if aside else None, r, s, "inwc", round(tesp, 2), repairs, on)  # fmt: skip
    if aside:
        rows.add(
            "finding", visit_id, "zero_not_recorded", "set_aside", "no zeroing time and no zero readings"
        )
    if dirty:
        rows.add("finding", visit_id, "filter_dirty", "not_like_new", "filter recorded as dirty")
    if repairs:
        rows.add("finding", visit_id, "ports_swapped", "repaired", repairs)
    if number % 41 == 0:
        rows.add("finding", visit_id, "component_drop_impossible", "set_aside", "filter drop +0.4")
    if number % 7 == 0:
        rows.add("finding", visit_id, "probe_near_turn", "note", "return taken near a turn")
    return tesp, not aside and not dirty


def _technician(rng: random.Random, technicians: int) -> int:
    """One of the technicians; of many, the last two come seldom, so that they stay below the minimum of visits."""
    weights = [1.0] * technicians if technicians < 5 else [1.0] * (technicians - 2) + [0.08, 0.08]
    return rng.choices(range(technicians), weights)[0]


LEVELS = {"return": (-0.47, 0.27), "supply": (-0.2, 0.52), "airflow_setting": (-0.36, 0.37), "within": (-0.18, 0.2),
          "upkeep": (-0.2, 0.22), "uncertain": (-0.25, 0.26), "few": (-0.26, 0.3)}  # fmt: skip


def _unit(rows: Rows, rng: random.Random, i: int, kind: str, visits: int, technicians: int,
          other_mode: bool = False) -> list[object]:  # fmt: skip
    site_id, equipment_id = f"S{i:04d}", f"E{i:04d}"
    mode, rated = ("cooling", "heating")[(i + other_mode) % 2], (0.5, 0.5, 0.8)[i % 3]
    branch = BRANCHES[i % 3]
    ret, sup = LEVELS[kind]
    grow = (
        rated / 0.5 * (1 + 0.2 * rng.random() if kind in SIDES[:3] else 1.0) * (0.92 if other_mode else 1.0)
    )
    count = 2 if kind == "few" and visits > 2 else visits
    first = TODAY - timedelta(days=80 * count)
    found, days = [], []
    for j in range(count):
        number = int(sum(len(t) for t in [rows.tables.get("visit", [])]))
        unit = (site_id, equipment_id, mode, rated)
        days.append(first + timedelta(days=80 * j + rng.randrange(20)))
        found.append(_visit(rows, rng, number, unit, days[-1], ret * grow,
                            sup * grow, _technician(rng, technicians), kind))  # fmt: skip
    clean_days = [day.toordinal() for day, (_, good) in zip(days, found, strict=True) if good]
    level_on = date.fromordinal(round(sum(clean_days) / len(clean_days))) if clean_days else None
    clean = [t for t, good in found if good]
    level = sum(clean) / len(clean) if clean else None
    half = 0.03 / math.sqrt(len(clean)) * 2 if clean else 0.0
    prob = 0.5 + 0.5 * math.erf((level - rated) / half) if level is not None else None
    state = "too_few_visits"
    if len(clean) >= 3 and prob is not None:
        state = "chronic" if prob >= 0.95 else "within_rating" if prob <= 0.05 else "uncertain"
    side = kind if kind in CHECK_FIRST else "return"
    known = state in ("chronic", "uncertain")
    rows.add("site_static", site_id, branch, equipment_id, mode, count, first, first + timedelta(days=80 * count),
             level_on, level, level and level - half, level and level + half,
             sum(t for t, _ in found) / len(found), rated, prob,
             level and max(level - rated, 0.001), ret * grow, sup * grow, 0.91, i % 4, state,
             side if known else "none", (0.97 if i % 4 else None) if known else None,
             None if i % 11 == 5 else 1100.0, len(clean),
             *((level - rated) * share if level is not None else None for share in (0.7, 0.2, 0.1)), True,
             ("furnace", "fan_coil")[i % 2])  # fmt: skip
    slope = 0.04 if i % 9 == 0 else 0.002
    if state in ("too_few_visits", "uncertain"):
        rows.add("site_attention", site_id, branch, equipment_id, mode, state, len(clean), first, 1 + i % 3)
    trend = "too_few_visits" if count < 5 else "rising" if i % 9 == 0 else "steady"
    rows.add("site_trend", site_id, equipment_id, mode, count, 80 * count, slope, slope - 0.01, slope + 0.012, 9,
             0.01, 0.04, trend, TODAY + timedelta(days=300) if trend == "rising" else None)  # fmt: skip
    if not other_mode:
        rows.add("equipment_trend", site_id, equipment_id, count, 80 * count, slope, slope - 0.01, slope + 0.012, 9,
                 0.01, 0.01, 0.04, trend)  # fmt: skip
    if visits > 2:
        change = ("new_chronic", "worse", "resolved", "better", "to_confirm", "first_seen", "gone", "same")[
            i % 8
        ]
        rows.add("site_change", site_id, equipment_id, mode, change, "uncertain", state, "none", side, 0.5, level,
                 level and level - 0.5, date(2026, 3, 1))  # fmt: skip
    return [state, side, site_id, branch, equipment_id, mode, level, rated]


def _priority(rows: Rows, units: list[list[object]]) -> None:
    listed = [u for u in units if u[0] in ("chronic", "uncertain")]
    listed.sort(key=lambda u: (-(float(str(u[6])) - float(str(u[7]))), str(u[4])))
    in_side: dict[str, int] = {}
    for rank, (_, side, site_id, branch, equipment_id, mode, level, rated) in enumerate(listed, 1):
        in_side[str(side)] = in_side.get(str(side), 0) + 1
        excess = max(float(str(level)) - float(str(rated)), 0.001)
        shortfall = None if rank % 6 == 0 else round(900 * excess)
        place = (site_id, branch, equipment_id, mode)
        last = (shortfall, 41.0, CHECK_FIRST[str(side)], max(1, rank - 2), rank + 2, 6.2)
        rows.add(
            "site_priority", rank, side, in_side[str(side)], *place, excess, level, rated, *last, *[None] * 20
        )
        for change, share in (
            ("as_it_is", 1.0),
            (f"{str(side).replace('airflow_setting', 'both')}_to_budget", 0.4),
            ("tap_one_lower", -1.5),
        ):
            air = 950 + 60 * (1 - share) if share > 0 else 780
            rows.add("site_what_if", equipment_id, mode, change, float(str(rated)) + share * excess, air,
                     300.0, (share - 1) * excess, air - 950, None)  # fmt: skip


def _technicians(rows: Rows, technicians: int) -> None:
    visits: dict[str, list[bool]] = {}
    for row in rows.tables.get("visit_static", []):
        visits.setdefault(str(row[3]), []).append(row[25] is not None)
    for t in range(technicians):
        technician_id = f"T{t:03d}"
        n, skipped = len(visits.get(technician_id, [])), sum(visits.get(technician_id, []))
        state = "too_few_visits" if n < 20 else "skips_zero" if skipped > 0.3 * n else "zeroes"
        offset = 0.001 if n >= 20 else None
        if n >= 20 and t % 5 == 3:
            state, offset = "zero_doubtful", -0.041
        rate = skipped / n if n else 0.0
        rows.add("technician", technician_id, BRANCHES[t % 3], date(2024, 3, 4) if t % 2 else None)
        rows.add("instrument", f"M{t:03d}a", "dual_port", 1.0, 0.01, 0.001, date(2025, 6, 1))
        if n:
            rows.add("technician_zeroing", technician_id, BRANCHES[t % 3], n, skipped, rate, max(0.0, rate - 0.1),
                     min(1.0, rate + 0.12), rate * 0.9, 0.06, 0.06 + 1.3 / math.sqrt(n), 0.01 if rate > 0.3 else 0.8,
                     offset, *(("return", f"M{t:03d}a") if offset else (None, None)), state)  # fmt: skip
        if n >= 20 and t % 2:
            rows.add("technician_training", technician_id, date(2024, 3, 4), 30, 12, 0.4, n, skipped, rate, rate - 0.4,
                     rate - 0.5, rate - 0.3, "better", 0.004)  # fmt: skip
        for month, skipped_then in enumerate((3, 1, 0, 2, 0, 4)):
            rows.add("technician_month", technician_id, date(2025, 7 + month, 1), 8, skipped_then)
        for row in rows.tables.get("visit_static", []):
            if row[3] == technician_id and n >= 20 and state == "skips_zero" and row[25] is not None:
                rows.add("coaching_visit", technician_id, "zero_not_recorded", row[0], row[31], row[1], row[2], row[6],
                         row[4], row[7], row[8], "inwc", f"no zero on record: {HOSTILE[0]}")  # fmt: skip
        drifts = n >= 20 and t % 4 == 1
        rows.add("instrument_drift", f"M{t:03d}a", "return", n, 1, TODAY, TODAY, *(
            (0.021, 0.012, 0.03, 0.0004, "drifting", 0.017, date(2025, 6, 1), -0.02, -0.03, -0.01, date(2026, 9, 1),
             "recalibrate_by_then") if drifts else
            (None, None, None, None, "too_few_visits", None, None, None, None, None, None, "too_few_visits")
        ))  # fmt: skip
        habit = "too_few_visits" if n < 20 else "above_fleet" if t % 4 == 2 else "as_fleet"
        q = {"too_few_visits": None, "above_fleet": 0.003, "as_fleet": 1.0}[habit]
        rows.add(
            "practice_rate", technician_id, "probe_near_turn", n, n // 4, 0.25, 0.16, 0.37, 0.05, q, habit
        )
        if state == "zero_doubtful":
            rows.add("offset_follows", technician_id, f"M{t:03d}a", "return", offset, "cannot_be_told")
        if n >= 20:
            doubtful = state == "zero_doubtful"
            rows.add("instrument_offset", technician_id, f"M{t:03d}a", n, min(n, 30), offset, 0.008, 0.003, 0.008,
                     0.004 if doubtful else 0.7, 0.003 - (offset or 0.0), 0.01, doubtful, False)  # fmt: skip


def write_published(path: Path, sites: int = 42, visits: int = 9, technicians: int = 9,
                    kinds: tuple[str, ...] = SIDES, hostile: bool = True, seed: int = 7) -> Path:  # fmt: skip
    """Write a publication with every state and side in it, hostile words in labels and notes."""
    rng = random.Random(seed)
    rows = Rows()
    _publication(rows)
    units = []
    for i in range(sites):
        kind = kinds[i % len(kinds)]
        label = HOSTILE[i // 5 % len(HOSTILE)] if hostile and i % 5 == 0 else f"Unit {i + 1}"
        rows.add("site", f"S{i:04d}", BRANCHES[i % 3], label, 0.0)
        rows.add("equipment", f"E{i:04d}", f"S{i:04d}", ("furnace", "fan_coil")[i % 2], date(2016, 4, 1), None,
                 (0.5, 0.5, 0.8)[i % 3], 3.0, "psc", 1200.0, 1050.0, None, None, False, bool(i % 2), None, None,
                 None)  # fmt: skip
        units.append(_unit(rows, rng, i, kind, visits, technicians))
        if sites > 3 and i % 4 == 0:
            units.append(_unit(rows, rng, i, kind, visits, technicians, other_mode=True))
    if sites > 3:
        rows.add("site", "S9999", BRANCHES[0], "Never visited", 0.0)
        rows.add("work", "W0001", "E0001", TODAY - timedelta(days=200), "return_enlarged", 410.0)
        done = TODAY - timedelta(days=200)
        job = ("W0001", "S0001", BRANCHES[1], "E0001", "return_enlarged", done, None, None, "not_measured")
        rows.add("work_follow_up", *job)
        rows.add("work_effect", "return_enlarged", 11, -0.12, -0.17, -0.08, 0.1, 0.7, 14, 341.7)
        rows.add("work_effect", "coil_cleaned", 8, -0.01, -0.03, 0.02, 0.4, 0.4, 8, None)
        earlier = TODAY - timedelta(days=300)
        rows.add("work", "W0002", "E0004", earlier, "supply_repaired", 250.0)
        job = (
            "W0002",
            "S0004",
            BRANCHES[1],
            "E0004",
            "supply_repaired",
            earlier,
            TODAY - timedelta(days=230),
            70,
        )
        rows.add("work_follow_up", *job, "measured")
        rows.add("rejected_row", "visits_03.csv", 17, "visits", f"V9,{HOSTILE[0]},0.3", "bad_number",
                 "return_static is 'abc'; expected a number", False)  # fmt: skip
        rows.add("rejected_row", "visits_03.csv", 12, "visits", "V8,x,0.3", "bad_number",
                 "return_static is 'x'; expected a number", True)  # fmt: skip
    _priority(rows, units)
    _technicians(rows, technicians)
    loaded = len(rows.tables.get("visit", []))
    at = datetime(2026, 4, 1, 6, 12, tzinfo=UTC)
    rejected = len(rows.tables.get("rejected_row", []))
    rows.add(
        "load_ledger", "visits_03.csv", "ab" * 32, "visits", at, loaded + rejected + 2, loaded, rejected, 2, 1
    )
    return rows.write(path)
