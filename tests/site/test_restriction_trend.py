"""A fan set faster is no clogging duct: planted series whose answer is known from K Q^2 alone."""

from __future__ import annotations

from datetime import date, timedelta

import polars as pl
import pytest

from pipeline.warehouse import Warehouse

DESIGN_CFM = 1200.0
VISITS = 9


def series(unit: str, cfm: list[float], k: list[float]) -> list[tuple[object, ...]]:
    """One visit every 90 days at these airflows, through ducts of these K (in. w.c. per cfm^2)."""
    days = [date(2024, 1, 1) + timedelta(days=90 * i) for i in range(VISITS)]
    return [
        (unit, "cooling", day, (day - date(2024, 1, 1)).days / 365.25, at * q**2, q / DESIGN_CFM)
        for day, q, at in zip(days, cfm, k, strict=True)
    ]


@pytest.fixture(scope="module")
def trends() -> dict[tuple[str, str], dict[str, object]]:
    """(series, unit) -> its row of series_test, with the word for it."""
    k = 0.6 / DESIGN_CFM**2
    up = [1 + 0.05 * i for i in range(VISITS)]
    rows = [
        *series("fan set faster", [DESIGN_CFM * u for u in up], [k] * VISITS),
        *series("duct clogs", [DESIGN_CFM / u for u in up], [k * u**3 for u in up]),
        *series("air given up", [DESIGN_CFM / u for u in up], [k * u**2 for u in up]),
    ]
    columns = ["equipment_id", "mode", "visited_on", "at_year", "tesp_inwc", "airflow_ratio"]
    found = {}
    with Warehouse() as warehouse:
        warehouse.store("level_visit", pl.DataFrame(rows, schema=columns, orient="row"))
        warehouse.run("site/series_test.sql")
        warehouse.store("trend_test", pl.DataFrame(schema={"equipment_id": pl.String, "p_value": pl.Float64}))
        warehouse.run("site/trend_adjusted.sql")
        rows = warehouse.query(
            """
            SELECT *, trend_word(slope_per_year, q_value, getvariable('trend_q')) AS trend
            FROM series_test JOIN trend_adjusted USING (series, equipment_id, mode)
            """
        )
        for row in rows.iter_rows(named=True):
            found[row["series"], row["equipment_id"]] = row
    return found


def test_a_fan_set_faster_moves_the_tesp_alone(trends) -> None:
    assert trends["tesp", "fan set faster"]["trend"] == "rising"
    assert trends["restriction", "fan set faster"]["slope_per_year"] == pytest.approx(0, abs=1e-12)
    assert trends["restriction", "fan set faster"]["trend"] == "steady"


def test_a_clogging_duct_moves_both(trends) -> None:
    assert trends["tesp", "duct clogs"]["trend"] == "rising"
    assert trends["restriction", "duct clogs"]["trend"] == "rising"


def test_a_fan_that_gives_up_air_hides_the_duct_from_the_tesp(trends) -> None:
    assert trends["tesp", "air given up"]["trend"] == "steady"
    assert trends["restriction", "air given up"]["trend"] == "rising"
