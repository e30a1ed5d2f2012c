"""What to look at first: a part that the rating covers lies between the ports, so its drop is nothing of the static."""

from __future__ import annotations

import re

import polars as pl
import pytest

from tests.conftest import FIELD_TODAY, Query, query_of, run_stages
from tests.load.drops import write_drop

EQUIPMENT = (
    "equipment_id,site_id,equipment_kind,rated_tesp_inwc,filter_in_rating,coil_in_rating,"
    "design_cooling_cfm,design_heating_cfm"
)
# kind, filter in rating, coil in rating, mode, return, supply, filter drop, coil drop, airflow
UNITS = {
    "furnace_coil": ("furnace", "", "", "cooling", -0.20, 0.70, "", "0.40", ""),
    "furnace_duct": ("furnace", "", "", "cooling", -0.20, 0.70, "", "0.18", ""),
    "furnace_bare": ("furnace", "", "", "cooling", -0.20, 0.70, "", "", ""),
    "fan_coil_coil": ("fan_coil", "", "", "cooling", -0.20, 0.70, "", "0.40", ""),
    "fan_coil_bare": ("fan_coil", "", "", "cooling", -0.20, 0.70, "", "", ""),
    "coil_outside": ("fan_coil", "", "false", "cooling", -0.20, 0.70, "", "0.40", ""),
    "filter": ("furnace", "false", "", "cooling", -0.70, 0.20, "0.30", "", ""),
    "filter_inside": ("fan_coil", "true", "", "cooling", -0.70, 0.20, "0.30", "", ""),
    "filter_inside_bare": ("fan_coil", "true", "", "cooling", -0.70, 0.20, "", "", ""),
    "fast_furnace": ("furnace", "", "", "heating", -0.45, 0.45, "", "", "1500"),
    "fast_furnace_cooling": ("furnace", "", "", "cooling", -0.45, 0.45, "", "", "1500"),
    "fast_fan_coil": ("fan_coil", "", "", "heating", -0.45, 0.45, "", "", "1500"),
}


def _ports(kind: str, filter_inside: str, coil_inside: str) -> tuple[str, str]:
    coil = coil_inside or ("true" if kind == "fan_coil" else "false")
    return (
        "before_filter" if filter_inside == "true" else "after_filter",
        "after_coil" if coil == "true" else "before_coil",
    )


@pytest.fixture(scope="module")
def ask(tmp_path_factory: pytest.TempPathFactory) -> Query:
    equipment, sites, visits = [EQUIPMENT], ["site_id,branch"], []
    for unit, (kind, filters, coils, mode, back, forth, filter_drop, coil_drop, cfm) in UNITS.items():
        sites.append(f"S_{unit},North")
        equipment.append(f"{unit},S_{unit},{kind},0.5,{filters},{coils},1000,1000")
        ports = ",".join(_ports(kind, filters, coils))
        for day in (10, 11, 12, 13):
            at = f"2026-{day - 9:02d}-0{day - 9}T09:00:00-05:00"
            visits.append(
                f"{unit}{day},S_{unit},{unit},T1,{at},{mode},{at},0,0,{ports},{back},{forth},{filter_drop},{coil_drop},{cfm}"
            )
    header = (
        "visit_id,site_id,equipment_id,technician_id,visited_at,mode,zeroed_at,zero_return,zero_supply,return_port,"
        "supply_port,return_static,supply_static,filter_drop,coil_drop,airflow_cfm"
    )
    folder = tmp_path_factory.mktemp("check_first")
    files = {
        "sites.csv": sites,
        "equipment.csv": equipment,
        "technicians.csv": ["technician_id", "T1"],
        "visits.csv": [header, *visits],
    }
    drop = write_drop(folder / "drop", {name: "\n".join(lines) + "\n" for name, lines in files.items()})
    return query_of(run_stages([drop], folder / "out", FIELD_TODAY))


@pytest.fixture(scope="module")
def says(ask: Query) -> dict[str, str]:
    rows = ask("SELECT equipment_id, check_first FROM site_priority WHERE static_state <> 'too_few_visits'")
    return dict(rows.iter_rows())


def test_a_coil_between_the_ports_of_a_furnace_is_named_by_its_share(says: dict[str, str]) -> None:
    assert says["furnace_coil"].startswith(
        "Coil first: its drop of 0.40 in. w.c. is more than half of the supply static;"
    )
    assert says["furnace_duct"].startswith(
        "Supply duct first: the coil takes 0.18 of the supply static of 0.70 in. w.c.;"
    )
    assert "measure the coil drop if there is a coil outside the cabinet" in says["furnace_bare"]


def test_a_coil_that_the_rating_covers_is_no_part_of_the_static(says: dict[str, str]) -> None:
    for unit in ("fan_coil_coil", "fan_coil_bare"):
        assert says[unit].startswith("Supply duct first: shut registers")
        assert "The rating covers the coil" in says[unit]
        assert "0.40" not in says[unit]
    assert says["coil_outside"].startswith("Coil first: its drop of 0.40")


def test_a_filter_that_the_rating_covers_is_no_part_of_the_static(says: dict[str, str]) -> None:
    assert says["filter"].startswith("Filter first: its drop of 0.30")
    for unit in ("filter_inside", "filter_inside_bare"):
        assert says[unit].startswith("Return duct first: an undersized return")
        assert "The rating covers the filter" in says[unit]
        assert "0.30" not in says[unit]


def test_a_furnace_in_heating_keeps_its_temperature_rise(ask: Query, says: dict[str, str]) -> None:
    fast = ask("SELECT equipment_id FROM site_priority WHERE problem_side = 'airflow_setting'")
    assert fast.filter(pl.col("equipment_id").str.starts_with("fast_")).height == 3
    assert "temperature rise" in says["fast_furnace"]
    assert "temperature rise" not in says["fast_furnace_cooling"] + says["fast_fan_coil"]


def test_a_fan_set_too_fast_is_not_slowed_below_what_its_maker_asks(says: dict[str, str]) -> None:
    assert "the coil may ice" in says["fast_furnace_cooling"]
    assert "electric heat may overheat" in says["fast_fan_coil"]


def test_a_drop_is_told_with_its_unit(says: dict[str, str]) -> None:
    for text in says.values():
        assert re.findall(r"\d\.\d\d(?! in\. w\.c\.| of the supply static of)", text) == []
