"""The work stage: what each kind of work helped, and where nobody looked afterwards."""

from pipeline.work.stage import run_work

__all__ = ["run_work"]
