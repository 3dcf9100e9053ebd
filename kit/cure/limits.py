"""What do the limits say of one dose of cure, and which nitrite do they leave for this batch?"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from kit import rules, tables
from kit.cure.dose import Bases, Dose
from kit.cure.salts import convert
from kit.errors import OutOfRange, UnknownName, need, need_between
from kit.rules.limits import (
    ACCELERATORS,
    BASES,
    PER_MILLION,
    QUANTITIES,
    REPLACERS,
    Limit,
    all_limits,
)
from kit.rules.verdicts import Found, Verdict
from kit.working import step

ADDITIVES = QUANTITIES[5:]
"""accelerators, acids and phosphates"""


@dataclass(frozen=True)
class _Weighed:
    """A dose with its additives (kg by name), and what a laboratory found left: what `rules.judge` asks."""

    dose: Dose
    additives: Mapping[str, float]
    residual_ppm: float | None

    def found(self, row: Limit) -> Found:
        if row.quantity not in QUANTITIES:
            return Found(None, f"{row.quantity} is judged from the mix, not from a dose")
        return self._left(row) if row.quantity == "nitrite residual" else self._put_in(row)

    def _left(self, row: Limit) -> Found:
        ppm = self.residual_ppm
        if ppm is None:
            return Found(
                None,
                "what is left cannot be calculated from what goes in; it needs a measurement of the finished product",
            )
        value = convert(ppm, "NaNO2", row.as_salt)
        work = step(
            row.quantity,
            "found = measured × M",
            value,
            row.unit,
            measured=(ppm, "mg/kg", "NaNO2"),
            M=(convert(1.0, "NaNO2", row.as_salt), "", f"NaNO2 to {row.as_salt}"),
        )
        return Found(value, "", lambda: (work,))

    def _put_in(self, row: Limit) -> Found:
        base = (
            _sum_of(self.additives, ACCELERATORS + REPLACERS)
            if row.basis == "accelerators"
            else self.dose.base_kg(row.basis)
        )
        if base is None:
            return Found(None, "the finished weight is not known; weigh it, or give a cook yield")
        kg, note = _amount_kg(row, self.dose, self.additives)
        if not base:
            return Found(0.0, note)
        per = PER_MILLION[row.unit]
        value = kg * per / base
        work = step(
            f"{row.quantity} of {BASES[row.basis]}",
            f"found = amount × {per:.0f} / base",
            value,
            row.unit,
            amount=(kg, "kg", row.as_salt),
            base=(base, "kg", row.basis),
        )
        return Found(value, note, lambda: (work,))


def judge(
    dose: Dose,
    limits: Iterable[Limit],
    additives: Mapping[str, float] | None = None,
    residual_ppm: float | None = None,
) -> tuple[Verdict, ...]:
    """Each limit against a dose.

    dose: what goes in.
    limits: Limits.
    additives: kg of accelerators, acids and phosphates by name (ADDITIVES).
    residual_ppm: nitrite measured in the finished product, mg/kg as NaNO2; without it a limit on what is left is not judged.
    Returns a Verdict for each limit, in its order. Raises UnknownName for another additive, OutOfRange for an impossible weight.
    """
    for name, kg in (additives or {}).items():
        if name not in ADDITIVES:
            raise UnknownName("additive", name, ADDITIVES)
        need_between(f"weight of {name}, kg", kg, 0, 1e6)
    return rules.judge(_Weighed(dose, additives or {}, residual_ppm), limits)


def _amount_kg(row: Limit, dose: Dose, additives: Mapping[str, float]) -> tuple[float, str]:
    """What the limit counts, kg, and a note."""
    kind = row.quantity.split()[0]
    if kind in ("nitrite", "nitrate"):
        if row.as_salt == "as used":
            return getattr(dose, f"{kind}_as_used_kg"), ""
        counted = "NaNO2" if kind == "nitrite" else "NaNO3"
        return convert(getattr(dose, f"{kind}_kg"), counted, row.as_salt), ""
    names = [row.quantity]
    if row.quantity == "phosphate":
        names.append("sodium acid pyrophosphate")
    note = ""
    used = sum(additives.get(name, 0) > 0 for name in ACCELERATORS)
    if row.quantity in ACCELERATORS and used > 1:
        note = "more than one accelerator is used; the row does not say how they add up, ask the authority"
    return _sum_of(additives, names), note


def _sum_of(additives: Mapping[str, float], names) -> float:
    return sum(additives.get(name, 0.0) for name in names)


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
    """The nitrite that the limits leave for one batch.

    limits: the rows that hold; a limit on the finished product counts only if its weight is known.
    meat_kg, batch_kg, finished_kg: the bases, kg.
    as_used_per_nano2: mass of the nitrite salt used over the same counted as NaNO2.
    on: the day whose law stands in where no published ceiling is among `limits` (today where left out): the loosest in force.
    Without a minimum, a teaching figure closes the band from below. Raises OutOfRange where the limits leave no room.
    """
    bases = Bases(meat_kg, batch_kg, finished_kg)

    def counted(row: Limit) -> bool:
        known = row.quantity in ("nitrite ingoing", "nitrite finished")
        return known and bases.base_kg(row.basis) is not None

    def as_kg(row: Limit) -> float:
        kg = row.limit / PER_MILLION[row.unit] * bases.need_base_kg(row.basis)
        return (
            kg / as_used_per_nano2
            if row.as_salt == "as used"
            else convert(kg, row.as_salt, "NaNO2")
        )

    placed = [(as_kg(row), row) for row in limits if counted(row)]
    highs = [one for one in placed if one[1].comparison == "max"]
    lows = [one for one in placed if one[1].comparison != "max"]
    notes = []
    if not any(row.published and row.quantity == "nitrite ingoing" for _, row in highs):
        in_force = (
            (as_kg(row), row)
            for row in all_limits()
            if row.product_kind == "cooked sausage"
            and row.caps_nitrite
            and counted(row)
            and row.in_force(on)
        )
        loosest = max(in_force, key=lambda pair: pair[0])
        highs.append(loosest)
        notes.append(
            f"no published ingoing ceiling was chosen, so the loosest one held stands in: {loosest[1].in_words}"
        )
    high_kg, high = min(highs, key=lambda pair: pair[0])
    if lows:
        low_kg, low = max(lows, key=lambda pair: pair[0])
        low_why = low.in_words
    else:
        usual = tables.number("ordinary_dose_low_ppm_of_meat")
        # a teaching figure gives way to a ceiling
        low_kg = min(usual.value * meat_kg / 1e6, high_kg)
        low_why = (
            f"usual lowest dose {usual.value:g} mg/kg NaNO2 of the meat ({usual.status_in_words})"
        )
    need(
        low_kg <= high_kg,
        f"the limits leave no room: at least {low_kg * 1000:g} g by {low_why}, "
        f"at most {high_kg * 1000:g} g by {high.in_words}; "
        "they cannot hold together for this batch",
        OutOfRange,
    )
    return Band(low_kg, high_kg, low_why, high.in_words, high, tuple(notes))
