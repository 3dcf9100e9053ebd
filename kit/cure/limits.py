"""What may go in, by which rule, counted on which base and as which salt?

Each limit is a row of data/rules/cure.csv: jurisdiction, edition, dates, product kind, quantity, figure, base and form. A figure read
second-hand or remembered says so. The kit compares numbers; the authority and its current text decide.
"""

from dataclasses import dataclass
from datetime import date
from functools import lru_cache

from kit import tables
from kit.cure.dose import Dose, premix_kg_for
from kit.cure.premix import Premix
from kit.cure.salts import NITRATES, NITRITES, convert
from kit.errors import OutOfRange, UnknownName, need, need_between
from kit.working import Step, step

ACCELERATORS = ("ascorbic acid", "erythorbic acid", "sodium ascorbate", "sodium erythorbate")
USUAL_JURISDICTION = "US"
"""whose limits hold where a sheet names none"""
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
_PER_MILLION = {"mg/kg": 1e6, "%": 100.0}


@dataclass(frozen=True)
class Limit:
    """One figure of one rule. `as_salt`: NaNO2, NO2, ..., "as used" (mg of whichever salt was weighed) or "" for other additives."""

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
    source: str
    where: str
    status: str
    note: str = ""

    def cite(self) -> str:
        return tables.cite(self.source, self.where, self.status)

    @property
    def published(self) -> bool:
        return self.jurisdiction != "own"

    @property
    def is_ceiling(self) -> bool:
        """Is it a ceiling on ingoing nitrite?"""
        return self.quantity == "nitrite ingoing" and self.comparison == "max"

    def in_force(self, on: date | None = None) -> bool:
        return tables.in_force(self.date_from, self.date_to, on)

    @property
    def in_words(self) -> str:
        bound = "at most" if self.comparison == "max" else "at least"
        form = {"": "", "as used": " of the salt used"}.get(self.as_salt, f" as {self.as_salt}")
        status = "" if self.status == "read" else f" ({tables.STATUSES[self.status]})"
        figure = f"{self.quantity} {bound} {self.limit:g} {self.unit}{form}"
        return f"{self.jurisdiction} ({self.edition}): {figure} of {_OF[self.basis]}{status}"


_OF = {
    "meat": "the meat",
    "batch": "the batch",
    "finished": "the finished product",
    "accelerators": "accelerator and citrate together",
}


@dataclass(frozen=True)
class Verdict:
    """One limit against one dose. `margin` > 0 is room left; `holds` None means it cannot be judged from what is known (see note)."""

    limit: Limit
    value: float | None
    margin: float | None
    holds: bool | None
    note: str
    source: str
    working: tuple[Step, ...]


@dataclass(frozen=True)
class Addition:
    """kg of an accelerator, acid or phosphate. `quantity` is one of QUANTITIES."""

    quantity: str
    kg: float

    def __post_init__(self):
        if self.quantity not in QUANTITIES[5:]:
            raise UnknownName("additive", self.quantity, QUANTITIES[5:])
        need_between(f"weight of {self.quantity}, kg", self.kg, 0, 1e6)


@lru_cache(maxsize=1)
def all_limits() -> tuple[Limit, ...]:
    """Every published row that the kit holds."""

    def day(text):
        return date.fromisoformat(text) if text else None

    return tuple(
        Limit(
            **{
                **row,
                "limit": float(row["limit"]),
                "date_from": day(row["date_from"]),
                "date_to": day(row["date_to"]),
            }
        )
        for row in tables.read_rows("rules", "cure.csv")
    )


def limit(key: str) -> Limit:
    """One row by key. UnknownName with the nearest three."""
    for row in all_limits():
        if row.key == key:
            return row
    raise UnknownName("limit", key, (row.key for row in all_limits()))


def jurisdictions() -> tuple[str, ...]:
    return tuple(dict.fromkeys(row.jurisdiction for row in all_limits()))


def limits_for(
    jurisdiction: str, product_kind: str = "cooked sausage", on: date | None = None
) -> tuple[Limit, ...]:
    """The rows of one jurisdiction and product kind in force `on` that day (today where left out); none where it has none that day."""
    if jurisdiction not in jurisdictions():
        raise UnknownName("jurisdiction", jurisdiction, jurisdictions())
    kinds = tuple(
        dict.fromkeys(row.product_kind for row in all_limits() if row.jurisdiction == jurisdiction)
    )
    if product_kind not in kinds:
        raise UnknownName(f"product kind of {jurisdiction}", product_kind, kinds)
    return tuple(
        row
        for row in all_limits()
        if row.jurisdiction == jurisdiction
        and row.product_kind == product_kind
        and row.in_force(on)
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
        return tuple(row for row in self.limits if row.is_ceiling)

    @property
    def in_words(self) -> str:
        """Which law is applied, with its day."""
        return law_in_words(self.jurisdiction, self.on, self.limits) + (
            "" if self.now else f"; not in force today, {tables.today()}"
        )


def law_in_words(jurisdiction: str, on: date, rows: tuple[Limit, ...]) -> str:
    """Whose limits, of which day and edition."""
    listed = ", ".join(dict.fromkeys(row.edition for row in rows))
    return f"limits in force on {on}: {jurisdiction}, " + (
        f"edition {listed}" if listed else "none is listed for that day"
    )


def editions(product_kind: str = "cooked sausage") -> dict[str, Edition]:
    """Every edition in the data, by its name: past, in force and coming. An edition is in force while all of its rows are."""
    found, today = {}, tables.today()
    kept = [row for row in all_limits() if row.product_kind == product_kind]
    for place, edition in sorted(
        dict.fromkeys((row.jurisdiction, row.edition) for row in kept),
        key=lambda pair: jurisdictions().index(pair[0]),
    ):
        rows = [row for row in kept if (row.jurisdiction, row.edition) == (place, edition)]
        start = max((row.date_from for row in rows if row.date_from), default=None)
        end = min((row.date_to for row in rows if row.date_to), default=None)
        now = tables.in_force(start, end, today)
        one = Edition(
            place, edition, today if now else start if start and start > today else end, now
        )
        found[one.name] = one
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


def own_limit(
    quantity: str,
    figure: float,
    unit: str = "mg/kg",
    basis: str = "meat",
    counted_as: str = "NaNO2",
    comparison: str = "max",
    note: str = "",
) -> Limit:
    """A person's own limit, used like a published one (a published ceiling still stops a weigh list)."""
    for what, given, known in (
        ("quantity", quantity, QUANTITIES),
        ("unit", unit, _PER_MILLION),
        ("basis", basis, _OF),
        ("comparison", comparison, ("max", "min")),
    ):
        if given not in known:
            raise UnknownName(f"{what} of an own limit", given, known)
    need_between(f"own limit for {quantity}", figure, 0, _PER_MILLION[unit])
    forms = (
        (*NITRITES, "as used")
        if quantity.startswith("nitrite")
        else (*NITRATES, "as used")
        if quantity.startswith("nitrate")
        else ("",)
    )
    form = counted_as if forms != ("",) else ""
    if form not in forms:
        raise UnknownName(f"form of {quantity}", counted_as, forms)
    return Limit(
        f"own_{quantity.replace(' ', '_')}_{comparison}",
        "own",
        "given by the person",
        None,
        None,
        "any",
        quantity,
        comparison,
        float(figure),
        unit,
        basis,
        form,
        "own_limit",
        "",
        "read",
        note,
    )


def judge(
    dose: Dose, limits, additions=(), residual_ppm: float | None = None, residual_as: str = "NaNO2"
) -> tuple[Verdict, ...]:
    """Each limit against the dose and the additions. Residual limits need a measured `residual_ppm` (counted as `residual_as`)."""
    return tuple(_verdict(row, dose, tuple(additions), residual_ppm, residual_as) for row in limits)


def _verdict(row: Limit, dose: Dose, additions, residual_ppm, residual_as) -> Verdict:
    if row.quantity == "nitrite residual":
        if residual_ppm is None:
            return _unknown(
                row,
                "what is left cannot be reckoned from what goes in; it needs a measurement of the finished product",
            )
        found = convert(residual_ppm, residual_as, row.as_salt)
        work = (
            step(
                row.quantity,
                "found = measured × M",
                found,
                row.unit,
                measured=(residual_ppm, "mg/kg", residual_as),
                M=(convert(1.0, residual_as, row.as_salt), "", f"{residual_as} to {row.as_salt}"),
            ),
        )
        return _compare(row, found, work)
    kg, note = _amount_kg(row, dose, additions)
    base = (
        sum(a.kg for a in additions if a.quantity in ACCELERATORS + REPLACERS)
        if row.basis == "accelerators"
        else dose.base_kg(row.basis)
    )
    if base is None:
        return _unknown(row, "the finished weight is not known; weigh it, or give a cook yield")
    per = _PER_MILLION[row.unit]
    found = kg * per / base if base else 0.0
    work = (
        (
            step(
                f"{row.quantity} of {_OF[row.basis]}",
                f"found = amount × {per:.0f} / base",
                found,
                row.unit,
                amount=(kg, "kg", row.as_salt),
                base=(base, "kg", row.basis),
            ),
        )
        if base
        else ()
    )
    return _compare(row, found, work, note)


def _amount_kg(row: Limit, dose: Dose, additions) -> tuple[float, str]:
    if row.quantity.startswith("nitrite"):
        return (
            dose.nitrite_as_used_kg
            if row.as_salt == "as used"
            else convert(dose.nitrite_kg, "NaNO2", row.as_salt)
        ), ""
    if row.quantity.startswith("nitrate"):
        return (
            dose.nitrate_as_used_kg
            if row.as_salt == "as used"
            else convert(dose.nitrate_kg, "NaNO3", row.as_salt)
        ), ""
    names = (
        ("phosphate", "sodium acid pyrophosphate")
        if row.quantity == "phosphate"
        else (row.quantity,)
    )
    several = (
        row.quantity in ACCELERATORS
        and sum(a.quantity in ACCELERATORS and a.kg > 0 for a in additions) > 1
    )
    note = (
        "more than one accelerator is used; the row does not say how they add up, ask the authority"
        if several
        else ""
    )
    return sum(a.kg for a in additions if a.quantity in names), note


def rounding_fraction() -> float:
    """How far past a limit is still on it: figures of law are quoted rounded."""
    return tables.value("limit_rounding_pct") / 100


def _compare(row: Limit, found: float, work, note: str = "") -> Verdict:
    slack = row.limit * rounding_fraction()
    margin = row.limit - found if row.comparison == "max" else found - row.limit
    rounded = "over by rounding only" if -slack <= margin < -1e-9 * row.limit else ""
    words = "; ".join(part for part in (row.note, note, rounded) if part)
    return Verdict(row, found, margin, margin >= -slack, words, row.cite(), tuple(work))


def _unknown(row: Limit, why: str) -> Verdict:
    return Verdict(row, None, None, None, f"{row.note}; {why}" if row.note else why, row.cite(), ())


@dataclass(frozen=True)
class Band:
    """The nitrite (kg as NaNO2) that the limits leave: every limit turned into grams for this one batch, the tightest kept."""

    low_kg: float
    high_kg: float
    low_why: str
    high_why: str
    high_limit: Limit | None
    notes: tuple[str, ...]


def band(
    limits,
    meat_kg: float,
    batch_kg: float,
    finished_kg: float | None = None,
    as_used_per_nano2: float = 1.0,
    on: date | None = None,
) -> Band:
    """Allowed nitrite for this batch. Without a published minimum, a teaching figure closes the band from below; a limit on the finished
    product counts only if its weight is known. Without any ingoing ceiling in `limits` the loosest published one in force `on` that day (today where left out) holds."""
    base = {"meat": meat_kg, "batch": batch_kg, "finished": finished_kg}
    notes, highs, lows = [], [], []

    def as_kg(row):
        per_base = row.limit / _PER_MILLION[row.unit] * base[row.basis]
        return (
            per_base / as_used_per_nano2
            if row.as_salt == "as used"
            else convert(per_base, row.as_salt, "NaNO2")
        )

    def usable(rows):
        return [
            row
            for row in rows
            if row.quantity in ("nitrite ingoing", "nitrite finished")
            and base[row.basis] is not None
        ]

    for row in usable(limits):
        (highs if row.comparison == "max" else lows).append((as_kg(row), row))
    cooked = [
        row
        for row in usable(all_limits())
        if row.product_kind == "cooked sausage" and row.is_ceiling and row.in_force(on)
    ]
    loosest = max(((as_kg(row), row) for row in cooked), key=lambda pair: pair[0])
    if not any(row.published and row.quantity == "nitrite ingoing" for _, row in highs):
        highs.append(loosest)
        notes.append(
            f"no published ingoing ceiling was chosen, so the loosest one held stands in: {loosest[1].in_words}"
        )
    high_kg, high = min(highs, key=lambda pair: pair[0])
    if lows:
        low_kg, low = max(lows, key=lambda pair: pair[0])
        low_why = low.in_words
    else:
        row = tables.number("ordinary_dose_low_ppm_of_meat")
        low_kg = min(row.value * meat_kg / 1e6, high_kg)  # a teaching figure gives way to a ceiling
        low_why = f"usual lowest dose {row.value:g} mg/kg NaNO2 of the meat ({row.status_in_words})"
    need(
        low_kg <= high_kg,
        f"the limits leave no room: at least {low_kg * 1000:g} g by {low_why}, "
        f"at most {high_kg * 1000:g} g by {high.in_words}; "
        "they cannot hold together for this batch",
        OutOfRange,
    )
    return Band(low_kg, high_kg, low_why, high.in_words, high, tuple(notes))


def usual_rate_g_per_kg(mix: Premix, target_ppm: float | None = None) -> float:
    """g of premix per kg of meat for `target_ppm` NaNO2 of the meat (the US chopped-meat ceiling unless given)."""
    target = (
        limit("us_nitrite_ingoing").limit
        if target_ppm is None
        else need_between("target_ppm", target_ppm, 0, 1e6)
    )
    return float(premix_kg_for(target, mix.strength_pct, 1.0)) * 1000
