"""Steps: no single bad reading makes one, and only modes with visits on both sides speak of it."""

from __future__ import annotations

import datetime as dt
from math import log

import numpy as np
import polars as pl
import pytest

from pipeline.site.stage import look_at_visits, weigh_visits
from pipeline.warehouse import Warehouse

MATERIAL = 0.04
PRIOR_DF, PRIOR_VARIANCE = 6.0, 0.0125**2
COOLING, HEATING = 0, 1
Visit = tuple[int, str, float]  # mode, day, TESP in in. w.c.

# A unit planted rising by 0.055 in. w.c. a year; the cooling reading of 0.320 is a slip.
RISING = [
    (COOLING, "2023-05-22", 0.423), (COOLING, "2023-07-03", 0.447), (COOLING, "2023-07-10", 0.457),
    (HEATING, "2023-07-27", 0.300), (COOLING, "2023-08-31", 0.483), (HEATING, "2024-02-13", 0.323),
    (COOLING, "2024-07-09", 0.499), (HEATING, "2024-09-23", 0.341), (HEATING, "2024-12-30", 0.373),
    (COOLING, "2025-05-10", 0.562), (COOLING, "2025-08-20", 0.320), (COOLING, "2025-08-21", 0.555),
    (COOLING, "2025-12-11", 0.616), (COOLING, "2026-01-26", 0.593), (COOLING, "2026-05-11", 0.622),
    (COOLING, "2026-07-18", 0.628),
]  # fmt: skip
# One heating reading after the place; all cooling visits lie after it and say nothing of it.
ONE_SPEAKS = [
    (HEATING, "2025-01-25", 0.160), (HEATING, "2025-07-01", 0.143), (HEATING, "2025-09-02", 0.112),
    (HEATING, "2026-01-03", 0.547), (COOLING, "2026-04-18", 0.259), (COOLING, "2026-04-21", 0.259),
    (COOLING, "2026-06-23", 0.240),
]  # fmt: skip
# The last reading of a flat unit is an outlier.
LAST_IS_BAD = [
    (COOLING, "2025-02-05", 0.455), (COOLING, "2025-04-25", 0.472), (HEATING, "2025-06-02", 0.314),
    (COOLING, "2025-08-05", 0.459), (COOLING, "2025-10-24", 0.466), (HEATING, "2026-03-04", 0.316),
    (COOLING, "2026-06-02", 0.389), (COOLING, "2026-07-23", 0.675),
]  # fmt: skip
# A step of 0.10 in both modes: true whichever visit is left out. The first heating visit is the only one of another.
STEPPED = [
    (COOLING, "2025-01-05", 0.455), (HEATING, "2025-02-25", 0.312), (COOLING, "2025-04-02", 0.462),
    (COOLING, "2025-06-05", 0.449), (HEATING, "2025-08-24", 0.316), (COOLING, "2025-10-04", 0.558),
    (HEATING, "2025-11-02", 0.409), (COOLING, "2026-01-23", 0.549), (HEATING, "2026-03-23", 0.421),
]  # fmt: skip
# The same step in cooling alone, and two heating visits after it.
STEPPED_IN_COOLING = [
    *(visit for visit in STEPPED if visit[0] == COOLING),
    (COOLING, "2026-05-23", 0.555), (HEATING, "2026-02-02", 0.310), (HEATING, "2026-03-23", 0.315),
]  # fmt: skip


def level_visits(units: list[list[Visit]], doubtful: list[list[bool]] | None = None) -> pl.DataFrame:
    """The table `level_visit` of pieces of equipment, numbered in their order."""
    rows = [
        {
            "unit_no": 2 * number + mode,
            "visited_on": dt.date.fromisoformat(day),
            "tesp_inwc": tesp,
            "offset_corrected": bool(doubtful and doubtful[number][i]),
        }
        for number, visits in enumerate(units)
        for i, (mode, day, tesp) in enumerate(visits)
    ]
    return pl.DataFrame(rows, schema_overrides={"unit_no": pl.Int32}).with_columns(
        at_year=(pl.col("visited_on") - dt.date(1970, 1, 1)).dt.total_days() / 365.25,
        airflow_ratio=1.0,
        measurer=pl.lit(1, pl.UInt64),
        measurer_variance=1e-6,
        sides_known=False,
        return_inwc=-0.2,
        supply_inwc=0.2,
        airflow_cfm=1200.0,
        power_w=None,
        return_restriction_inwc=0.0,
        supply_restriction_inwc=0.0,
        airflow_setting_inwc=0.0,
    )


def found_in(level_visit: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame]:
    """change_point and trend_test of such visits."""
    numbers = level_visit["unit_no"].unique() // 2
    names = pl.DataFrame({"equipment_no": numbers.unique().sort()}).with_columns(
        equipment_id=pl.format("E{}", "equipment_no"), site_id=pl.format("S{}", "equipment_no")
    )
    with Warehouse() as warehouse:
        warehouse.store("level_visit", level_visit)
        warehouse.execute("CREATE SCHEMA IF NOT EXISTS staging")
        warehouse.store("facts", names.select("equipment_no", "equipment_id"))
        warehouse.execute("CREATE VIEW staging.equipment_facts AS FROM facts")
        warehouse.store("equipment", names.select("equipment_id", "site_id"))
        for name, value in {
            "trend_scatter_inwc": 0.02,
            "level_scatter_inwc": 0.02,
            "trend_prior_df": PRIOR_DF,
            "trend_prior_variance": PRIOR_VARIANCE,
        }.items():
            warehouse.set_variable(name, value, "DOUBLE")
        look_at_visits(warehouse)
        weigh_visits(warehouse)
        warehouse.run("site/change_point.sql")
        warehouse.run("site/trend_test.sql")
        return (
            warehouse.query("FROM change_point ORDER BY equipment_id"),
            warehouse.query("FROM trend_test ORDER BY equipment_no"),
        )


def fit(visits: list[tuple[int, int, float]], least: int) -> dict[str, float] | None:
    """The best step by plain least squares with a column a mode, and what is left over around it and around a line."""
    mode, day, tesp = (np.array(column, dtype=float) for column in zip(*visits, strict=True))
    modes = np.column_stack([mode == m for m in np.unique(mode)]).astype(float)

    def left_over(*more: np.ndarray) -> tuple[float, float]:
        matrix = np.column_stack([modes, *more])
        solved, *_ = np.linalg.lstsq(matrix, tesp, rcond=None)
        return float(((tesp - matrix @ solved) ** 2).sum()), float(solved[-1])

    found = []
    for last in np.unique(day)[:-1]:
        sides = [(m, (day[mode == m] <= last)) for m in np.unique(mode)]
        speaking = [side for _, side in sides if side.any() and not side.all()]
        before, after = sum(s.sum() for s in speaking), sum((~s).sum() for s in speaking)
        if min(before, after) < least:
            continue
        around, step = left_over((day > last).astype(float))
        found.append({"around": around, "step": step, "last": last, "before": before, "after": after})
    if not found:
        return None
    best = min(found, key=lambda one: (round(one["around"], 12), one["last"]))
    return {
        **best,
        "places": len(found),
        "line": left_over(day / 365.25)[0],
        "none": left_over()[0],
        "n": len(tesp),
    }


def expected_of(visits: list[tuple[int, int, float]]) -> dict[str, float] | None:
    """What is to be named: from `fit`, with each visit left out in turn."""
    best = fit(visits, 2)
    if best is None:
        return None
    half, prior = (best["n"] + PRIOR_DF) / 2, PRIOR_DF * PRIOR_VARIANCE
    over_line = half * log((best["line"] + prior) / (best["around"] + prior))
    over_none = half * log((best["none"] + prior) / (best["around"] + prior)) - log(best["places"])
    if abs(best["step"]) < MATERIAL or over_line < 3 or over_none < 6:
        return None
    for i in range(len(visits)):
        rest = fit(visits[:i] + visits[i + 1 :], 1)
        if rest is None or rest["step"] * np.sign(best["step"]) < MATERIAL or rest["around"] >= rest["line"]:
            return None
    return {**best, "over_line": over_line}


@pytest.mark.parametrize("visits", [RISING, ONE_SPEAKS, LAST_IS_BAD])
def test_one_bad_reading_is_no_step(visits: list[Visit]) -> None:
    steps, _ = found_in(level_visits([visits]))
    assert steps.is_empty()


def test_a_bad_reading_does_not_take_a_trend_away() -> None:
    """Without the slip the unit plainly rises; with it the rank test and the line still say so."""
    _, tests = found_in(level_visits([RISING]))
    assert tests["slope_inwc_per_year"].item() == pytest.approx(0.055, abs=0.01)
    assert tests["p_value"].item() < 0.01


def test_a_step_in_both_modes_is_named_and_is_no_trend() -> None:
    steps, tests = found_in(level_visits([STEPPED]))
    step = steps.row(0, named=True)
    assert (step["n_before"], step["n_after"]) == (5, 4)
    assert (step["last_before_on"], step["first_after_on"]) == (dt.date(2025, 8, 24), dt.date(2025, 10, 4))
    assert step["step_inwc"] == pytest.approx(0.0995, abs=0.003)
    assert tests["p_value"].item() == 1


def test_only_modes_with_visits_on_both_sides_are_counted() -> None:
    steps, _ = found_in(level_visits([STEPPED_IN_COOLING]))
    assert steps.select("n_before", "n_after").rows() == [(3, 3)]


def test_readings_with_a_doubtful_zero_are_no_evidence() -> None:
    """A step that only doubtful readings tell of is none, and they do not lend their number to another one."""
    after = [day >= "2025-10" for _, day, _ in STEPPED]
    assert found_in(level_visits([STEPPED], [after]))[0].is_empty()
    plain = found_in(level_visits([STEPPED]))[0]
    more: list[Visit] = [(COOLING, "2025-03-01", 0.7), (HEATING, "2025-12-01", 0.1)]
    marked = found_in(level_visits([STEPPED + more], [[False] * len(STEPPED) + [True, True]]))[0]
    columns = ["n_before", "n_after", "step_inwc", "step_lo", "step_hi", "log_likelihood_over_line"]
    for name in columns:
        assert marked[name].item() == pytest.approx(plain[name].item(), abs=1e-12)


def test_random_units_equal_plain_least_squares() -> None:
    """Steps, lines, slips and chance, several visits of a day among them: named is what plain refits say."""
    rng = np.random.default_rng(20261130)
    units = []
    for number in range(400):
        n = int(rng.integers(5, 16))
        days = np.sort(rng.integers(0, 60 if number % 7 == 0 else 900, n))
        days[-1] = max(days[-1], days[0] + 200)
        mode = rng.integers(0, 2, n) * (number % 4 > 0)
        tesp = 0.3 + 0.1 * mode + rng.normal(0, 0.012, n)
        if number % 3 == 0:
            tesp += (days > days[n // 2]) * rng.choice([-0.1, 0.07, 0.12])
        if number % 5 == 0:
            tesp[rng.integers(0, n)] += rng.choice([-0.2, 0.2])
        if number % 6 == 1:
            tesp += 0.06 * days / 365.25
        units.append([(int(m), int(d), round(float(t), 3)) for m, d, t in zip(mode, days, tesp, strict=True)])
    first = dt.date(2023, 1, 1)
    dated: list[list[Visit]] = [
        [(m, str(first + dt.timedelta(days=d)), t) for m, d, t in visits] for visits in units
    ]
    steps, _ = found_in(level_visits(dated))
    expected = {f"E{i}": step for i, visits in enumerate(units) if (step := expected_of(visits))}
    fragile = sum(1 for visits in units if (best := fit(visits, 2)) and abs(best["step"]) >= MATERIAL)
    assert 40 <= len(expected) < fragile - 40
    assert set(steps["equipment_id"]) == set(expected)
    for row in steps.iter_rows(named=True):
        step = expected[row["equipment_id"]]
        assert row["last_before_on"] == first + dt.timedelta(days=int(step["last"]))
        assert (row["n_before"], row["n_after"]) == (step["before"], step["after"])
        assert row["step_inwc"] == pytest.approx(step["step"], abs=1e-9)
        assert row["log_likelihood_over_line"] == pytest.approx(step["over_line"], abs=1e-6)
