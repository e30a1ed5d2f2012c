"""The fleet's set-based trend SQL against scipy and pymannkendall, unit by unit, on the field drop's own rows."""

from __future__ import annotations

import numpy as np
import pymannkendall
import pytest
from scipy import stats
from statsmodels.stats.multitest import multipletests

# Readings with a doubtful zero are left out where at least three others remain, else corrected; where the sides are not
# known, always left out.
LEVEL_VISITS = """
  SELECT * FROM (
    SELECT v.equipment_id, v.mode, v.visited_at, v.visited_on,
           coalesce(o.return_doubtful OR o.supply_doubtful, FALSE) AS doubtful,
           count(*) FILTER (WHERE NOT coalesce(o.return_doubtful OR o.supply_doubtful, FALSE))
               OVER (PARTITION BY v.equipment_id, v.mode) AS n_sound,
           v.tesp_inwc
           - CASE WHEN o.supply_doubtful THEN o.supply_offset_inwc ELSE 0 END
           + CASE WHEN o.return_doubtful THEN o.return_offset_inwc ELSE 0 END AS tesp_inwc,
           v.airflow_ratio
    FROM visit_static v JOIN visit_segment s USING (visit_id)
    LEFT JOIN instrument_offset o ON v.technician_id = o.technician_id AND v.instrument_id = o.instrument_id
    WHERE v.like_new AND s.since_last_work
        AND (v.sides_known OR NOT coalesce(o.return_doubtful OR o.supply_doubtful, FALSE))
  ) WHERE NOT doubtful OR n_sound < 3
  ORDER BY visited_at
"""


@pytest.fixture(scope="module")
def groups(field):
    """(equipment, mode) -> (years, TESP, days, airflow over design), in time order."""
    rows = field(LEVEL_VISITS)
    made = {}
    for key, part in rows.group_by(["equipment_id", "mode"], maintain_order=True):
        years = part["visited_at"].dt.epoch("us").to_numpy() / 86400e6 / 365.25
        made[key] = (
            years,
            part["tesp_inwc"].to_numpy(),
            part["visited_on"],
            part["airflow_ratio"].to_numpy(),
        )
    return made


def enough(years, days) -> bool:
    return len(years) >= 5 and (days.max() - days.min()).days >= 180


def test_every_unit_and_mode_equals_scipy_and_pymannkendall(field, groups) -> None:
    published = {
        (r["equipment_id"], r["mode"]): r for r in field("SELECT * FROM site_trend").iter_rows(named=True)
    }
    compared = 0
    for key, (years, tesp, days, _) in groups.items():
        row = published[key]
        if not enough(years, days):
            assert row["trend"] == "too_few_visits"
            assert row["slope_inwc_per_year"] is None
            continue
        slope = stats.theilslopes(tesp, years, 0.95)
        rank = pymannkendall.original_test(np.round(tesp, 9))
        assert row["slope_inwc_per_year"] == pytest.approx(slope.slope, abs=1e-9)
        assert row["slope_lo"] == pytest.approx(slope.low_slope, abs=1e-9)
        assert row["slope_hi"] == pytest.approx(slope.high_slope, abs=1e-9)
        assert row["mann_kendall_s"] == rank.s
        assert row["p_value"] == pytest.approx(rank.p, abs=1e-12)
        compared += 1
    assert compared > 60


def test_restriction_trend_equals_scipy_and_pymannkendall(field, groups) -> None:
    """TESP brought to the design airflow along K Q^2, by numpy; of units whose airflow is as recorded."""
    corrected = set(
        field("SELECT equipment_id, mode FROM site_static WHERE n_offset_corrected > 0").iter_rows()
    )
    published = {
        (r["equipment_id"], r["mode"]): r
        for r in field("SELECT * FROM restriction_trend").iter_rows(named=True)
    }
    expected = set()
    for key, (years, tesp, days, ratio) in groups.items():
        known = np.array([r is not None and r > 0 for r in ratio.tolist()])
        if key in corrected or known.sum() < 5 or not enough(years[known], days.filter(known)):
            continue
        expected.add(key)
        value = tesp[known] / ratio[known].astype(float) ** 2
        slope = stats.theilslopes(value, years[known], 0.95)
        row = published[key]
        assert row["n_visits"] == known.sum()
        assert row["slope_inwc_per_year"] == pytest.approx(slope.slope, abs=1e-9)
        assert (row["slope_lo"], row["slope_hi"]) == pytest.approx(
            (slope.low_slope, slope.high_slope), abs=1e-9
        )
        assert row["p_value"] == pytest.approx(pymannkendall.original_test(np.round(value, 9)).p, abs=1e-12)
    assert published.keys() - corrected == expected
    assert len(expected) > 20


def test_rows_without_level_visits_have_no_trend(field, groups) -> None:
    rest = field("SELECT equipment_id, mode, trend FROM site_trend").filter(
        ~np.array([k in groups for k in field("SELECT equipment_id, mode FROM site_trend").iter_rows()])
    )
    assert set(rest["trend"]) <= {"too_few_visits"}


@pytest.mark.parametrize("table", ["site_trend", "equipment_trend", "restriction_trend"])
def test_q_values_are_benjamini_hochberg(field, table) -> None:
    """Benjamini and Hochberg 1995, by statsmodels."""
    rows = field(f"SELECT p_value, q_value, trend FROM {table} WHERE p_value IS NOT NULL")
    expected = multipletests(rows["p_value"].to_numpy(), method="fdr_bh")[1]
    assert rows["q_value"].to_numpy() == pytest.approx(expected, abs=1e-12)
    called = rows["trend"].is_in(["rising", "falling"]).to_numpy()
    assert (called == (rows["q_value"].to_numpy() <= 0.10)).all()


def test_kendall_s_is_summed_over_modes(field, groups) -> None:
    """Seasonal Kendall (Hirsch and Slack 1984): S and its variance add over the modes."""
    by_unit: dict[str, list] = {}
    for (equipment, _), (_, tesp, _, _) in groups.items():
        by_unit.setdefault(equipment, []).append(tesp)
    rows = field("SELECT * FROM equipment_trend WHERE kendall_s IS NOT NULL")
    assert rows.height > 80
    for row in rows.iter_rows(named=True):
        tests = [
            pymannkendall.original_test(np.round(t, 9)) for t in by_unit[row["equipment_id"]] if len(t) > 1
        ]
        s = sum(t.s for t in tests)
        sigma = np.sqrt(sum(t.var_s for t in tests))
        assert row["kendall_s"] == s
        z = 0.0 if s == 0 else (s - np.sign(s)) / sigma
        assert row["kendall_p"] == pytest.approx(2 * stats.norm.sf(abs(z)), abs=1e-12)
