"""Read a report page the way a reader's program would: its elements, figures and payload."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from typing import Any


@dataclass
class Teller:
    """An element that says of which row it tells (data-row), the text in it, and the rows that its parents tell of."""

    row: str
    around: tuple[str, ...]
    text: str = ""
    sources: list[str] = field(default_factory=list)  # of the figures in it
    bare: str = ""  # text outside of figures, charts and tables within


@dataclass
class Figure:
    """One <data> element: where it says that it comes from, its value, the text shown, and in which tellers it is."""

    source: str
    value: str
    within: tuple[str, ...]
    text: str = ""


@dataclass
class ReadPage:
    """What a page holds."""

    size: int
    tags: list[tuple[str, dict[str, str | None]]] = field(default_factory=list)
    figures: list[Figure] = field(default_factory=list)
    tellers: list[Teller] = field(default_factory=list)
    scripts: list[str] = field(default_factory=list)
    text: str = ""
    payload: dict[str, Any] = field(default_factory=dict)

    def rows(self, key: str) -> list[dict[str, Any]]:
        """The rows that travel in the page under a key."""
        packed = self.payload["rows"][key]
        return [dict(zip(packed["columns"], row, strict=True)) for row in packed["rows"]]

    def elements(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.tags if name == tag]


VOID = {"meta", "input", "br", "link", "img", "hr", "path", "rect", "use", "circle", "line"}


class _Reader(HTMLParser):
    def __init__(self, page: ReadPage) -> None:
        super().__init__(convert_charrefs=True)
        self.page = page
        self.inside: list[str] = []
        self.open: list[tuple[str, Teller | None]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        attributes = dict(attrs)
        self.page.tags.append((tag, attributes))
        around = tuple(t.row for _, t in self.open if t)
        if tag not in VOID:
            row = attributes.get("data-row")
            self.open.append((tag, Teller(row, around) if row else None))
            if teller := self.open[-1][1]:
                self.page.tellers.append(teller)
        if tag in ("script", "style"):
            self.inside.append(tag)
            self.page.scripts.append("")
        if tag == "data":
            self.inside.append(tag)
            for _, inner in self.open:
                if inner:
                    inner.sources.append(str(attributes["data-from"]))
            self.page.figures.append(Figure(str(attributes["data-from"]), str(attributes["value"]), around))

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.page.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        while tag not in VOID and self.open and self.open.pop()[0] != tag:
            pass  # an element whose end is left out
        if self.inside and self.inside[-1] == tag:
            self.inside.pop()

    def handle_data(self, data: str) -> None:
        if self.inside and self.inside[-1] in ("script", "style"):
            self.page.scripts[-1] += data
            return
        tellers = [teller for _, teller in self.open if teller]
        for teller in tellers:
            teller.text += data
        if self.inside:
            self.page.figures[-1].text += data
        elif tellers:
            tellers[-1].bare += data
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
