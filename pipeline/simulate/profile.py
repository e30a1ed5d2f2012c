"""What a synthetic fleet is like: sizes, shares, spreads and slip rates. Numbers are the invention of this
simulator, chosen to look like a contractor's real export; none is a claim about the trade."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from datetime import date


@dataclass(frozen=True)
class SlipRates:
    """Share of visits that carry each slip. The first group excludes one another: a visit has one at most."""

    # the reading or its date is wrong: one of these at most on a visit
    return_sign_wrong: float = 0.016
    supply_sign_wrong: float = 0.003
    ports_swapped: float = 0.006
    reading_near_zero: float = 0.003
    unit_mismatch: float = 0.007
    zero_offset_large: float = 0.003
    zero_after_reading: float = 0.004
    zero_stale: float = 0.005
    visit_in_future: float = 0.004
    visit_before_install: float = 0.001
    return_port_wrong: float = 0.010
    supply_port_wrong: float = 0.010
    component_drop_impossible: float = 0.003
    tesp_sum_mismatch: float = 0.006
    readings_repeated: float = 0.002
    bad_number: float = 0.004
    equipment_unknown: float = 0.004
    # conditions of the test and habits: independent of one another
    zero_not_recorded: float = 0.03
    zero_time_only: float = 0.02
    zero_readings_only: float = 0.02
    probe_near_turn: float = 0.05
    stage_not_high: float = 0.02
    filter_dirty: float = 0.09
    coil_dirty: float = 0.01
    blower_dirty: float = 0.005
    registers_closed: float = 0.033
    holes_left_open: float = 0.04
    repeated_row: float = 0.005
    corrected_row: float = 0.003

    def exclusive(self) -> dict[str, float]:
        """The slips of which a visit has one at most, with their rates, in order."""
        return {name: float(getattr(self, name)) for name in EXCLUSIVE_SLIPS}

    @classmethod
    def none(cls) -> SlipRates:
        """No slips at all: every row sound, like new and zeroed."""
        return cls(**{f.name: 0.0 for f in fields(cls)})


EXCLUSIVE_SLIPS: tuple[str, ...] = tuple(f.name for f in fields(SlipRates))[:17]


@dataclass(frozen=True)
class Profile:
    """A fleet to make. Pressures in in. w.c., shares between 0 and 1, slopes in in. w.c. per year."""

    # size and time
    n_sites: int = 160
    visits_per_site: float = 11.0
    total_visits: int | None = None
    start_on: date = date(2022, 6, 1)
    years: float = 4.4
    zone: str = "America/Chicago"
    branches: tuple[str, ...] = ("North Yard", "South Yard")
    rows_per_file: int = 250_000
    min_files: int = 2
    # equipment
    fan_coil_share: float = 0.55
    second_unit_share: float = 0.03
    replaced_share: float = 0.02
    filter_in_rating_share: float = 0.05
    missing_design_share: float = 0.04
    missing_table_share: float = 0.03
    missing_budget_share: float = 0.34
    elevations_ft: tuple[tuple[float, float], ...] = ((0, 0.4), (200, 0.4), (900, 0.15), (5000, 0.05))
    # what is wrong with the sites
    chronic_return_share: float = 0.10
    chronic_supply_share: float = 0.08
    chronic_airflow_share: float = 0.06
    chronic_excess: tuple[float, float] = (0.03, 0.35)
    sound_ratio: tuple[float, float] = (0.82, 0.10)
    growth_share: float = 0.08
    growth_slopes: tuple[float, float] = (0.02, 0.08)
    falling_share: float = 0.15
    # scatter
    noise_sd: float = 0.012
    scatter_spread: float = 1.5
    outlier_share: float = 0.004
    zero_sd: float = 0.002
    unzeroed_sd: float = 0.015
    # visits
    heating_share: float = 0.45
    one_mode_only: bool = False
    dirty_factor: tuple[float, float] = (1.8, 4.0)
    pa_share: float = 0.028
    mmwc_share: float = 0.004
    reported_share: float = 0.7
    filter_drop_share: float = 0.41
    coil_drop_share: float = 0.18
    straight_tube_share: float = 0.18
    airflow_measured_share: float = 0.02
    condition_unknown_share: float = 0.03
    tap_empty_share: float = 0.05
    note_share: float = 0.03
    # people and gauges
    n_technicians: int = 10
    home_technician_share: float = 0.2
    cross_branch_share: float = 0.0
    two_gauge_share: float = 0.2
    pool_gauge_share: float = 0.0
    n_skippers: int = 1
    skip_rates: tuple[float, float] = (0.35, 0.70)
    skipper_visits: int | None = None
    training_effect: float = 0.0
    n_paper_zeroers: int = 1
    paper_share: float = 0.85
    paper_offsets: tuple[float, float] = (0.035, 0.07)
    paper_zeroer_visits: int | None = None
    n_wrong_ports: int = 1
    wrong_port_rates: tuple[float, float] = (0.3, 0.5)
    n_rounders: int = 0
    n_careless: int = 0
    careless_factor: float = 5.0
    n_faulty_gauges: int = 0
    n_drifting_gauges: int = 0
    # work
    work_share: float = 0.30
    triggered_work_share: float = 0.7
    sham_work_share: float = 0.10
    sham_kinds: tuple[str, ...] = ("duct_restrapped",)
    unrecorded_work_share: float = 0.0
    slips: SlipRates = field(default_factory=SlipRates)

    @property
    def n_visits(self) -> int:
        """Visits in the whole fleet, rejects included, repeated and corrected rows not."""
        if self.total_visits is not None:
            return self.total_visits
        return round(self.n_sites * self.visits_per_site)
