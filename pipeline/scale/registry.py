"""Which stages are spread over the parts of the fleet, by the name under which a worker looks up their steps."""

from __future__ import annotations

from pipeline.steps import Step


def steps_of(stage: str) -> tuple[Step, ...]:
    """The steps of a stage that is spread: `measure` (checks and static of every visit) or `site`."""
    from pipeline.site.stage import STEPS as SITE
    from pipeline.stages import CHECK, STATIC

    return {"measure": CHECK + STATIC, "site": SITE}[stage]
