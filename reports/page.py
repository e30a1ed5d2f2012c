"""One page: templates filled, charts and their rows embedded, everything inside the file.

What belongs here: the frame that all pages share, escaping, and the content policy. What does not: what a page says
(its module and template).

A page asks no host for anything: the policy forbids every request, and only the scripts whose hashes stand in it run.
"""

from __future__ import annotations

import base64
import hashlib
import json
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import altair as alt
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from reports import palette, words
from reports.columns import Columns
from reports.kept import compiled_templates, vega_bundle
from reports.queries import Published, Result, Row, plain

TEMPLATES = Path(__file__).with_name("templates")


@dataclass(frozen=True)
class Figure:
    """A chart on a page. `columns` names the table behind it: (column, heading, format of words.FORMATS)."""

    name: str
    chart: Any
    source: Result
    alt: str
    columns: Columns
    widest: int = 0  # px; 0: as wide as its place

    @property
    def title(self) -> str:
        """What the table behind the chart is called."""
        return f"Figures behind the chart: {words.word(self.name)}"

    def spec(self) -> dict[str, Any]:
        """The chart as Vega-Lite. Each change of a layered chart copies all of it, so the look is put in last."""
        spec: dict[str, Any] = self.chart.to_dict(validate=False)
        spec["config"] = palette.look()
        spec.pop("$schema", None)
        return spec


def charts_unchecked() -> AbstractContextManager[None]:
    """While it lasts no part of a chart is checked against its schema, which takes long: the tests do that."""
    unchecked: AbstractContextManager[None] = alt.utils.schemapi.debug_mode(False)
    return unchecked


class Figures(dict[str, Figure]):
    """The charts of a page by name; one that was not drawn, for want of rows, is None in a template."""

    def __missing__(self, name: str) -> None:
        return None


@dataclass
class Page:
    """A page under way: its published file, charts and the results whose rows travel with it."""

    published: Published
    figures: Figures = field(default_factory=Figures)
    carried: dict[str, Result] = field(default_factory=dict)

    def draw(self, figure: Figure, *more: Result) -> Figure:
        """Put a chart on the page, with the rows it draws."""
        self.figures[figure.name] = figure
        for result in (figure.source, *more):
            self.carry(result)
        return figure

    def carry(self, result: Result) -> Result:
        """Let a result's rows travel in the page, once, under its key."""
        self.carried[result.key] = result
        return result

    def html(self, template: str, scripts_of: tuple[str, ...] = (), **context: Any) -> str:
        """The finished page; `scripts_of` are script files of its own, after the one that all pages share."""
        scripts = [_script(name) for name in ("page.js", *scripts_of)]
        if self.figures:
            scripts.insert(0, vega_bundle())
        body = (
            _environment()
            .get_template(template)
            .render(
                scripts=[Markup(s) for s in scripts],
                policy=_policy(scripts),
                style=Markup(_style()),
                payload=Markup(json_in_html(self._payload())),
                figures=self.figures,
                meanings=palette.MEANINGS,
                words=words,
                **context,
            )
        )
        return body + "\n" if not body.endswith("\n") else body

    def _payload(self) -> dict[str, Any]:
        asked = self.published.results
        return {
            "asked": {key: {"query": r.query, "variables": r.variables} for key, r in asked.items()},
            "rows": {key: r.packed() for key, r in self.carried.items()},
            "words": {"named": words.NAMED, "listed": words.LISTED},
            "charts": {
                f.name: {"spec": f.spec(), "source": f.source.key, "columns": f.columns, "said": f.alt}
                for f in self.figures.values()
            },
        }


def json_in_html(value: Any) -> str:
    """JSON that cannot end or open a tag in the script element that holds it."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return (
        text.replace("<", "\\u003c")
        .replace(">", "\\u003e")
        .replace("\u2028", "\\u2028")
        .replace("\u2029", "\\u2029")
    )


def figure_text(row: Row, column: str, style: str = "text") -> Markup:
    """A figure as a <data> element: the value itself, where it comes from (query.row.column), and how it reads."""
    value = row[column]
    text = escape(words.shown(value, style))
    if value is None:
        return Markup(f'<span class="unknown">{text}</span>')
    source = escape(f"{row.asked_as}.{row.number}.{column}")
    return Markup(f'<data value="{escape(plain(value))}" data-from="{source}">{text}</data>')


def row_mark(row: Row) -> Markup:
    """The attribute by which an element says of which row it tells: the figures in it are that row's."""
    return Markup(f' data-row="{escape(row.asked_as)}.{row.number}"')


def _script(name: str) -> str:
    return (TEMPLATES / name).read_text(encoding="utf-8")


def _style() -> str:
    light, dark = palette.css_variables("light"), palette.css_variables("dark")
    sheets = "".join(
        (TEMPLATES / n).read_text(encoding="utf-8") for n in ("page.css", "lists.css", "print.css")
    )
    return (
        f":root{{color-scheme:light dark;{light}}}"
        f"@media screen and (prefers-color-scheme:dark){{:root{{{dark}}}}}{sheets}"
    )


def _policy(scripts: list[str]) -> str:
    hashes = " ".join(
        f"'sha256-{base64.b64encode(hashlib.sha256(s.encode()).digest()).decode()}'" for s in scripts
    )
    return (
        f"default-src 'none'; script-src {hashes}; style-src 'unsafe-inline'; img-src data:; "
        "connect-src 'none'; base-uri 'none'; form-action 'none'"
    )


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(TEMPLATES),
        bytecode_cache=compiled_templates(),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals.update(fig=figure_text, of=row_mark, symbol=symbol, several=words.several)
    environment.filters.update(words.FORMATS)
    return environment


@cache
def symbol(key: str, label: bool = False) -> Markup:
    """The marker of a meaning, inline; with `label` its word is read out too."""
    word = palette.BY_KEY[key].word if key in palette.BY_KEY else key
    name = Markup('role="img" aria-label="{}"').format(word) if label else Markup('aria-hidden="true"')
    return Markup(
        '<svg class="mark {}" viewBox="-8 -8 16 16" {}><use href="#m-{}" x="-8" y="-8" width="16" height="16"/></svg>'
    ).format(escape(key), name, key)
