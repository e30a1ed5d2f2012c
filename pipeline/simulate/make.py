"""Make a drop: plan the fleet, then write its visits stretch by stretch, so that memory stays small."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, fields
from pathlib import Path

import numpy as np
import polars as pl

from pipeline.simulate import record, tables, truth
from pipeline.simulate.crew import Crew, plan_crew
from pipeline.simulate.fans import FanBank, Floats, Ints
from pipeline.simulate.plan import plan_units
from pipeline.simulate.profile import Profile
from pipeline.simulate.readings import read_ports
from pipeline.simulate.repeats import repeat_readings
from pipeline.simulate.slips import draw_slips
from pipeline.simulate.states import Conditions, causes, state_at
from pipeline.simulate.units import Units
from pipeline.simulate.visits import Visits, plan_visits
from pipeline.simulate.works import Works, plan_works


@dataclass(frozen=True)
class Fleet:
    """Everything that is decided before a reading is taken."""

    profile: Profile
    branch: Ints
    elevation_ft: Floats
    units: Units
    fans: FanBank
    crew: Crew
    visits: Visits
    works: Works


def make_fleet(folder: Path, profile: Profile, seed: int) -> None:
    """Write a synthetic drop into `folder` and its truth into `folder/truth`; the seed decides all of it."""
    plan_seed, write_seed = np.random.SeedSequence(seed).spawn(2)
    write_fleet(folder, plan_fleet(profile, np.random.default_rng(plan_seed)), write_seed)


def plan_fleet(profile: Profile, rng: np.random.Generator) -> Fleet:
    """Sites, units, people, visits and work, all by chance from `rng`."""
    n = profile.n_sites
    branch = np.arange(n) % len(profile.branches)
    feet, share = zip(*profile.elevations_ft, strict=True)
    elevation = rng.choice(np.array(feet, dtype=np.float64), n, p=np.array(share) / sum(share))
    units, fans = plan_units(profile, elevation, rng)
    crew = plan_crew(profile, rng)
    visits = plan_visits(profile, units, crew, branch, rng)
    units, works = plan_works(profile, units, visits, rng)
    return Fleet(profile, branch, elevation, units, fans, crew, visits, works)


def write_fleet(folder: Path, fleet: Fleet, seed: np.random.SeedSequence) -> None:
    """Write the drop and its truth; readings are drawn from `seed`, a child per file."""
    (folder / "truth").mkdir(parents=True, exist_ok=True)
    profile, units = fleet.profile, fleet.units
    tables.sites_frame(profile, fleet.branch, fleet.elevation_ft).write_csv(folder / "sites.csv")
    tables.equipment_frame(units, fleet.fans).write_csv(folder / "equipment.csv")
    tables.blower_frame(fleet.fans).write_csv(folder / "blower_tables.csv")
    tables.technicians_frame(profile, fleet.crew).write_csv(folder / "technicians.csv")
    tables.instruments_frame(profile, fleet.crew).write_csv(folder / "instruments.csv")
    tables.work_frame(units, fleet.works).write_csv(folder / "work.csv")
    edges = _file_edges(profile, len(fleet.visits))
    corrections = []
    counts = []
    stretches = zip(seed.spawn(len(edges) - 1), edges[:-1], edges[1:], strict=True)
    for part, (child, left, right) in enumerate(stretches, 1):
        rows, planted = make_stretch(fleet, left, right, np.random.default_rng(child))
        rows, corrected = clerical(rows, profile, np.random.default_rng(child.spawn(1)[0]))
        rows.write_csv(folder / f"visits_part{part}.csv")
        planted.write_parquet(folder / "truth" / f"visit_part{part}.parquet")
        corrections.append(corrected)
        counts.append(truth.usable_visits(planted))
    pl.concat(corrections).write_csv(folder / f"visits_part{len(edges)}_corrections.csv")
    usable = truth.merge_usable(counts)
    truth.write_truth(folder / "truth", fleet, usable)
    text = json.dumps(asdict(profile), default=str, indent=1) + "\n"
    (folder / "truth" / "profile.json").write_text(text, encoding="utf-8")


def make_stretch(
    fleet: Fleet, left: int, right: int, rng: np.random.Generator
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """(rows of the visits table, rows of the truth) of the visits from `left` to before `right`."""
    profile, units, crew = fleet.profile, fleet.units, fleet.crew
    visits = Visits(*(getattr(fleet.visits, f.name)[left:right] for f in fields(Visits)))
    unit, day, heating = visits.unit.astype(np.int64), visits.day.astype(np.int64), visits.heating
    drawn = draw_slips(profile, units, crew, visits, rng)
    like_new = state_at(units, fleet.fans, unit, day, heating, Conditions.like_new(len(unit)))
    worn = drawn.conditions.any()
    found = state_at(units, fleet.fans, unit[worn], day[worn], heating[worn], drawn.conditions.at(worn))
    as_found = like_new.replaced(worn, found)
    readings = read_ports(profile, units, crew, visits, drawn, as_found, rng)
    readings, drawn = repeat_readings(profile, visits, drawn, readings, rng)
    names = {
        "visit": tables.numbered("V", left, right, 7),
        "site": tables.ids("S", profile.n_sites),
        "equipment": tables.ids("E", len(units)),
        "technician": tables.ids("T", profile.n_technicians, 3),
        "instrument": pl.Series(crew.gauge_names, dtype=pl.String),
    }
    rows = record.visit_rows(profile, units, visits, drawn, as_found, readings, names, rng)
    split = causes(units, unit, heating, as_found)
    return rows, record.truth_rows(units, visits, drawn, readings, as_found, like_new, split, names)


def _file_edges(profile: Profile, n_visits: int) -> list[int]:
    """Where one file ends and the next begins: even stretches of time order, at least `min_files`."""
    parts = max(profile.min_files, -(-n_visits // profile.rows_per_file))
    return [round(n_visits * part / parts) for part in range(parts + 1)]


def clerical(
    rows: pl.DataFrame, profile: Profile, rng: np.random.Generator
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """(rows of the file, rows of the corrections): some stand twice, some were typed wrong at first."""
    n = len(rows)
    number = pl.col("return_static").cast(pl.Float64, strict=False)
    plain = (pl.col("pressure_unit").fill_null("inwc") == "inwc") & number.is_between(-2.0, -0.01)
    able = rows.select(plain.fill_null(False)).to_series()
    chosen = pl.Series(rng.random(n) < profile.slips.corrected_row) & able
    corrected = rows.filter(chosen)
    typo = pl.when(chosen).then((number - 0.2).round(3).cast(pl.String)).otherwise("return_static")
    unsaid = pl.when(~chosen).then("reported_tesp")
    first = rows.with_columns(typo.alias("return_static"), unsaid.alias("reported_tesp"))
    twice = first.filter(pl.Series(rng.random(n) < profile.slips.repeated_row))
    return pl.concat([first, twice]), corrected
