"""What may stand in a drop: every input table and column once, as in section 1 of the data contract.

Everything that depends on the shape of the input is made from this table: the reader's SQL, the cleaned tables, the
text of error messages, the mapping to start from, and the input columns of the catalog. What does not belong here:
how a file is read (`reader.py`) and what another export calls these columns (`mapping.py`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

STAGING = "staging"  # the schema of all rows as they were read, and of their fates
Kind = Literal["id", "text", "word", "number", "date", "instant", "flag"]

SQL_TYPE: dict[Kind, str] = {
    "id": "VARCHAR",
    "text": "VARCHAR",
    "word": "VARCHAR",
    "number": "DOUBLE",
    "date": "DATE",
    "instant": "TIMESTAMPTZ",
    "flag": "BOOLEAN",
}

BAD_REASON: dict[Kind, str] = {
    "id": "missing_key",
    "text": "bad_value",
    "word": "bad_value",
    "number": "bad_number",
    "date": "bad_date",
    "instant": "bad_date",
    "flag": "bad_value",
}


BEYOND = 1e20  # of no unit; the square of its square is still a number


@dataclass(frozen=True)
class Column:
    """One input column. `default` is the SQL that stands for an empty value in the cleaned table.

    A number lies between `lowest` and `highest`, in `unit`; with `or_zero` it may be 0 too, where 0 means unknown. They
    are what physics and the trade allow at all (common practice, no source): what is outside cannot be understood.
    Pressures of a visit have no bounds of their own, for to judge readings is the work of the checks.
    """

    name: str
    kind: Kind
    meaning: str
    required: bool = False
    words: tuple[str, ...] = ()
    unit: str = ""
    default: str | None = None
    lowest: float = -BEYOND
    highest: float = BEYOND
    or_zero: bool = False

    @property
    def sql_type(self) -> str:
        return SQL_TYPE[self.kind]

    @property
    def choices(self) -> tuple[str, ...]:
        """The words that may stand in it; none of a column that is no list of words."""
        return ("true", "false") if self.kind == "flag" else self.words

    @property
    def staged_type(self) -> str:
        """Words are staged as an ENUM: checked by one cast, stored in a byte."""
        if self.words:
            return "ENUM (" + ", ".join(f"'{w}'" for w in self.words) + ")"
        return self.sql_type

    @property
    def cleaned(self) -> str:
        """What the cleaned table holds of a staged row `s`."""
        plain = f"s.{self.name}::VARCHAR" if self.words else f"s.{self.name}"
        return f"coalesce({plain}, {self.default})" if self.default else plain

    @property
    def bounded(self) -> bool:
        """Has it bounds of its own?"""
        return (self.lowest, self.highest) != (-BEYOND, BEYOND)

    @property
    def outside(self) -> str:
        """SQL: is the number in the column of this name beyond its bounds? True of what is not finite."""
        beyond = f"{self.name} NOT BETWEEN {self.lowest!r}::DOUBLE AND {self.highest!r}::DOUBLE"
        return f"({beyond} AND {self.name} <> 0)" if self.or_zero else beyond

    @property
    def range(self) -> str:
        """The bounds in words."""
        return f"{self.lowest:.7g} to {self.highest:.7g}"

    @property
    def expected(self) -> str:
        """What an error message says was expected here."""
        if self.kind == "word":
            return " or ".join(self.words) if len(self.words) < 3 else "one of " + ", ".join(self.words)
        if self.kind == "number":
            bounds = f" from {self.range}" if self.bounded else ""
            number = f"{'0 or ' if self.or_zero else ''}a number{bounds}"
            return f"{number} ({self.unit})" if self.unit else number
        return {
            "id": "an id",
            "text": "text",
            "date": "a date such as 2026-03-31",
            "instant": "a time such as 2026-03-31T14:05:00-05:00",
            "flag": "true or false",
        }[self.kind]


@dataclass(frozen=True)
class Table:
    """One input table: `name` in drops and the ledger, `cleaned` in the work file and in what is published."""

    name: str
    cleaned: str
    key: tuple[str, ...]
    columns: tuple[Column, ...]

    @property
    def staged(self) -> str:
        return f"{STAGING}.{self.name}"

    @property
    def fates(self) -> str:
        return f"{STAGING}.fate_{self.name}"

    @property
    def required(self) -> tuple[str, ...]:
        return tuple(c.name for c in self.columns if c.required)

    def column(self, name: str) -> Column:
        return next(c for c in self.columns if c.name == name)


INWC = "in. w.c."
BY_ROW = "in the row's pressure_unit"
RECORDED_AT = Column(
    "recorded_at", "instant", "when this row was recorded; of rows with one key the latest wins"
)


def _table(name: str, cleaned: str, key: tuple[str, ...], *columns: Column) -> Table:
    return Table(name, cleaned, key, (*columns, RECORDED_AT))


SITES = _table(
    "sites",
    "site",
    ("site_id",),
    Column("site_id", "id", "the site", required=True),
    Column("branch", "text", "the branch that serves the site", required=True),
    Column("site_label", "text", "the site's name for people"),
    Column(
        "elevation_ft",
        "number",
        "height above sea level",
        unit="ft",
        default="0.0",
        lowest=-1500,
        highest=20000,
    ),
)

EQUIPMENT = _table(
    "equipment",
    "equipment",
    ("equipment_id",),
    Column("equipment_id", "id", "the furnace or fan coil; a replacement gets a new id", required=True),
    Column("site_id", "id", "the site where it stands", required=True),
    Column("equipment_kind", "word", "what it is", required=True, words=("furnace", "fan_coil")),
    Column("installed_on", "date", "day of installation"),
    Column("retired_on", "date", "day of retirement; empty while in service"),
    Column(
        "rated_tesp_inwc",
        "number",
        "the maker's maximum rated total external static",
        required=True,
        unit=INWC,
        lowest=0.01,
        highest=5,
    ),
    Column(
        "nominal_tons",
        "number",
        "nominal cooling capacity",
        unit="tons",
        lowest=0.1,
        highest=100,
        or_zero=True,
    ),
    Column("motor_kind", "word", "blower motor", words=("psc", "constant_torque", "constant_airflow")),
    Column(
        "design_cooling_cfm",
        "number",
        "design airflow in cooling",
        unit="cfm",
        lowest=1,
        highest=50000,
        or_zero=True,
    ),
    Column(
        "design_heating_cfm",
        "number",
        "design airflow in heating",
        unit="cfm",
        lowest=1,
        highest=50000,
        or_zero=True,
    ),
    Column(
        "design_return_inwc",
        "number",
        "design static of the return side, negative",
        unit=INWC,
        lowest=-5,
        highest=5,
    ),
    Column(
        "design_supply_inwc", "number", "design static of the supply side", unit=INWC, lowest=-5, highest=5
    ),
    Column("filter_in_rating", "flag", "true: the rating covers the shipped filter", default="false"),
    Column(
        "coil_in_rating",
        "flag",
        "true: the rating covers the coil",
        default="equipment_kind = 'fan_coil'",
    ),
    Column("blower_table_id", "text", "its blower table"),
    Column("cooling_tap", "text", "blower speed tap set for cooling"),
    Column("heating_tap", "text", "blower speed tap set for heating"),
)

BLOWER_TABLES = _table(
    "blower_tables",
    "blower_table",
    ("blower_table_id", "tap", "external_static_inwc"),
    Column("blower_table_id", "id", "the blower table", required=True),
    Column("tap", "id", "blower speed tap", required=True),
    Column(
        "external_static_inwc",
        "number",
        "total external static",
        required=True,
        unit=INWC,
        lowest=-1,
        highest=10,
    ),
    Column(
        "airflow_cfm",
        "number",
        "airflow of standard air (0.075 lb/ft3)",
        required=True,
        unit="cfm",
        lowest=1,
        highest=50000,
        or_zero=True,
    ),
    Column("power_w", "number", "electric power of the blower", unit="W", lowest=0, highest=20000),
)

TECHNICIANS = _table(
    "technicians",
    "technician",
    ("technician_id",),
    Column("technician_id", "id", "the technician", required=True),
    Column("branch", "text", "the technician's branch"),
    Column("trained_on", "date", "last training in static measurement"),
)

INSTRUMENTS = _table(
    "instruments",
    "instrument",
    ("instrument_id",),
    Column("instrument_id", "id", "the manometer", required=True),
    Column("port_style", "word", "two ports or a pair of probes", words=("dual_port", "paired_single_port")),
    Column(
        "accuracy_pct_of_reading",
        "number",
        "stated accuracy, share of the reading",
        unit="% of reading",
        lowest=0,
        highest=100,
        default="getvariable('default_accuracy_pct')",
    ),
    Column(
        "accuracy_floor_inwc",
        "number",
        "stated accuracy, at least this much",
        unit=INWC,
        lowest=0,
        highest=1,
        default="getvariable('default_accuracy_floor_inwc')",
    ),
    Column(
        "resolution_inwc",
        "number",
        "smallest step of the display",
        unit=INWC,
        lowest=1e-6,
        highest=1,
        or_zero=True,
        default="getvariable('default_resolution_inwc')",
    ),
    Column("calibrated_on", "date", "last calibration"),
)

_CONDITION = ("clean", "dirty")
_LOCATION = ("straight_run", "near_turn")

VISITS = _table(
    "visits",
    "visit",
    ("visit_id",),
    Column("visit_id", "id", "the visit", required=True),
    Column("site_id", "id", "the site", required=True),
    Column("equipment_id", "id", "the equipment that was measured", required=True),
    Column("technician_id", "id", "who measured", required=True),
    Column("instrument_id", "text", "the manometer used"),
    Column(
        "visited_at", "instant", "when the readings were taken; visited_on is its local day", required=True
    ),
    Column("mode", "word", "operating mode during the test", required=True, words=("cooling", "heating")),
    Column("blower_stage", "word", "stage during the test; empty: single-stage", words=("high", "low")),
    Column("tap", "text", "blower speed tap in use; empty: the equipment's tap for the mode"),
    Column("zeroed_at", "instant", "when the manometer was zeroed to atmosphere"),
    Column("zero_return", "number", "what the return port showed after zeroing", unit=BY_ROW),
    Column("zero_supply", "number", "what the supply port showed after zeroing", unit=BY_ROW),
    Column("return_port", "word", "where return was read", words=("before_filter", "after_filter")),
    Column("supply_port", "word", "where supply was read", words=("before_coil", "after_coil")),
    Column("return_static", "number", "static read on the return side", required=True, unit=BY_ROW),
    Column("supply_static", "number", "static read on the supply side", required=True, unit=BY_ROW),
    Column("filter_drop", "number", "pressure drop measured across the filter", unit=BY_ROW),
    Column("coil_drop", "number", "pressure drop measured across the coil", unit=BY_ROW),
    Column("reported_tesp", "number", "the total that the technician wrote down", unit=BY_ROW),
    Column(
        "pressure_unit",
        "word",
        "unit of every pressure of the row",
        words=("inwc", "pa", "mmwc"),
        default="'inwc'",
    ),
    Column("return_location", "word", "duct at the return probe", words=_LOCATION),
    Column("supply_location", "word", "duct at the supply probe", words=_LOCATION),
    Column("probe_kind", "word", "kind of probe", words=("static_tip", "straight_tube")),
    Column("filter_condition", "word", "filter at the test; empty: unknown", words=_CONDITION),
    Column("coil_condition", "word", "coil at the test; empty: unknown", words=_CONDITION),
    Column("blower_condition", "word", "blower at the test; empty: unknown", words=_CONDITION),
    Column("registers", "word", "registers during the test", words=("open", "some_closed")),
    Column("holes_plugged", "flag", "were the test holes plugged afterwards"),
    Column(
        "airflow_cfm",
        "number",
        "airflow measured by other means",
        unit="cfm",
        lowest=1,
        highest=50000,
        or_zero=True,
    ),
    Column(
        "motor_power_w", "number", "blower power measured by other means", unit="W", lowest=0, highest=20000
    ),
    Column("note", "text", "free text"),
)

WORK = _table(
    "work",
    "work",
    ("work_id",),
    Column("work_id", "id", "the job", required=True),
    Column("equipment_id", "id", "the equipment worked on", required=True),
    Column("done_on", "date", "day of the work", required=True),
    Column(
        "work_kind",
        "word",
        "what was done",
        required=True,
        words=(
            "filter_changed",
            "filter_cabinet_enlarged",
            "return_enlarged",
            "supply_enlarged",
            "supply_repaired",
            "duct_restrapped",
            "registers_opened",
            "coil_cleaned",
            "blower_cleaned",
            "fan_speed_lowered",
            "equipment_replaced",
            "other",
        ),
    ),
    Column("cost", "number", "cost of the job", unit="currency"),
)

# In the order in which rows can be judged: what is referred to comes before what refers to it.
TABLES: tuple[Table, ...] = (SITES, EQUIPMENT, BLOWER_TABLES, TECHNICIANS, INSTRUMENTS, VISITS, WORK)
BY_NAME: dict[str, Table] = {t.name: t for t in TABLES}

# Columns of the visits that are made while the text is at hand: SQL type, meaning, unit.
MADE_OF_VISITS: tuple[tuple[str, str, str, str], ...] = (
    ("visited_on", "DATE", "local day of the visit", ""),
    ("return_decimals", "TINYINT", "decimals written in return_static", "decimals"),
    ("supply_decimals", "TINYINT", "decimals written in supply_static", "decimals"),
    ("reported_decimals", "TINYINT", "decimals written in reported_tesp", "decimals"),
)
