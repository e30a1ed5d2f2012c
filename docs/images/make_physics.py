"""The drawings of docs/physics.md: a furnace with its ports, and the fan's curve against the duct's.

    .venv/bin/python docs/images/make_physics.py

Writes furnace.svg and curves.svg beside this file. Every figure in them comes from one visit of the demo fleet
(seed_data/demo) and its blower table; `tests/static/test_physics_page.py` holds them against what the tool publishes.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).resolve().parent
DEMO = HERE.parent.parent / "seed_data" / "demo"
VISIT = "V0601"
DENSITY_RATIO = 0.995618  # at the site's 150 ft, US Standard Atmosphere 1976
INK, FAINT, FAN, DUCT, AFTER = "#1b1f24", "#8a929c", "#1f5fa8", "#b3401f", "#2f7d4f"
Point = tuple[float, float]


def _rows(name: str) -> list[dict[str, str]]:
    with (DEMO / name).open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


@dataclass(frozen=True)
class Worked:
    """The visit's figures, statics in in. w.c. (magnitudes), airflow in cfm."""

    returned: float
    supplied: float
    filter_drop: float
    coil_drop: float
    rated: float
    design: float
    return_budget: float
    table: tuple[Point, ...]  # static in the air of the site, airflow

    @property
    def tesp(self) -> float:
        return self.returned + self.supplied

    @property
    def airflow(self) -> float:
        return self.at(self.tesp)

    def at(self, static: float) -> float:
        """Airflow of the table at a static, linear between its points."""
        for (x0, y0), (x1, y1) in zip(self.table, self.table[1:], strict=False):
            if x0 <= static <= x1:
                return y0 + (y1 - y0) * (static - x0) / (x1 - x0)
        raise ValueError(f"{static} lies outside the table")

    def duct(self, cfm: float) -> float:
        """Static that the ducts as they are ask for: K Q^2 through the visit."""
        return self.tesp * (cfm / self.airflow) ** 2

    def duct_mended(self, cfm: float) -> float:
        """The same with the return at its budget: the budget at the design airflow, the supply side as it is."""
        return self.return_budget * (cfm / self.design) ** 2 + self.supplied * (cfm / self.airflow) ** 2

    def crossing(self, duct: Callable[[float], float]) -> Point:
        """Static and airflow where the fan meets a duct curve: by halving the table's range."""
        low, high = self.table[0][0], self.table[-1][0]
        for _ in range(60):
            middle = (low + high) / 2
            low, high = (middle, high) if middle < duct(self.at(middle)) else (low, middle)
        return low, self.at(low)


def worked() -> Worked:
    """The visit as its technician wrote it down, zeros taken off."""
    visit = next(r for r in _rows("visits_2026.csv") if r["visit_id"] == VISIT)
    unit = next(r for r in _rows("equipment.csv") if r["equipment_id"] == visit["equipment_id"])
    points = sorted(
        (float(r["external_static_inwc"]) * DENSITY_RATIO, float(r["airflow_cfm"]))
        for r in _rows("blower_tables.csv")
        if (r["blower_table_id"], r["tap"]) == (unit["blower_table_id"], visit["tap"])
    )
    sides = -float(unit["design_return_inwc"]), float(unit["design_supply_inwc"])
    rated = float(unit["rated_tesp_inwc"])
    return Worked(
        -(float(visit["return_static"]) - float(visit["zero_return"])),
        float(visit["supply_static"]) - float(visit["zero_supply"]),
        float(visit["filter_drop"]),
        float(visit["coil_drop"]),
        rated,
        float(unit["design_cooling_cfm"]),
        rated * sides[0] / sum(sides),
        tuple(points),
    )


def _text(x: float, y: float, words: str, anchor: str = "middle", colour: str = INK, size: int = 13) -> str:
    style = f'font-family="sans-serif" font-size="{size}" fill="{colour}" text-anchor="{anchor}"'
    return f'<text x="{x:g}" y="{y:g}" {style}>{words}</text>'


def _line(points: list[Point], colour: str, width: float = 2, dash: str = "") -> str:
    where = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<polyline points="{where}" fill="none" stroke="{colour}" stroke-width="{width:g}"{dashes}/>'


def _box(x: float, y: float, width: float, height: float, fill: str = "none") -> str:
    where = f'x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}"'
    return f'<rect {where} fill="{fill}" stroke="{INK}" stroke-width="2"/>'


def _svg(width: int, height: int, title: str, parts: list[str]) -> str:
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img">'
        f'<title>{title}</title><rect width="{width}" height="{height}" fill="#ffffff"/>'
    )
    return "\n".join([head, *parts, "</svg>", ""])


def _port(x: float, name: str, static: str, colour: str) -> list[str]:
    return [
        _line([(x, 62), (x, 118)], colour, 3),
        f'<circle cx="{x:g}" cy="118" r="5" fill="{colour}"/>',
        _text(x, 36, name, colour=colour),
        _text(x, 54, static, colour=colour, size=15),
    ]


def furnace(w: Worked) -> str:
    """The path of the air from left to right, the rated cabinet, both ports and the parts that the TESP is made of."""
    parts = [
        _box(20, 90, 150, 80, "#eef3f9"),
        _text(95, 135, "return duct"),
        _box(170, 90, 40, 80, "#d9dde2"),
        _text(190, 190, "filter"),
        _box(210, 90, 60, 80, "#eef3f9"),
        _box(270, 80, 190, 100, "#f6ead9"),
        f'<circle cx="320" cy="130" r="30" fill="#ffffff" stroke="{INK}" stroke-width="2"/>',
        _text(320, 135, "fan"),
        _text(410, 135, "heat"),
        _text(365, 205, "the furnace's cabinet: what the rating is for", size=12),
        _box(460, 90, 60, 80, "#fbeee9"),
        _box(520, 90, 40, 80, "#d9dde2"),
        _text(540, 190, "coil"),
        _box(560, 90, 150, 80, "#fbeee9"),
        _text(635, 135, "supply duct"),
        *_port(240, "return port", f"{-w.returned:+.3f}", FAN),
        *_port(490, "supply port", f"{w.supplied:+.3f}", DUCT),
    ]
    spans = (
        (20, 170, "return duct", w.returned - w.filter_drop),
        (170, 250, "filter", w.filter_drop),
        (480, 560, "coil", w.coil_drop),
        (560, 710, "supply duct", w.supplied - w.coil_drop),
    )
    for x0, x1, name, drop in spans:
        parts += [
            _line([(x0 + 3, 232), (x0 + 3, 238), (x1 - 3, 238), (x1 - 3, 232)], FAINT, 1.5),
            _text((x0 + x1) / 2, 256, f"{name} {drop:.3f}", size=12),
        ]
    parts.append(_text(365, 285, f"together {w.tesp:.3f} in. w.c.; the rating is {w.rated:.2f}", size=14))
    return _svg(730, 300, "A furnace with its return and supply ports, and the drops of one visit", parts)


def curves(w: Worked) -> str:
    """Static against airflow: the fan's table, the ducts as found, and the ducts with the return at its budget."""

    def place(static: float, cfm: float) -> Point:
        return 70 + (cfm - 500) / 900 * 560, 350 - static / 1.2 * 310

    parts = [_box(70, 40, 560, 310)]
    for cfm in range(500, 1401, 100):
        x, y = place(0, cfm)
        parts += [_line([(x, y), (x, y + 5)], INK, 1), _text(x, y + 20, str(cfm), size=12)]
    for tenth in range(0, 13, 2):
        x, y = place(tenth / 10, 500)
        parts += [
            _line([(x - 5, y), (x, y)], INK, 1),
            _text(x - 9, y + 4, f"{tenth / 10:.1f}", "end", size=12),
        ]
    parts += [
        _text(350, 392, "airflow, cfm"),
        _text(70, 28, "static outside the cabinet, in. w.c.", "start"),
        _line([place(w.rated, 500), place(w.rated, 1400)], FAINT, 1.5, "6 4"),
        _text(78, place(w.rated, 0)[1] - 6, f"rating {w.rated:.2f}", "start", FAINT, 12),
        _line([place(w.design * 0, w.design), place(1.2, w.design)], FAINT, 1.5, "2 4"),
        _text(place(0, w.design)[0] + 6, 56, f"design {w.design:.0f}", "start", FAINT, 12),
    ]
    fan = [(p, q) for p, q in w.table if p <= 1.2]
    parts += [_line([place(p, q) for p, q in fan], FAN, 3)]
    for duct, colour, name, right, down, anchor in (
        (w.duct, DUCT, "as found", 16, 5, "start"),
        (w.duct_mended, AFTER, "return at its budget", -64, 78, "end"),
    ):
        airflows = [float(q) for q in range(500, 1401, 20) if duct(q) <= 1.2]
        static, cfm = w.crossing(duct)
        x, y = place(static, cfm)
        parts += [
            _line([place(duct(q), q) for q in airflows], colour, 3),
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="6" fill="{colour}"/>',
            _text(x + right, y + down, f"{name}: {static:.2f} at {cfm:.0f} cfm", anchor, colour),
        ]
    x, y = place(fan[0][0], fan[0][1])
    parts.append(_text(x - 8, y - 10, "fan, tap med_high", "end", FAN))
    return _svg(
        660, 405, "The fan's curve against the duct's curve, as found and with the return mended", parts
    )


def drawings() -> dict[str, str]:
    """The text of every drawing by its file's name."""
    figures = worked()
    return {"furnace.svg": furnace(figures), "curves.svg": curves(figures)}


if __name__ == "__main__":
    for file, text in drawings().items():
        (HERE / file).write_text(text, encoding="utf-8")
