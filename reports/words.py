"""How figures and states read: the trade's number formats, and one word for each state, the same on every page.

What belongs here: number to text, key to words. What does not: sentences of one page (those stand in its template).
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from typing import Any

NOT_KNOWN = "not known"

STATES = {
    "chronic": "chronic",
    "uncertain": "uncertain",
    "upkeep": "upkeep",
    "within_rating": "within rating",
    "too_few_visits": "too few visits",
    "not_measured": "never measured",
}
SIDES = {
    "return": "return side",
    "supply": "supply side",
    "airflow_setting": "fan setting",
    "none": "side not known",
}
CHANGES = {
    "new_chronic": "newly chronic",
    "worse": "worse",
    "resolved": "resolved",
    "better": "better",
    "to_confirm": "chronic before, to be confirmed",
    "first_seen": "seen for the first time",
    "gone": "no longer in service, or without a visit",
    "same": "as before",
}
ZEROING_STATES = {
    "skips_zero": "skips the zero",
    "zero_doubtful": "zero doubtful",
    "zeroes": "zeroes",
    "too_few_visits": "too few visits",
}
UNITS = {"inwc": "in. w.c.", "pa": "Pa", "mmwc": "mm w.c."}
CONSEQUENCES = {
    "set_aside": "set aside",
    "repaired": "repaired",
    "not_like_new": "not like new",
    "note": "noted",
}
FATES = {
    "as_recorded": "used as recorded",
    "repaired": "used after repair",
    "not_like_new": "used, not like new",
    "set_aside": "set aside",
}

BEFORE = "Before anyone opens a panel or drills a test hole"
# Common practice, no source, here and in every maker's instructions; the same words on every page and in the workbook.
CAUTIONS = (
    "Work on gas, wiring, refrigerant and sheet metal is for licensed or qualified people, by the maker's "
    "instructions and the local code; where they differ from what stands here, they hold.",
    "Switch the unit off and lock it out before a panel comes off or a hole is drilled; a blower starts "
    "without warning. Let a heat exchanger cool. Read with all panels on and no door switch bridged.",
    "Never drill where a coil, drain pan, refrigerant line, heat exchanger, wiring, gas pipe or control may "
    "lie behind the metal. If the place cannot be seen, do not drill: use the maker's own test ports or "
    "another place.",
    "Wear eye protection and gloves; stop the bit with a collar, deburr, and plug every hole after the test. "
    "Old duct wrap and tape may hold asbestos: leave them alone until that is known.",
    "After work on fan, filter or ducts, see that airflow and temperature rise are within the maker's limits; "
    "where gas, oil or wood burns in the house, have draft, combustion air and carbon monoxide checked too: a "
    "return can pull flue gas in.",
    "A figure here is a reason to look, not an order to change a duct, a tap or a filter. Measure again on "
    "the spot, like new, before work is sold.",
)


# Keys that do not read as they are written, on every page and in its script.
NAMED = {"airflow_setting": SIDES["airflow_setting"]}
# Headings in what a mark tells under which keys stand.
LISTED = ("state", "problem", "work", "kind", "became of", "consequence")


def fixed(value: float, decimals: int) -> str:
    """A number with fixed decimals and thousands separated; never a negative zero."""
    text = f"{value:,.{decimals}f}"
    return text.removeprefix("-") if not text.strip("-0.,") else text


def inwc(value: float) -> str:
    """A static pressure [in. w.c.]: 0.53, -0.22."""
    return fixed(value, 2)


def inwc3(value: float) -> str:
    """A small pressure, an offset or a slope, with its third decimal: -0.041."""
    return fixed(value, 3)


def signed(value: float) -> str:
    """A difference [in. w.c.] with its sign: +0.12, -0.04."""
    text = fixed(value, 2)
    return text if text.startswith("-") or not text.strip("0.") else f"+{text}"


def signed3(value: float) -> str:
    """A small difference [in. w.c.] with its sign and third decimal."""
    text = fixed(value, 3)
    return text if text.startswith("-") or not text.strip("0.") else f"+{text}"


def share(value: float) -> str:
    """A share or rate: 12 %; below one percent 0.3 %; what is smaller still and not nothing, <0.1 %."""
    percent = 100 * value
    if 0 < percent < 0.05:
        return "<0.1 %"
    return f"{fixed(percent, 1 if 0 < abs(percent) < 0.95 else 0)} %"


def chance(value: float) -> str:
    """A probability, never called certain: >99 %, 97 %, <1 %."""
    if value > 0.99:
        return ">99 %"
    return "<1 %" if value < 0.01 else f"{fixed(100 * value, 0)} %"


def q(value: float) -> str:
    """A q-value: 0.012; a small one <0.001, never nothing."""
    return "<0.001" if value < 0.001 else fixed(value, 3)


def count(value: float) -> str:
    """A count, or cfm or watts, without decimals."""
    return fixed(value, 0)


def plain(value: float) -> str:
    """A threshold as it was set: 0.05, 1095."""
    return f"{value:g}"


def day(value: date | datetime) -> str:
    """A date, ISO 8601."""
    return value.strftime("%Y-%m-%d")


def month(value: date | datetime) -> str:
    """A date that is known to no more than its month: 2027-03."""
    return value.strftime("%Y-%m")


def minute(value: datetime) -> str:
    """A moment, to the minute, UTC."""
    return value.strftime("%Y-%m-%d %H:%M UTC")


def word(value: str) -> str:
    """A key as words: static_tip becomes static tip, but for those that are NAMED."""
    return NAMED.get(value, value.replace("_", " "))


def several(value: float, noun: str) -> str:
    """The noun in the number that the count asks for: 1 unit, 2 units, 3 branches."""
    return noun if value == 1 else f"{noun}es" if noun.endswith("ch") else f"{noun}s"


FORMATS: dict[str, Callable[[Any], str]] = {
    "inwc": inwc,
    "inwc3": inwc3,
    "signed": signed,
    "signed3": signed3,
    "share": share,
    "chance": chance,
    "q": q,
    "count": count,
    "plain": plain,
    "day": day,
    "month": month,
    "minute": minute,
    "word": word,
    "text": str,
}


def shown(value: Any, style: str) -> str:
    """The value in one of the FORMATS; what is not known says so."""
    return NOT_KNOWN if value is None else FORMATS[style](value)
