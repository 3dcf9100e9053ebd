"""What do the limits say of one dose of cure, and which nitrite do they leave for this batch?"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from kit import tables
from kit.cure.dose import Bases, Dose
from kit.cure.salts import convert
from kit.errors import need_between, need_known
from kit.faults import need_said
from kit.rules.limits import ACCELERATORS, PER_MILLION, QUANTITIES, REPLACERS, Limit, all_limits
from kit.rules.verdicts import Verdict, verdict

ADDITIVES = QUANTITIES[5:]
"""accelerators, acids and phosphates"""
SEVERAL = (
    "more than one accelerator is used; the row does not say how they add up, ask the authority"
)


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
        need_known("additive", name, ADDITIVES)
        need_between(f"weight of {name}, kg", kg, 0, 1e6)
    return tuple(_judged(row, dose, additives or {}, residual_ppm) for row in limits)


def _judged(
    row: Limit, dose: Dose, additives: Mapping[str, float], residual_ppm: float | None
) -> Verdict:
    if row.quantity not in QUANTITIES:
        return verdict(row, None, f"{row.quantity} is judged from the mix, not from a dose")
    if row.quantity == "nitrite residual":
        if residual_ppm is not None:
            return verdict(row, convert(residual_ppm, "NaNO2", row.as_salt))
        why = "what is left cannot be calculated from what goes in; it needs a measurement of the finished product"
        return verdict(row, None, why)
    joint = row.basis == "accelerators"
    base = _sum_of(additives, ACCELERATORS + REPLACERS) if joint else dose.base_kg(row.basis)
    if base is None:
        why = "the finished weight is not known; weigh it, or give a cook yield"
        return verdict(row, None, why)
    kg, note = _amount_kg(row, dose, additives)
    return verdict(row, kg * PER_MILLION[row.unit] / base if base else 0.0, note)


def _amount_kg(row: Limit, dose: Dose, additives: Mapping[str, float]) -> tuple[float, str]:
    """What the limit counts, kg, and a note."""
    kind = row.quantity.split()[0]
    if kind in ("nitrite", "nitrate"):
        if row.as_salt == "as used":
            return getattr(dose, f"{kind}_as_used_kg"), ""
        counted = "NaNO2" if kind == "nitrite" else "NaNO3"
        return convert(getattr(dose, f"{kind}_kg"), counted, row.as_salt), ""
    names = [row.quantity, *["sodium acid pyrophosphate"] * (row.quantity == "phosphate")]
    used = sum(additives.get(name, 0) > 0 for name in ACCELERATORS)
    several = row.quantity in ACCELERATORS and used > 1
    return _sum_of(additives, names), SEVERAL if several else ""


def _sum_of(additives: Mapping[str, float], names) -> float:
    return sum(additives.get(name, 0.0) for name in names)


@dataclass(frozen=True)
class Band:
    """The nitrite (kg as NaNO2) that the limits leave: every limit turned into grams for this one batch, the tightest kept."""

    low_kg: float
    high_kg: float
    low_why: str
    high_limit: Limit
    notes: tuple[str, ...]


def limit_kg(row: Limit, bases: Bases, as_used_per_nano2: float = 1.0) -> float:
    """A limit on nitrite as kg NaNO2 for one batch. as_used_per_nano2: mass of the nitrite salt used over the same counted as NaNO2."""
    kg = row.limit / PER_MILLION[row.unit] * bases.need_base_kg(row.basis)
    if row.as_salt == "as used":
        return kg / as_used_per_nano2
    return convert(kg, row.as_salt, "NaNO2")


def band(
    limits: Iterable[Limit], bases: Bases, as_used_per_nano2: float = 1.0, on: date | None = None
) -> Band:
    """The nitrite that the limits leave for one batch.

    limits: the rows that hold; a limit on the finished product counts only if its weight is known.
    bases: the weights of the batch, kg.
    as_used_per_nano2: mass of the nitrite salt used over the same counted as NaNO2.
    on: the day whose law stands in where no published ceiling is among `limits` (today where left out): the loosest in force.
    Without a minimum, a teaching figure closes the band from below. Raises OutOfRange where the limits leave no room.
    """

    def kg(row: Limit) -> float:
        return limit_kg(row, bases, as_used_per_nano2)

    counted = [r for r in limits if r.quantity in ("nitrite ingoing", "nitrite finished")]
    counted = [row for row in counted if bases.base_kg(row.basis) is not None]
    highs = [row for row in counted if row.comparison == "max"]
    lows, notes = [row for row in counted if row.comparison != "max"], []
    if not any(row.published and row.caps_nitrite for row in highs):
        ceilings = (row for row in all_limits() if row.caps_nitrite and row.in_force(on))
        loosest = max((row for row in ceilings if bases.base_kg(row.basis) is not None), key=kg)
        highs.append(loosest)
        notes.append(
            f"no published ingoing ceiling was chosen, so the loosest one held is used: {loosest.in_words}"
        )
    high = min(highs, key=kg)
    high_kg = kg(high)
    if lows:
        low = max(lows, key=kg)
        low_kg, low_why = kg(low), low.in_words
    else:
        usual = tables.number("ordinary_dose_low_ppm_of_meat")
        # a teaching figure gives way to a ceiling
        low_kg = min(usual.value * bases.meat_kg / 1e6, high_kg)
        dose = f"usual lowest dose {usual.value:g} mg/kg NaNO2 of the meat"
        low_why = f"{dose} ({usual.status_in_words})"
    ends = {"low_g": low_kg * 1000, "low_why": low_why, "high_g": high_kg * 1000, "high": high}
    need_said(low_kg <= high_kg, "no room for a dose", **ends)
    return Band(low_kg, high_kg, low_why, high, tuple(notes))
