"""The SQL that solves fan table against duct curve, against scipy's brentq on the same two curves."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from scipy.optimize import brentq

from pipeline.warehouse import Warehouse

N_PAIRS = 10_000


def random_tables(rng: np.random.Generator) -> dict[str, tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """Falling tables of 5 to 16 points, some with a small bump as makers print them: static, airflow, power."""
    tables = {}
    for number in range(400):
        static = np.sort(rng.choice(np.arange(1, 40) * 0.03, rng.integers(5, 17), replace=False))
        airflow = rng.uniform(500, 2000) * (
            1 - rng.uniform(0.1, 0.7) * (static / static[-1]) ** rng.uniform(1, 2)
        )
        if number % 4 == 0:
            airflow[len(airflow) // 2] *= 1.01
        tables[f"T{number:03d}"] = (static, airflow, rng.uniform(100, 600) + 200 * static)
    return tables


@pytest.fixture(scope="module")
def solved():
    rng = np.random.default_rng(20261120)
    tables = random_tables(rng)
    points = [
        (name, "high", float(p), float(q), float(w))
        for name, (static, airflow, power) in tables.items()
        for p, q, w in zip(static, airflow, power, strict=True)
    ]
    names = rng.choice(list(tables), N_PAIRS)
    questions = pl.DataFrame(
        {
            "unit_no": range(N_PAIRS),
            "change": "as_it_is",
            "blower_table_id": names,
            "density_ratio": rng.choice([1.0, 0.94278, 0.8617], N_PAIRS),
            "n": rng.choice([1.8, 1.9, 2.0], N_PAIRS),
            "static_at_1000": rng.uniform(0.02, 2.5, N_PAIRS),
        }
    ).with_columns(k=pl.col("static_at_1000") / 1000 ** pl.col("n"))
    answers = {}
    with Warehouse() as warehouse:
        columns = ["blower_table_id", "tap", "external_static_inwc", "airflow_cfm", "power_w"]
        warehouse.store("blower_table", pl.DataFrame(points, schema=columns, orient="row"))
        warehouse.run("static/blower_segment.sql")
        warehouse.run("static/blower_end.sql")
        curves = warehouse.query("SELECT blower_table_id, curve FROM blower_end")
        for exponent, asked in questions.join(curves, on="blower_table_id").group_by("n"):
            warehouse.set_variable("duct_exponent", exponent[0], "DOUBLE")
            warehouse.run("site/duct_rise.sql")
            warehouse.store("duct_question", asked)
            warehouse.run("site/duct_answer.sql")
            for row in warehouse.query("SELECT * FROM duct_answer").iter_rows(named=True):
                answers[row["unit_no"]] = row
    return tables, questions, answers


def reference(table, density: float, k: float, n: float) -> tuple[float, float] | None:
    """(static, airflow) of the crossing at least static, by bracketing along the table; None beyond it."""
    static, airflow, _ = table
    static = static * density

    def gap(p: float) -> float:
        return p - k * float(np.interp(p, static, airflow)) ** n

    ends = [gap(float(p)) for p in static]
    for left in range(len(static) - 1):
        if ends[left] <= 0 <= ends[left + 1] and ends[left + 1] > ends[left]:
            p = brentq(gap, static[left], static[left + 1], xtol=1e-12)
            return p, float(np.interp(p, static, airflow))
    return None


def test_ten_thousand_pairs_agree_with_brentq(solved) -> None:
    tables, questions, answers = solved
    inside = 0
    for row in questions.iter_rows(named=True):
        expected = reference(tables[row["blower_table_id"]], row["density_ratio"], row["k"], row["n"])
        answer = answers.get(row["unit_no"])
        assert (expected is None) == (answer is None), row
        if expected is None:
            continue
        inside += 1
        assert answer["tesp_inwc"] == pytest.approx(expected[0], abs=0.0005)
        assert answer["airflow_cfm"] == pytest.approx(expected[1], abs=0.5)
    assert 3000 < inside < N_PAIRS


def test_answers_lie_on_the_duct_curve(solved) -> None:
    _, questions, answers = solved
    for row in questions.iter_rows(named=True):
        if answer := answers.get(row["unit_no"]):
            assert answer["tesp_inwc"] == pytest.approx(
                row["k"] * answer["airflow_cfm"] ** row["n"], abs=1e-5
            )
