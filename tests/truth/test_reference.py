"""The plain reference itself, on cases worked by hand: an oracle that is wrong would bless what it is to judge."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from tests.truth import reference, series

TODAY = date(2026, 4, 1)
NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
FURNACE = {
    "equipment_kind": "furnace",
    "filter_in_rating": False,
    "coil_in_rating": None,
    "rated_tesp_inwc": 0.5,
}
FAN_COIL = {
    "equipment_kind": "fan_coil",
    "filter_in_rating": True,
    "coil_in_rating": None,
    "rated_tesp_inwc": 0.5,
}


def visit(**changes: Any) -> dict[str, Any]:
    """A sound visit to a furnace, with changes."""
    row: dict[str, Any] = {
        "visit_id": "a", "site_id": "s1", "visited_at": NOON, "visited_on": NOON.date(), "mode": "cooling",
        "zeroed_at": NOON - timedelta(minutes=5), "zero_return": 0.001, "zero_supply": -0.002,
        "return_port": "after_filter", "supply_port": "before_coil", "return_static": -0.22, "supply_static": 0.31,
        "return_decimals": 2, "supply_decimals": 2, "reported_decimals": 2, "pressure_unit": "inwc",
    }  # fmt: skip
    return row | changes


def check(
    equipment: dict[str, Any] = FURNACE, others: list[dict[str, Any]] | None = None, **changes: Any
) -> Any:
    return reference.check_visit(visit(**changes), equipment, None, others or [], TODAY)


def test_a_sound_visit_has_no_findings_and_its_zeros_are_subtracted() -> None:
    checked = check()
    assert checked.findings == {}
    assert (checked.return_inwc, checked.supply_inwc) == (pytest.approx(-0.221), pytest.approx(0.312))
    assert checked.tesp_inwc == pytest.approx(0.533)
    assert checked.valid
    assert checked.like_new
    assert checked.sides_known


SAME_MORNING = visit(visit_id="b", site_id="s2", visited_at=NOON - timedelta(minutes=4))
TWIN = visit(
    visit_id="b", site_id="s2", visited_at=NOON + timedelta(hours=24), visited_on=date(2026, 3, 3),
    return_static=-0.221, supply_static=0.312, return_decimals=3, supply_decimals=3,
)  # fmt: skip
THREE = {"return_static": -0.221, "supply_static": 0.312, "return_decimals": 3, "supply_decimals": 3}

FOUND: list[tuple[str, dict[str, Any], dict[str, str]]] = [
    ("no zero at all", {"zeroed_at": None, "zero_return": None, "zero_supply": None},
     {"zero_not_recorded": "set_aside"}),
    ("a time alone is enough", {"zero_return": None, "zero_supply": None}, {}),
    ("one zero alone is enough", {"zeroed_at": None, "zero_return": None}, {}),
    ("zero of exactly 0.02", {"zero_return": 0.02}, {}),
    ("zero of 0.021", {"zero_return": -0.021}, {"zero_offset_large": "set_aside"}),
    ("zeroed afterwards", {"zeroed_at": NOON + timedelta(minutes=1)}, {"zero_after_reading": "set_aside"}),
    ("zeroed 4 h before", {"zeroed_at": NOON - timedelta(hours=4)}, {}),
    ("zeroed more than 4 h before", {"zeroed_at": NOON - timedelta(hours=4, seconds=1)}, {"zero_stale": "set_aside"}),
    ("zeroed before the visit before", {"others": [SAME_MORNING]}, {"zero_stale": "set_aside"}),
    ("zeroed after the visit before", {"others": [SAME_MORNING], "zeroed_at": NOON - timedelta(minutes=3)}, {}),
    ("the visit before was yesterday's", {"others": [SAME_MORNING | {"visited_on": date(2026, 3, 1)}]}, {}),
    ("return positive", {"return_static": 0.22}, {"return_sign_wrong": "set_aside"}),
    ("return positive, total shows it", {"return_static": 0.22, "reported_tesp": 0.53},
     {"return_sign_wrong": "repaired"}),
    ("return positive, total is the difference", {"return_static": 0.22, "reported_tesp": 0.09},
     {"return_sign_wrong": "set_aside"}),
    ("supply negative", {"supply_static": -0.31}, {"supply_sign_wrong": "set_aside"}),
    ("supply negative, total shows it", {"supply_static": -0.31, "reported_tesp": 0.53},
     {"supply_sign_wrong": "repaired"}),
    ("swapped", {"return_static": 0.31, "supply_static": -0.22}, {"ports_swapped": "repaired"}),
    ("swapped, total contradicts", {"return_static": 0.31, "supply_static": -0.22, "reported_tesp": 0.30},
     {"ports_swapped": "set_aside", "tesp_sum_mismatch": "note"}),
    ("both near zero, no sign check", {"return_static": 0.02, "supply_static": 0.01},
     {"reading_near_zero": "set_aside"}),
    ("pa in a row of inwc", {"return_static": -55.0, "supply_static": 77.0}, {"unit_mismatch": "repaired"}),
    ("the same, total contradicts", {"return_static": -55.0, "supply_static": 77.0, "reported_tesp": 0.70},
     {"unit_mismatch": "set_aside", "reading_out_of_range": "set_aside", "tesp_sum_mismatch": "note"}),
    ("pa in a row of inwc, sign dropped too", {"return_static": 55.0, "supply_static": 77.0, "reported_tesp": 132.0},
     {"unit_mismatch": "repaired", "return_sign_wrong": "repaired"}),
    ("inwc in a row of pa", {"pressure_unit": "pa"}, {"unit_mismatch": "repaired"}),
    ("only plausible as mmwc", {"return_static": -1.5, "supply_static": 3.0, "zero_return": 0.0, "zero_supply": 0.0},
     {"unit_mismatch": "set_aside", "reading_out_of_range": "set_aside"}),
    ("plausible in no unit", {"return_static": -700.0, "supply_static": 9.0}, {"reading_out_of_range": "set_aside"}),
    ("total beyond 0.02 and 5 %", {"reported_tesp": 0.56}, {"tesp_sum_mismatch": "note"}),
    ("total within 0.02", {"reported_tesp": 0.55}, {}),
    ("total within 5 %", {"return_static": -0.5, "supply_static": 0.5, "reported_tesp": 1.05}, {}),
    ("negative drop", {"filter_drop": -0.01}, {"component_drop_impossible": "set_aside"}),
    ("filter's drop larger than the return static", {"filter_drop": 0.23}, {"component_drop_impossible": "set_aside"}),
    ("the same outside the span", {"filter_drop": 0.23, "return_port": "before_filter"},
     {"return_port_wrong": "repaired"}),
    ("coil's drop larger than the supply static", {"coil_drop": 0.32}, {"component_drop_impossible": "set_aside"}),
    ("before the filter, no drop", {"return_port": "before_filter"}, {"return_port_wrong": "set_aside"}),
    ("after the coil, no drop", {"supply_port": "after_coil"}, {"supply_port_wrong": "set_aside"}),
    ("near a turn", {"supply_location": "near_turn"}, {"probe_near_turn": "note"}),
    ("low stage", {"blower_stage": "low"}, {"stage_not_high": "set_aside"}),
    ("dirty", {"filter_condition": "dirty", "blower_condition": "dirty"},
     {"filter_dirty": "not_like_new", "blower_dirty": "not_like_new"}),
    ("coil dirty, registers closed", {"coil_condition": "dirty", "registers": "some_closed"},
     {"coil_dirty": "not_like_new", "registers_closed": "not_like_new"}),
    ("holes open", {"holes_plugged": False}, {"holes_left_open": "note"}),
    ("tomorrow", {"visited_on": date(2026, 4, 2)}, {"visit_in_future": "set_aside"}),
    ("same digits elsewhere after 24 h", THREE | {"others": [TWIN]}, {"readings_repeated": "note"}),
    ("same digits at the same site", THREE | {"others": [TWIN | {"site_id": "s1"}]}, {}),
    ("same digits, two decimals", {"others": [TWIN | {"return_static": -0.22, "supply_static": 0.31}]}, {}),
]  # fmt: skip


@pytest.mark.parametrize(("changes", "expected"), [c[1:] for c in FOUND], ids=[c[0] for c in FOUND])
def test_findings(changes: dict[str, Any], expected: dict[str, str]) -> None:
    assert check(**changes).findings == expected


def test_dates_against_the_equipments() -> None:
    day = NOON.date()
    assert check(FURNACE | {"installed_on": day, "retired_on": day}).findings == {}
    assert check(FURNACE | {"installed_on": day + timedelta(days=1)}).findings == {
        "visit_before_install": "set_aside"
    }
    assert check(FURNACE | {"retired_on": day - timedelta(days=1)}).findings == {
        "visit_after_retirement": "set_aside"
    }


def test_ports_are_mended_with_the_measured_drops() -> None:
    furnace = check(return_port="before_filter", supply_port="after_coil", filter_drop=0.08, coil_drop=0.20)
    assert (furnace.return_inwc, furnace.supply_inwc) == (pytest.approx(-0.301), pytest.approx(0.512))
    fan_coil = check(FAN_COIL, filter_drop=0.08, coil_drop=0.20)
    assert fan_coil.findings == {"return_port_wrong": "repaired", "supply_port_wrong": "repaired"}
    assert (fan_coil.return_inwc, fan_coil.supply_inwc) == (pytest.approx(-0.141), pytest.approx(0.112))


def test_swapped_ports_take_their_zeros_with_them() -> None:
    checked = check(return_static=0.31, supply_static=-0.22, zero_return=0.010, zero_supply=-0.005)
    assert (checked.return_inwc, checked.supply_inwc) == (pytest.approx(-0.215), pytest.approx(0.300))
    assert not checked.sides_known


def test_zeros_follow_the_unit_unless_they_make_sense_only_in_the_rows() -> None:
    follow = check(return_static=-55.0, supply_static=77.0, zero_return=1.0, zero_supply=-2.0)
    assert follow.return_inwc == pytest.approx(-56 / 249.08891)
    stay = check(pressure_unit="pa", zero_return=1.0, zero_supply=-2.0)
    assert stay.return_inwc == pytest.approx(-0.22 - 1 / 249.08891)


def test_impossible_drop_leaves_the_visit_valid() -> None:
    checked = check(filter_drop=-0.01, coil_drop=0.10)
    assert checked.valid
    assert (checked.filter_drop, checked.coil_drop) == (None, 0.10)


TABLE = [
    {"blower_table_id": "t", "tap": "high", "external_static_inwc": x, "airflow_cfm": q, "power_w": w}
    for x, q, w in ((0.5, 950.0, 400.0), (0.6, 865.0, 390.0), (0.7, 775.0, None))
]
UNIT = FURNACE | {"blower_table_id": "t", "cooling_tap": "high", "design_cooling_cfm": 1000.0}


def test_airflow_from_the_table_of_the_textbook_note() -> None:
    # PSC blower, high tap: 907.5 cfm at 0.55 in. w.c. (textbook companion note, 2013)
    air = reference.visit_airflow(visit(), 0.55, UNIT, TABLE, 0)
    assert (air.cfm, air.source, air.ratio, air.power_w) == (
        pytest.approx(907.5), "blower_table", pytest.approx(0.9075), pytest.approx(395),
    )  # fmt: skip
    # at 5000 ft 0.4739 in. w.c. is 0.55 in standard air (density ratio 0.86170)
    assert reference.visit_airflow(visit(), 0.55 * 0.86170, UNIT, TABLE, 5000).cfm == pytest.approx(
        907.5, abs=0.01
    )
    assert reference.visit_airflow(visit(), 0.49, UNIT, TABLE, 0).source == "none"
    assert reference.visit_airflow(visit(tap="low"), 0.55, UNIT, TABLE, 0).cfm is None
    assert reference.visit_airflow(visit(airflow_cfm=900.0), 0.55, UNIT, TABLE, 0).source == "measured"


def test_density_ratio_of_the_standard_atmosphere() -> None:
    # by the library fluids: 0.94278, 0.86170, 0.81070
    for feet, ratio in ((0, 1.0), (2000, 0.94278), (5000, 0.86170), (7000, 0.81070)):
        assert reference.density_ratio(feet) == pytest.approx(ratio, abs=5e-6)


def test_budgets_and_parts_of_the_excess() -> None:
    assert reference.side_budgets(FURNACE) == (0.25, 0.25)
    designed = FURNACE | {"design_return_inwc": -0.1, "design_supply_inwc": 0.3}
    assert reference.side_budgets(designed) == (pytest.approx(0.125), pytest.approx(0.375))
    parts = reference.excess_parts(-0.40, 0.35, (0.25, 0.25), 1.1)
    assert sum(parts) == pytest.approx(0.25)
    assert reference.excess_parts(-0.25 * 1.21, 0.25 * 1.21, (0.25, 0.25), 1.1) == pytest.approx(
        (0, 0, 0.105)
    )
    assert reference.excess_parts(-0.40, 0.35, (0.25, 0.25), None) == pytest.approx((0.15, 0.10, 0))


WORKS = [
    {"done_on": date(2025, 3, 1), "work_kind": "return_enlarged"},
    {"done_on": date(2025, 6, 1), "work_kind": "filter_changed"},
    {"done_on": date(2025, 9, 1), "work_kind": "coil_cleaned"},
    {"done_on": date(2026, 9, 1), "work_kind": "coil_cleaned"},
]


def test_segments() -> None:
    expected = {date(2025, 2, 28): 0, date(2025, 3, 1): None, date(2025, 6, 1): 1, date(2025, 9, 2): 2}
    assert {day: reference.segment_of(day, WORKS, TODAY) for day in expected} == expected
    visits = [{"visited_on": day} for day in expected]
    assert reference.last_segment(visits, WORKS, TODAY) == [{"visited_on": date(2025, 9, 2)}]


def test_states() -> None:
    days = [date(2025, 10, 1), date(2025, 11, 1), date(2025, 12, 30)]
    for prob, state in ((0.95, "chronic"), (0.94, "uncertain"), (0.06, "uncertain"), (0.05, "within_rating")):
        assert reference.static_state(days, prob) == state
    assert reference.static_state(days[:2], 0.99) == "too_few_visits"
    assert reference.static_state([*days[:2], date(2025, 12, 29)], 0.99) == "uncertain"  # 89 days


def test_trend_of_the_epa_examples() -> None:
    sulfate = reference.mode_trend((series.SULFATE_YEARS, series.SULFATE))
    assert sulfate is not None
    assert (sulfate.slope, sulfate.lo) == (pytest.approx(26.66667), pytest.approx(20))
    assert (sulfate.test.s, sulfate.test.variance) == (194, 1428)
    months = [((1983.0, 1984.0, 1985.0), [year[m] for year in series.MONTHLY]) for m in range(12)]
    slope, test = reference.seasonal_kendall(months)
    assert (slope, test.s, test.variance) == (pytest.approx(0.06), 35, pytest.approx(43))
    assert test.p == pytest.approx(2.160712e-07, rel=1e-6)


def test_too_little_for_a_trend() -> None:
    assert reference.mode_trend(([0, 0.1, 0.2, 0.3], [1, 2, 3, 4])) is None
    assert reference.mode_trend(([0, 0.1, 0.2, 0.3, 0.4], [1, 2, 3, 4, 5])) is None
    assert reference.mode_trend(([0, 0.1, 0.2, 0.3, 0.5], [1, 2, 3, 4, 5])) is not None
