"""Airflows in another unit than cfm are told, by file; what no unit explains is not."""

from __future__ import annotations

from pathlib import Path

import pint
import pytest

from tests.load.drops import SOUND, VISIT_COLUMNS, Store, write_drop

UNITS = {"m3_per_h": "m**3/hour", "l_per_s": "liter/second"}  # as pint calls them, whose factors these are
TONS = (2, 2.5, 3, 3.5, 4, 5)


def _in(unit: str | None) -> float:
    """What 1 cfm is in the unit."""
    cfm = pint.UnitRegistry().Quantity(1, "foot**3/minute")
    return float(cfm.to(UNITS[unit]).magnitude) if unit else 1.0


def _said(
    tmp_path: Path, design: float = 1, fan: float = 1, measured: float = 1, n: int = 6, tons: bool = True
) -> str:
    """What a run says of so many units whose airflows are so many times what their tons ask for."""
    units = [
        f"E{k},S1,furnace,0.5,{TONS[k] if tons else ''},{400 * TONS[k] * design},B{k},3" for k in range(n)
    ]
    fans = [f"B{k},{tap},{static},{(1100 - 400 * static) * TONS[k] / 3 * (tap / 3) * 1.2 * fan}"
            for k in range(n) for tap in (1, 3) for static in (0.1, 0.5, 0.9)]  # fmt: skip
    visits = [
        f"V{k},S1,E{k},T1,2026-03-0{k + 1}T08:00:00Z,cooling,-0.2,0.3,{350 * TONS[k] * measured}"
        for k in range(n)
    ]
    headers = {
        "equipment.csv": (
            "equipment_id,site_id,equipment_kind,rated_tesp_inwc,nominal_tons,design_cooling_cfm,"
            "blower_table_id,cooling_tap"
        ),
        "blower_tables.csv": "blower_table_id,tap,external_static_inwc,airflow_cfm",
        "visits.csv": f"{VISIT_COLUMNS},airflow_cfm",
    }
    rows = dict(zip(headers, (units, fans, visits), strict=True))
    files = {name: "\n".join([header, *rows[name], ""]) for name, header in headers.items()}
    store = Store(tmp_path / "into")
    store.run(write_drop(tmp_path / "drop", SOUND | files))
    return "\n".join(store.said)


@pytest.mark.parametrize("unit", UNITS)
@pytest.mark.parametrize(
    ("which", "file", "table", "column"),
    [
        ("design", "equipment.csv", "equipment", "design_cooling_cfm"),
        ("fan", "blower_tables.csv", "blower_tables", "airflow_cfm"),
        ("measured", "visits.csv", "visits", "airflow_cfm"),
    ],
)
def test_another_unit_is_told_of_the_file_that_has_it(
    tmp_path: Path, unit: str, which: str, file: str, table: str, column: str
) -> None:
    (said,) = _said(tmp_path, **{which: _in(unit)}).splitlines()
    assert said.startswith(f"{file}: the median of {column} in cooling")
    assert said.endswith(f'[units.{table}] {column} = "{unit}"')


@pytest.mark.parametrize("times", [0.7, 1, 1.3])
def test_what_ducts_and_fans_do_is_no_other_unit(tmp_path: Path, times: float) -> None:
    assert _said(tmp_path, times, times, times) == ""


def test_a_kilowatt_for_a_ton_or_few_units_say_nothing(tmp_path: Path) -> None:
    assert _said(tmp_path / "kw", *[1 / 3.517] * 3) == ""  # 1 ton is 3.517 kW
    assert _said(tmp_path / "few", *[_in("m3_per_h")] * 3, n=4) == ""


def test_without_tons_the_design_is_what_they_are_held_against(tmp_path: Path) -> None:
    said = _said(tmp_path, fan=_in("l_per_s"), tons=False)
    assert said.startswith("blower_tables.csv: the median of airflow_cfm")


def test_a_mapping_that_says_the_unit_ends_it(tmp_path: Path) -> None:
    assert _said(tmp_path, measured=_in("m3_per_h")) != ""
    mapping = tmp_path / "mapping.toml"
    mapping.write_text('[units.visits]\nairflow_cfm = "m3_per_h"\n')
    store = Store(tmp_path / "again")
    store.run(tmp_path / "drop", mapping=mapping)
    assert store.said == []
