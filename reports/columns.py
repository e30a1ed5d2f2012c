"""The tables behind the charts: which columns, under which heading, in which format of words.FORMATS.

What belongs here: headings and formats. What does not: the rows (`sql/reports/`) and the charts (`charts/`).
"""

from __future__ import annotations

Columns = tuple[tuple[str, str, str], ...]

RANKED: Columns = (
    ("rank", "Rank", "count"),
    ("site_id", "Site", "text"),
    ("equipment_id", "Unit", "text"),
    ("mode", "Mode", "text"),
    ("problem_side", "Problem", "word"),
    ("level_inwc", "Level, in. w.c.", "inwc"),
    ("level_lo_inwc", "at least (95 %)", "inwc"),
    ("level_hi_inwc", "at most (95 %)", "inwc"),
    ("rated_tesp_inwc", "Rated", "inwc"),
    ("expected_excess_inwc", "Over by", "signed"),
    ("prob_over_rated", "Sure", "chance"),
    ("n_visits", "Visits", "count"),
)
SIDES: Columns = (
    ("visited_on", "Day", "day"),
    ("visit_id", "Visit", "text"),
    ("return_inwc", "Return", "inwc"),
    ("supply_inwc", "Supply", "inwc"),
    ("tesp_inwc", "Total, in. w.c.", "inwc"),
)
VISITS: Columns = (
    *SIDES,
    ("reading", "Reading", "text"),
    ("findings", "Found", "text"),
    ("repairs", "Repaired", "text"),
    ("note", "Note", "text"),
)
CAUSES: Columns = (
    ("return_restriction_inwc", "Return restriction, in. w.c.", "signed"),
    ("supply_restriction_inwc", "Supply restriction", "signed"),
    ("airflow_setting_inwc", "Fan setting", "signed"),
    ("n_valid", "Valid visits", "count"),
)
FLEET: Columns = (
    ("equipment_id", "Unit", "text"),
    ("site_id", "Site", "text"),
    ("branch", "Branch", "text"),
    ("mode", "Mode", "text"),
    ("return_level_inwc", "Return, in. w.c.", "inwc"),
    ("supply_level_inwc", "Supply", "inwc"),
    ("level_inwc", "Total", "inwc"),
    ("rated_tesp_inwc", "Rated", "inwc"),
    ("static_state", "State", "word"),
)
BRANCHES: Columns = (
    ("branch", "Branch", "text"),
    ("equipment_kind", "Kind", "word"),
    ("n_units", "Units", "count"),
    ("n_judged", "Judged", "count"),
    ("n_chronic", "Chronic", "count"),
    ("n_return", "Return", "count"),
    ("n_supply", "Supply", "count"),
    ("n_airflow_setting", "Fan setting", "count"),
    ("share_chronic", "Chronic of judged", "share"),
)
RISING: Columns = (
    ("equipment_id", "Unit", "text"),
    ("site_id", "Site", "text"),
    ("slope_inwc_per_year", "in. w.c. a year", "signed3"),
    ("slope_lo", "at least (95 %)", "signed3"),
    ("slope_hi", "at most (95 %)", "signed3"),
    ("n_visits", "Visits", "count"),
    ("q_value", "q", "q"),
    ("first_mode", "First at the rating", "text"),
    ("level_inwc", "Mean level, in. w.c.", "inwc"),
    ("last_line_inwc", "At the last visit, by the line", "inwc"),
    ("rated_tesp_inwc", "Rated", "inwc"),
)
WORK: Columns = (
    ("work_kind", "Work", "word"),
    ("n_pairs", "Pairs", "count"),
    ("shift_inwc", "Change, in. w.c.", "signed"),
    ("shift_lo", "at least (95 %)", "signed"),
    ("shift_hi", "at most (95 %)", "signed"),
    ("share_within_rating_before", "Within rating before", "share"),
    ("share_within_rating_after", "after", "share"),
    ("cost_per_tenth_inwc", "Median cost of 0.1 in. w.c.", "count"),
)
FUNNEL: Columns = (
    ("technician_id", "Technician", "text"),
    ("n_visits", "Visits", "count"),
    ("n_not_zeroed", "Without a zero", "count"),
    ("skip_rate", "Rate", "share"),
    ("skip_lo", "at least (95 %)", "share"),
    ("skip_hi", "at most (95 %)", "share"),
    ("funnel_hi", "Funnel limit", "share"),
    ("zeroing_state", "State", "word"),
)
OFFSETS: Columns = (
    ("technician_id", "Technician", "text"),
    ("instrument_id", "Instrument", "text"),
    ("port", "Port", "text"),
    ("offset_inwc", "Offset, in. w.c.", "signed3"),
    ("offset_lo_inwc", "at least (95 %)", "signed3"),
    ("offset_hi_inwc", "at most (95 %)", "signed3"),
    ("n_visits", "Visits", "count"),
    ("n_sites", "Sites", "count"),
    ("q_value", "q", "q"),
)
FATES: Columns = (
    ("visit_month", "Month", "text"),
    ("fate", "Became", "word"),
    ("n_visits", "Visits", "count"),
    ("share", "Share of the month", "share"),
)
CHECKS: Columns = (
    ("title", "Check", "text"),
    ("n_visits", "Visits", "count"),
    ("share", "Share", "share"),
    ("n_set_aside", "Set aside", "count"),
    ("n_repaired", "Repaired", "count"),
    ("n_not_like_new", "Not like new", "count"),
    ("n_drop_set_aside", "Drop set aside", "count"),
    ("n_note", "Noted", "count"),
)


def grid(member: str) -> Columns:
    """The table behind a grid of checks by one grouping, whose members are called `member`."""
    return (
        ("member", member.capitalize(), "text"),
        ("title", "Check", "text"),
        ("n_found", "Found", "count"),
        ("n_visits", "Visits", "count"),
        ("share", "Share", "share"),
        ("share_lo", "at least (95 %)", "share"),
        ("share_hi", "at most (95 %)", "share"),
    )


def aside(member: str) -> Columns:
    """The table behind the shares set aside, by technician or instrument."""
    return (
        ("member", member.capitalize(), "text"),
        ("n_visits", "Visits", "count"),
        ("n_aside", "Set aside", "count"),
        ("share", "Share", "share"),
        ("share_lo", "at least (95 %)", "share"),
        ("share_hi", "at most (95 %)", "share"),
    )
