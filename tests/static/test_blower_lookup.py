"""Where each visit's static finds its segment of the blower table: by cells in SQL, by numpy's searchsorted here."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from pipeline.warehouse import Warehouse

Points = tuple[np.ndarray, np.ndarray]


def random_curves(rng: np.random.Generator) -> dict[str, Points]:
    """Curves of 1 to 30 points: even and uneven steps, far outliers, airflow that need not fall."""
    curves = {}
    for number in range(300):
        count = int(rng.integers(1, 31))
        static = np.sort(rng.choice(np.arange(0, 200), count, replace=False)) / 100
        if number % 5 == 0:
            static = np.append(static, round(static[-1] + 10.0 ** rng.integers(0, 4), 2))
        curves[f"B{number:03d}"] = (static, rng.uniform(300, 2000, len(static)))
    return curves


@pytest.fixture(scope="module")
def looked_up() -> tuple[dict[str, Points], pl.DataFrame]:
    rng = np.random.default_rng(20261125)
    curves = random_curves(rng)
    points = [
        (name, "high", float(p), float(q))
        for name, (static, airflow) in curves.items()
        for p, q in zip(static, airflow, strict=True)
    ]
    asked = []
    for name, (static, _) in curves.items():
        middle = rng.uniform(static[0] - 0.1, static[-1] + 0.1, 10)
        near = np.concatenate([static, static + 1e-9, static - 1e-9])
        asked += [(name, "high", float(x)) for x in np.concatenate([middle, near])]
    columns = ["blower_table_id", "tap", "external_static_inwc", "airflow_cfm"]
    table = pl.DataFrame(points, schema=columns, orient="row").with_columns(
        pl.lit(None, pl.Float64).alias("power_w")
    )
    return curves, look_up(table, asked)


def look_up(table: pl.DataFrame, asked: list[tuple[str, str, float]]) -> pl.DataFrame:
    """visit_airflow of readings at (table, tap, TESP), at sea level."""
    with Warehouse() as warehouse:
        warehouse.store("blower_table", table)
        for name in ("blower_segment", "blower_end", "blower_cell"):
            warehouse.run(f"static/{name}.sql")
        reading = pl.DataFrame(asked, schema=["blower_table_id", "tap", "tesp_inwc"], orient="row")
        warehouse.store(
            "reading",
            reading.with_columns(
                pl.lit("cooling").alias("mode"),
                pl.lit(1.0).alias("density_ratio"),
                *[pl.lit(None, pl.String).alias(c) for c in ("cooling_tap", "heating_tap")],
                *[
                    pl.lit(None, pl.Float64).alias(c)
                    for c in ("design_cooling_cfm", "design_heating_cfm", "airflow_cfm")
                ],
            ),
        )
        warehouse.run("static/visit_airflow.sql")
        found = warehouse.query("SELECT * FROM visit_airflow")
        assert found.height == len(asked), "a static found more than one segment"
        assert warehouse.scalar("SELECT count(*) FROM blower_cell") < 3 * table.height
        return found


def test_every_static_finds_the_airflow_between_its_neighbours(
    looked_up: tuple[dict[str, Points], pl.DataFrame],
) -> None:
    curves, found = looked_up
    for row in found.iter_rows(named=True):
        static, airflow = curves[row["blower_table_id"]]
        x = row["tesp_inwc"]
        inside = static[0] <= x <= static[-1]
        assert row["inside_table"] == inside, row
        assert (row["airflow_at_least_cfm"] is not None) == (x < static[0]), row
        assert (row["airflow_at_most_cfm"] is not None) == (x > static[-1]), row
        if not inside:
            assert row["table_cfm"] is None
            assert row["table_slope_cfm_per_inwc"] is None
            continue
        assert row["table_cfm"] == pytest.approx(np.interp(x, static, airflow), rel=1e-9), row
        i = np.searchsorted(static, x, side="right") - 1
        if i + 1 < len(static):
            slope = (airflow[i + 1] - airflow[i]) / (static[i + 1] - static[i])
            assert row["table_slope_cfm_per_inwc"] == pytest.approx(slope), row
        else:
            assert row["table_slope_cfm_per_inwc"] is None


@pytest.mark.parametrize("end", [0.3, 0.6, 0.7, 0.9])
@pytest.mark.parametrize("last", [True, False])
def test_a_total_of_decimals_at_a_point_of_the_table_is_at_that_point(end: float, last: bool) -> None:
    """0.2 + 0.1 is 0.30000000000000004 in floats, and 0.3 on paper (data contract, section 4: TESP = supply - return;
    the table is left at its end, not before). A point answers by itself, though its neighbour has no power."""
    table = pl.DataFrame(
        [
            ("B", "high", end - 0.1 if last else end, 900.0, 300.0),
            ("B", "high", end if last else 2.0, 700.0, None),
        ],
        schema=["blower_table_id", "tap", "external_static_inwc", "airflow_cfm", "power_w"],
        orient="row",
    )
    thousandths = round(end * 1000)
    totals = [(thousandths - r) / 1000 - -r / 1000 for r in range(thousandths + 1)]
    assert min(totals) < end or max(totals) > end  # floats do miss it
    found = look_up(table, [("B", "high", total) for total in totals])
    assert found["table_cfm"].to_list() == pytest.approx([700.0 if last else 900.0] * len(totals), rel=1e-12)
    assert found["airflow_note"].null_count() == len(totals)
    assert found["table_w"].to_list() == [None if last else 300.0] * len(totals)
