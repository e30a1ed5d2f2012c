"""One palette and its meaning: return, supply, airflow setting, upkeep. The same on every page and picture.

What belongs here: colours, marker shapes, and the look that every chart shares. Colours were chosen so that any two of
the four keep apart for readers with protanopia, deuteranopia and tritanopia, and keep a contrast of at least 4.5 with
the paper in both themes (tests/reports/test_palette.py). A colour never stands alone: each has a shape and a word.
What does not: page layout (`templates/page.css`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import altair as alt


@dataclass(frozen=True)
class Meaning:
    """One thing that a colour says: its word, marker shape (a Vega symbol), and colour in light and dark."""

    key: str
    word: str
    shape: str
    light: str
    dark: str

    @property
    def css(self) -> str:
        """The colour as a style variable, so that a chart follows the page's theme, on paper too."""
        return f"var(--{self.key})"


PAPER = {"light": "#f6f7f4", "dark": "#14191b"}
NEUTRAL = {  # name: (light, dark)
    "paper": (PAPER["light"], PAPER["dark"]),
    "sheet": ("#fdfdfb", "#1a2123"),
    "ink": ("#1b2325", "#e6ebe8"),
    "quiet": ("#4e5a5a", "#a9b5b3"),
    "hair": ("#c6cecb", "#3a4545"),
    "grid": ("#dfe4e1", "#2a3334"),
    "wash": ("#eaeeea", "#222b2d"),
    "focus": ("#0b3f91", "#9cc4ff"),
    "none": ("#68746f", "#97a39f"),
}
MEANINGS = (
    Meaning("return", "return side", "triangle-left", "#1957b3", "#4f93e6"),
    Meaning("supply", "supply side", "triangle-right", "#b8480a", "#dd7a3a"),
    Meaning("airflow_setting", "fan setting", "diamond", "#7f1268", "#e3b4d6"),
    Meaning("upkeep", "upkeep", "square", "#0b3a1c", "#c4ee96"),
)
NONE = Meaning("none", "no cause named", "circle", *NEUTRAL["none"])
BY_KEY = {m.key: m for m in (*MEANINGS, NONE)}

FONT = 'system-ui, "Segoe UI", Roboto, "Noto Sans", "Liberation Sans", sans-serif'


def css_variables(theme: str) -> str:
    """Style declarations of all colours in one theme ("light" or "dark")."""
    column = 0 if theme == "light" else 1
    neutral = [f"--{name}:{pair[column]}" for name, pair in NEUTRAL.items()]
    meant = [f"--{m.key}:{m.light if theme == 'light' else m.dark}" for m in MEANINGS]
    return ";".join(neutral + meant)


def plain_colours(text: str) -> str:
    """Style variables in a chart's JSON replaced by the light theme's colours, for pictures outside of a page."""
    for declaration in css_variables("light").split(";"):
        name, colour = declaration.split(":")
        text = text.replace(f"var({name})", colour)
    return text


def side_colour(
    field: str, keys: tuple[str, ...], title: str | None = None, legend: bool = True
) -> alt.Color:
    """Colour by meaning, for a nominal field that holds keys of BY_KEY."""
    scale = alt.Scale(domain=list(keys), range=[BY_KEY[k].css for k in keys])
    return alt.Color(f"{field}:N", scale=scale, title=title, legend=_legend(keys) if legend else None)


def side_shape(field: str, keys: tuple[str, ...], title: str | None = None) -> alt.Shape:
    """Marker shape by meaning: the second carrier beside the colour."""
    scale = alt.Scale(domain=list(keys), range=[BY_KEY[k].shape for k in keys])
    return alt.Shape(f"{field}:N", scale=scale, title=title, legend=_legend(keys))


def _legend(keys: tuple[str, ...]) -> alt.Legend:
    """In two columns, so that it fits a narrow screen."""
    pairs = ", ".join(f"'{k}': '{BY_KEY[k].word}'" for k in keys)
    return alt.Legend(orient="top", columns=2, symbolOpacity=1, labelExpr=f"({{{pairs}}})[datum.value]")


@cache
def look() -> dict[str, Any]:
    """The look that all charts share, as a spec's `config`: no frame, hairline grid, ink from the page's theme."""
    text = {"labelColor": "var(--quiet)", "titleColor": "var(--ink)", "labelFont": FONT, "titleFont": FONT}
    axis = alt.AxisConfig(
        **text,
        labelFontSize=12,
        titleFontSize=12,
        titleFontWeight="normal",
        domainColor="var(--hair)",
        tickColor="var(--hair)",
        gridColor="var(--grid)",
        labelPadding=4,
        titlePadding=8,
    )
    legend = alt.LegendConfig(
        **text,
        labelFontSize=12,
        titleFontSize=12,
        titleFontWeight="normal",
        symbolSize=90,
        orient="top",
        symbolStrokeWidth=1.5,
    )
    header = alt.HeaderConfig(**text, labelFontSize=12, titleFontSize=12)
    spec: dict[str, Any] = (
        alt.Chart(mark="point")
        .configure(
            background="transparent",
            font=FONT,
            axis=axis,
            # Before a long title or a last label would be cut at the right edge, it reaches to the left.
            axisX=alt.AxisConfig(titleAnchor="end", labelFlush=18),
            legend=legend,
            header=header,
            view=alt.ViewConfig(stroke=None),
            text=alt.MarkConfig(color="var(--ink)", fontSize=12),
            autosize=alt.AutoSizeParams(type="fit-x", contains="padding"),
        )
        .to_dict()
    )
    config: dict[str, Any] = spec["config"]
    return config
