"""The site stage: levels, verdicts, trends and the order of work."""

from pipeline.site.stage import run_site

__all__ = ["run_site"]
