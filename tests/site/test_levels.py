"""Levels of many units at once against the same sums unit by unit, with unknown sides, airflows and few visits."""

from __future__ import annotations

import math
from collections.abc import Iterator
from statistics import fmean, median, variance

import numpy as np
import polars as pl
import pytest

from pipeline.site.levels import level_centre, level_scatter
from pipeline.site.visits import make_by_parts
from pipeline.warehouse import Warehouse

FLEET_INWC = 0.015
UNITS = 60
Row = dict[str, object]


def maybe(rng: np.random.Generator, values: np.ndarray, unknown: float) -> pl.Series:
    return pl.Series(values).set(pl.Series(rng.random(len(values)) < unknown), None)


@pytest.fixture(scope="module")
def level_visit() -> pl.DataFrame:
    rng = np.random.default_rng(5)
    unit = np.repeat(np.arange(UNITS, dtype=np.int32), rng.integers(1, 9, UNITS))
    n = len(unit)
    measurer = rng.integers(0, 3, n).astype(np.uint64)
    # Of every third unit no airflow is known, of the others that of most visits; now and then 0 is written down.
    airflow = maybe(rng, rng.uniform(0.8, 1.1, n), 0.2).set(pl.Series(unit % 3 == 0), None)
    airflow = airflow.set(pl.Series(unit % 9 < 2) & pl.Series(rng.random(n) < 0.5), 0.0)
    return pl.DataFrame(
        {
            "unit_no": unit,
            "at_year": np.arange(n) / 10,
            "visited_on": pl.Series(np.arange(n, dtype=np.int32) * 36).cast(pl.Date),
            "tesp_inwc": np.round(rng.standard_t(2, n) * 0.02 + 0.5, 2),
            "measurer": measurer,
            "measurer_variance": 1e-5 * (1 + measurer.astype(float)),
            "offset_corrected": rng.random(n) < 0.2,
            "sides_known": rng.random(n) < 0.8,
            "return_inwc": -rng.uniform(0.1, 0.3, n),
            "supply_inwc": rng.uniform(0.1, 0.3, n),
            "airflow_ratio": airflow,
            "airflow_cfm": airflow * 1200,
            "power_w": maybe(rng, rng.uniform(300, 500, n), 0.7),
            "return_restriction_inwc": rng.normal(0, 0.1, n),
            "supply_restriction_inwc": rng.normal(0, 0.1, n),
            "airflow_setting_inwc": pl.Series(rng.normal(0, 0.1, n)).set(~(airflow.fill_null(0) > 0), None),
        }
    )


@pytest.fixture(scope="module")
def made(level_visit: pl.DataFrame) -> Iterator[Warehouse]:
    with Warehouse() as warehouse:
        warehouse.store("level_visit", level_visit)
        warehouse.set_variable("level_scatter_inwc", FLEET_INWC, "DOUBLE")
        make_by_parts(warehouse, level_centre(warehouse))
        make_by_parts(warehouse, level_scatter(warehouse))
        yield warehouse


def weighted(rows: list[Row], weight: list[float], name: str) -> float | None:
    known = [(w, r[name]) for w, r in zip(weight, rows, strict=True) if r[name] is not None]
    return sum(w * v for w, v in known) / sum(w for w, _ in known) if known else None


def expected(rows: list[Row], settings: dict[str, float]) -> tuple[Row, Row | None]:
    """Rows of level_scatter and cause_mean of one unit."""
    tesp, n = [r["tesp_inwc"] for r in rows], len(rows)
    middle = median(tesp)
    own = 1.4826 * median(abs(t - middle) for t in tesp) / math.sqrt(max(1 - 1 / n, 0.1))
    prior_visits = settings["yardstick_prior_visits"]
    scatter = math.sqrt((prior_visits * FLEET_INWC**2 + (n - 1) * own**2) / (prior_visits + n - 1))
    weight = [min(1, settings["robust_cutoff"] * scatter / max(abs(t - middle), 1e-12)) for t in tesp]
    level = weighted(rows, weight, "tesp_inwc")
    shared = 0.0
    for measurer in {r["measurer"] for r in rows}:
        of = [i for i, r in enumerate(rows) if r["measurer"] == measurer]
        share = sum(weight[i] for i in of) / sum(weight)
        shared += rows[of[0]]["measurer_variance"] * max(share**2 - share / n, 0)
    sides = [i for i, r in enumerate(rows) if r["sides_known"]]
    known = [i for i in sides if (rows[i]["airflow_ratio"] or 0) > 0]
    days = [{"day": r["visited_on"].toordinal()} for r in rows]
    level_row = {
        "at": weighted(days, weight, "day"),
        "level_inwc": level,
        "shared_variance": shared,
        "scatter_variance": sum((w * (t - level)) ** 2 for w, t in zip(weight, tesp, strict=True)) / (n - 1)
        if n > 1
        else None,
        "effective_visits": max(sum(w >= 1 for w in weight), 1) ** 2 / n,
        "return_level_inwc": weighted([rows[i] for i in sides], [weight[i] for i in sides], "return_inwc"),
        "airflow_ratio": weighted(rows, weight, "airflow_ratio"),
        "power_w": weighted(rows, weight, "power_w"),
        "n_offset_corrected": sum(r["offset_corrected"] for r in rows),
    }
    counted = [rows[i] for i in known or sides]
    if not counted:
        return level_row, None
    counted_weight = [weight[i] for i in known or sides]
    names = ("return_restriction_inwc", "supply_restriction_inwc", "airflow_setting_inwc")
    cause = [weighted(counted, counted_weight, name) for name in names]
    lead = [r[names[0]] - r[names[1]] for r in counted]
    told = {"return": cause[0], "supply": cause[1], "airflow_setting": cause[2]}
    return level_row, {
        "n": len(counted),
        "airflow_known": bool(known),
        "return_cause": cause[0],
        "airflow_cause": cause[2],
        "var_return_supply": variance(lead) if len(lead) > 1 else None,
        "side": max((v, k) for k, v in told.items() if v is not None)[1],
    }


def test_each_unit_equals_its_own_sums(made: Warehouse, level_visit: pl.DataFrame) -> None:
    scatter = {r["unit_no"]: r for r in made.query("FROM level_scatter").iter_rows(named=True)}
    causes = {r["unit_no"]: r for r in made.query("FROM cause_mean").iter_rows(named=True)}
    settings = {name: made.settings[name] for name in ("yardstick_prior_visits", "robust_cutoff")}
    assert len(scatter) == UNITS
    without_causes = 0
    for (unit,), rows in level_visit.group_by("unit_no", maintain_order=True):
        level_row, cause_row = expected(rows.to_dicts(), settings)
        at, found_at = level_row.pop("at"), scatter[unit]["level_on"].toordinal()
        assert found_at == pytest.approx(at, abs=0.5 + 1e-9)
        assert {k: scatter[unit][k] for k in level_row} == pytest.approx(level_row, abs=1e-12)
        if cause_row is None:
            assert unit not in causes
            without_causes += 1
            continue
        found = {k: causes[unit][k] for k in cause_row}
        assert found.pop("side") == cause_row.pop("side")
        assert found == pytest.approx(cause_row, abs=1e-12)
    assert 0 < without_causes < UNITS / 4


def test_the_fleet_scatter_rests_on_distances_as_of_many_visits(
    made: Warehouse, level_visit: pl.DataFrame
) -> None:
    rows = level_visit.group_by("unit_no").agg("tesp_inwc").filter(pl.col("tesp_inwc").list.len() >= 3)
    distances = []
    for tesp in rows["tesp_inwc"].to_list():
        distances += [abs(t - median(tesp)) / math.sqrt(1 - 1 / len(tesp)) for t in tesp]
    found = made.query("FROM level_distance")["distance_inwc"]
    assert fmean(found) == pytest.approx(fmean(distances), abs=1e-12)
    assert sorted(found) == pytest.approx(sorted(distances), abs=1e-12)
