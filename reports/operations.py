"""The operations page: which sites first, on which side, how sure, and what to check.

What belongs here: which queries and charts make the page. What does not: SQL, chart drawing, wording of the page.
"""

from __future__ import annotations

from typing import Any

from reports import caps, palette, words
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
STATE_WORDS = {
    "chronic": "chronic",
    "uncertain": "uncertain: measure once more",
    "upkeep": "upkeep, not ducts",
    "within_rating": "within rating",
    "too_few_visits": "too few visits to judge",
    "not_measured": "never measured",
}
RANKED_COLUMNS = (
    ("rank", "Rank", "count"),
    ("site_id", "Site", "text"),
    ("equipment_id", "Unit", "text"),
    ("mode", "Mode", "text"),
    ("problem_side", "Problem", "word"),
    ("level_inwc", "Level, in. w.c.", "inwc"),
    ("level_lo_inwc", "at least (95 %)", "inwc"),
    ("level_hi_inwc", "at most (95 %)", "inwc"),
    ("rated_tesp_inwc", "Rated", "inwc"),
    ("expected_excess_inwc", "Over by", "signed"),
    ("prob_over_rated", "Sure", "chance"),
    ("n_visits", "Visits", "count"),
)


def operations_page(published: Published, publication: Row) -> str:
    """The finished page."""
    page = Page(published)
    ranked = published.rows("ranked", top=caps.TOP, top_in_branch=caps.TOP_IN_BRANCH)
    upkeep = published.rows("upkeep", top=caps.TOP_UPKEEP)
    rising = published.rows("getting_worse", top=caps.TOP_RISING)
    states = _states(published.rows("fleet_state"))
    context: dict[str, Any] = {
        "headline": published.rows("headline").one,
        "states": states,
        "chronic": [row for row in states if row["fleet_state"] == "chronic"],
        "groups": {side: ranked.where("problem_side", side) for side in SIDES},
        "ranked_total": len(ranked),
        "upkeep": list(upkeep),
        "rising": list(rising),
        "not_told": list(published.rows("not_told")),
        "top": _scale(ranked, upkeep),
    }
    facts = _units(page, ranked, upkeep, rising)
    context |= {"facts": facts, "sheet_ids": _sheet_ids(facts)}
    if len(ranked):
        alt = "The first units of the whole list: level with interval against the rating, by problem."
        page.draw(Figure("first_ten", ranking.first_ranked(ranked), ranked, alt, RANKED_COLUMNS))
    context |= _fleet(page) | _changes(page, rising)
    context |= _found(page)
    return page.html(
        "operations.html.j2",
        scripts_of=("operations.js",),
        title="Operations",
        current="operations.html",
        publication=publication,
        at_once=caps.SHOWN_AT_ONCE,
        side_words=SIDE_WORDS,
        side_titles=SIDE_TITLES,
        state_words=STATE_WORDS,
        **context,
    )


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
    facts = published.rows("unit_facts", units=wanted)
    visits = published.rows("unit_visits", units=wanted, newest=caps.NEWEST_VISITS)
    work = page.carry(published.rows("unit_work", units=wanted))
    split = published.rows("unit_causes", units=wanted)
    page.carry(facts)
    rows = list(facts)
    first = (rows[0]["equipment_id"], rows[0]["mode"])
    columns = (
        ("visited_on", "Day", "day"), ("visit_id", "Visit", "text"), ("return_inwc", "Return", "inwc"),
        ("supply_inwc", "Supply", "inwc"), ("tesp_inwc", "Total, in. w.c.", "inwc"), ("reading", "Reading", "text"),
        ("findings", "Found", "text"), ("repairs", "Repaired", "text"), ("note", "Note", "text"),
    )  # fmt: skip
    page.draw(Figure("totals", unit.totals(visits, facts, work, *first), visits,
                     "Total external static of one unit over time against its rating.", columns))  # fmt: skip
    page.draw(Figure("sides", unit.sides(visits, facts, *first), visits,
                     "Return and supply static of one unit over time.", columns[:5]))  # fmt: skip
    page.draw(Figure("causes", unit.causes(split, *first), split,
                     "The mean excess of one unit split into return restriction, supply restriction and airflow setting.",
                     (("return_restriction_inwc", "Return restriction, in. w.c.", "signed"),
                      ("supply_restriction_inwc", "Supply restriction", "signed"),
                      ("airflow_setting_inwc", "Airflow setting", "signed"),
                      ("n_valid", "Valid visits", "count"))))  # fmt: skip
    return rows


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
        page.draw(Figure("fleet_picture", fleet.fleet_picture(units, ratings), units,
                         "Return static against supply static of the fleet's units, with the commonest ratings as lines.",
                         (("equipment_id", "Unit", "text"), ("site_id", "Site", "text"), ("branch", "Branch", "text"),
                          ("mode", "Mode", "text"), ("return_level_inwc", "Return, in. w.c.", "inwc"),
                          ("supply_level_inwc", "Supply", "inwc"), ("level_inwc", "Total", "inwc"),
                          ("rated_tesp_inwc", "Rated", "inwc"), ("static_state", "State", "word"))),
                  ratings)  # fmt: skip
    if any(row["n_chronic"] for row in branches):
        page.draw(Figure("branches", fleet.branches(branches), branches,
                         "Chronic units by branch and equipment kind, split by problem.",
                         (("branch", "Branch", "text"), ("equipment_kind", "Kind", "word"), ("n_units", "Units", "count"),
                          ("n_judged", "Judged", "count"), ("n_chronic", "Chronic", "count"), ("n_return", "Return", "count"),
                          ("n_supply", "Supply", "count"), ("n_airflow_setting", "Fan setting", "count"),
                          ("share_chronic", "Chronic of judged", "share"))))  # fmt: skip
    values = [("branch", "Branch", choices["branches"]), ("kind", "Equipment", choices["kinds"]),
              ("mode", "Mode", choices["modes"])]  # fmt: skip
    n_all = units.one_of("n_all")
    drawn = f"{words.count(len(units))} units in one mode"
    if n_all is not None and n_all > len(units):
        drawn += f", drawn by lot from {words.count(n_all)}"
    return {"filter_values": [(n, label, v or []) for n, label, v in values], "drawn_words": drawn}


def _changes(page: Page, rising: Result) -> dict[str, Any]:
    """Units that get worse and what work changed."""
    if len(rising):
        page.draw(Figure("rising", change.rising(rising), rising, "Rise of the total static of each rising unit.",
                         (("equipment_id", "Unit", "text"), ("site_id", "Site", "text"),
                          ("slope_inwc_per_year", "in. w.c. a year", "signed3"), ("slope_lo", "at least (95 %)", "signed3"),
                          ("slope_hi", "at most (95 %)", "signed3"), ("n_visits", "Visits", "count"),
                          ("q_value", "q", "inwc3"))))  # fmt: skip
    if page.published.table_exists("work_effect"):
        work = page.published.rows("work_effect")
        if any(row["shift_inwc"] is not None for row in work):
            page.draw(Figure("work", change.work(work), work, "Change of the level after each kind of work.",
                             (("work_kind", "Work", "word"), ("n_pairs", "Pairs", "count"),
                              ("shift_inwc", "Change, in. w.c.", "signed"), ("shift_lo", "at least (95 %)", "signed"),
                              ("shift_hi", "at most (95 %)", "signed"),
                              ("share_within_rating_before", "Within rating before", "share"),
                              ("share_within_rating_after", "after", "share"))))  # fmt: skip
    return {}


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
