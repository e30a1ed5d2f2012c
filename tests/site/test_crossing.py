"""The day on which a unit's line reaches the rating, whatever the setting calls a year."""

from __future__ import annotations

from datetime import date, timedelta

import polars as pl
import pytest

from pipeline.settings import Settings
from pipeline.warehouse import Warehouse

MIDDLE = date(2024, 3, 1)


@pytest.mark.parametrize("days_per_year", [365.25, 365.0, 360.0])
def test_a_line_crosses_on_its_day_whatever_a_year_is(days_per_year: float) -> None:
    """0.4 on the middle day, 0.0002 in. w.c. a day: 0.5 is reached 500 days later, by the ends of the slope 400 and
    1000 days later."""
    unit = {
        "unit_no": 0,
        "equipment_no": 0,
        "site_id": "S",
        "equipment_id": "E",
        "mode": "cooling",
        "n_visits": 9,
    }
    unit |= {"first_on": MIDDLE, "last_on": MIDDLE, "level_inwc": 0.4, "rated_tesp_inwc": 0.5}
    line = {"series": "tesp", "unit_no": 0, "mann_kendall_s": 9.0, "p_value": 0.01, "middle": 0.4}
    line |= {"middle_year": (MIDDLE - date(1970, 1, 1)).days / days_per_year}
    slopes = {"slope_per_year": 0.0002, "slope_lo": 0.0001, "slope_hi": 0.00025}
    line |= {name: a_day * days_per_year for name, a_day in slopes.items()}
    settings = Settings().with_values({"days_per_year": days_per_year}, "a test")
    with Warehouse(settings=settings) as warehouse:
        warehouse.execute("CREATE SCHEMA staging")
        warehouse.store("unit", pl.DataFrame([unit]))
        warehouse.execute("CREATE TABLE staging.unit_verdict AS FROM unit")
        warehouse.store("series_test", pl.DataFrame([line]))
        warehouse.run("site/unit_trend.sql")
        (row,) = warehouse.query("FROM staging.unit_trend").to_dicts()
    found = [row[f"crossing_{which}on"] for which in ("earliest_", "", "latest_")]
    assert found == [MIDDLE + timedelta(days) for days in (400, 500, 1000)]


@pytest.mark.parametrize("hour", [0, 1, 11, 13, 23])
def test_a_line_crosses_on_the_day_in_which_it_does(hour: int) -> None:
    """From 0.4 at an hour of the middle day to 0.5 in 500 days: the same hour, so the same day, whatever the hour."""
    middle = (MIDDLE - date(1970, 1, 1)).days + hour / 24
    with Warehouse() as warehouse:
        asked = f"SELECT crossing_day({middle} / 365.25, 0.4, 0.0002 * 365.25, 0.5) AS found"
        assert warehouse.query(asked).item() == MIDDLE + timedelta(500)
