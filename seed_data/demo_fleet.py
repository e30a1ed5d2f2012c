"""The story put on top of the simulator: units, crew, visits and work as `story.py` tells them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.simulate.crew import Crew, plan_crew
from pipeline.simulate.make import Fleet
from pipeline.simulate.plan import Layout, Plate, Wants, build_units
from pipeline.simulate.profile import Profile, SlipRates
from pipeline.simulate.units import NEVER, Units
from pipeline.simulate.visits import Visits, plan_visits
from pipeline.simulate.works import Works
from seed_data import story

SLIPS = SlipRates(
    return_sign_wrong=0.020,
    supply_sign_wrong=0.006,
    ports_swapped=0.012,
    reading_near_zero=0.006,
    unit_mismatch=0.014,
    zero_offset_large=0.006,
    zero_after_reading=0.006,
    zero_stale=0.008,
    visit_in_future=0.003,
    visit_before_install=0.003,
    return_port_wrong=0.006,
    supply_port_wrong=0.006,
    component_drop_impossible=0.005,
    tesp_sum_mismatch=0.010,
    readings_repeated=0.005,
    bad_number=0.0,
    equipment_unknown=0.0,
    repeated_row=0.010,
    corrected_row=0.006,
)

PROFILE = Profile(
    n_sites=len(story.PLACES),
    total_visits=sum(p.visits for p in story.PLACES),
    start_on=story.START,
    years=story.YEARS,
    branches=story.BRANCHES,
    n_technicians=len(story.CREW),
    home_technician_share=0.3,
    cross_branch_share=0.12,
    heating_share=0.32,
    pa_share=0.05,
    training_effect=0.85,
    n_skippers=0,
    n_paper_zeroers=0,
    n_wrong_ports=0,
    slips=SLIPS,
)


def day_of(value: object) -> int:
    """Days since 1970 of a date."""
    return int(np.datetime64(str(value), "D").astype(int))


def plan_demo(rng: np.random.Generator) -> Fleet:
    """The fleet of the story, before a reading is taken."""
    n = len(story.PLACES)
    branch = np.arange(n) % len(story.BRANCHES)
    elevation = np.where(np.arange(n) % 7 == 3, 900.0, 150.0)
    layout = _layout()
    plate = _plate(layout, rng)
    units, fans = build_units(PROFILE, layout, plate, _wants(layout, plate, rng), elevation, rng)
    crew = _crew(rng)
    slot = rng.permutation(np.repeat(np.arange(n), [p.visits for p in story.PLACES]))
    visits = _loaded_filters(plan_visits(PROFILE, units, crew, branch, rng, slot), rng)
    units, works = _work(units)
    return Fleet(PROFILE, branch, elevation, units, fans, crew, visits, works)


def _layout() -> Layout:
    """A unit at each place, and the successor of the replaced one."""
    n, changed = len(story.PLACES), day_of(story.REPLACED_ON)
    site = np.append(np.arange(n), story.REPLACED_PLACE)
    installed = np.array([day_of(f"{2008 + (i * 5) % 13}-0{1 + i % 9}-15") for i in range(n)] + [changed])
    retired = np.full(n + 1, NEVER)
    retired[story.REPLACED_PLACE] = changed
    return Layout(site, site.copy(), installed, retired)


def _plate(layout: Layout, rng: np.random.Generator) -> Plate:
    places = [story.PLACES[i] for i in layout.site]
    n = len(places)
    fan_coil = np.array([p.kind == "fan_coil" for p in places])
    tons, rated = np.array([p.tons for p in places]), np.array([p.rated for p in places])
    share = rng.uniform(0.45, 0.55, n)
    number = np.arange(n)
    return Plate(
        fan_coil=fan_coil,
        motor=np.array([p.motor for p in places]),
        tons=tons,
        rated=rated,
        design_cooling=400.0 * tons,
        design_heating=np.round(0.87 * 400.0 * tons),
        design_known=number != 37,
        table_known=number != 41,
        budget_known=number % 3 != 1,
        design_return=-np.round(share * rated, 3),
        design_supply=np.round((1.0 - share) * rated, 3),
        filter_in_rating=np.array([p.filter_in_rating for p in places]),
        coil_in_rating=fan_coil,
    )


def _wants(layout: Layout, plate: Plate, rng: np.random.Generator) -> Wants:
    places = [story.PLACES[i] for i in layout.site]
    n, old = len(places), len(story.PLACES)
    tesp, cause = np.array([p.tesp for p in places]), np.array([p.cause for p in places])
    growth = np.array([p.growth for p in places])
    tesp[old:], cause[old:] = story.SUCCESSOR_TESP, 0
    faulty = (cause == 1) | (cause == 2)
    sound = np.where(faulty | (growth > 0), plate.rated * [p.sound_ratio for p in places], tesp)
    return Wants(
        ratio=sound / plate.rated,
        share=rng.uniform(0.46, 0.54, n),
        cause=cause,
        target=tesp,
        grows=np.where(growth > 0, 1, 0),
        growth=growth,
        filter_share=np.array([p.filter_share for p in places]),
        coil_share=rng.uniform(0.40, 0.50, n),
    )


def _crew(rng: np.random.Generator) -> Crew:
    people = story.CREW
    drawn = plan_crew(replace(PROFILE, two_gauge_share=0.0), rng)
    names = [f"M{i:03d}{letter}" for i, p in enumerate(people) for letter in "ab"[: p.gauges]]
    first = np.cumsum([p.gauges for p in people]) - [p.gauges for p in people]
    gauge = rng.integers(0, len(people), len(names))
    kind = np.array([p.kind for p in people])
    return replace(
        drawn,
        kind=kind,
        skip_rate=np.array([p.rate if p.kind == 1 else SLIPS.zero_not_recorded for p in people]),
        wrong_port_rate=np.array([p.rate if p.kind == 3 else 0.0 for p in people]),
        expected_visits=np.array([float(p.visits) for p in people]),
        trained_day=np.array([day_of(p.trained_on or story.START) for p in people]),
        trained=np.array([p.trained_on is not None for p in people]),
        hidden_offset=np.array([p.hidden for p in people]),
        own_gauges=np.column_stack([first, first + [p.gauges - 1 for p in people]]),
        gauge_names=tuple(names),
        gauge_dual=drawn.gauge_dual[gauge],
        gauge_gain=drawn.gauge_gain[gauge],
        gauge_offset=np.zeros((len(names), 2)),
        gauge_drift_per_year=np.zeros(len(names)),
    )


def _loaded_filters(visits: Visits, rng: np.random.Generator) -> Visits:
    """Filters loaded as often as the place's story says, heavily where that is the story."""
    share = np.array([*(p.dirty_share for p in story.PLACES), 0.0])[visits.unit]
    loaded = rng.random(len(visits)) < share
    factor = np.where(share > 0.3, rng.uniform(3.0, 4.5, len(visits)), rng.uniform(1.8, 3.5, len(visits)))
    return replace(visits, dirt=np.where(loaded, factor, 1.0).astype(np.float32))


def _work(units: Units) -> tuple[Units, Works]:
    jobs = story.JOBS
    day, factor, shift = units.work_day.copy(), units.work_factor.copy(), units.work_tap_shift.copy()
    lasting = [j for j in jobs if j.work_kind not in ("filter_changed", "other", "equipment_replaced")]
    for job in lasting:
        day[job.place] = day_of(job.done_on)
        if job.part < 0:
            shift[job.place] = 1
        else:
            factor[job.place, job.part] = job.factor
    no_effect = [j in lasting and j.part >= 0 and j.factor == 1.0 for j in jobs]
    works = Works(
        unit=np.array([j.place for j in jobs]),
        day=np.array([day_of(j.done_on) for j in jobs]),
        kind=tuple(j.work_kind for j in jobs),
        cost=np.array([j.cost for j in jobs]),
        sham=np.array(no_effect),
        plain=np.array([j.work_kind in ("filter_changed", "other") for j in jobs]),
        triggered=np.zeros(len(jobs), bool),
        recorded=np.ones(len(jobs), bool),
    )
    return replace(units, work_day=day, work_factor=factor, work_tap_shift=shift), works
