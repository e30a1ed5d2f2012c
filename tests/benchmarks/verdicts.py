"""How well the verdicts hold on simulated fleets, as the table of docs/statistics.md.

.venv/bin/python -m tests.benchmarks.verdicts [SEEDS]
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from statistics import mean

from pipeline.simulate.profile import Profile
from tests import planted
from tests.planted import Planted, plant, pooled

FLEET = Profile(n_sites=600, visits_per_site=12, n_technicians=38, n_skippers=4, n_paper_zeroers=3)
FLEETS = {
    "as usual, 12 visits a site": FLEET,
    "hard, 7 visits a site": replace(
        FLEET, visits_per_site=7, scatter_spread=4.0, outlier_share=0.03, home_technician_share=0.8
    ),
    "noise doubled": replace(FLEET, noise_sd=0.024),
    "6 visits a site": replace(FLEET, visits_per_site=6),
    "8 paper zeroers": replace(FLEET, n_paper_zeroers=8, home_technician_share=0.5),
}
Counted = Callable[[Planted], tuple[int, int]]
SHARES: dict[str, Counted] = {
    "95 % interval covers": planted.level_coverage,
    "of 1 or 2 visits": planted.few_visits_coverage,
    "of corrected levels": planted.corrected_coverage,
    "of corrected ones of 1 or 2 visits": planted.few_corrected_coverage,
    "chronic precision": planted.chronic_precision,
    "chronic recall": planted.chronic_recall,
    "within rating, truly": planted.within_precision,
    "side right": planted.side_right,
    "return": lambda f: planted.side_right(f, "return"),
    "supply": lambda f: planted.side_right(f, "supply"),
    "airflow setting": lambda f: planted.side_right(f, "airflow_setting"),
    "trends false": planted.false_trends,
    "trends found": planted.trends_found,
    "skippers named": planted.skippers_named,
    "paper zeroers named": planted.paper_zeroers_named,
    "others accused": planted.sound_accused,
    "wrong ports named": planted.wrong_ports_named,
}


def cell(counted: Counted, fleets: Sequence[Planted]) -> str:
    """A share over all fleets, and of how many."""
    counts = [counted(fleet) for fleet in fleets]
    n = sum(n for _, n in counts)
    return f"{pooled(counts):.3f} of {n}" if n else "none"


def measure(profile: Profile, seeds: int) -> list[str]:
    """The row of one kind of fleet: errors, rank agreement, then the shares pooled over the seeds."""
    with tempfile.TemporaryDirectory() as folder:
        fleets = [plant(Path(folder) / str(seed), profile, seed) for seed in range(seeds)]
        row = [f"{mean(planted.level_error(f) for f in fleets):.4f}"]
        row += [cell(counted, fleets) for counted in SHARES.values()]
        row.append(f"{mean(planted.rank_agreement(f) for f in fleets):.3f}")
    return row


def main() -> None:
    """Print the table, a column a kind of fleet."""
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    names = ["median error of the level, in. w.c.", *SHARES, "rank agreement (Spearman)"]
    columns = [measure(profile, seeds) for profile in FLEETS.values()]
    out = sys.stdout
    out.write(f"| {seeds} seeds each | " + " | ".join(FLEETS) + " |\n")
    out.write("|---" * (len(FLEETS) + 1) + "|\n")
    for i, name in enumerate(names):
        out.write(f"| {name} | " + " | ".join(column[i] for column in columns) + " |\n")


if __name__ == "__main__":
    main()
