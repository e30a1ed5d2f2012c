"""The operations page: which sites first, on which side, how sure, and what to check.

What belongs here: which queries and charts make the page. What does not: SQL, chart drawing, wording of the page.
"""

from __future__ import annotations

from collections import defaultdict
from typing import Any

from reports import caps, columns, palette, words
from reports.charts import change, fleet, ranking, unit
from reports.page import Figure, Page
from reports.queries import Published, Result, Row

SIDES = ("return", "supply", "airflow_setting", "none")
SIDE_WORDS = {
    "return": "the return side",
    "supply": "the supply side",
    "airflow_setting": "the fan setting: more air than the design asks for",
    "none": "a side that cannot be told",
}
SIDE_TITLES = {
    "return": "Return side too tight",
    "supply": "Supply side too tight",
    "airflow_setting": "Fan set too fast",
    "none": "Side not known",
}
SIDE_IFS = {  # of a unit that is probably within its rating, or may be
    "return": "If it is over, then by the return side",
    "supply": "If it is over, then by the supply side",
    "airflow_setting": "If it is over, then by a fan set too fast",
}
STATE_WORDS = {
    "chronic": "chronic",
    "uncertain": "uncertain: measure again",
    "upkeep": "upkeep, not ducts",
    "within_rating": "within rating",
    "too_few_visits": "too few visits to judge",
    "not_measured": "never measured",
    "not_in_service": "no equipment in service",
}


REASON_WORDS = {
    "uncertain": "too near the rating, or too scattered, to be called chronic or within rating.",
    "uncertain_rising": "rising: the mean of the visits is near the rating because the static rose past it or "
    "towards it. See what the line says now, under Getting worse.",
    "too_few_visits": "too few valid like-new visits since the last work, so no level is judged.",
    "not_measured_lately": "judged, but not measured lately.",
    "never_measured": "no valid visit yet: never measured, or every visit was set aside.",
}
CHANGE_WORDS = {
    "as_found": "it stays as found",
    "as_it_is": "filter and all else are like new",
    "return_to_budget": "the return side comes to its budget",
    "supply_to_budget": "the supply side comes to its budget",
    "both_to_budget": "both sides come to their budgets",
    "tap_one_lower": "the tap goes one lower",
}


def what_if(published: Published, units: list[str]) -> dict[str, list[Row]]:
    """Rows of unit_what_if.sql by sheet (equipment_id.mode); a sheet without any has an empty list."""
    by_sheet: dict[str, list[Row]] = defaultdict(list)
    for row in published.rows("unit_what_if", units=units):
        by_sheet[f"{row['equipment_id']}.{row['mode']}"].append(row)
    return by_sheet


def operations_page(published: Published, publication: Row) -> str:
    """The finished page."""
    page = Page(published)
    ranked = published.rows("ranked", top=caps.TOP, top_in_branch=caps.TOP_IN_BRANCH)
    upkeep = published.rows("upkeep", top=caps.TOP_UPKEEP, of=caps.SHEET_ROWS)
    rising = published.rows("getting_worse", top=caps.TOP_RISING, of=caps.SHEET_ROWS)
    states = _states(published.rows("fleet_state"))
    context: dict[str, Any] = {
        "headline": published.rows("headline").one,
        "states": states,
        "chronic": [row for row in states if row["fleet_state"] == "chronic"],
        **_lines(published, ranked),
        "ranked_total": len(ranked),
        "first": next(iter(ranked), None),
        "upkeep": list(upkeep),
        "rising": list(rising),
        "gauges": published.rows("gauges_judged").one,
        "changes": list(published.rows("changes")),
        "changed": list(published.rows("changed_units", top=caps.TOP_CHANGED)),
        "most_changed": caps.TOP_CHANGED,
        "attention": list(published.rows("attention")),
        "wanted": list(published.rows("visits_wanted", top=caps.TOP_WANTED, of=caps.SHEET_ROWS)),
        "latest_works": list(published.rows("latest_works", top=caps.TOP_WORKS)),
        "not_measured": list(published.rows("work_not_measured", top=caps.TOP_WORKS)),
        "top": _scale(ranked, upkeep),
    }
    facts = _units(page, ranked, upkeep, rising)
    shown = [str(row["equipment_id"]) for row in facts]
    context |= {"facts": facts, "sheet_ids": _sheet_ids(facts), "what_if": what_if(published, shown)}
    context |= rising_lines(published, shown)
    if len(ranked):
        alt = "The first units of the whole list: level with interval against the rating, by problem."
        page.draw(Figure("first_ten", ranking.first_ranked(ranked), ranked, alt, columns.RANKED))
    context["work_costs"] = _changes(page, rising)
    context |= _fleet(page) | _found(page)
    return page.html(
        "operations.html.j2",
        scripts_of=("operations.js",),
        title="Operations",
        current="operations.html",
        publication=publication,
        at_once=caps.SHOWN_AT_ONCE,
        side_words=SIDE_WORDS,
        side_titles=SIDE_TITLES,
        side_ifs=SIDE_IFS,
        state_words=STATE_WORDS,
        reason_words=REASON_WORDS,
        change_words=CHANGE_WORDS,
        **context,
    )


def _lines(published: Published, ranked: Result) -> dict[str, dict[str, list[Row]]]:
    """The lines of each side's list, and those that show with a mode chosen: listed units' modes that rank second."""
    listed = [str(row["equipment_id"]) for row in ranked]
    seconds = published.rows("ranked_seconds", units=listed) if listed else None
    groups = {side: ranked.where("problem_side", side) for side in SIDES}
    behind = {side: seconds.where("problem_side", side) if seconds else [] for side in SIDES}
    for rows, is_second in ((groups, False), (behind, True)):
        for side in SIDES:
            for number, row in enumerate(rows[side], 1):
                row["line_in_list"], row["is_second"] = 0 if is_second else number, is_second
    return {"groups": groups, "seconds": behind}


def rising_lines(published: Published, units: list[str]) -> dict[str, Any]:
    """Rows of rising_modes.sql by unit (empty without a judged mode), and by sheet (None where nothing rises)."""
    by_unit: dict[str, list[Row]] = defaultdict(list)
    by_sheet: dict[str, Row | None] = defaultdict(lambda: None)
    for row in published.rows("rising_modes", units=units) if units else ():
        by_unit[row["equipment_id"]].append(row)
        by_sheet[f"{row['equipment_id']}.{row['mode']}"] = row
    return {"rising_modes": by_unit, "rising_on": by_sheet}


def _states(result: Result) -> list[Row]:
    """Rows of fleet_state.sql, each with the words and the fill of its part of the bar."""
    rows = []
    for row in result:
        side = row["problem_side"]
        chronic = row["fleet_state"] == "chronic"
        row["n"] = row["n_sites"]
        row["words"] = f"chronic, {palette.BY_KEY[side].word}" if chronic else STATE_WORDS[row["fleet_state"]]
        if chronic and side == "none":
            row["words"] = "chronic, side not known"
        row["fill"] = (side if side != "none" else "side_unknown") if chronic else row["fleet_state"]
        rows.append(row)
    return rows


def _scale(ranked: Result, upkeep: Result) -> float:
    """The right end of every small interval drawing on the page [in. w.c.]: one scale, so that rows compare."""
    highest = [row[c] for r in (ranked, upkeep) for row in r for c in ("level_hi_inwc", "rated_tesp_inwc")]
    return max([h for h in highest if h is not None], default=1.0) * 1.04


def _units(page: Page, *lists: Result) -> list[Row]:
    """Facts of every unit in the lists, in the lists' order, with the readings, work and causes behind its charts."""
    published = page.published
    wanted = list(dict.fromkeys(str(row["equipment_id"]) for result in lists for row in result))
    if not wanted:
        return []
    facts = published.rows("unit_facts", units=wanted, sheets=_sheets_of(wanted, *lists))
    visits = published.rows("unit_visits", units=wanted, newest=caps.NEWEST_VISITS)
    work = page.carry(published.rows("unit_work", units=wanted))
    split = published.rows("unit_causes", units=wanted)
    page.carry(facts)
    rows = list(facts)
    first = (rows[0]["equipment_id"], rows[0]["mode"])
    alt = "Total external static of one unit over time against its rating."
    page.draw(Figure("totals", unit.totals(visits, facts, work, *first), visits, alt, columns.VISITS))
    alt = "Return and supply static of one unit over time."
    page.draw(Figure("sides", unit.sides(visits, facts, *first), visits, alt, columns.SIDES))
    alt = "The mean excess of one unit split into return restriction, supply restriction and fan setting."
    page.draw(Figure("causes", unit.causes(split, *first), split, alt, columns.CAUSES))
    return rows


def _sheets_of(units: list[str], *lists: Result) -> list[str]:
    """The sheets to draw: all (an empty list) for few units, for many only the modes that a list names."""
    if len(units) <= caps.BOTH_MODES:
        return []
    return [
        f"{row['equipment_id']}.{row['mode']}"
        for result in lists
        if "mode" in result.frame.columns
        for row in result
    ]


def _sheet_ids(facts: list[Row]) -> dict[str, str]:
    return {f"{row['equipment_id']}.{row['mode']}": f"u{i}" for i, row in enumerate(facts)}


def _fleet(page: Page) -> dict[str, Any]:
    """The fleet picture, the filters and the branches."""
    published = page.published
    units = published.rows("fleet_picture", points=caps.POINTS)
    ratings = published.rows("fleet_ratings")
    choices = published.rows("filters").one
    branches = published.rows("branches", top=caps.TOP_BRANCHES)
    if len(units):
        alt = "Return static against supply static of the fleet's units, with the commonest ratings as lines."
        picture = fleet.fleet_picture(units, ratings)
        page.draw(Figure("fleet_picture", picture, units, alt, columns.FLEET), ratings)
    if any(row["n_chronic"] for row in branches):
        alt = "Chronic units by branch and equipment kind, split by problem."
        page.draw(Figure("branches", fleet.branches(branches), branches, alt, columns.BRANCHES))
    values = [("branch", "Branch", choices["branches"]), ("kind", "Equipment", choices["kinds"]),
              ("mode", "Mode", choices["modes"])]  # fmt: skip
    n_all = units.one_of("n_all")
    drawn = f"{words.count(len(units))} units in one mode"
    if n_all is not None and n_all > len(units):
        drawn += f" of {words.count(n_all)}: the chronic ones first, the others by lot"
    return {"filter_values": [(n, label, v or []) for n, label, v in values], "drawn_words": drawn}


def _changes(page: Page, rising: Result) -> list[Row]:
    """Draw the units that get worse and what work changed; return the kinds whose cost for the effect is known."""
    if len(rising):
        alt = "Rise of the total static of each rising unit, with its interval."
        page.draw(Figure("rising", change.rising(rising), rising, alt, columns.RISING))
    work = page.published.rows("work_effect")
    if any(row["shift_inwc"] is not None for row in work):
        alt = "Change of the level after each kind of work, with its interval."
        page.draw(Figure("work", change.work(work), work, alt, columns.WORK))
    return [row for row in work if row["cost_per_tenth_inwc"] is not None]


def _found(page: Page) -> dict[str, Any]:
    """The compact list behind the search, and the thresholds that the words name."""
    found = page.carry(page.published.rows("find_site", top=caps.TOP_FOUND))
    settings = {row["name"]: row["value"] for row in page.published.rows("limits")}
    n_all = found.one_of("n_all") or 0
    reach = (
        ""
        if n_all <= len(found)
        else f"the {words.count(len(found))} worst of {words.count(n_all)} units in one mode"
    )
    return {
        "found": len(found),
        "find_words": reach,
        "min_visits": words.count(settings["min_visits"]),
        "min_span": words.count(settings["min_span_days"]),
        "chronic_chance": words.share(settings["chronic_probability"]),
    }
