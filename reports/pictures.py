"""Pictures of the charts, for slides: PNG and SVG files in the light theme, with the page's rows in them.

What belongs here: turning the charts of drawn pages into files. What does not: drawing anything anew.
"""

from __future__ import annotations

import json
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import vl_convert

from pipeline.errors import UsageError
from reports import palette

WIDTH = 900  # px
SCALE = 2.0  # of the PNG: sharp on a projector
ONE_UNIT = {
    "totals",
    "sides",
    "causes",
}  # charts of whichever unit a reader picks: on its site sheet, not here
PATTERNS = {
    "url(#h-repaired)": palette.BY_KEY["return"].light,
    "url(#h-worn)": palette.BY_KEY["upkeep"].light,
}
PAGES = ("operations.html", "training.html", "data_quality.html")


class _Payload(HTMLParser):
    """Finds the page's payload."""

    def __init__(self) -> None:
        super().__init__()
        self.inside = False
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.inside = tag == "script" and ("id", "payload") in attrs

    def handle_endtag(self, tag: str) -> None:
        self.inside = False

    def handle_data(self, data: str) -> None:
        if self.inside:
            self.text += data


def draw_pictures(folder: Path) -> list[Path]:
    """Write `folder`/pictures/<page>_<chart>.png and .svg for each main chart of the pages in `folder`."""
    written = []
    for page in PAGES:
        path = folder / page
        if not path.exists():
            raise UsageError(f"{path} does not exist; draw the reports first with: fleet-static report DIR")
        payload = _payload(path)
        for name in payload["charts"]:
            if name not in ONE_UNIT:
                written += _picture(payload, name, folder / "pictures" / f"{path.stem}_{name}")
    return written


def _payload(path: Path) -> dict[str, Any]:
    reader = _Payload()
    reader.feed(path.read_text(encoding="utf-8"))
    payload: dict[str, Any] = json.loads(reader.text)
    return payload


def _picture(payload: dict[str, Any], name: str, stem: Path) -> list[Path]:
    spec = _standing_alone(payload, name)
    stem.parent.mkdir(parents=True, exist_ok=True)
    svg, png = stem.with_suffix(".svg"), stem.with_suffix(".png")
    svg.write_text(vl_convert.vegalite_to_svg(spec), encoding="utf-8")
    png.write_bytes(vl_convert.vegalite_to_png(spec, scale=SCALE))
    return [svg, png]


def _standing_alone(payload: dict[str, Any], name: str) -> dict[str, Any]:
    """A chart's spec with its rows, plain colours and a width of its own."""
    text = palette.plain_colours(json.dumps(payload["charts"][name]["spec"]))
    for pattern, colour in PATTERNS.items():
        text = text.replace(pattern, colour)
    spec: dict[str, Any] = json.loads(text)
    spec["width"] = WIDTH
    spec["background"] = palette.PAPER["light"]
    spec["padding"] = 16
    spec["datasets"] = {
        key: [dict(zip(packed["columns"], row, strict=True)) for row in packed["rows"]]
        for key, packed in payload["rows"].items()
        if f'"name": "{key}"' in text
    }
    return spec
