"""What the SQL macros do at their edges: equality, zero, outside the domain, lists, names."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from pipeline.warehouse import Warehouse


@pytest.fixture(scope="module")
def warehouse() -> Iterator[Warehouse]:
    with Warehouse() as opened:
        yield opened


EDGES: dict[str, Any] = {
    # compare: a difference of decimals is not "beyond" its limit for the last bit of a float
    "exceeds(0.53::DOUBLE - 0.51::DOUBLE, 0.02)": False,
    "0.53::DOUBLE - 0.51::DOUBLE > 0.02::DOUBLE": True,
    "exceeds(0.02 + 2e-9, 0.02)": True,
    "exceeds(0.01, 0.02)": False,
    "within(0.53::DOUBLE - 0.51::DOUBLE, 0.02)": True,
    "within(0.51::DOUBLE - 0.53::DOUBLE, 0.02)": True,
    "within(-0.0201, 0.02)": False,
    # units
    "inwc_per(NULL)": 1.0,
    "inwc_per('psi')": None,
    "to_inwc(2.5, 'PA')": None,
    "unit_words('inwc')": "in. w.c.",
    "unit_words('pa')": "Pa",
    "unit_words('mmwc')": "mm w.c.",
    "unit_words(NULL)": "in. w.c.",
    "unit_words('psi')": None,
    "starts_stretch('return_enlarged')": True,
    "starts_stretch('equipment_replaced')": True,
    "starts_stretch('filter_changed')": False,
    "starts_stretch('other')": False,
    "holds_no_value(',, ;\t\"\"')": True,
    "holds_no_value('')": True,
    "holds_no_value(',,0')": False,
    "holds_no_value(NULL)": None,
    # air
    "density_ratio(40000)": None,
    "density_ratio(-300) > 1": True,
    "velocity_fpm(-0.01)": None,
    "velocity_fpm(0)": 0.0,
    # fans and ducts
    "duct_curve_pressure(0.5, 0, 800, 2)": None,
    "duct_curve_pressure(0.5, 1000, -1, 2)": None,
    "duct_curve_pressure(0.5, 1000, 0, 2)": 0.0,
    "duct_curve_flow(0, 1000, 0.5, 2)": None,
    "duct_curve_flow(0.5, 1000, -0.1, 2)": None,
    "duct_curve_flow(-0.5, 1000, -0.125, 2)": 500.0,
    "friction_rate(0.2, 0)": None,
    # look-up: exact at both points, beyond them the line goes on (the caller keeps inside the table)
    "interpolate(0.5, 0.5, 950, 0.6, 865)": 950.0,
    "interpolate(0.6, 0.5, 950, 0.6, 865)": 865.0,
    "interpolate(0.5, 0.5, 950, 0.5, 950)": 950.0,
    "interpolate(0.51, 0.5, 950, 0.5, 950)": None,
    "interpolate(3, 1, 10, 2, 20)": 30.0,
    # asked of a table: a total of decimals is at its point; thinner air would show less than standard air does
    "static_for_table(0.2 + 0.1::DOUBLE, 1)": 0.3,
    "static_for_table(0.4, 0.8)": 0.5,
    "static_for_table(0.4, NULL)": None,
    # the cell of a table from 0.1 to 0.9 in. w.c. in eight cells: both ends are in it, what is beyond is nowhere
    "table_cell(0.1, 0.1, 0.9, 10)": 0,
    "table_cell(0.35, 0.1, 0.9, 10)": 2,
    "table_cell(0.9, 0.1, 0.9, 10)": 8,
    "table_cell(0.91, 0.1, 0.9, 10)": None,
    "table_cell(0.09, 0.1, 0.9, 10)": None,
    # budget: the design statics' shares of the rating, by magnitude; half where they are not known or nothing
    "return_budget(0.5, -0.12, 0.18)": pytest.approx(0.2),
    "return_budget(0.5, NULL, 0.18)": 0.25,
    "return_budget(0.5, 0, 0)": 0.25,
    # excess: an airflow that is unknown, or none at all, leaves everything with the restriction
    "excess_restriction(0.4, 0.25, NULL)": pytest.approx(0.15),
    "excess_airflow(0.4, 0.25, NULL)": 0.0,
    "excess_restriction(0.4, 0.25, 0)": pytest.approx(0.15),
    "excess_airflow(0.4, 0.25, 0)": 0.0,
    "excess_restriction(0.4, 0, 1.2) + excess_airflow(0.4, 0, 1.2)": pytest.approx(0.4),
    # probability
    "normal_cdf(0)": 0.5,
    "normal_cdf(-40)": 0.0,
    "normal_cdf(40)": 1.0,
    "normal_quantile(0)": None,
    "normal_quantile(1)": None,
    "normal_quantile(-0.1)": None,
    "normal_quantile(0.5)": 0.0,
    "prob_over(0.5, 0, 0.4)": 1.0,
    "prob_over(0.5, 0, 0.5)": 0.0,
    "prob_over(0.5, -0.1, 0.4)": None,
    "prob_over(0.5, 0.1, 0.5)": 0.5,
    # uncertainty
    "combined_u(1, 0.3, -1, 0.3, 1)": 0.0,
    "combined_u(1, 0.3, 1, 0.3, 1)": pytest.approx(0.6),
    "combined_u(1, 0.3, 1, 0.3, 1.1)": None,
    # proportions
    "wilson_lo(0, 0)": None,
    "wilson_hi(3, 2)": None,
    "wilson_lo(-1, 2)": None,
    "wilson_lo(0, 5)": 0.0,
    "wilson_hi(5, 5)": 1.0,
    # lists: a NULL in a list does not count, one value or none is too little
    "theil_sen_slope([1, 2, NULL, 4], [1, NULL, 3, 7])": 2.0,
    "theil_sen_slope([1], [1])": None,
    "theil_sen_slope([], [])": None,
    "theil_sen_slope([1, 1], [1, 2])": None,
    "theil_sen_interval([], [], 1.96)": None,
    "theil_sen_interval([1, 1, 2, 3], [0, 1, 3, 10], 0)": [3.0, 4.5],  # ranks of 2.5 go to the even 2
    "theil_sen_lo([0, 0, 0, 0, 1], [1, 1, 1, 1, 2], 1.96)": None,
    "theil_sen_intercept([1], [2])": None,
    "theil_sen_intercept([1, 2, NULL], [2, 4, 100])": 0.0,
    "mann_kendall_s([1], [1])": None,
    "mann_kendall_s([], [])": None,
    "mann_kendall_s([2, 1, 3], [5, 4, NULL])": 1,
    "mann_kendall_s([1, 2, 3], [7, 7, 7])": 0,
    "mann_kendall_var([7, 7, 7])": 0.0,
    "mann_kendall_var([7])": None,
    "mann_kendall_z([1, 2, 3], [7, 7, 7])": 0.0,
    "mann_kendall_p([1, 2, 3], [7, 7, 7])": 1.0,
    "mann_kendall_p([1], [7])": None,
    "mann_kendall_p([], [])": None,
    "hodges_lehmann([])": None,
    "hodges_lehmann([1])": None,
    "hodges_lehmann([1, NULL])": None,
    "hodges_lehmann([1, 3, NULL])": 2.0,
    "hodges_lehmann_shift([1, 2], [5])": None,
    "hodges_lehmann_shift([1, 2], [])": None,
    "bh_q([])": [],
    "bh_q([0.2])": [0.2],
    "bh_q([0.04, NULL, 0.01])": [0.04, None, 0.02],
    "bh_q([0.5, 0.5])": [0.5, 0.5],
    "bh_q([NULL])": [None],
}


@pytest.mark.parametrize(("sql", "expected"), EDGES.items(), ids=list(EDGES))
def test_edge(warehouse: Warehouse, sql: str, expected: object) -> None:
    assert warehouse.scalar(f"SELECT {sql}") == expected


def test_excess_parts_add_up_to_the_excess(warehouse: Warehouse) -> None:
    worst = warehouse.scalar("""
        SELECT max(abs(excess_restriction(p, b, q) + excess_airflow(p, b, q) - (p - b)))
        FROM (
            SELECT
                hash(i) % 1500 / 1000.0 AS p,
                hash(i + 1) % 800 / 1000.0 AS b,
                CASE WHEN i % 9 > 0 THEN 0.3 + hash(i + 2) % 1700 / 1000.0 END AS q
            FROM range(100000) AS r (i)
        )
    """)
    assert worst < 1e-12


def test_excess_parts_are_those_of_the_contract(warehouse: Warehouse) -> None:
    p, b, ratio = 0.41, 0.27, 1.13
    a = ratio**2
    r = p / (b * a)
    side = f"({p}, {b}, {ratio})"
    assert warehouse.scalar(f"SELECT excess_restriction{side}") == pytest.approx(b * (r - 1) * (a + 1) / 2)
    assert warehouse.scalar(f"SELECT excess_airflow{side}") == pytest.approx(b * (a - 1) * (r + 1) / 2)


def test_duct_curve_and_its_inverse_undo_each_other(warehouse: Warehouse) -> None:
    worst = warehouse.scalar("""
        SELECT max(abs(duct_curve_flow(0.37, 940, duct_curve_pressure(0.37, 940, q, n), n) - q) / q)
        FROM range(100, 2500, 7) AS r (q), (VALUES (1.176), (1.8), (2.0)) AS v (n)
    """)
    assert worst < 1e-13


def test_velocity_and_its_pressure_undo_each_other(warehouse: Warehouse) -> None:
    assert warehouse.scalar("SELECT velocity_fpm(velocity_pressure_inwc(650))") == pytest.approx(
        650, rel=1e-14
    )


def test_macros_read_columns_that_bear_their_own_parameter_names(warehouse: Warehouse) -> None:
    # a macro is text put in place: a query's columns called x, n, xs or z must not be mistaken for its own
    row = warehouse.con.sql("""
        SELECT normal_cdf(x), wilson_lo(z, n), interpolate(n, z, x, p, b), theil_sen_slope(ys, xs), bh_q(ps)
        FROM (SELECT 0 AS x, 81 AS z, 263 AS n, 82 AS p, 1 AS b, [1, 2, 4] AS xs, [1, 2, 3] AS ys, [0.5] AS ps)
    """).fetchall()[0]
    assert row == (0.5, pytest.approx(0.2553, abs=5e-5), 182.0, 1.5, [0.5])


def test_list_macros_nest_in_one_another_and_in_a_lambda(warehouse: Warehouse) -> None:
    nested = "bh_q(list_transform([[1, 2, 3], [3, 1, 2]], LAMBDA ys: mann_kendall_p([1, 2, 3], ys)))"
    one, two = (
        warehouse.scalar(f"SELECT mann_kendall_p([1, 2, 3], {ys})") for ys in ("[1, 2, 3]", "[3, 1, 2]")
    )
    assert warehouse.scalar(f"SELECT {nested}") == pytest.approx([min(2 * one, two), two])


def test_list_macros_work_over_grouped_rows(warehouse: Warehouse) -> None:
    rows = warehouse.con.sql("""
        SELECT g, theil_sen_slope(xs, ys), mann_kendall_s(xs, ys)
        FROM (
            SELECT g, list(x ORDER BY x) AS xs, list(y ORDER BY x) AS ys
            FROM (VALUES ('a', 1, 1), ('a', 2, 3), ('a', 3, 5), ('b', 1, 4), ('b', 2, 3), ('c', 1, 1)) AS v (g, x, y)
            GROUP BY g
        )
        ORDER BY g
    """).fetchall()
    assert rows == [("a", 2.0, 3), ("b", -1.0, -1), ("c", None, None)]


def test_bh_adjusted_leaves_rows_without_a_p_value_out_of_the_count(warehouse: Warehouse) -> None:
    values = "(VALUES (1, 0.01), (2, NULL), (3, 0.04)) AS v (id, p_value)"
    warehouse.execute(f"CREATE OR REPLACE TABLE tested AS SELECT * FROM {values}")
    rows = warehouse.con.sql("SELECT id, q_bh FROM bh_adjusted('tested') ORDER BY id").fetchall()
    assert rows == [(1, pytest.approx(0.02)), (2, None), (3, pytest.approx(0.04))]
