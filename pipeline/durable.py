"""Files that survive a power cut once they are where they belong."""

from __future__ import annotations

import os
from pathlib import Path


def sync(path: Path) -> None:
    """Wait until a file, or the names in a folder, are on the disk."""
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def replace_durably(new: Path, target: Path) -> None:
    """Atomic rename that survives a power cut: the file is synced before, its folder after."""
    sync(new)
    os.replace(new, target)
    sync(target.parent)
