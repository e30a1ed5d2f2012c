"""visit_static as it is stored and as it is read: what the view adds, worked out again in Polars."""

from __future__ import annotations

import shutil
from pathlib import Path

import polars as pl
import pytest

from pipeline.catalog import table_entry
from pipeline.warehouse import Warehouse
from tests.conftest import Query, query_of

STORED = "staging.visit_measured"
PARTS = [c.name for c in table_entry("visit_static").columns][-11:]


@pytest.fixture(scope="module")
def work(small_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Query:
    """Ask the work file of the small fleet, in which visit_static is a view."""
    copy = shutil.copy(small_file.with_name("work.duckdb"), tmp_path_factory.mktemp("stored"))
    warehouse = Warehouse(Path(copy))
    return warehouse.query


def test_the_view_has_the_columns_of_the_catalog(work: Query, small_file: Path) -> None:
    """Names, order and types, and the same in a publication that is written anew."""
    declared = [(c.name, c.type) for c in table_entry("visit_static").columns]
    for ask in (work, query_of(small_file)):
        told = ask("SELECT column_name, column_type FROM (DESCRIBE visit_static)").rows()
        assert told == declared


def test_every_stored_column_but_five_is_read_as_it_stands(work: Query) -> None:
    stored = work(f"SELECT * FROM {STORED} ORDER BY visit_id")
    seen = work("SELECT * FROM visit_static ORDER BY visit_id")
    assert set(stored.columns) - set(seen.columns) == {
        "airflow_from",
        "equipment_no",
        "power_measured",
        "table_slope_cfm_per_inwc",
        "branch",
    }
    for name in set(stored.columns) & set(seen.columns):
        assert stored[name].cast(seen[name].dtype).equals(seen[name]), name


def test_what_is_added_when_it_is_read(work: Query) -> None:
    """The data contract's words in Polars: TESP, ratios, parts, and the split of the excess by budgets of the unit."""
    rows = work(
        "SELECT v.*, e.design_cooling_cfm, e.design_heating_cfm, e.nominal_tons, e.site_id AS its_site, "
        "e.rated_tesp_inwc AS rated, e.design_return_inwc, e.design_supply_inwc, e.filter_in_rating, e.coil_in_rating "
        "FROM visit_static AS v JOIN equipment AS e USING (equipment_id)"
    )
    assert rows.height == work(f"SELECT count(*) FROM {STORED}").item()
    c = pl.col
    design = pl.when(c("mode") == "cooling").then("design_cooling_cfm").otherwise("design_heating_cfm")
    share = c("design_return_inwc").abs() / (c("design_return_inwc").abs() + c("design_supply_inwc").abs())
    back = c("rated") * share.fill_nan(None).fill_null(0.5)
    ratio = c("airflow_cfm") / design
    a = pl.when(ratio > 0).then(ratio**2)

    def restriction(p: pl.Expr, b: pl.Expr) -> pl.Expr:
        return ((p / a - b) * (a + 1) / 2).fill_null(p - b)

    wanted = {
        "site_id": c("its_site"),
        "rated_tesp_inwc": c("rated"),
        "tesp_inwc": c("supply_inwc") - c("return_inwc"),
        "design_cfm": design,
        "airflow_ratio": ratio,
        "cfm_per_ton": c("airflow_cfm") / c("nominal_tons"),
        "w_per_cfm": c("power_w") / c("airflow_cfm"),
        "valid": c("set_aside_because").is_null(),
        "return_restriction_inwc": restriction(-c("return_inwc"), back),
        "supply_restriction_inwc": restriction(c("supply_inwc"), c("rated") - back),
        "airflow_setting_inwc": c("tesp_inwc")
        - c("rated")
        - c("return_restriction_inwc")
        - c("supply_restriction_inwc"),
        "filter_part_inwc": pl.when(c("filter_in_rating")).then(0.0).otherwise("filter_drop_inwc"),
        "coil_part_inwc": pl.when(c("coil_in_rating")).then(0.0).otherwise("coil_drop_inwc"),
        "return_duct_inwc": -c("return_inwc") - c("filter_part_inwc"),
        "supply_duct_inwc": c("supply_inwc") - c("coil_part_inwc"),
        "u_tesp_inwc": sum((c(part) ** 2 for part in PARTS), pl.lit(0.0)).sqrt(),
    }
    for name, value in wanted.items():
        both = rows.select(found=c(name), wanted=value)
        assert both["found"].null_count() == both["wanted"].null_count(), name
        if both["found"].dtype.is_float():
            assert both.select((c("found") - c("wanted")).abs().max()).item() < 1e-9, name
        else:
            assert both["found"].equals(both["wanted"].rename("found")), name


@pytest.mark.parametrize(
    ("columns", "looks_up"),
    [
        ("count(*)", False),
        ("technician_id, count(*)", False),
        ("sum(tesp_inwc)", False),
        ("max(site_id)", True),
    ],
)
def test_units_are_looked_up_only_for_who_asks_for_what_they_know(
    work: Query, columns: str, looks_up: bool
) -> None:
    plan = work(f"EXPLAIN SELECT {columns} FROM visit_static GROUP BY ALL")["explain_value"].item()
    assert ("staging.equipment_facts" in plan) == looks_up
