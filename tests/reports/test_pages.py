"""Pages stand alone, stay small, keep hostile words as words, and tell the truth when there is little to tell."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import altair as alt
import duckdb
import pytest

from reports import PAGES, draw
from reports.kept import vega_bundle
from tests.reports.published import HOSTILE, TODAY, write_published
from tests.reports.reading import read_page

NAMES = list(PAGES)
LIMIT = 3_000_000


@pytest.mark.parametrize("name", NAMES)
def test_page_asks_for_nothing_outside_itself(name: str, pages: Path) -> None:
    page = read_page(pages / name)
    asking = ("src", "srcset", "data", "poster", "action", "xlink:href")
    assert [(tag, a) for tag, a in page.tags if any(key in a for key in asking)] == []
    links = [str(a["href"]) for tag, a in page.tags if a.get("href")]
    assert [
        link
        for link in links
        if not re.fullmatch(r"#[\w-]+|(\.\./)?\w+\.html(#\w+)?|worklist\.(csv|xlsx)|rejected_rows\.csv", link)
    ] == []
    assert page.elements("link") == []
    assert page.elements("iframe") == []
    assert page.elements("img") == []
    assert "@import" not in "".join(page.scripts[:1])
    assert "url(http" not in "".join(page.scripts)


@pytest.mark.parametrize("name", NAMES)
def test_policy_forbids_the_network_and_names_each_script(name: str, pages: Path) -> None:
    page = read_page(pages / name)
    (policy,) = [str(m["content"]) for m in page.elements("meta") if m.get("http-equiv")]
    assert "default-src 'none'" in policy
    assert "connect-src 'none'" in policy
    script_rule = policy.split("script-src ")[1].split(";")[0]
    assert "unsafe" not in script_rule
    running = [a for a in page.elements("script") if a.get("type") != "application/json"]
    assert len(running) == script_rule.count("sha256-")


@pytest.mark.parametrize("name", NAMES)
def test_page_is_small_and_holds_the_chart_library_at_most_once(name: str, pages: Path) -> None:
    html = (pages / name).read_text(encoding="utf-8")
    assert len(html.encode()) < LIMIT
    assert html.count(vega_bundle()) == (1 if read_page(pages / name).payload["charts"] else 0)


@pytest.mark.parametrize("name", NAMES)
def test_hostile_words_stay_words(name: str, pages: Path) -> None:
    html = (pages / name).read_text(encoding="utf-8")
    page = read_page(pages / name)
    expected = 2 + bool(page.payload["charts"]) + (name == "operations.html")
    assert len(page.elements("script")) == expected == html.count("</script>")
    assert [a for tag, a in page.tags for key in a if key.startswith("on")] == []
    assert "<script>window.hacked" not in html
    assert "{{ 7 * 7 }}" in html or name != "operations.html"


def test_hostile_labels_are_shown_and_cut(pages: Path) -> None:
    page = read_page(pages / "operations.html")
    assert HOSTILE[0] in page.text
    assert HOSTILE[1] in page.text
    assert HOSTILE[3] in page.text
    assert "x" * 200 in page.text
    assert "x" * 201 not in page.text
    notes = {row["note"] for row in page.rows("unit_visits")} - {None}
    assert notes
    assert max(len(note) for note in notes) <= 200


def _walk(value: Any) -> list[dict[str, Any]]:
    if isinstance(value, dict):
        return [value, *(d for v in value.values() for d in _walk(v))]
    return [d for v in value for d in _walk(v)] if isinstance(value, list) else []


@pytest.mark.parametrize("name", NAMES)
def test_every_axis_names_what_it_shows_and_its_unit(name: str, pages: Path) -> None:
    units = ("in. w.c.", "count", "share", "day of the visit", "month", "branch", "technician", "instrument")
    for chart, entry in read_page(pages / name).payload["charts"].items():
        titled = [
            c
            for d in _walk(entry["spec"])
            for a in "xy"
            if isinstance(c := d.get(a), dict) and c.get("title")
        ]
        assert titled, chart
        for a in "xy":
            axis = [c for d in _walk(entry["spec"]) if isinstance(c := d.get(a), dict) and "field" in c]
            told = not axis or any("title" in c for c in axis)
            assert told, f"{chart}: an {a} axis without a title shows its column's name"
        for channel in titled:
            assert any(unit in channel["title"] for unit in units), (chart, channel["title"])
        for channel in [c for d in _walk(entry["spec"]) for c in d.values() if isinstance(c, dict)]:
            if channel.get("type") == "temporal" and "scale" in channel:
                assert channel["scale"]["type"] == "utc"


@pytest.mark.parametrize("name", NAMES)
def test_every_chart_has_words_and_a_table_behind_it(name: str, pages: Path) -> None:
    page = read_page(pages / name)
    plots = {a["id"]: a for a in page.elements("div") if str(a.get("id", "")).startswith("plot-")}
    tables = {a["data-table"] for a in page.elements("details") if a.get("data-table")}
    assert {f"plot-{chart}" for chart in page.payload["charts"]} == set(plots)
    assert tables == set(page.payload["charts"])
    for chart, plot in plots.items():
        assert plot["role"] == "img", chart
        assert len(str(plot["aria-label"])) > 20, f"{chart}: the words for a reader who does not see it"
    for chart, entry in page.payload["charts"].items():
        columns = page.payload["rows"][entry["source"]]["columns"]
        assert {column for column, _, _ in entry["columns"]} <= set(columns), chart


@pytest.mark.parametrize("name", NAMES)
def test_every_chart_keeps_its_schema(name: str, pages: Path) -> None:
    for entry in read_page(pages / name).payload["charts"].values():
        alt.Chart.from_dict(entry["spec"], validate=True)


def test_the_schema_check_can_fail() -> None:
    with pytest.raises(Exception, match="not"):
        alt.Chart.from_dict({"mark": "spiral", "encoding": {"x": {"field": 7}}}, validate=True)


@pytest.mark.parametrize("name", NAMES)
def test_colours_follow_the_theme(name: str, pages: Path) -> None:
    specs = [entry["spec"] for entry in read_page(pages / name).payload["charts"].values()]
    assert not re.findall(r"#[0-9a-fA-F]{3,8}\b", str(specs))


def test_nobody_below_the_minimum_of_visits_is_named(published_file: Path, pages: Path) -> None:
    with duckdb.connect(str(published_file), read_only=True) as con:
        counts = dict(con.sql("SELECT technician_id, count(*) FROM visit_static GROUP BY ALL").fetchall())
    few, many = ({t for t, n in counts.items() if (n < 20) == is_few} for is_few in (True, False))
    assert few
    assert many
    for name in NAMES:
        html = (pages / name).read_text(encoding="utf-8")
        assert [t for t in few if t in html or t.replace("T", "M") in html] == []
    funnel = read_page(pages / "training.html").rows("zeroing_funnel")
    assert {row["technician_id"] for row in funnel} == many
    assert all(row["n_visits"] >= 20 for row in funnel)


def test_what_the_training_page_leaves_out_cannot_be_told_from_its_totals(
    published_file: Path, pages: Path
) -> None:
    """A row without a name beside all other names, or a total over all beside theirs, names by elimination."""
    with duckdb.connect(str(published_file), read_only=True) as con:
        counted = "SELECT count(*), sum(n_visits), sum(n_not_zeroed) FROM technician_zeroing"
        (judged,) = con.sql(f"{counted} WHERE n_visits >= 20").fetchall()
        (both,) = con.sql(counted).fetchall()
    assert all(few < whole for few, whole in zip(judged, both, strict=True))
    page = read_page(pages / "training.html")
    text = " ".join(page.text.split())
    assert (
        f"{both[0]} technicians; {judged[0]} with at least 20 visits: {judged[1]} visits, {judged[2]} ("
        in text
    )
    assert not re.search(rf"\b({both[1]}|{both[2]}) visits", text)
    funnel = page.rows("zeroing_funnel")
    assert (len(funnel), sum(r["n_visits"] for r in funnel), sum(r["n_not_zeroed"] for r in funnel)) == judged
    assert "not known" not in str([row["technician_id"] for row in funnel])


def test_where_nobody_has_enough_visits_nobody_is_named(tmp_path: Path) -> None:
    file = write_published(tmp_path / "fleet.duckdb", sites=11, technicians=12, hostile=False)
    training, quality = (read_page(p) for p in draw(file, tmp_path / "reports")[2:4])
    assert "T0" not in training.text
    assert "T0" not in quality.text
    assert "nobody is named" in training.text


def test_training_page_says_what_its_findings_are_not(pages: Path) -> None:
    assert "never proof of fault" in read_page(pages / "training.html").text


@pytest.mark.parametrize("name", NAMES)
def test_an_empty_publication_says_so(name: str, empty_pages: Path) -> None:
    page = read_page(empty_pages / name)
    words = {
        "index.html": "No site was loaded",
        "operations.html": "nothing to rank yet",
        "training.html": "No technician has a visit",
        "data_quality.html": "No visit was loaded",
    }
    assert words[name] in page.text
    assert page.payload["charts"] == {}
    assert page.size < 100_000


def test_one_visit_is_no_verdict(one_visit_pages: Path) -> None:
    page = read_page(one_visit_pages / "operations.html")
    assert "No site is chronic: of 1 site none" in page.text
    assert "1 unit in one mode, at 1 site: too few valid like-new visits" in page.text
    assert "Nobody has 20 visits yet" in read_page(one_visit_pages / "training.html").text


def test_cautions_and_words_stand_on_the_pages(pages: Path) -> None:
    for name in ("operations.html", "data_quality.html"):
        text = read_page(pages / name).text
        assert "Never drill where a coil" in text
        assert "What the words mean" in text


def test_pages_of_one_publication_are_the_same_each_time(
    published_file: Path, pages: Path, tmp_path: Path
) -> None:
    again = draw(published_file, tmp_path / "reports")
    assert len(again) == 7
    assert [p.read_bytes() for p in again] == [(pages / p.name).read_bytes() for p in again]


def test_reference_day_is_told(pages: Path) -> None:
    assert all(TODAY.isoformat() in read_page(pages / name).text for name in NAMES)
