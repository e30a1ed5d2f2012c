"""Who needs coaching: hidden offsets, skipped zeroes, practice. Fitted before the sites are judged."""

from pipeline.technician.stage import run_technician

__all__ = ["run_technician"]
