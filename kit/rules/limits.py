"""Which limits apply, where, and since when? One kind of limit, for composition and for cure.

Limits are dated data: rows of data/rules/cooked_sausage.csv (composition) and data/rules/cure.csv (cure and additives), or a person's
own file (own.py). A figure read second-hand or not verified says so. The kit compares numbers; the authority and its current text decide.
"""

from dataclasses import dataclass
from datetime import date
from functools import lru_cache

from kit import tables
from kit.errors import look_up, need_between, need_known

ROUNDING = 1e-9
"""A share of the mix this near its limit, relative to it, is on the limit: the size of rounding in the arithmetic."""
COMPARISONS = {"max": "at most", "below": "below", "min": "at least", "above": "above"}
USUAL_JURISDICTION = "US"
"""whose limits on cure hold where a sheet names none"""
NITRITES, NITRATES = ("NaNO2", "KNO2", "NO2"), ("NaNO3", "KNO3", "NO3")
ACCELERATORS = ("ascorbic acid", "erythorbic acid", "sodium ascorbate", "sodium erythorbate")
REPLACERS = ("citric acid", "sodium citrate")
QUANTITIES = (
    "nitrite ingoing",
    "nitrite finished",
    "nitrite residual",
    "nitrate ingoing",
    "nitrate finished",
    *ACCELERATORS,
    *REPLACERS,
    "glucono delta-lactone",
    "fumaric acid",
    "sodium acid pyrophosphate",
    "phosphate",
)
"""what a limit on cure and additives can be set on; the shares of the mix are in quantities.py"""
PER_MILLION = {"mg/kg": 1e6, "%": 100.0}
BASES = {
    "meat": "the meat",
    "batch": "the batch",
    "finished": "the finished product",
    "accelerators": "accelerator and citrate together",
}


@dataclass(frozen=True, kw_only=True)
class Limit(tables.Cited):
    """One figure of one rule.

    `key`: its rule set (composition) or its own name (cure). `comparison`: a key of COMPARISONS. `basis`: a key of BASES for cure, in words for composition.
    `as_salt`: NaNO2, NO2, ..., "as used" (mg of whichever salt was weighed) or "". `source`: a key of the sources table, or a person's own words.
    """

    key: str
    jurisdiction: str
    edition: str
    date_from: date | None
    date_to: date | None
    product_kind: str
    quantity: str
    comparison: str
    limit: float
    unit: str
    basis: str
    as_salt: str
    title: str

    def __str__(self) -> str:
        text = f"{self.title} {self.amount} {self.basis}"
        return text.replace("  ", " ")

    def cite(self) -> str:
        """Source, place and status in one line."""
        if self.source in tables.sources():
            return tables.cite(self.source, self.where, self.status)
        text = self.source + (f", {self.where}" if self.where else "")
        return text if self.status == "read" else f"{text} ({self.status_in_words})"

    @property
    def published(self) -> bool:
        return self.jurisdiction != "own"

    @property
    def comparison_in_words(self) -> str:
        return COMPARISONS[self.comparison]

    @property
    def amount(self) -> str:
        """Such as "at most 547 mg/kg": whole figures from 100, no more than law is written in."""
        figure = f"{self.limit:.0f}" if self.limit >= 100 else f"{self.limit:g}"
        return f"{self.comparison_in_words} {figure} {self.unit}".strip()

    @property
    def is_upper(self) -> bool:
        return self.comparison in ("max", "below")

    @property
    def caps_nitrite(self) -> bool:
        """Is it a ceiling on ingoing nitrite?"""
        return self.quantity == "nitrite ingoing" and self.comparison == "max"

    @property
    def slack(self) -> float:
        """How far past the limit is still on it: figures of law on cure are quoted rounded; shares of the mix are not."""
        if self.quantity in QUANTITIES:
            return self.limit * rounding_fraction()
        return ROUNDING * max(1.0, abs(self.limit))

    def in_force(self, on: date | None = None) -> bool:
        return tables.in_force(self.date_from, self.date_to, on)

    def margin(self, value):
        """How far `value` (float or array) is inside the limit, in its unit; negative is outside."""
        return self.limit - value if self.is_upper else value - self.limit

    def holds(self, value: float) -> bool:
        """Whether `value` meets the limit. On the limit "at most" and "at least" hold, "below" and "above" do not."""
        margin = self.margin(value)
        if self.comparison in ("max", "min"):
            return bool(margin >= -self.slack)
        return bool(margin > self.slack)

    @property
    def in_words(self) -> str:
        form = {"": "", "as used": " of the salt used"}.get(self.as_salt, f" as {self.as_salt}")
        status = "" if self.status == "read" else f" ({self.status_in_words})"
        figure = f"{self.quantity} {self.amount}{form}"
        basis = BASES.get(self.basis, self.basis)
        return f"{self.jurisdiction} ({self.edition}): {figure} of {basis}{status}"


def rounding_fraction() -> float:
    """How far past a limit on cure is still on it, as a fraction: figures of law are quoted rounded."""
    return tables.value("limit_rounding_pct") / 100


# --- cure and additives: limits of one jurisdiction on one day ---


@lru_cache(maxsize=1)
def all_limits() -> tuple[Limit, ...]:
    """Every published limit on cure and additives in cooked sausage."""
    return tuple(
        Limit(title=row["quantity"], limit=float(row.pop("limit")), **tables.dated(row))
        for row in tables.read_rows("rules", "cure.csv")
    )


def limits_by_edition() -> dict[tuple[str, str], list[Limit]]:
    """(jurisdiction, edition) -> its limits, in the order of the data."""
    kept: dict[tuple[str, str], list[Limit]] = {}
    for row in all_limits():
        kept.setdefault((row.jurisdiction, row.edition), []).append(row)
    return kept


def limit(key: str) -> Limit:
    """One row by key. UnknownName with the nearest three."""
    return look_up("limit", key, {row.key: row for row in all_limits()})


def jurisdictions() -> tuple[str, ...]:
    return tuple(dict.fromkeys(row.jurisdiction for row in all_limits()))


def limits_for(jurisdiction: str, on: date | None = None) -> tuple[Limit, ...]:
    """The rows of one jurisdiction for cooked sausage in force `on` that day (today where left out); none where it has none that day."""
    need_known("jurisdiction", jurisdiction, jurisdictions())
    return tuple(
        row for row in all_limits() if row.jurisdiction == jurisdiction and row.in_force(on)
    )


@dataclass(frozen=True)
class Edition:
    """One edition of one jurisdiction, as a person chooses it. `on`: a day on which it is in force: today if it is, else the nearest of its own days."""

    jurisdiction: str
    edition: str
    on: date
    now: bool

    @property
    def name(self) -> str:
        return f"{self.jurisdiction}, {self.edition}"

    @property
    def limits(self) -> tuple[Limit, ...]:
        return limits_for(self.jurisdiction, on=self.on)

    @property
    def ceilings(self) -> tuple[Limit, ...]:
        """Its ceilings on ingoing nitrite."""
        return tuple(row for row in self.limits if row.caps_nitrite)

    @property
    def in_words(self) -> str:
        """Which law is applied, with its day."""
        past = "" if self.now else f"; not in force today, {tables.today()}"
        return law_in_words(self.jurisdiction, self.on, self.limits) + past


def law_in_words(jurisdiction: str, on: date, rows: tuple[Limit, ...]) -> str:
    """Whose limits, of which day and edition."""
    listed = ", ".join(dict.fromkeys(row.edition for row in rows))
    held = f"edition {listed}" if listed else "none is listed for that day"
    return f"limits in force on {on}: {jurisdiction}, {held}"


def editions() -> dict[str, Edition]:
    """Every edition in the data, by its name: past, in force and coming. An edition is in force while all of its rows are."""
    found, today = {}, tables.today()
    places = jurisdictions()
    kept = sorted(limits_by_edition().items(), key=lambda pair: places.index(pair[0][0]))
    for (place, edition), rows in kept:
        start = max((row.date_from for row in rows if row.date_from), default=None)
        end = min((row.date_to for row in rows if row.date_to), default=None)
        now = tables.in_force(start, end, today)
        on = today if now else start if start and start > today else end
        found[f"{place}, {edition}"] = Edition(place, edition, on or today, now)
    return found


def usual_edition() -> Edition:
    """What is applied where nobody chooses: the edition of USUAL_JURISDICTION in force today."""
    return next(
        one for one in editions().values() if one.now and one.jurisdiction == USUAL_JURISDICTION
    )


def another_rule(jurisdiction: str) -> Edition:
    """The first edition in force elsewhere that has a ceiling on ingoing nitrite: what an exercise mixes in by mistake."""
    return next(
        one
        for one in editions().values()
        if one.now and one.ceilings and one.jurisdiction != jurisdiction
    )


def forms_of(quantity: str) -> tuple[str, ...]:
    """What a limit on this quantity can be counted as; only '' where it is no nitrite or nitrate."""
    if quantity.startswith("nitrite"):
        return (*NITRITES, "as used")
    return (*NITRATES, "as used") if quantity.startswith("nitrate") else ("",)


def own_limit(figure: float, basis: str = "meat", counted_as: str = "NaNO2") -> Limit:
    """A person's own ceiling on ingoing nitrite, used like a published one (a published ceiling still stops a weigh list).

    figure: mg/kg, 0 to 1,000,000. basis: one of BASES. counted_as: NaNO2, KNO2, NO2 or "as used".
    Returns a Limit. Raises UnknownName, OutOfRange.
    """
    quantity = "nitrite ingoing"
    need_known("basis of an own limit", basis, BASES)
    need_known("form of an own limit", counted_as, forms_of(quantity))
    return Limit(
        key="own_nitrite_ingoing_max",
        jurisdiction="own",
        edition="given by the person",
        date_from=None,
        date_to=None,
        product_kind="any",
        quantity=quantity,
        comparison="max",
        limit=need_between(f"own limit for {quantity}", figure, 0, 1e6),
        unit="mg/kg",
        basis=basis,
        as_salt=counted_as,
        source="own_limit",
        where="",
        status="read",
        title=quantity,
    )
