"""Technicians with their habits, and the gauges they carry."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.simulate.fans import Bools, Floats, Ints
from pipeline.simulate.profile import Profile

KINDS = ("sound", "skipper", "paper_zeroer", "wrong_ports", "rounder", "careless")
SOUND, SKIPPER, PAPER, WRONG_PORTS, ROUNDER, CARELESS = range(6)


@dataclass(frozen=True)
class Crew:
    """Technicians, and gauges (`gauge_...`). Offsets and gains have two columns: return port, supply port."""

    branch: Ints
    kind: Ints
    skip_rate: Floats
    wrong_port_rate: Floats
    expected_visits: Floats
    trained_day: Ints
    trained: Bools
    hidden_offset: Floats
    own_gauges: Ints
    gauge_names: tuple[str, ...]
    gauge_dual: Bools
    gauge_gain: Floats
    gauge_offset: Floats
    gauge_drift_per_year: Floats
    pool_gauges: Ints


def plan_crew(profile: Profile, rng: np.random.Generator) -> Crew:
    """Habits are dealt to technicians at random; each has one or two gauges, a pool may be shared."""
    n = profile.n_technicians
    kind = _deal_kinds(profile, rng)
    branch = np.arange(n) % len(profile.branches)
    even = max(profile.n_visits, 1) / n
    expected = np.full(n, even)
    for special, visits in ((SKIPPER, profile.skipper_visits), (PAPER, profile.paper_zeroer_visits)):
        if visits is not None:
            expected[kind == special] = visits
    rest = (kind != SKIPPER) & (kind != PAPER)
    if rest.any():
        expected[rest] = max(profile.n_visits - expected[~rest].sum(), 0.1 * even * n) / rest.sum()
    two = rng.random(n) < profile.two_gauge_share
    names = [f"M{i:03d}{letter}" for i in range(n) for letter in ("ab" if two[i] else "a")]
    first = np.cumsum(1 + two) - (1 + two)
    own = np.column_stack([first, first + two])
    n_pool = max(2, n // 8) if profile.pool_gauge_share > 0 else 0
    pool = np.arange(len(names), len(names) + n_pool)
    names += [f"P{i:03d}" for i in range(n_pool)]
    gauge = _gauges(profile, len(names), rng)
    start = np.datetime64(profile.start_on, "D").astype(int)
    return Crew(
        branch=branch,
        kind=kind,
        skip_rate=np.where(
            kind == SKIPPER, rng.uniform(*profile.skip_rates, n), profile.slips.zero_not_recorded
        ),
        wrong_port_rate=np.where(kind == WRONG_PORTS, rng.uniform(*profile.wrong_port_rates, n), 0.0),
        expected_visits=expected,
        trained_day=start
        + np.where(rng.random(n) < 0.5, -387, rng.integers(0, int(profile.years * 300) + 1, n)),
        trained=rng.random(n) < 0.9,
        hidden_offset=_hidden_offsets(profile, kind == PAPER, rng),
        own_gauges=own,
        gauge_names=tuple(names),
        pool_gauges=pool,
        **gauge,
    )


def _deal_kinds(profile: Profile, rng: np.random.Generator) -> Ints:
    wanted = [SKIPPER] * profile.n_skippers + [PAPER] * profile.n_paper_zeroers
    wanted += [WRONG_PORTS] * profile.n_wrong_ports + [ROUNDER] * profile.n_rounders
    wanted += [CARELESS] * profile.n_careless
    kind = np.full(profile.n_technicians, SOUND)
    kind[rng.permutation(profile.n_technicians)[: len(wanted)]] = wanted[: profile.n_technicians]
    return kind


def _hidden_offsets(profile: Profile, paper: Bools, rng: np.random.Generator) -> Floats:
    """A shift per port for who zeroes on paper: one by the profile's range, the other by up to as much."""
    n = len(paper)
    size = rng.uniform(*profile.paper_offsets, n) * rng.choice([-1.0, 1.0], n)
    lesser = size * rng.uniform(-1.0, 1.0, n)
    swap = rng.random(n) < 0.5
    offsets = np.column_stack([np.where(swap, lesser, size), np.where(swap, size, lesser)])
    return np.asarray(np.where(paper[:, None], np.round(offsets, 4), 0.0))


def _gauges(profile: Profile, n: int, rng: np.random.Generator) -> dict[str, np.ndarray]:
    """Gain errors within the accuracy of 1 %; some are faulty (constant offset) or drift (gain per year)."""
    dual = rng.random(n) < 0.6
    gain = rng.uniform(-0.01, 0.01, (n, 2))
    gain[dual, 1] = gain[dual, 0]
    odd = rng.permutation(n)
    faulty, drifting = (
        odd[: profile.n_faulty_gauges],
        odd[profile.n_faulty_gauges :][: profile.n_drifting_gauges],
    )
    offset, drift = np.zeros((n, 2)), np.zeros(n)
    size = rng.uniform(0.03, 0.06, len(faulty)) * rng.choice([-1.0, 1.0], len(faulty))
    offset[faulty, rng.integers(0, 2, len(faulty))] = size
    drift[drifting] = rng.uniform(0.03, 0.08, len(drifting))
    return {"gauge_dual": dual, "gauge_gain": gain, "gauge_offset": offset, "gauge_drift_per_year": drift}
