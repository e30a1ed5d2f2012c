"""A fan set faster is no clogging duct: planted series whose answer is known from K Q^2 alone."""

from __future__ import annotations

from datetime import date, timedelta

import polars as pl
import pytest

from pipeline.site.trends import series as series_look
from pipeline.site.visits import make_by_parts
from pipeline.warehouse import Warehouse

DESIGN_CFM = 1200.0
VISITS = 9


UNITS = ("fan set faster", "duct clogs", "air given up")


def series(unit: str, cfm: list[float], k: list[float]) -> list[dict[str, object]]:
    """One visit every 90 days at these airflows, through ducts of these K (in. w.c. per cfm^2)."""
    days = [date(2024, 1, 1) + timedelta(days=90 * i) for i in range(VISITS)]
    return [
        {
            "unit_no": 2 * UNITS.index(unit),
            "visited_on": day,
            "at_year": (day - days[0]).days / 365.25,
            "tesp_inwc": at * q**2,
            "airflow_ratio": q / DESIGN_CFM,
        }
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
    with Warehouse() as warehouse:
        warehouse.store("level_visit", pl.DataFrame(rows))
        make_by_parts(warehouse, series_look(warehouse))
        warehouse.execute("CREATE SCHEMA staging")
        for name, of in (("unit_trend", "tesp"), ("unit_restriction", "restriction")):
            warehouse.execute(
                f"CREATE TABLE staging.{name} AS SELECT p_value FROM series_test WHERE series = '{of}'"
            )
        warehouse.execute("CREATE TABLE equipment_line (p_value DOUBLE)")
        warehouse.run("site/trend_rate.sql")
        found = warehouse.query(
            """
            SELECT s.*, trend_word(s.slope_per_year, q.q_value, q.q_limit) AS trend
            FROM series_test AS s JOIN staging.trend_rate AS q ON s.series = q.series AND s.p_value = q.p_value
            """
        )
    return {(r["series"], UNITS[r["unit_no"] // 2]): r for r in found.iter_rows(named=True)}


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
