"""One site's sheet."""

from pathlib import Path


def draw_site_sheet(published_file: Path, folder: Path, site_id: str) -> Path:
    raise NotImplementedError
