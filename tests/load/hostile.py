"""Hostile CSV: a hypothesis strategy that writes visit files which no sane export would."""

from __future__ import annotations

from hypothesis import strategies as st

COLUMNS = (
    "visit_id",
    "site_id",
    "equipment_id",
    "technician_id",
    "visited_at",
    "mode",
    "return_static",
    "supply_static",
    "note",
)

IDS = st.sampled_from(
    ["V1", "V2", "V3", "v1", " V1 ", "0001", "", "V\u00e9", "'; DROP TABLE visit; --", "=1+1"]
)
NUMBERS = st.sampled_from(
    [
        "-0.22",
        "0.31",
        "1e308",
        "-1e308",
        "1e309",
        "NaN",
        "inf",
        "-Infinity",
        "0x1",
        "1_0",
        "1e-400",
        "--1",
        "",
        "+.5",
        "٣",
    ]
)
TIMES = st.sampled_from(
    [
        "2026-03-01",
        "2026-03-01T08:00:00-05:00",
        "2026-02-30",
        "0000-00-00",
        "9999-12-31T23:59:59Z",
        "-2026-01-01",
        "epoch",
        "infinity",
        "1",
        "",
        "2026-03-01T08:00:00+99:00",
    ]
)
ANY = st.text(st.characters(exclude_categories=("Cs",)), max_size=12)
TEXT = st.text(
    st.sampled_from(list("ab\u00e9,;\"'\n\r\t \x00\x01\x1b\\|#\u202e\ufeff\U0001f600")), max_size=10
)
LONG = st.integers(1, 40).map(lambda n: "9" * (n * 1000))
FIELD = st.one_of(
    IDS,
    NUMBERS,
    TIMES,
    st.sampled_from(["cooling", "HEATING", " heating", "S1", "E1", "T1"]),
    ANY,
    TEXT,
    LONG,
)


def _quoted(field: str) -> str:
    return '"' + field.replace('"', '""') + '"'


@st.composite
def _good_row(draw: st.DrawFn) -> list[str]:
    return [
        draw(IDS),
        "S1",
        "E1",
        "T1",
        draw(TIMES),
        draw(st.sampled_from(["cooling", "heating"])),
        draw(NUMBERS),
        draw(NUMBERS),
        draw(TEXT),
    ]


@st.composite
def _row(draw: st.DrawFn) -> str:
    """One row as text: sound, ragged, or with every kind of quoting, right or wrong."""
    kind = draw(st.sampled_from(["quoted", "quoted", "bare", "ragged", "junk", "blank"]))
    if kind == "junk":
        return draw(st.one_of(TEXT, ANY))
    if kind == "blank":
        return draw(st.sampled_from(["", " ", ",,,,,,,,", '"', '""', "\t"]))
    fields = draw(st.lists(FIELD, max_size=12)) if kind == "ragged" else draw(_good_row())
    if kind == "quoted":
        return ",".join(_quoted(f) if set(f) & set(',"\r\n;\t') else f for f in fields)
    return ",".join(fields)


@st.composite
def hostile_file(draw: st.DrawFn) -> bytes:
    """A whole visits file with a header that can be used; everything below it is fair game."""
    header = draw(st.permutations(COLUMNS))
    ending = draw(st.sampled_from(["\n", "\r\n", "\r"]))
    rows = draw(st.lists(_row(), max_size=12))
    repeats = draw(st.integers(0, 2))
    rows += rows[:repeats]
    text = (
        draw(st.sampled_from(["", "\ufeff"])) + ",".join(header if draw(st.booleans()) else COLUMNS) + ending
    )
    text += ending.join(rows) + draw(st.sampled_from(["", ending, ending * 3]))
    return text.encode("utf-8")
