"""Which holding times, cooling windows and operating parameters are published, for which product, in which edition?

`on` is the day whose editions are asked for; None: today. Rows without dates belong to no edition and are always there.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from functools import cache, lru_cache
from typing import Any

from kit.errors import look_up, need, need_between, need_known
from kit.faults import need_said
from kit.tables import cite, dated, in_force, read_rows, value
from kit.units import read

MEAT, CHICKEN, TURKEY, OTHER_POULTRY = "meat", "chicken", "turkey", "other poultry"
PRODUCTS = (MEAT, CHICKEN, TURKEY, OTHER_POULTRY)
"""meat: no poultry at all. Other poultry: any other bird, and any mixture that contains poultry, however little."""
_SECONDS = {"s": 1.0, "min": 60.0, "h": 3600.0}
_FIGURES = {"log_reduction", "start_F", "end_F", "limit_min", "nitrite_min_ppm"}
_FIGURES |= {"low_F", "high_F", "most_min"}
_LISTS = {"products", "casings", "fat_pct", "rows_F"}
"""columns of numbers, and of several values with | between them"""


@dataclass(frozen=True)
class Hold:
    """One published row: at this temperature or above, for at least this time."""

    temperature_F: float
    hold_s: float
    printed: str

    @property
    def temperature_C(self) -> float:
        return celsius(self.temperature_F)


@dataclass(frozen=True, kw_only=True)
class Published:
    """What every published figure carries."""

    title: str
    edition: str
    date_from: date | None = None
    date_to: date | None = None
    source: str
    status: str
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class HoldTable(Published):
    """One time-temperature table."""

    key: str
    product: str
    """one of PRODUCTS"""
    fat_pct: float | None
    """the published column; None where fat plays no part"""
    organism: str
    log_reduction: float
    rows: tuple[Hold, ...]
    condition: str
    """what must be so before the table may be used at all; empty: nothing beyond the product"""

    def refuse(self, product: str) -> None:
        """OutOfRange unless this table is for `product`: a meat table is never used for poultry."""
        known_product(product)
        key = "meat table" if self.product == MEAT else "table of another product"
        need_said(product == self.product, key, table=self, product=product)


@dataclass(frozen=True, kw_only=True)
class Window(Published):
    """One published cooling window: from `start_C` (None: the peak of the core) to `end_C` within `limit_min`."""

    option: str
    products: tuple[str, ...]
    """cured, uncured or both"""
    part: str
    start_F: float | None
    end_F: float
    limit_min: float
    nitrite_min_ppm: float | None
    """ingoing nitrite that the window requires"""

    @property
    def start_C(self) -> float | None:
        return None if self.start_F is None else celsius(self.start_F)

    @property
    def end_C(self) -> float:
        return celsius(self.end_F)


@dataclass(frozen=True, kw_only=True)
class Operating(Published):
    """One operating parameter that goes with the tables. Figures it does not need are None; `casings` are those that need no humidity."""

    parameter: str
    low_F: float | None
    high_F: float | None
    most_min: float | None
    casings: tuple[str, ...]


def known_product(product: str) -> str:
    need_known("kind of product", product, PRODUCTS)
    return product


def _now(rows, on: date | None):
    """The rows whose edition is in force `on` that day."""
    return tuple(row for row in rows if in_force(row.date_from, row.date_to, on))


def hold_tables(on: date | None = None) -> dict[str, HoldTable]:
    return {table.key: table for table in _now(every_table(), on)}


def hold_table(key: str, on: date | None = None) -> HoldTable:
    """A time-temperature table: 'meat 6.5 log', 'meat 7 log', 'meat 5 log', 'chicken 12 % fat', 'turkey 1 % fat'."""
    tables = hold_tables(on)
    return look_up("time-temperature table", key, tables)


def tables_for(
    product: str, fat_pct: float | None = None, on: date | None = None
) -> tuple[tuple[HoldTable, ...], tuple[str, ...]]:
    """(the tables for this product and fat, what is to be said of the choice).

    Poultry: the column of its fat; between two columns the longer time of both; above the last column, or of unknown fat, that column. Other
    poultry and mixtures: the longer time of chicken and turkey at each temperature that both tables have. So nothing is shorter than published.
    """
    known_product(product)
    if fat_pct is not None:
        need_between("fat_pct", fat_pct, 0, 80, "fat of the product in percent")
    tables = hold_tables(on).values()
    if product == MEAT:
        return tuple(table for table in tables if table.product == MEAT), ()
    birds = (CHICKEN, TURKEY) if product == OTHER_POULTRY else (product,)
    columns = [_columns([t for t in tables if t.product == bird], fat_pct) for bird in birds]
    fat, why = "of unknown fat", "the fat is not given"
    if fat_pct is not None:
        fat, why = f"of {fat_pct:g} % fat", f"this product contains {fat_pct:g} % fat"
    if not all(columns):
        said = f"no time-temperature table that was read covers {product} {fat}; the meat tables do not apply"
        return (), (said,)
    top = columns[0][0].fat_pct or 0.0
    said = (
        f"{why}: the column of {top:g} % fat is used, as published for more fat and for unknown fat"
    )
    covered = fat_pct is not None and fat_pct <= top
    return (_longest(columns, product),), () if covered else (said,)


def _columns(tables, fat_pct) -> tuple[HoldTable, ...]:
    """The column of this fat; two where the fat lies between them (the fatter one first); none where no column covers it."""
    tables = sorted(tables, key=lambda table: table.fat_pct)
    last = tables[-1]
    if fat_pct is None or fat_pct > last.fat_pct:
        return (last,) if last.fat_pct == value("lethality_any_fat_pct") else ()
    at = next(n for n, table in enumerate(tables) if fat_pct <= table.fat_pct)
    if at == 0 or fat_pct == tables[at].fat_pct:
        return (tables[at],)
    return tables[at], tables[at - 1]


def _longest(columns, product: str) -> HoldTable:
    """One table of the longest published time at each temperature. A temperature missing from the fatter column of a bird is left out."""
    first = columns[0][0]
    every = [table for bird in columns for table in bird]
    if len(every) == 1:
        return first
    rows = []
    for row in first.rows:
        there = [[r for r in table.rows if r.temperature_F == row.temperature_F] for table in every]
        if all(there[every.index(bird[0])] for bird in columns):
            rows.append(max((r for found in there for r in found), key=lambda r: r.hold_s))
    fats = " to ".join(f"{fat:g}" for fat in sorted({table.fat_pct for table in every}))
    birds = " and ".join(bird[0].product for bird in columns)
    return replace(
        first,
        key=f"{birds} {fats} % fat",
        title=f"time-temperature table for {birds} of {fats} % fat, {first.log_reduction:g} log, the longer time",
        product=product,
        rows=tuple(rows),
        source="; ".join(dict.fromkeys(table.source for table in every)),
        note="; ".join(dict.fromkeys(table.note for table in every if table.note)),
    )


def windows_for(
    cured: bool, nitrite_ppm: float | None = None, on: date | None = None
) -> tuple[Window, ...]:
    """The cooling windows for cured or uncured product. `nitrite_ppm`: ingoing, of the meat; a window that requires more is left out."""
    need(isinstance(cured, bool), f"cured is {cured!r}; say True (with nitrite) or False")
    if nitrite_ppm is not None:
        need_between("nitrite_ppm", nitrite_ppm, 0, 5000, "ingoing nitrite in ppm of the meat")
    enough = float("inf") if nitrite_ppm is None else nitrite_ppm
    product = "cured" if cured else "uncured"
    return tuple(
        window
        for window in cooling_windows(on)
        if product in window.products and enough >= (window.nitrite_min_ppm or 0.0)
    )


def superseded(on: date | None = None) -> tuple[Window, ...]:
    """Windows whose edition has ended and whose option is in no edition in force."""
    now = {window.option for window in cooling_windows(on)}
    return tuple(
        window
        for window in every_window()
        if window.option not in now and not in_force(None, window.date_to, on)
    )


def editions_ended() -> tuple[date, ...]:
    """The last days of editions that are no longer in force, latest first."""
    last_days = {row.date_to for row in (*every_table(), *every_window()) if row.date_to}
    return tuple(sorted(last_days, reverse=True))


def operating_rules(parameter: str, on: date | None = None) -> tuple[Operating, ...]:
    """'come-up', 'humidity' (its options) or 'humidity not required', as the edition in force has them."""
    return tuple(row for row in _now(every_operating(), on) if row.parameter == parameter)


@lru_cache(maxsize=1)
def every_table() -> tuple[HoldTable, ...]:
    """All editions. A column of holds.csv serves every edition that has it; `rows_F` are the rows of a copy that was read in part."""
    columns: dict[str, list[Hold]] = {}
    for row in read_rows("lethality", "holds.csv"):
        fahrenheit = float(row.pop("temperature_F"))
        for key, printed in row.items():
            if printed:
                time, unit = printed.split()
                seconds = float(time) * _SECONDS[unit]
                words = printed if seconds else f"{printed} (no holding time)"
                columns.setdefault(key, []).append(Hold(fahrenheit, seconds, words))
    found = []
    for said in _rows("tables.csv"):
        (product,), only = said.pop("products"), {float(one) for one in said.pop("rows_F")}
        column, title, fats = (said.pop(name) for name in ("table", "title", "fat_pct"))
        for fat in fats or ("",):
            key = column.format(fat=fat)
            rows = tuple(row for row in columns[key] if not only or row.temperature_F in only)
            each = {"title": title.format(fat=fat), "fat_pct": _number(fat), "rows": rows}
            found.append(HoldTable(key=key, product=product, **each, **said))
    return tuple(found)


def cooling_windows(on: date | None = None) -> tuple[Window, ...]:
    """The cooling windows of the editions in force."""
    return _now(every_window(), on)


@lru_cache(maxsize=1)
def every_window() -> tuple[Window, ...]:
    """The cooling windows of all editions."""
    return tuple(Window(**said) for said in _rows("cooling.csv"))


@lru_cache(maxsize=1)
def every_operating() -> tuple[Operating, ...]:
    """The operating parameters of all editions."""
    return tuple(Operating(**said) for said in _rows("operating.csv"))


def _rows(file: str) -> Iterator[dict[str, Any]]:
    """Rows by column, with dates, figures and lists read, and the source as one line."""
    for row in read_rows("lethality", file):
        said = dated(row)
        said["source"] = cite(row["source"], said.pop("where"), row["status"])
        said |= {key: _number(row[key]) for key in _FIGURES & row.keys()}
        said |= {key: tuple(filter(None, row[key].split("|"))) for key in _LISTS & row.keys()}
        yield said


def _number(text: str) -> float | None:
    return float(text) if text else None


@cache
def celsius(fahrenheit: float) -> float:
    return read(fahrenheit, "°C", "temperature", bare="°F")
