"""From the true state of a unit to what a technician writes down: place, gauge, zero, noise, slip, unit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.simulate.crew import ROUNDER, Crew
from pipeline.simulate.fans import Bools, Floats, Ints
from pipeline.simulate.profile import Profile
from pipeline.simulate.slips import CODE, Drawn
from pipeline.simulate.states import State
from pipeline.simulate.units import Units
from pipeline.simulate.visits import Visits

PA_PER_INWC = 249.08891  # NIST SP 811 App. B, conventional inch of water
MM_PER_INCH = 25.4
UNIT_FACTOR = np.array([1.0, PA_PER_INWC, MM_PER_INCH, 1.0])
UNIT_DECIMALS = np.array([3, 1, 2, 3])


@dataclass(frozen=True)
class Readings:
    """As recorded, in the unit of the figures (`figure_unit`: 0 inwc, 1 pa, 2 mmwc, 3 inwc unsaid)."""

    return_static: Floats
    supply_static: Floats
    zero_return: Floats
    zero_supply: Floats
    filter_drop: Floats
    coil_drop: Floats
    reported: Floats
    before_filter: Bools
    after_coil: Bools
    figure_unit: Ints
    true_zero: Floats
    outlier: Floats


def read_ports(
    profile: Profile,
    units: Units,
    crew: Crew,
    visits: Visits,
    drawn: Drawn,
    state: State,
    rng: np.random.Generator,
) -> Readings:
    """The readings of a stretch of visits (arrays of `visits`, `drawn` and `state` match)."""
    n, slip, unit = len(visits), drawn.slip, visits.unit.astype(np.int64)
    before_filter, after_coil, at_return, at_supply = _places(units, unit, slip, state)
    gain = crew.gauge_gain[visits.gauge] + _drift(profile, crew, visits)[:, None]
    location = _location(drawn, rng)
    true_zero = _zeros(profile, drawn, rng)
    port = np.column_stack([at_return, at_supply])
    outlier = _outliers(slip, port, rng)
    raw = port * (1.0 + gain) * (1.0 + location) + visits.noise + true_zero + drawn.hidden + outlier
    raw = raw + np.where(drawn.straight_tube[:, None], rng.uniform(-0.008, 0.008, (n, 2)), 0.0)
    near = slip == CODE["reading_near_zero"]
    raw = np.where(near[:, None], rng.normal(0.0, 0.005, (n, 2)).clip(-0.018, 0.018), raw)
    rounds = crew.kind[visits.technician] == ROUNDER
    raw = np.where(rounds[:, None], np.round(raw / 0.05) * 0.05, raw)
    filter_drop, coil_drop = _drops(profile, state, slip, before_filter, rng)
    figure_unit = _figure_unit(drawn)
    factor, decimals = UNIT_FACTOR[figure_unit], UNIT_DECIMALS[figure_unit]
    shown = round_to(raw * factor[:, None], decimals[:, None])
    reported = _reported(profile, shown, figure_unit, slip, rng)
    swapped = slip == CODE["ports_swapped"]
    sign_return = swapped | (slip == CODE["return_sign_wrong"])
    sign_supply = swapped | (slip == CODE["supply_sign_wrong"])
    zero = round_to(true_zero * factor[:, None], decimals[:, None])
    hoses = swapped & (rng.random(n) < 0.75)  # the hoses were exchanged; the others reversed both signs
    zero = np.where(hoses[:, None], zero[:, ::-1], zero)
    return_static = np.where(hoses, shown[:, 1], np.where(sign_return, -shown[:, 0], shown[:, 0]))
    supply_static = np.where(hoses, shown[:, 0], np.where(sign_supply, -shown[:, 1], shown[:, 1]))
    return Readings(
        return_static=return_static,
        supply_static=supply_static,
        zero_return=np.where(drawn.zero_values, zero[:, 0], np.nan),
        zero_supply=np.where(drawn.zero_values, zero[:, 1], np.nan),
        filter_drop=round_to(filter_drop * factor, decimals),
        coil_drop=round_to(coil_drop * factor, decimals),
        reported=reported,
        before_filter=before_filter,
        after_coil=after_coil,
        figure_unit=figure_unit,
        true_zero=true_zero,
        outlier=outlier,
    )


def round_to(values: Floats, decimals: Ints) -> Floats:
    """Round to as many decimals as each element's own unit shows; never a negative zero."""
    scale = 10.0**decimals
    return np.asarray(np.rint(values * scale) / scale + 0.0)


def _places(units: Units, unit: Ints, slip: Ints, state: State) -> tuple[Bools, Bools, Floats, Floats]:
    """Where the probes were, and the true pressure there. The right place follows what the rating covers."""
    before_filter = units.filter_in_rating[unit] ^ (slip == CODE["return_port_wrong"])
    after_coil = units.coil_in_rating[unit] ^ (slip == CODE["supply_port_wrong"])
    other_return = np.where(
        before_filter, state.return_inwc + state.filter_drop, state.return_inwc - state.filter_drop
    )
    other_supply = np.where(
        after_coil, state.supply_inwc - state.coil_drop, state.supply_inwc + state.coil_drop
    )
    at_return = np.where(slip == CODE["return_port_wrong"], other_return, state.return_inwc)
    at_supply = np.where(slip == CODE["supply_port_wrong"], other_supply, state.supply_inwc)
    return before_filter, after_coil, at_return, at_supply


def _drift(profile: Profile, crew: Crew, visits: Visits) -> Floats:
    years = (visits.day - np.datetime64(profile.start_on, "D").astype(int)) / 365.25
    return np.asarray(crew.gauge_drift_per_year[visits.gauge] * years)


def _location(drawn: Drawn, rng: np.random.Generator) -> Floats:
    """Relative error of a probe near a turn, per port."""
    error = rng.uniform(-0.1, 0.1, len(drawn.slip))
    return np.column_stack(
        [np.where(drawn.near_turn == 1, error, 0.0), np.where(drawn.near_turn == 2, error, 0.0)]
    )


def _zeros(profile: Profile, drawn: Drawn, rng: np.random.Generator) -> Floats:
    """The offset of each port, as the recorded zero shows it. Gauges that nobody zeroed are further off."""
    n = len(drawn.slip)
    sd = np.where(drawn.zero_recorded, profile.zero_sd, profile.unzeroed_sd)
    zero = rng.standard_normal((n, 2)) * sd[:, None]
    zero = np.where(drawn.zero_recorded[:, None], zero.clip(-0.012, 0.012), zero)
    large = rng.uniform(0.024, 0.06, n) * rng.choice([-1.0, 1.0], n)
    port = rng.integers(0, 2, n)
    wrong = drawn.slip == CODE["zero_offset_large"]
    zero[wrong, port[wrong]] = large[wrong]
    return np.asarray(zero)


def _outliers(slip: Ints, at_port: Floats, rng: np.random.Generator) -> Floats:
    """A gross error on one port, up or down, that changes no sign and that no column of the row shows."""
    n = len(slip)
    size = rng.uniform(0.12, 0.40, n)
    port = rng.integers(0, 2, n)
    rows = np.flatnonzero(slip == CODE["outlier"])
    shift = np.zeros((n, 2))
    pressure = at_port[rows, port[rows]]
    down = rng.random(len(rows)) < 0.5
    amount = np.where(down, -np.minimum(size[rows], 0.75 * np.abs(pressure)), size[rows])
    shift[rows, port[rows]] = amount * np.sign(pressure)
    return shift


def _drops(
    profile: Profile,
    state: State,
    slip: Ints,
    before_filter: Bools,
    rng: np.random.Generator,
) -> tuple[Floats, Floats]:
    """Measured drops, NaN where not measured. Who probes the wrong port often has the drop in between."""
    n = len(slip)
    has_filter = rng.random(n) < np.where(slip == CODE["return_port_wrong"], 0.6, profile.filter_drop_share)
    has_coil = rng.random(n) < np.where(slip == CODE["supply_port_wrong"], 0.6, profile.coil_drop_share)
    noise = rng.normal(0.0, 0.0015, (n, 2))
    filter_drop = np.maximum(state.filter_drop + noise[:, 0], 0.001)
    coil_drop = np.maximum(state.coil_drop + noise[:, 1], 0.001)
    bad = slip == CODE["component_drop_impossible"]
    too_large = np.abs(state.return_inwc) * rng.uniform(1.3, 2.0, n)
    inside = bad & ~before_filter & (rng.random(n) < 0.6)
    filter_drop = np.where(bad, np.where(inside, too_large, -filter_drop - 0.01), filter_drop)
    return np.where(has_filter | bad, filter_drop, np.nan), np.where(has_coil, coil_drop, np.nan)


def _figure_unit(drawn: Drawn) -> Ints:
    """The unit of the figures: the row's word, except on a unit mismatch: Pa under inwc or the reverse."""
    mismatch = drawn.slip == CODE["unit_mismatch"]
    return np.where(mismatch, 1 - drawn.unit_word, drawn.unit_word)


def _reported(
    profile: Profile, shown: Floats, figure_unit: Ints, slip: Ints, rng: np.random.Generator
) -> Floats:
    """The total on the sheet, from the readings before any slip of the pen; sometimes missing or wrong."""
    n = len(slip)
    total = shown[:, 1] - shown[:, 0]
    mistaken = slip == CODE["tesp_sum_mismatch"]
    error = (0.05 + 0.25 * rng.random(n)) * rng.choice([-1.0, 1.0], n)
    wrong = np.abs(total) + np.maximum(
        0.06 * np.abs(total), np.abs(error) * UNIT_FACTOR[figure_unit]
    ) * np.sign(error)
    wrong = np.where(wrong > 0, wrong, np.abs(total) + np.abs(error) * UNIT_FACTOR[figure_unit])
    written = np.where(mistaken, wrong, total)
    missing = (rng.random(n) >= profile.reported_share) & ~mistaken
    return np.where(missing, np.nan, round_to(written, np.where(figure_unit == 1, 1, 2)))
