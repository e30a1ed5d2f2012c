"""The parts of the measured span and the causes of the excess: each visit's add up, on every drop at hand."""

from __future__ import annotations

import polars as pl
import pytest

from pipeline.settings import Settings
from tests.conftest import Query, query_of


@pytest.fixture(scope="module", params=["field_file", "small_file", "demo_file"])
def ask(request: pytest.FixtureRequest) -> Query:
    return query_of(request.getfixturevalue(request.param))


def test_parts_add_up_to_the_tesp_and_allowances_to_the_rating(ask: Query) -> None:
    rows = ask(
        "SELECT v.visit_id, any_value(v.tesp_inwc) AS tesp, any_value(v.rated_tesp_inwc) AS rated, "
        "sum(c.drop_inwc) AS drops, sum(c.allowance_inwc) AS allowances, sum(c.excess_inwc) AS excess, count(*) AS n "
        "FROM visit_component AS c JOIN visit_static AS v USING (visit_id) GROUP BY v.visit_id"
    )
    assert rows.height > 100
    assert rows.select((pl.col("drops") - pl.col("tesp")).abs().max()).item() < 1e-9
    assert rows.select((pl.col("allowances") - pl.col("rated")).abs().max()).item() < 1e-9
    assert rows.select((pl.col("excess") - (pl.col("tesp") - pl.col("rated"))).abs().max()).item() < 1e-9
    assert rows["n"].min() >= 3


def test_measured_drops_within_the_span_are_parts_and_no_others(ask: Query) -> None:
    """Filter and coil rows against the visits' drops and what the equipment's rating covers, row by row."""
    visits = ask(
        "SELECT visit_id, filter_drop_inwc, coil_drop_inwc, filter_in_rating, coil_in_rating "
        "FROM visit_static JOIN equipment USING (equipment_id)"
    )
    parts = ask("SELECT * FROM visit_component")
    settings = Settings()
    for part, covered, drop in (
        ("filter", "filter_in_rating", "filter_drop_inwc"),
        ("coil", "coil_in_rating", "coil_drop_inwc"),
    ):
        expected = visits.filter(~pl.col(covered) & pl.col(drop).is_not_null())
        got = parts.filter(pl.col("component") == part).join(expected, on="visit_id")
        assert got.height == expected.height == parts.filter(pl.col("component") == part).height
        assert got.height > 0
        assert got.select((pl.col("drop_inwc") - pl.col(drop)).abs().max()).item() == 0
        assert got["allowance_inwc"].max() == settings[f"{part}_allowance_inwc"]


def test_the_three_causes_add_up_for_every_visit_with_known_airflow(ask: Query) -> None:
    rows = ask("SELECT * FROM visit_static WHERE airflow_ratio IS NOT NULL")
    assert rows.height > 300
    causes = pl.sum_horizontal("return_restriction_inwc", "supply_restriction_inwc", "airflow_setting_inwc")
    gap = rows.select((causes - (pl.col("tesp_inwc") - pl.col("rated_tesp_inwc"))).abs().max()).item()
    assert gap < 1e-9
