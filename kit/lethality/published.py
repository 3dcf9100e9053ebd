"""Which holding times, heat resistances and cooling windows are published, for which product, in which edition?"""
from dataclasses import dataclass
from functools import lru_cache

from kit.errors import OutOfRange, UnknownName, need, need_between
from kit.tables import cite, read_rows
from kit.units import read

MEAT, CHICKEN, TURKEY, OTHER_POULTRY = "meat", "chicken", "turkey", "other poultry"
PRODUCTS = (MEAT, CHICKEN, TURKEY, OTHER_POULTRY)
"""meat: no poultry at all. Other poultry: any other bird, or any mixture that holds poultry."""
HISTORY = "history"
_SECONDS = {"s": 1.0, "min": 60.0, "h": 3600.0}


@dataclass(frozen=True)
class Hold:
    """One printed row: at this temperature or above, for at least this time."""

    temperature_F: float
    temperature_C: float
    hold_s: float
    printed: str
    status: str


@dataclass(frozen=True)
class HoldTable:
    key: str
    title: str
    product: str
    """one of PRODUCTS, or 'history'"""
    fat_limit_pct: float | None
    organism: str
    log_reduction: float | None
    edition: str
    rows: tuple[Hold, ...]
    status: str
    source: str
    note: str

    @property
    def timed(self) -> tuple[Hold, ...]:
        """The rows that ask for a time; the rest are printed without one."""
        return tuple(row for row in self.rows if row.hold_s > 0)

    def refuse(self, product: str) -> None:
        """OutOfRange unless this table is for `product`: a meat table never speaks for poultry."""
        known_product(product)
        if product != self.product:
            raise OutOfRange(f"the {self.title} is for {self.product}, not for {product}; "
                             + ("it must not be used for poultry, nor for a mixture that holds any" if self.product == MEAT
                                else "use a table of that product"))


@dataclass(frozen=True)
class Window:
    """One published cooling window: from `start_C` (None: the peak of the core) to `end_C` within `limit_min`."""

    option: str
    title: str
    cured: tuple[bool, ...]
    edition: str
    part: str
    start_F: float | None
    end_F: float
    start_C: float | None
    end_C: float
    limit_min: float
    source: str
    status: str
    note: str


@dataclass(frozen=True)
class Resistance:
    """Published D values of one organism in one product."""

    product: str
    organism: str
    temperature_C: tuple[float, ...]
    d_min: tuple[float, ...]
    source: str


def known_product(product: str) -> str:
    if product not in PRODUCTS:
        raise UnknownName("kind of product", str(product), PRODUCTS)
    return product


def hold_table(key: str) -> HoldTable:
    """A time-temperature table: 'meat 6.5 log', 'meat 7 log', 'poultry 12 % fat', 'chicken low fat', 'turkey low fat', 'trichina (history)'."""
    try:
        return hold_tables()[key]
    except KeyError:
        raise UnknownName("time-temperature table", str(key), hold_tables()) from None


def tables_for(product: str, fat_pct: float | None = None) -> tuple[tuple[HoldTable, ...], tuple[str, ...]]:
    """(the tables for this product and fat, why others of the same product are left out). Fat unknown leaves poultry tables in, with a word."""
    known_product(product)
    if fat_pct is not None:
        need_between("fat_pct", fat_pct, 0, 80, "fat of the product in percent")
    own = [table for table in hold_tables().values() if table.product == product]
    fits = tuple(table for table in own if table.fat_limit_pct is None or fat_pct is None or fat_pct <= table.fat_limit_pct)
    said = [f"{table.title}: not used, since it is for at most {table.fat_limit_pct:g} % fat and this product holds {fat_pct:g} %"
            for table in own if table not in fits]
    said += [f"{table.title}: only for at most {table.fat_limit_pct:g} % fat, and the fat of this product is not given" for table in fits
             if table.fat_limit_pct is not None and fat_pct is None]
    if not fits:
        said.append(f"no time-temperature table that was read covers {product}" + (f" of {fat_pct:g} % fat" if fat_pct is not None else "")
                    + "; the meat tables are not for it")
    return fits, tuple(said)


def windows_for(cured: bool) -> tuple[Window, ...]:
    need(isinstance(cured, bool), f"cured is {cured!r}; say True (with nitrite) or False")
    return tuple(window for window in cooling_windows() if cured in window.cured)


@lru_cache(maxsize=1)
def hold_tables() -> dict[str, HoldTable]:
    rows = {}
    for row in read_rows("lethality", "holds.csv"):
        fahrenheit, time = float(row["temperature_F"]), float(row["time"])
        printed = f"{row['time']} {row['time_unit']}" + (f" ({row['note']})" if row["note"] else "")
        rows.setdefault(row["table"],
                        []).append(Hold(fahrenheit, celsius(fahrenheit), time * _SECONDS[row["time_unit"]], printed, row["status"]))
    return {row["table"]: HoldTable(row["table"], row["title"], row["products"], float(row["fat_limit_pct"]) if row["fat_limit_pct"] else None,
                                    row["organism"],
                                    float(row["log_reduction"]) if row["log_reduction"] else None, row["edition"], tuple(rows[row["table"]]),
                                    row["status"],
                                    cite(row["source"], row["where"], row["status"]), row["note"])
                                    for row in read_rows("lethality", "tables.csv")}


@lru_cache(maxsize=1)
def cooling_windows() -> tuple[Window, ...]:
    found = []
    for row in read_rows("lethality", "cooling.csv"):
        start = float(row["start_F"]) if row["start_F"] else None
        found.append(Window(row["option"], row["title"], tuple(kind == "cured" for kind in row["products"].split("|")), row["edition"],
                            row["window"], start,
                            float(row["end_F"]), None if start is None else celsius(start), celsius(float(row["end_F"])),
                            float(row["limit_min"]),
                            cite(row["source"], row["where"], row["status"]), row["status"], row["note"]))
    return tuple(found)


@lru_cache(maxsize=1)
def resistances() -> tuple[Resistance, ...]:
    groups: dict[tuple[str, str], list] = {}
    for row in read_rows("lethality", "d_values.csv"):
        groups.setdefault((row["product"], row["organism"]), []).append(row)
    return tuple(Resistance(product, organism, tuple(float(r["temperature_C"]) for r in rows), tuple(float(r["D_min"]) for r in rows),
                            cite(rows[0]["source"], rows[0]["where"], rows[0]["status"])) for (product, organism), rows in groups.items())


def resistance(product: str, organism: str) -> Resistance:
    for found in resistances():
        if (found.product, found.organism) == (product, organism):
            return found
    raise UnknownName("published heat resistance", f"{product}: {organism}", (f"{r.product}: {r.organism}" for r in resistances()))


@lru_cache(maxsize=None)
def celsius(fahrenheit: float) -> float:
    return read(fahrenheit, "°C", "temperature", bare="°F")
