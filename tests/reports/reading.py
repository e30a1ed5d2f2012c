"""Read a report page the way a reader's program would: its elements, figures and payload."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from typing import Any


@dataclass
class Figure:
    """One <data> element: where it says that it comes from, its value, and the text shown."""

    source: str
    value: str
    text: str = ""


@dataclass
class ReadPage:
    """What a page holds."""

    size: int
    tags: list[tuple[str, dict[str, str | None]]] = field(default_factory=list)
    figures: list[Figure] = field(default_factory=list)
    scripts: list[str] = field(default_factory=list)
    text: str = ""
    payload: dict[str, Any] = field(default_factory=dict)

    def rows(self, key: str) -> list[dict[str, Any]]:
        """The rows that travel in the page under a key."""
        packed = self.payload["rows"][key]
        return [dict(zip(packed["columns"], row, strict=True)) for row in packed["rows"]]

    def elements(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.tags if name == tag]


class _Reader(HTMLParser):
    def __init__(self, page: ReadPage) -> None:
        super().__init__(convert_charrefs=True)
        self.page = page
        self.inside: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        attributes = dict(attrs)
        self.page.tags.append((tag, attributes))
        if tag in ("script", "style"):
            self.inside.append(tag)
            self.page.scripts.append("")
        if tag == "data":
            self.inside.append(tag)
            self.page.figures.append(Figure(str(attributes["data-from"]), str(attributes["value"])))

    def handle_endtag(self, tag: str) -> None:
        if self.inside and self.inside[-1] == tag:
            self.inside.pop()

    def handle_data(self, data: str) -> None:
        if self.inside and self.inside[-1] in ("script", "style"):
            self.page.scripts[-1] += data
            return
        if self.inside:
            self.page.figures[-1].text += data
        self.page.text += data


@cache
def read_page(path: Path) -> ReadPage:
    """Parse a page and its payload, once a path: pages under test are not written twice."""
    html = path.read_text(encoding="utf-8")
    page = ReadPage(len(html.encode()))
    reader = _Reader(page)
    reader.feed(html)
    reader.close()
    (payload,) = [s for s in page.scripts if s.startswith("{")]
    page.payload = json.loads(payload)
    return page
