"""The answers to `sql/examples/`, computed a second time in Polars, SciPy and statsmodels from the published tables.

A function has the name of its example and gives the same columns and rows. What is asked of single rows of the list
(`worst_ten`) or of the story behind the demo fleet is tested in `test_examples.py`.
"""

from __future__ import annotations

import calendar
from collections.abc import Callable

import polars as pl
import pymannkendall
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

Tables = Callable[[str], pl.DataFrame]
INWC = {"inwc": 1.0, "pa": 1 / 249.08891, "mmwc": 1 / 25.4}
UNIT = ["equipment_id", "mode"]
WEEKDAYS = dict(enumerate(calendar.day_name, start=1))


def _with_wilson(rows: pl.DataFrame, k: str, n: str, name: str, *, rate: str | None = None) -> pl.DataFrame:
    lo, hi = proportion_confint(rows[k].to_numpy(), rows[n].to_numpy(), method="wilson")
    return rows.with_columns(
        (pl.col(k) / pl.col(n)).alias(rate or name), pl.Series(f"{name}_lo", lo), pl.Series(f"{name}_hi", hi)
    )


def _today(t: Tables) -> object:
    return t("publication")["today"][0]


def _in_service(t: Tables) -> pl.DataFrame:
    return t("equipment").filter(pl.col("retired_on").is_null() | (pl.col("retired_on") > _today(t)))


def _share_with_finding(t: Tables, check: str, by: str | pl.Expr) -> pl.DataFrame:
    found = t("finding").filter(pl.col("check_id") == check).select("visit_id", hit=1)
    return (
        t("visit_static").join(found, on="visit_id", how="left").group_by(by)
        .agg(n_visits=pl.len(), hits=pl.col("hit").count())
    )  # fmt: skip


def air_per_ton(t: Tables) -> pl.DataFrame:
    ton = pl.col("airflow_cfm") / pl.col("nominal_tons")
    rows = t("site_static").join(t("equipment"), on="equipment_id").filter(pl.col("mode") == "cooling")
    return (
        rows.select("problem_side", ton=ton).drop_nulls("ton").group_by("problem_side")
        .agg(
            n_units=pl.len(), cfm_per_ton=pl.col("ton").median(),
            n_below_350=(pl.col("ton") < 350).sum(), n_above_450=(pl.col("ton") > 450).sum(),
        ).sort("problem_side")
    )  # fmt: skip


def branch_trend(t: Tables) -> pl.DataFrame:
    rows = (
        t("visit_static").join(t("site"), on="site_id").filter("like_new", pl.col("visited_on") <= _today(t))
    )
    quarters = rows.group_by(
        "branch", "mode", pl.col("visited_on").dt.truncate("1q").alias("quarter_on")
    ).agg((pl.col("tesp_inwc") - pl.col("rated_tesp_inwc")).median().alias("over"))
    found = []
    for (branch, mode), group in quarters.sort("quarter_on").group_by("branch", "mode"):
        years = group["quarter_on"].to_physical().to_numpy() / 365.25
        values = group["over"].to_numpy()
        slope = stats.theilslopes(values, years).slope
        found.append((branch, mode, len(values), slope, pymannkendall.original_test(values).p))
    names = ["branch", "mode", "n_quarters", "slope_inwc_per_year", "p_value"]
    return pl.DataFrame(found, schema=names, orient="row").sort("branch", "mode")


def calibration_due(t: Tables) -> pl.DataFrame:
    visits = t("visit_static").select("instrument_id", "visited_on")
    rows = (
        t("instrument").select("instrument_id", "calibrated_on").join(visits, on="instrument_id", how="left")
    )
    since = (pl.col("visited_on") > pl.col("calibrated_on")).sum()
    ago = (pl.lit(_today(t)) - pl.col("calibrated_on")).dt.total_days()
    return (
        rows.group_by("instrument_id", "calibrated_on").agg(n_visits_since=since)
        .with_columns(days_ago=ago).filter(pl.col("days_ago").is_null() | (pl.col("days_ago") > 365))
        .select("instrument_id", "calibrated_on", "days_ago", "n_visits_since")
        .sort("calibrated_on", "instrument_id", nulls_last=False).head(50)
    )  # fmt: skip


def chronic_by_branch(t: Tables) -> pl.DataFrame:
    judged = t("site_static").filter(pl.col("static_state") != "too_few_visits")
    rows = (
        judged.join(_in_service(t), on="equipment_id", how="semi").group_by("branch")
        .agg(n_judged=pl.len(), n_chronic=(pl.col("static_state") == "chronic").sum())
    )  # fmt: skip
    return _with_wilson(rows, "n_chronic", "n_judged", "share").sort(
        ["share", "branch"], descending=[True, False]
    )


def dirty_filter_adds(t: Tables) -> pl.DataFrame:
    rows = t("visit_static").join(t("visit").select("visit_id", "filter_condition"), on="visit_id")
    rows = rows.join(t("visit_segment"), on="visit_id").filter("valid", "since_last_work")
    dirty = rows.filter(filter_condition="dirty").group_by(UNIT).agg(pl.col("tesp_inwc").median())
    clean = rows.filter("like_new").group_by(UNIT).agg(pl.col("tesp_inwc").median())
    added = dirty.join(clean, on=UNIT).select(d=pl.col("tesp_inwc") - pl.col("tesp_inwc_right"))["d"]
    return pl.DataFrame(
        {
            "n_units": [len(added)],
            "median_added_inwc": [added.median()],
            "one_in_ten_adds_inwc": [added.quantile(0.9, "linear")],
        }
    )


def fan_cost_of_excess(t: Tables) -> pl.DataFrame:
    settings = dict(t("setting").select("name", "value").iter_rows())
    hours = pl.when(pl.col("mode") == "cooling").then(settings["fan_hours_cooling"])
    watts = pl.col("extra_power_w").clip(lower_bound=0)
    kwh = watts / 1000 * hours.otherwise(settings["fan_hours_heating"])
    return (
        t("site_priority").filter(pl.col("static_state") == "chronic", pl.col("extra_power_w").is_not_null())
        .group_by("branch").agg(
            n_units=pl.len(), extra_power_w=watts.sum(),
            extra_cost_per_year=(kwh * settings["tariff_per_kwh"]).sum(),
        ).sort(["extra_cost_per_year", "branch"], descending=[True, False])
    )  # fmt: skip


def filter_drop_by_months(t: Tables) -> pl.DataFrame:
    change = t("work").filter(work_kind="filter_changed").select("equipment_id", "done_on").sort("done_on")
    rows = t("visit_static").filter("valid", pl.col("filter_drop_inwc").is_not_null()).sort("visited_on")
    rows = rows.join_asof(
        change, left_on="visited_on", right_on="done_on", by="equipment_id", check_sortedness=False
    ).drop_nulls("done_on")
    months = (pl.col("visited_on") - pl.col("done_on")).dt.total_days() // 30
    return (
        rows.group_by(months.alias("months_since_change"))
        .agg(n_visits=pl.len(), filter_drop_inwc=pl.col("filter_drop_inwc").median()).sort("months_since_change")
    )  # fmt: skip


def furnace_air_lost_to_return(t: Tables) -> pl.DataFrame:
    furnaces = t("equipment").filter(equipment_kind="furnace")
    rows = t("site_priority").join(furnaces, on="equipment_id", how="semi")
    short = pl.col("airflow_shortfall_cfm")
    return (
        rows.filter(problem_side="return", mode="cooling").group_by("branch")
        .agg(n_furnaces=pl.len(), airflow_shortfall_cfm=short.sum(), median_shortfall_cfm=short.median())
        .sort(["airflow_shortfall_cfm", "branch"], descending=[True, False])
    )  # fmt: skip


def level_by_age(t: Tables) -> pl.DataFrame:
    rows = (
        t("site_static")
        .filter(pl.col("static_state") != "too_few_visits")
        .join(_in_service(t), on="equipment_id")
    )
    age = (pl.lit(_today(t)).dt.year() - pl.col("installed_on").dt.year()) // 5 * 5
    return (
        rows.group_by(age.alias("age_from_years")).agg(
            n_units=pl.len(), level_to_rating=(pl.col("level_inwc") / pl.col("rated_tesp_inwc")).median(),
            chronic_share=(pl.col("static_state") == "chronic").mean(),
        ).sort("age_from_years")
    )  # fmt: skip


def limit_of_06(t: Tables) -> pl.DataFrame:
    rows = t("site_static").filter(pl.col("static_state") != "too_few_visits")
    level, se = rows["level_inwc"].to_numpy(), rows["level_se_inwc"].to_numpy()
    rows = rows.with_columns(
        over_rating=stats.norm.cdf((level - rows["rated_tesp_inwc"].to_numpy()) / se) >= 0.95,
        over_06=stats.norm.cdf((level - 0.6) / se) >= 0.95,
    )
    rated = pl.col("rated_tesp_inwc")
    return (
        rows.group_by("over_rating", "over_06")
        .agg(n_units=pl.len(), lowest_rating_inwc=rated.min(), highest_rating_inwc=rated.max())
        .sort(["over_rating", "over_06"], descending=True)
    )  # fmt: skip


def near_a_turn(t: Tables) -> pl.DataFrame:
    rows = t("visit_static").join(
        t("visit").select("visit_id", "return_location", "supply_location"), on="visit_id"
    )
    near = (pl.col("return_location") == "near_turn") | (pl.col("supply_location") == "near_turn")
    rows = (
        rows.join(t("visit_segment"), on="visit_id")
        .filter("like_new", "since_last_work")
        .with_columns(near=near)
    )
    place = rows.drop_nulls("near").group_by(*UNIT, "near").agg(pl.col("tesp_inwc").median(), n=pl.len())
    pair = place.filter("near").join(place.filter(~pl.col("near")), on=UNIT)
    off = pair["tesp_inwc"] - pair["tesp_inwc_right"]
    return pl.DataFrame(
        {
            "n_units": [len(off)],
            "n_near_turn": [pair["n"].sum()],
            "median_difference_inwc": [off.median()],
            "one_in_ten_beyond_inwc": [off.abs().quantile(0.9, "linear")],
        }
    )


def not_seen_for_a_year(t: Tables) -> pl.DataFrame:
    past = t("visit_static").filter(pl.col("visited_on") <= _today(t))
    rows = (
        _in_service(t).join(t("site").select("site_id", "branch"), on="site_id")
        .join(past.select("equipment_id", "visited_on"), on="equipment_id", how="left")
        .group_by("branch", "site_id", "equipment_id").agg(last_visit_on=pl.col("visited_on").max())
        .with_columns(days_ago=(pl.lit(_today(t)) - pl.col("last_visit_on")).dt.total_days())
    )  # fmt: skip
    late = rows.filter(pl.col("days_ago").is_null() | (pl.col("days_ago") > 365))
    return late.sort(["days_ago", "equipment_id"], descending=[True, False], nulls_last=False).head(50)


def overruled_doubts(t: Tables) -> pl.DataFrame:
    corrected = pl.col("n_offset_corrected")
    return (
        t("site_static").group_by("static_state").agg(
            n_units=pl.len(), n_with_corrected=(corrected > 0).sum(),
            n_corrected_only=((corrected == pl.col("n_visits")) & (corrected > 0)).sum(),
        ).sort("static_state")
    )  # fmt: skip


def repairs_made(t: Tables) -> pl.DataFrame:
    factor = pl.col("pressure_unit").replace_strict(INWC, return_dtype=pl.Float64)
    raw = (pl.col("supply_recorded") - pl.col("return_recorded")) * factor
    first = pl.col("repairs").str.split("; ").list.first().str.split(" with the").list.first()
    return (
        t("visit_static").drop_nulls("repairs").group_by(first.alias("first_repair")).agg(
            n_visits=pl.len(), n_valid=pl.col("valid").sum(), moved_inwc=(pl.col("tesp_inwc") - raw).abs().median()
        ).sort(["n_visits", "first_repair"], descending=[True, False])
    )  # fmt: skip


def repeats_by_instrument(t: Tables) -> pl.DataFrame:
    rows = _share_with_finding(t, "readings_repeated", "instrument_id").rename({"hits": "n_repeated"})
    return _with_wilson(rows.filter(pl.col("n_repeated") > 0), "n_repeated", "n_visits", "share").sort(
        ["share_lo", "instrument_id"], descending=[True, False]
    )


def set_aside_by_technician(t: Tables) -> pl.DataFrame:
    rows = (
        t("visit_static")
        .group_by("technician_id")
        .agg(n_visits=pl.len(), n_set_aside=(~pl.col("valid")).sum())
    )
    rows = _with_wilson(rows.filter(pl.col("n_visits") >= 20), "n_set_aside", "n_visits", "share")
    return rows.sort(["share_lo", "technician_id"], descending=[True, False]).head(50)


def set_aside_reasons(t: Tables) -> pl.DataFrame:
    whole = t("check_catalog").filter(applies_to="visit").select("check_id", "title")
    rows = t("finding").filter(consequence="set_aside").join(whole, on="check_id")
    rows = rows.join(t("visit_static").select("visit_id", "set_aside_because"), on="visit_id")
    alone = (pl.col("set_aside_because") == pl.col("check_id")).sum()
    return (
        rows.group_by("check_id", "title").agg(n_visits=pl.len(), n_for_this_alone=alone)
        .sort(["n_visits", "check_id"], descending=[True, False])
    )  # fmt: skip


def skipped_zeroes_by_weekday(t: Tables) -> pl.DataFrame:
    rows = _share_with_finding(t, "zero_not_recorded", pl.col("visited_on").dt.weekday().alias("day"))
    rows = _with_wilson(rows, "hits", "n_visits", "skip", rate="skip_rate").sort("day")
    return rows.select(
        pl.col("day").replace_strict(WEEKDAYS).alias("weekday"),
        "n_visits",
        pl.col("hits").alias("n_not_zeroed"),
        "skip_rate",
        "skip_lo",
        "skip_hi",
    )


def taps_off_design(t: Tables) -> pl.DataFrame:
    design = pl.when(pl.col("mode") == "cooling").then("cooling_tap").otherwise("heating_tap")
    rows = t("visit").join(t("equipment"), on="equipment_id").with_columns(design_tap=design)
    return (
        rows.filter(pl.col("tap") != pl.col("design_tap"))
        .group_by("equipment_id", "mode", "design_tap", pl.col("tap").alias("tap_found"))
        .agg(n_visits=pl.len(), last_found_on=pl.col("visited_on").max())
        .sort(["n_visits", "equipment_id", "mode", "tap_found"], descending=[True, False, False, False]).head(50)
    )  # fmt: skip


def totals_written_down(t: Tables) -> pl.DataFrame:
    factor = pl.col("pressure_unit").replace_strict(INWC, return_dtype=pl.Float64)
    off = ((pl.col("reported_tesp") - pl.col("supply_recorded") + pl.col("return_recorded")) * factor).abs()
    rows = t("visit_static").filter(pl.col("reported_tesp").is_not_null(), pl.col("repairs").is_null())
    rows = rows.with_columns(off=off).group_by("technician_id").agg(
        n_totals=pl.len(), n_agree=(pl.col("off") <= 0.02).sum(),
        off_at_most_inwc=pl.col("off").quantile(0.95, "linear"),
    )  # fmt: skip
    rows = _with_wilson(rows.filter(pl.col("n_totals") >= 20), "n_agree", "n_totals", "share")
    return rows.sort("share", "technician_id").head(50)


def uncertainty_sources(t: Tables) -> pl.DataFrame:
    square = pl.col("u_inwc") ** 2
    rows = t("visit_uncertainty").group_by("source").agg(
        root_mean_square_inwc=square.mean().sqrt(), total=square.sum()
    )  # fmt: skip
    return (
        rows.with_columns(share_of_variance=pl.col("total") / pl.col("total").sum()).drop("total")
        .sort(["share_of_variance", "source"], descending=[True, False])
    )  # fmt: skip


def visits_still_needed(t: Tables) -> pl.DataFrame:
    state = pl.col("static_state")
    return (
        t("site_static").group_by(pl.col("n_visits").clip(upper_bound=10).alias("like_new_visits")).agg(
            n_units=pl.len(), n_too_few=(state == "too_few_visits").sum(), n_uncertain=(state == "uncertain").sum()
        ).sort("like_new_visits")
    )  # fmt: skip


def watts_by_motor(t: Tables) -> pl.DataFrame:
    rows = t("site_static").join(t("equipment"), on="equipment_id").filter(
        pl.col("static_state").is_in(["chronic", "within_rating"]), pl.col("mode") == "cooling"
    )  # fmt: skip
    return (
        rows.group_by("motor_kind", "static_state").agg(
            n_units=pl.len(), airflow_ratio=pl.col("airflow_ratio").median(),
            w_per_cfm=(pl.col("power_w") / pl.col("airflow_cfm")).median(),
        ).sort("motor_kind", "static_state")
    )  # fmt: skip


def winter_readings(t: Tables) -> pl.DataFrame:
    rows = t("visit_static").join(t("visit_segment"), on="visit_id").filter("like_new", "since_last_work")
    level = t("site_static").select(*UNIT, "level_inwc").drop_nulls()
    off = (pl.col("tesp_inwc") - pl.col("level_inwc")).median()
    return (
        rows.join(level, on=UNIT).group_by(pl.col("visited_on").dt.month().alias("month_no"), "mode")
        .agg(n_visits=pl.len(), off_level_inwc=off).sort("month_no", "mode")
    )  # fmt: skip


def work_one_by_one(t: Tables) -> pl.DataFrame:
    jobs = t("work").filter(work_kind="return_enlarged").select("work_id", "equipment_id", "done_on")
    rows = jobs.join(t("visit_static").filter("like_new"), on="equipment_id")
    before, after = pl.col("visited_on") < pl.col("done_on"), pl.col("visited_on") > pl.col("done_on")
    tesp = pl.col("tesp_inwc")
    found = rows.group_by("work_id", "equipment_id", "done_on", "mode").agg(
        n_before=before.sum(), n_after=after.sum(),
        before_inwc=tesp.filter(before).median(), after_inwc=tesp.filter(after).median(),
    )  # fmt: skip
    found = found.filter(pl.col("n_before") > 0, pl.col("n_after") > 0).drop("work_id")
    return (
        found.with_columns(shift_inwc=pl.col("after_inwc") - pl.col("before_inwc"))
        .sort("shift_inwc", "equipment_id", "mode").head(50)
    )  # fmt: skip


def zeros_by_instrument(t: Tables) -> pl.DataFrame:
    factor = pl.col("pressure_unit").replace_strict(INWC, return_dtype=pl.Float64)
    rows = t("visit").drop_nulls(["zero_return", "zero_supply", "instrument_id"])
    return (
        rows.group_by("instrument_id", pl.col("visited_on").dt.year().alias("year_no")).agg(
            n_zeros=pl.len(), zero_return_inwc=(pl.col("zero_return") * factor).median(),
            zero_supply_inwc=(pl.col("zero_supply") * factor).median(),
        ).sort("instrument_id", "year_no").head(200)
    )  # fmt: skip
