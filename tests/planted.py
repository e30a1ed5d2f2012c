"""Fleets whose answer is known: made by the simulator, run through the stages, compared with what was planted.

What belongs here: measuring (precision, recall, coverage, error). What is asked of the figures: the tests.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import polars as pl
from scipy import stats

from pipeline.simulate.make import make_fleet
from pipeline.simulate.profile import Profile
from tests.conftest import FIELD_TODAY, Query, query_of, run_stages

TINY = 1e-9
CAUSES = ("return_restriction_inwc", "supply_restriction_inwc", "airflow_setting_inwc")


@dataclass(frozen=True)
class Planted:
    """One fleet: its publication and the truth of the segment that is judged."""

    ask: Query
    units: pl.DataFrame  # a row per equipment and mode: truth of the last segment
    technicians: pl.DataFrame
    gauges: pl.DataFrame
    works: pl.DataFrame

    def sites(self) -> pl.DataFrame:
        """site_static beside its truth (columns that clash end in _true)."""
        return self.ask("SELECT * FROM site_static").join(
            self.units, on=["equipment_id", "mode"], suffix="_true"
        )


def plant(folder: Path, profile: Profile, seed: int) -> Planted:
    """Make the fleet and run it."""
    drop = folder / "drop"
    make_fleet(drop, profile, seed)
    return measured(drop)


def measured(drop: Path) -> Planted:
    """Run a drop whose truth lies beside it."""
    ask = query_of(run_stages([drop], drop.parent / "out", FIELD_TODAY))
    truth = drop / "truth"
    return Planted(
        ask,
        pl.read_parquet(truth / "equipment.parquet").filter(pl.col("last")),
        pl.read_parquet(truth / "technician.parquet"),
        pl.read_parquet(truth / "technician_instrument.parquet"),
        pl.read_parquet(truth / "work.parquet"),
    )


def share(frame: pl.DataFrame, condition: pl.Expr) -> tuple[int, int]:
    """(rows that meet the condition, rows)."""
    return int(frame.select(condition.fill_null(False).sum()).item() or 0), frame.height


def pooled(counts: list[tuple[int, int]]) -> float:
    """The share over several fleets together."""
    return sum(k for k, _ in counts) / max(sum(n for _, n in counts), 1)


def steady_levels(fleet: Planted) -> pl.DataFrame:
    """Units and modes without true growth, with 3 or more visits."""
    return fleet.sites().filter((pl.col("n_visits") >= 3) & (pl.col("growth_inwc_per_year").abs() < TINY))


def corrected_levels(fleet: Planted) -> pl.DataFrame:
    """The steady ones whose level rests on readings that were corrected for a doubtful zero."""
    return steady_levels(fleet).filter(pl.col("n_offset_corrected") > 0)


def corrected_errors(fleet: Planted) -> list[float]:
    """Errors of the corrected levels, in. w.c.: what a wrong correction leaves."""
    return corrected_levels(fleet).select(pl.col("level_inwc") - pl.col("tesp_inwc")).to_series().to_list()


def corrected_coverage(fleet: Planted) -> tuple[int, int]:
    """How often the 95 % interval of a corrected level holds the true level."""
    return share(corrected_levels(fleet), pl.col("tesp_inwc").is_between("level_lo_inwc", "level_hi_inwc"))


def few_visits(fleet: Planted) -> pl.DataFrame:
    """Units and modes without true growth whose level rests on one or two visits."""
    steady = pl.col("growth_inwc_per_year").abs() < TINY
    return fleet.sites().filter(pl.col("n_visits").is_between(1, 2) & steady)


def few_visits_coverage(fleet: Planted) -> tuple[int, int]:
    """How often the 95 % interval of a level of one or two visits holds the true level."""
    return share(few_visits(fleet), pl.col("tesp_inwc").is_between("level_lo_inwc", "level_hi_inwc"))


def few_corrected_coverage(fleet: Planted) -> tuple[int, int]:
    """Likewise, of those in which a reading was corrected for a doubtful zero."""
    corrected = few_visits(fleet).filter(pl.col("n_offset_corrected") > 0)
    return share(corrected, pl.col("tesp_inwc").is_between("level_lo_inwc", "level_hi_inwc"))


def level_error(fleet: Planted) -> float:
    """Median absolute error of the level, in. w.c."""
    return float(
        steady_levels(fleet).select((pl.col("level_inwc") - pl.col("tesp_inwc")).abs().median()).item()
    )


def level_coverage(fleet: Planted) -> tuple[int, int]:
    """How often the 95 % interval holds the true level."""
    return share(steady_levels(fleet), pl.col("tesp_inwc").is_between("level_lo_inwc", "level_hi_inwc"))


def chronic_precision(fleet: Planted) -> tuple[int, int]:
    """Of the sites called chronic, those truly over the rating."""
    return share(fleet.sites().filter(pl.col("static_state") == "chronic"), pl.col("excess_inwc") > 0)


def chronic_recall(fleet: Planted) -> tuple[int, int]:
    """Of the sites truly over by more than 0.04 in. w.c. with 4 visits, those called chronic."""
    over = fleet.sites().filter((pl.col("excess_inwc") > 0.04) & (pl.col("n_visits") >= 4))
    return share(over, pl.col("static_state") == "chronic")


def within_precision(fleet: Planted) -> tuple[int, int]:
    """Of the sites called within rating, those truly within it by the level over the segment's middle."""
    within = fleet.sites().filter(
        (pl.col("static_state") == "within_rating") & (pl.col("growth_inwc_per_year").abs() < TINY)
    )
    return share(within, pl.col("excess_inwc") <= 0)


def side_right(fleet: Planted, side: str | None = None) -> tuple[int, int]:
    """Of the chronic sites whose largest true cause leads by 0.03 in. w.c., those with the right side; or only of those
    where the true one is `side`."""
    causes = pl.concat_list([f"{c}_true" for c in CAUSES]).list.sort(descending=True)
    chronic = fleet.sites().filter(pl.col("static_state") == "chronic")
    clear = chronic.filter(causes.list.get(0) - causes.list.get(1) > 0.03)
    if side is not None:
        clear = clear.filter(pl.col("problem_side_true") == side)
    return share(clear, pl.col("problem_side") == pl.col("problem_side_true"))


def rank_agreement(fleet: Planted) -> float:
    """Spearman's correlation of expected and true excess over the priority list."""
    rows = fleet.ask("SELECT equipment_id, mode, expected_excess_inwc FROM site_priority").join(
        fleet.units, on=["equipment_id", "mode"]
    )
    return float(stats.spearmanr(rows["expected_excess_inwc"], rows["excess_inwc"].clip(0)).statistic)


def _trends(fleet: Planted) -> pl.DataFrame:
    growth = fleet.units.group_by("equipment_id").agg(pl.col("growth_inwc_per_year").mean().alias("growth"))
    return fleet.ask(
        "SELECT t.*, n.n AS n_level FROM equipment_trend t "
        "JOIN (SELECT equipment_id, sum(n_visits) AS n FROM site_static GROUP BY ALL) n USING (equipment_id)"
    ).join(growth, on="equipment_id")


def false_trends(fleet: Planted) -> tuple[int, int]:
    """Of the units called rising or falling, those without growth or with the other sign."""
    called = _trends(fleet).filter(pl.col("trend").is_in(["rising", "falling"]))
    wrong = (pl.col("growth").abs() < TINY) | ((pl.col("growth") > 0) != (pl.col("trend") == "rising"))
    return share(called, wrong)


def trends_found(fleet: Planted) -> tuple[int, int]:
    """Of the units that truly change by more than 0.03 in. w.c. a year, with 9 visits, those called."""
    changing = _trends(fleet).filter((pl.col("growth").abs() > 0.03) & (pl.col("n_level") >= 9))
    return share(changing, pl.col("trend").is_in(["rising", "falling"]))


def _judged(fleet: Planted) -> pl.DataFrame:
    return fleet.ask("SELECT * FROM technician_zeroing").join(
        fleet.technicians, on="technician_id", suffix="_true"
    )


def skippers_named(fleet: Planted) -> tuple[int, int]:
    """Skippers with 30 visits that are named."""
    rows = _judged(fleet).filter((pl.col("kind") == "skipper") & (pl.col("n_visits") >= 30))
    return share(rows, pl.col("zeroing_state") == "skips_zero")


def paper_zeroers_named(fleet: Planted) -> tuple[int, int]:
    """Paper zeroers with 60 visits that are named."""
    rows = _judged(fleet).filter((pl.col("kind") == "paper_zeroer") & (pl.col("n_visits") >= 60))
    return share(rows, pl.col("zeroing_state") == "zero_doubtful")


def sound_accused(fleet: Planted) -> tuple[int, int]:
    """Technicians who do neither, with 20 visits, that are accused of either."""
    rows = _judged(fleet).filter(
        ~pl.col("kind").is_in(["skipper", "paper_zeroer"]) & (pl.col("n_visits") >= 20)
    )
    return share(rows, pl.col("zeroing_state").is_in(["skips_zero", "zero_doubtful"]))


def wrong_ports_named(fleet: Planted) -> tuple[int, int]:
    """Technicians who often probe the wrong place, with 30 visits, whose rate of either check stands out."""
    named = fleet.ask(
        "SELECT DISTINCT technician_id FROM practice_rate WHERE practice_state = 'above_fleet' "
        "AND check_id IN ('return_port_wrong', 'supply_port_wrong')"
    ).with_columns(named=True)
    wrong = fleet.technicians.filter((pl.col("kind") == "wrong_ports") & (pl.col("n_visits") >= 30))
    return share(wrong.join(named, on="technician_id", how="left"), pl.col("named"))


def hidden_offset_errors(fleet: Planted) -> pl.DataFrame:
    """Found minus planted offset per gauge in hand and port, with its standard error and the technician's kind.

    A paper zeroer's planted offset is what stands behind the shifted visits; sound hands have their gauge's gain,
    which is not constant over sites, so that only those without hidden offset are asked for coverage.
    """
    found = fleet.ask("SELECT * FROM instrument_offset")
    rows = found.join(fleet.gauges, on=["technician_id", "instrument_id"], suffix="_true").join(
        fleet.technicians.select("technician_id", "kind"), on="technician_id"
    )
    ports = [
        rows.select(
            "kind",
            "n_visits",
            (pl.col(f"{port}_offset_inwc") - pl.col(f"hidden_{port}_inwc")).alias("error"),
            pl.col(f"{port}_offset_se").alias("se"),
        )
        for port in ("return", "supply")
    ]
    return pl.concat(ports)


def steps_right(fleet: Planted) -> tuple[int, int]:
    """Of the change points named, those at units with a work that nobody recorded."""
    unrecorded = fleet.works.filter(~pl.col("recorded")).select("equipment_id").with_columns(hidden=True)
    named = fleet.ask("SELECT equipment_id FROM change_point").join(unrecorded, on="equipment_id", how="left")
    return share(named, pl.col("hidden"))


def steps_found(fleet: Planted) -> tuple[int, int]:
    """Of the unrecorded works that moved cooling TESP by more than 0.06 in. w.c., those named."""
    large = fleet.works.filter(~pl.col("recorded") & (pl.col("shift_cooling_inwc").abs() > 0.06))
    named = fleet.ask("SELECT equipment_id FROM change_point").with_columns(named=True)
    return share(large.join(named, on="equipment_id", how="left"), pl.col("named"))


def steps_named(fleet: Planted) -> tuple[int, int]:
    """Units named with a step, of all: where every work is on record, each of them is one too many."""
    named = fleet.ask("SELECT DISTINCT equipment_id FROM change_point").with_columns(named=True)
    units = fleet.units.select("equipment_id").unique()
    return share(units.join(named, on="equipment_id", how="left"), pl.col("named"))
