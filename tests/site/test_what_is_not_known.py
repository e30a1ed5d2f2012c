"""A small fleet made by hand, of which something is not known: what follows from it is empty, not 0."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from tests.conftest import Query, query_of, run_stages
from tests.load.drops import write_drop

EQUIPMENT = """\
equipment_id,site_id,equipment_kind,rated_tesp_inwc,design_cooling_cfm,motor_kind,blower_table_id,cooling_tap
NO_TABLE,S1,furnace,0.5,1200,psc,,
NO_POWER,S1,furnace,0.5,1200,constant_torque,B1,low
POWER,S1,furnace,0.5,1200,constant_torque,B2,low
NO_AIR,S1,furnace,0.5,1200,constant_airflow,,
"""
TABLES = """\
blower_table_id,tap,external_static_inwc,airflow_cfm,power_w
B1,low,0.3,1300,
B1,low,0.9,1000,
B2,low,0.3,1300,400
B2,low,0.9,1000,340
"""
VISITS = (
    "visit_id,site_id,equipment_id,technician_id,visited_at,mode,zero_return,zero_supply,return_static,"
    "supply_static,airflow_cfm\n"
)


def _visits() -> str:
    units = ("NO_TABLE", "NO_POWER", "POWER", "NO_AIR")
    rows = [
        f"V{i}{unit},S1,{unit},T1,{date(2025, 1, 1) + timedelta(60 * i)}T10:00:00Z,cooling,0,0,-0.52,0.2{i},"
        f"{0 if unit == 'NO_AIR' else ''}\n"
        for i in range(6)
        for unit in units
    ]
    return VISITS + "".join(rows)


@pytest.fixture(scope="module")
def ask(tmp_path_factory: pytest.TempPathFactory) -> Query:
    folder = tmp_path_factory.mktemp("unknown")
    files = {
        "sites.csv": "site_id,branch\nS1,North\n",
        "technicians.csv": "technician_id\nT1\n",
        "equipment.csv": EQUIPMENT,
        "blower_tables.csv": TABLES,
        "visits.csv": _visits(),
    }
    return query_of(run_stages([write_drop(folder / "drop", files)], folder / "out", date(2026, 1, 1)))


def test_fan_power_that_is_not_known_costs_nobody_knows_what(ask: Query) -> None:
    rows = ask("SELECT equipment_id, extra_power_w, extra_cost_per_year FROM site_priority").rows_by_key(
        "equipment_id"
    )
    for unit in ("NO_TABLE", "NO_POWER", "NO_AIR"):
        assert rows[unit] == [(None, None)]
    assert rows["POWER"][0][0] < 0  # the fan draws less than at the rating
    assert rows["POWER"][0][1] == 0


def test_no_air_is_missing_where_no_airflow_is_known(ask: Query) -> None:
    short = dict(
        ask(
            "SELECT value, airflow_shortfall_cfm FROM branch_static WHERE \"grouping\" = 'motor_kind' AND n_chronic > 0"
        ).rows()
    )
    assert short["psc"] is None
    assert short["constant_torque"] > 0


def test_an_airflow_of_0_tells_no_side_apart(ask: Query) -> None:
    """Data contract section 4: airflow unknown, all of the excess is restriction, and prob_side is empty."""
    told = "SELECT problem_side, prob_side, airflow_setting_inwc FROM site_static WHERE equipment_id = "
    assert set(ask("SELECT airflow_source FROM visit_static WHERE equipment_id = 'NO_AIR'").rows()) == {
        ("none",)
    }
    assert ask(told + "'NO_AIR'").rows() == [("return", None, None)]
    assert ask(told + "'NO_TABLE'").rows() == [("return", None, None)]
    assert ask(told + "'POWER'").item(0, "prob_side") > 0.5
