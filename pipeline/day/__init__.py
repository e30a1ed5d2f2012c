"""A day's drop on a long history: only the equipment that it touches is computed anew, the rest stays as it was.

The outcome is that of a run over everything: what looks at the whole fleet is always asked of all of it, and where that
moves, everything is computed. A stage knows nothing of this; its steps say how far they see (`pipeline/steps.py`).
"""

from pipeline.day.stages import day_stages

__all__ = ["day_stages"]
