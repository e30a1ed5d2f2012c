"""What an environment keeps, so that no run has to make it anew: the chart library's script, compiled templates.

Both lie below the environment's own folder, by the version of what they were made from; where nothing can be written
there, they are made at each run.
"""

from __future__ import annotations

import os
import sys
from contextlib import suppress
from functools import cache
from importlib.metadata import version
from pathlib import Path

from jinja2 import BytecodeCache, FileSystemBytecodeCache


def folder() -> Path:
    """Where the environment keeps things of ours."""
    return Path(sys.prefix) / "share" / "fleet-static"


@cache
def vega_bundle() -> str:
    """The chart library, once a page. A closing script tag inside it would end the element: it has none."""
    file = folder() / f"charts-{version('vl-convert-python')}.js"
    try:
        return file.read_bytes().decode("utf-8")
    except OSError:
        bundle = make_bundle()
        with suppress(OSError):
            _keep(bundle, file)
        return bundle


def make_bundle() -> str:
    """The script, made by its library: a second of work."""
    import vl_convert

    bundle: str = vl_convert.javascript_bundle()  # type: ignore[call-arg]
    return bundle.replace("</script", "<\\/script")


def _keep(text: str, file: Path) -> None:
    """Written beside its place and renamed: nobody reads half of it."""
    file.parent.mkdir(parents=True, exist_ok=True)
    new = file.with_name(f"{file.name}.{os.getpid()}")
    new.write_bytes(text.encode("utf-8"))
    os.replace(new, file)


def compiled_templates() -> BytecodeCache | None:
    """Templates as Jinja compiled them; it looks itself whether one has changed since."""
    kept = folder() / "templates"
    with suppress(OSError):
        kept.mkdir(parents=True, exist_ok=True)
    return FileSystemBytecodeCache(str(kept)) if os.access(kept, os.W_OK) else None


if __name__ == "__main__":
    vega_bundle()
