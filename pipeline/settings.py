"""Every threshold and constant once: value, unit, source.

What belongs here: any number that a check, a metric or a report compares with or multiplies by.
What does not: column meanings (`catalog/`) and SQL (`sql/`). SQL reads a setting as
`getvariable('name')`; Python reads `settings["name"]`. All are published in the `setting` table.
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from pipeline.errors import UsageError

COMMON = "common practice, no source"
DIVIDED_BY = ("Pa/in. w.c.", "mm/in.", "d/year")  # units
PART = ("share", "probability", "false discovery rate")  # what units of parts of a whole begin with
# By unit the largest value that a user may set: what is longer, or more, no calendar, clock or machine can hold.
MOST = {"d": 1e6, "h": 1e6, "min": 1e6, "s": 1e6, "years": 1e3, "GB": 1e6}
TINY, HUGE = 1e-9, 1e12


@dataclass(frozen=True)
class Setting:
    """One named number: `value` in `unit`, and where it comes from. `least`, `most`: what is less, or more, means
    nothing."""

    name: str
    value: float
    unit: str
    source: str
    least: float = 0.0
    most: float = HUGE

    @property
    def limits(self) -> tuple[float, float]:
        """The least and the largest value: none is negative, what is divided by is not 0, a share is at most 1."""
        least = max(self.least, TINY if self.unit in DIVIDED_BY else 0.0)
        return least, min(self.most, 1.0 if self.unit.startswith(PART) else MOST.get(self.unit, HUGE))

    @property
    def expected(self) -> str:
        """The limits in words."""
        least, largest = self.limits
        if largest < HUGE:
            return f"from {least:g} to {largest:g} ({self.unit})"
        return f"{'above 0' if least == TINY else f'of {least:g} or more'} ({self.unit})"


DEFAULTS: tuple[Setting, ...] = (
    # units and air
    Setting("pa_per_inwc", 249.08891, "Pa/in. w.c.", "NIST SP 811 App. B, conventional inch of water"),
    Setting("mm_per_inch", 25.4, "mm/in.", "definition of the inch"),
    # 1 is laminar flow, 2 fully rough (Darcy-Weisbach).
    Setting(
        "duct_exponent", 2.0, "1", "dp = K Q^n; n = 2 by convention, 1.8 to 2 for real ducts", least=1, most=2
    ),
    # checks
    Setting("zero_offset_limit_inwc", 0.02, "in. w.c.", COMMON),
    Setting("zero_max_age_h", 4.0, "h", COMMON),
    Setting("near_zero_inwc", 0.02, "in. w.c.", COMMON),
    Setting("plausible_limit_inwc", 2.5, "in. w.c.", COMMON),
    Setting("sum_tolerance_inwc", 0.02, "in. w.c.", COMMON),
    Setting("sum_tolerance_share", 0.05, "share", COMMON),
    Setting("reported_rounding_cap_inwc", 0.05, "in. w.c.", "half a unit of the first decimal"),
    Setting("repeat_window_h", 24.0, "h", COMMON),
    Setting("repeat_decimals", 3, "decimals", COMMON),
    # more checks, all notes
    Setting("zeros_unchanged_min_visits", 10, "visits in a quarter", COMMON),
    Setting("zeros_unchanged_min_days", 45, "d", COMMON),
    Setting("digits_min_readings", 100, "readings", COMMON),
    Setting("digits_share_limit", 0.30, "share of readings that end in 0 or 5; 0.20 by chance", COMMON),
    Setting("visits_apart_min", 10, "min", COMMON),
    Setting(
        "calibration_max_age_days", 1095, "d", "three yearly calibrations (ANSI/RESNET/ICC 380; from memory)"
    ),
    Setting("rating_furnace_min_inwc", 0.3, "in. w.c.", COMMON),
    Setting("rating_fan_coil_min_inwc", 0.1, "in. w.c.", COMMON),
    Setting("rating_max_inwc", 1.2, "in. w.c.", COMMON),
    Setting("one_side_other_inwc", 0.1, "in. w.c.", COMMON),
    Setting("airflow_against_table_share", 0.25, "share of the table's airflow", COMMON),
    Setting("least_airflow_share", 0.80, "share of the design airflow, to call a change a remedy", COMMON),
    # uncertainty of a reading (JCGM 100)
    Setting("default_accuracy_pct", 1.0, "% of reading", "data contract: instruments"),
    Setting("default_accuracy_floor_inwc", 0.01, "in. w.c.", "data contract: instruments"),
    Setting("default_resolution_inwc", 0.001, "in. w.c.", "data contract: instruments"),
    Setting("zero_missing_half_width_inwc", 0.02, "in. w.c.", "the limit a zero must keep; " + COMMON),
    Setting("zero_residual_share", 0.25, "share of the zero reading", COMMON),
    Setting("near_turn_half_width_share", 0.10, "share of the reading", COMMON),
    Setting("near_turn_half_width_min_inwc", 0.01, "in. w.c.", COMMON),
    Setting("straight_tube_half_width_inwc", 0.01, "in. w.c.", "where the airflow is not known; " + COMMON),
    Setting("straight_tube_velocity_share", 0.33, "share of the velocity pressure, half width", COMMON),
    Setting("plenum_velocity_fpm", 700, "ft/min at the design airflow", COMMON),
    Setting("port_correlation_dual", 0.5, "1", "two ports of one instrument share its gain; " + COMMON),
    Setting("measured_airflow_share", 0.07, "share of the airflow, half width", COMMON),
    # what parts may take of the rating
    Setting(
        "filter_allowance_inwc",
        0.10,
        "in. w.c.",
        "Calif. Title 24 sec. 150.0(m)12, clean filter; from memory",
    ),
    Setting("coil_allowance_inwc", 0.20, "in. w.c.", "handbook habit, wet coil 0.20 to 0.30; from memory"),
    # sites
    Setting("min_visits", 3, "visits", "data contract section 4", least=1),
    Setting("min_span_days", 90, "d", "data contract section 4"),
    Setting("chronic_probability", 0.95, "probability", "data contract section 4"),
    Setting("within_probability", 0.05, "probability", "data contract section 4"),
    Setting(
        "robust_cutoff",
        2.0,
        "standard deviations",
        "Huber's k between 1.345 and 2; see docs/statistics.md",
        least=0.1,
    ),
    Setting(
        "yardstick_prior_visits",
        4,
        "visits",
        "how far a site's yardstick leans on the fleet; tuned on simulated fleets",
        least=0.1,
    ),
    Setting(
        "upkeep_material_inwc",
        0.02,
        "in. w.c.",
        "as found less like new, where upkeep is worth a word; " + COMMON,
    ),
    Setting("measured_lately_days", 730, "d", COMMON),
    Setting("change_material_inwc", 0.03, "in. w.c.", "what counts as worse or better; " + COMMON),
    # trends
    Setting("trend_min_visits", 5, "visits", "data contract section 4"),
    Setting("trend_min_span_days", 180, "d", "data contract section 4"),
    Setting("trend_q", 0.10, "false discovery rate", "data contract section 4"),
    Setting(
        "trend_prior_df_cap", 6, "1", "readings have heavier tails than the normal; tuned on simulated fleets"
    ),
    Setting(
        "trend_cross_check_p", 0.3, "probability", "the rank test must not speak against a slope; " + COMMON
    ),
    Setting("change_point_material_inwc", 0.04, "in. w.c.", COMMON),
    Setting("change_point_evidence", 3.0, "natural log of the likelihood ratio", "20 to 1; " + COMMON),
    Setting(
        "measurer_sd_untold_inwc",
        0.02,
        "in. w.c.",
        "how far hands may be off whose offset cannot be told; docs/statistics.md; " + COMMON,
    ),
    Setting("days_per_year", 365.25, "d/year", "Julian year", least=1),
    # technicians
    Setting("technician_min_visits", 20, "visits", "data contract section 4"),
    Setting("technician_q", 0.05, "false discovery rate", "data contract section 4"),
    Setting("offset_material_inwc", 0.02, "in. w.c.", "data contract section 4"),
    Setting(
        "funnel_p", 0.999, "probability", "Spiegelhalter 2005, Stat. Med. 24:1185: 99.8 % limits; from memory"
    ),
    Setting("follow_min_visits", 10, "visits", COMMON),
    Setting(
        "offsets_close_from_visits",
        200_000,
        "visits",
        "from so many on offsets rest on closed months, see docs/statistics.md; " + COMMON,
    ),
    Setting(
        "offset_min_group", 4, "technician-instrument pairs", "a centre of fewer is no centre; " + COMMON
    ),
    Setting("drift_material_inwc_per_year", 0.005, "in. w.c./year", "0.02 in four years; " + COMMON),
    Setting("drift_min_span_days", 365, "d", COMMON),
    Setting("drift_horizon_years", 10, "years", "a line is not drawn further; " + COMMON),
    # work
    Setting("work_min_pairs", 6, "pairs", COMMON),
    Setting("follow_up_days", 90, "d", "how soon a work should be measured again; " + COMMON),
    # the gate
    Setting("gate_rejected_share", 0.05, "share of rows", "data contract: the gate"),
    Setting("gate_rejected_rows", 5, "rows of a table; fewer stop no drop, whatever their share", COMMON),
    # reports
    Setting("fan_hours_cooling", 1000, "h/year", COMMON),
    Setting("fan_hours_heating", 1000, "h/year", COMMON),
    Setting("tariff_per_kwh", 0.15, "currency/kWh", COMMON),
    # machine
    Setting(
        "memory_limit_gb",
        3,
        "GB",
        "what DuckDB holds before it spills; 0: its own default; docs/benchmarks.md",
    ),
    Setting(
        "part_visits",
        500_000,
        "visits",
        "at most in a part of the fleet on a cluster, about; " + COMMON,
        least=1,
    ),
    Setting(
        "day_from_visits",
        200_000,
        "visits",
        "shorter histories are computed whole every run; docs/benchmarks.md",
    ),
    Setting(
        "look_again_visits",
        100_000,
        "visits",
        "so many, about, are looked at again before publishing, by days and along technicians; " + COMMON,
        least=1,
    ),
    Setting(
        "day_most_touched",
        0.2,
        "share of the equipment",
        "more is computed whole; docs/benchmarks.md",
    ),
    # the analyst's door
    Setting("sql_memory_limit_gb", 4, "GB", COMMON),
    Setting("sql_time_limit_s", 300, "s", COMMON),
    Setting("sql_grace_s", 5, "s", COMMON),
)


class Settings(Mapping[str, float]):
    """The settings of one run: defaults, with the user's own values put over them."""

    def __init__(self, settings: tuple[Setting, ...] = DEFAULTS) -> None:
        self._by_name = {s.name: s for s in settings}

    def __getitem__(self, name: str) -> float:
        return self._by_name[name].value

    def __iter__(self) -> Iterator[str]:
        return iter(self._by_name)

    def __len__(self) -> int:
        return len(self._by_name)

    def rows(self) -> list[Setting]:
        """All settings, in the order in which they stand in this file."""
        return list(self._by_name.values())

    def with_values(self, values: Mapping[str, object], source: str) -> Settings:
        """A copy with some values replaced; a name that does not exist or a value that is no number is refused."""
        changed = dict(self._by_name)
        for name, value in values.items():
            if name not in changed:
                near = difflib.get_close_matches(name, changed, n=1)
                hint = f"did you mean {near[0]}?" if near else f"expected one of {', '.join(sorted(changed))}"
                raise UsageError(f"{source}: no setting is called {name!r}; {hint}")
            if isinstance(value, bool) or not isinstance(value, int | float):
                raise UsageError(
                    f"{source}: setting {name} is {value!r}; expected a number in {changed[name].unit}"
                )
            low, high = changed[name].limits
            if not low <= value <= high:  # nor is it a number at all
                raise UsageError(
                    f"{source}: setting {name} is {value!r}; expected a number {changed[name].expected}"
                )
            changed[name] = replace(changed[name], value=float(value), source=f"set in {source}")
        return Settings(tuple(changed.values()))


def read_settings(path: Path | None) -> Settings:
    """The default settings, changed by the TOML file at `path` (name = number) if one is given."""
    if path is None:
        return Settings()
    try:
        values = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise UsageError(
            f"{path}: cannot be read as a settings file (TOML, name = number): {error}"
        ) from error
    return Settings().with_values(values, path.name)
