"""Which visit carries which slip, and under which conditions it was made."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.simulate.crew import CARELESS, PAPER, WRONG_PORTS, Crew
from pipeline.simulate.fans import Bools, Floats, Ints
from pipeline.simulate.profile import EXCLUSIVE_SLIPS, Profile
from pipeline.simulate.states import Conditions
from pipeline.simulate.units import NEVER, Units
from pipeline.simulate.visits import Visits

SLIPS = ("none", *EXCLUSIVE_SLIPS, "outlier")
CODE = {name: code for code, name in enumerate(SLIPS)}


@dataclass(frozen=True)
class Drawn:
    """Per visit: the code of its slip (index into SLIPS), its conditions and what is written down."""

    slip: Ints
    conditions: Conditions
    zero_time: Bools
    zero_values: Bools
    hidden: Floats  # return, supply: a shift that the recorded zero does not show
    near_turn: Ints  # 0 none, 1 return, 2 supply
    straight_tube: Bools
    holes_open: Bools
    unit_word: Ints  # 0 inwc, 1 pa, 2 mmwc, 3 left empty

    @property
    def zero_recorded(self) -> Bools:
        return np.asarray(self.zero_time | self.zero_values)


def draw_slips(profile: Profile, units: Units, crew: Crew, visits: Visits, rng: np.random.Generator) -> Drawn:
    """All chance decisions about a stretch of visits."""
    unit, technician = visits.unit, visits.technician
    n, rates = len(unit), profile.slips
    slip = _exclusive(profile, n, rng)
    habit = rng.random(n) < crew.wrong_port_rate[technician]
    on_supply = (rng.random(n) < 0.7) & ~units.fan_coil[unit]
    wrong = np.where(on_supply, CODE["supply_port_wrong"], CODE["return_port_wrong"])
    slip = np.where(habit & (slip == 0) & (crew.kind[technician] == WRONG_PORTS), wrong, slip)
    start = int(np.datetime64(profile.start_on, "D").astype(int))
    late = crew.trained[technician] & (crew.trained_day[technician] >= start)
    trained = late & (visits.day > crew.trained_day[technician])
    skipped = rng.random(n) < crew.skip_rate[technician] * np.where(
        trained, 1.0 - profile.training_effect, 1.0
    )
    part = rng.random(n)
    zero_time = ~skipped & (part >= rates.zero_readings_only)
    zero_values = ~skipped & (part < 1.0 - rates.zero_time_only)
    slip = np.where(~zero_time & np.isin(slip, [CODE["zero_after_reading"], CODE["zero_stale"]]), 0, slip)
    slip = np.where(~zero_values & (slip == CODE["zero_offset_large"]), 0, slip)
    before = (slip == CODE["visit_before_install"]) & (units.installed_day[unit] == NEVER)
    slip = np.where(before, 0, slip)
    paper = (crew.kind[technician] == PAPER) & (rng.random(n) < profile.paper_share) & ~skipped
    hidden = np.where(paper[:, None], crew.hidden_offset[technician], 0.0) + crew.gauge_offset[visits.gauge]
    # who is careless leaves holes, stages and turns as they are, several times as often as others
    often = np.where(crew.kind[technician] == CARELESS, profile.careless_factor, 1.0)
    low_stage = rng.random(n) < rates.stage_not_high * often
    conditions = Conditions(
        filter=visits.dirt.astype(np.float64),
        coil=np.where(rng.random(n) < rates.coil_dirty, rng.uniform(1.4, 2.5, n), 1.0),
        supply=np.where(rng.random(n) < rates.registers_closed, rng.uniform(1.15, 1.6, n), 1.0),
        blower=np.where(rng.random(n) < rates.blower_dirty, rng.uniform(0.85, 0.95, n), 1.0),
        low_stage=low_stage,
    )
    turn = rng.random(n) / often
    word = rng.random(n)
    said_pa, said_mm = word < profile.pa_share, word > 1.0 - profile.mmwc_share
    unit_word = np.select([said_pa, said_mm, (word > 0.5) & (word < 0.52)], [1, 2, 3], 0)
    unit_word = np.where(slip == CODE["unit_mismatch"], (word < 0.15).astype(np.int64), unit_word)
    return Drawn(
        slip=slip,
        conditions=conditions,
        zero_time=zero_time,
        zero_values=zero_values,
        hidden=hidden,
        near_turn=np.where(
            turn < 0.8 * rates.probe_near_turn, 2, np.where(turn < rates.probe_near_turn, 1, 0)
        ),
        straight_tube=rng.random(n) < profile.straight_tube_share,
        holes_open=rng.random(n) < rates.holes_left_open * often,
        unit_word=unit_word,
    )


def _exclusive(profile: Profile, n: int, rng: np.random.Generator) -> Ints:
    """At most one slip a visit, by the rates; the last code is an outlier, which no column shows.

    Repeated readings need an earlier visit of the day: `repeats.py` deals them, among the visits left over.
    """
    rates = [*profile.slips.exclusive().values(), profile.outlier_share]
    rates[CODE["readings_repeated"] - 1] = 0.0
    edges = np.cumsum(rates)
    place = np.searchsorted(edges, rng.random(n), "right")
    return np.asarray(np.where(place < len(rates), place + 1, 0))
