"""How much did the person write, and how many kilograms is that in this batch?"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kit.errors import WrongUnit, need
from kit.units import lone_comma, read, without_fractions
from kit.working import Step, Term

BASES = ("meat", "batch")
LEAST_KG, MOST_KG = 1e-6, 100_000.0
"""between these a line's weight must lie; beyond is a typing error"""
EXAMPLES = "'25 kg', '2 % of meat' or '1.8 % of batch'"
NUMBER = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_NUMBER_UNIT = re.compile(rf"({NUMBER})\s*(.*)")
_BASIS = re.compile(r"(.*?)\s*\bof\s+(?:the\s+)?(.+)")
_PER = re.compile(rf"([a-zA-Z.#]+)\s*(?:/|\bper\b)\s*({NUMBER})?\s*([a-zA-Z.#]+)")
_VOLUME = re.compile(
    r"\b(?:tea\s*|table\s*)?spoon(?:ful)?s?\b|\b(?:tsp|tbsp|cup|scoop|handful)s?\b|\b(?:pinch|dash)(?:es)?\b|\d\s*ml\b"
    r"|\bmillilit(?:er|re)s?\b",
    re.I,
)
_SHARES = {"%": 1.0, "percent": 1.0, "pct": 1.0, "ppm": 1e-4}
_PLAIN = {"kg": 1.0, "g": 1000.0, "mg": 1e6}


@dataclass(frozen=True)
class Amount:
    """An amount as written: either a mass (`mass_kg`) or a share (`pct`) of a `basis`, 'meat' or 'batch'."""

    written: str
    mass_kg: float | None = None
    pct: float | None = None
    basis: str = ""

    @property
    def number(self) -> float:
        """The share in percent where there is a basis, else the mass in kg."""
        return (self.pct if self.basis else self.mass_kg) or 0.0


def read_amount(written: str) -> Amount:
    """'25 kg', '1 lb 4 oz', '1 1/2 lb', '2 % of meat', '2.5 g/kg of meat', '4 oz per 100 lb of meat', '547 ppm of batch' as an Amount.

    Raises WrongUnit (no unit, no mass, no basis) or OutOfRange (zero, negative, over 100 %, beyond what a line can weigh).
    """
    text = without_fractions(lone_comma(" ".join(written.replace("−", "-").split())))
    if "," in text:
        raise WrongUnit(
            f"amount {written!r} holds a comma, which can mean 1.5 or 1500; "
            'write a decimal point and no thousands sign, or say decimal = "," in the file'
        )
    if _VOLUME.search(text):
        raise WrongUnit(
            f"amount {written!r} is a volume: grain, packing and heaping scatter what a spoon or cup holds by a factor of two and more; "
            "weigh it and write grams"
        )
    hit = _NUMBER_UNIT.fullmatch(text)
    if not hit:
        raise WrongUnit(
            f"amount {written!r} is no amount; write a number and a unit, such as {EXAMPLES}"
        )
    if not hit[2]:
        raise WrongUnit(f"amount {written!r} has no unit; write for example {EXAMPLES}")
    number, unit, plain = float(hit[1]), hit[2], f"{hit[1]} {hit[2]}"
    share = _BASIS.fullmatch(unit)
    head, basis = (share[1], share[2]) if share else (unit, "")
    pct_per = _pct_per(head)
    need(
        number > 0,
        f"amount {plain!r} is {'zero' if number == 0 else 'negative'}; an ingredient weighs more than nothing; "
        "leave the line out if none goes in",
    )
    if pct_per is None:
        if basis:
            raise WrongUnit(
                f"amount {plain!r} names a basis but is a mass; write it without 'of {basis}', or as a share such as '2 % of meat'"
            )
        mass = number / _PLAIN[unit] if unit in _PLAIN else read(plain, "kg", "amount")
        need(
            LEAST_KG <= mass <= MOST_KG,
            f"amount {plain!r} is {mass:g} kg; it must lie between {LEAST_KG:g} and {MOST_KG:g} kg; check the unit",
        )
        return Amount(plain, mass_kg=mass)
    return _share(plain, number * pct_per, basis)


def _share(written: str, pct: float, basis: str) -> Amount:
    if not basis:
        raise WrongUnit(
            f"amount {written!r} is a share of what? write '{written} of meat' or '{written} of batch'"
        )
    named = basis.removesuffix(" block")
    if named not in BASES:
        raise WrongUnit(
            f"amount {written!r} is a share of {basis!r}; a sheet knows shares of meat and of batch (the raw mix), "
            "so turn it into one of these or write a mass"
        )
    need(pct >= 1e-8, f"amount {written!r} is too small to weigh; check the unit")
    need(
        pct <= 100,
        f"amount {written!r} is {pct:g} %, over 100 % of {named}; write a share up to 100 %, or a mass",
    )
    return Amount(written, pct=pct, basis=named)


def _pct_per(head: str) -> float | None:
    """Percent that one of the unit `head` stands for ('%' 1, 'g/kg' 0.1); None if it is no share."""
    if head in _SHARES:
        return _SHARES[head]
    per = _PER.fullmatch(head)
    if not per:
        return None
    below = float(per[2] or 1)
    need(below > 0, f"the unit {head!r} divides by nothing; write for example 'g per kg'")
    return 100 * _unit_kg(per[1]) / (below * _unit_kg(per[3]))


def _unit_kg(unit: str) -> float:
    return 1 / _PLAIN[unit] if unit in _PLAIN else read(f"1 {unit}", "kg", "amount")


@dataclass(frozen=True)
class Shares:
    """The sums that fix meat block and batch: masses in kg, shares in percent.

    Over all lines, and over the meat lines.
    """

    mass_kg: float
    meat_mass_kg: float
    pct_of_meat: float
    meat_pct_of_meat: float
    pct_of_batch: float
    meat_pct_of_batch: float


def sums(amounts: Sequence[Amount], is_meat: Sequence[bool]) -> Shares:
    """The sums over amounts of which some are meat."""

    def total(basis: str, meat_only: bool) -> float:
        counts = (a for a, meat in zip(amounts, is_meat) if meat or not meat_only)
        return float(sum(a.number for a in counts if a.basis == basis))

    bases = ("", *BASES)
    return Shares(*(total(basis, meat_only) for basis in bases for meat_only in (False, True)))


def meat_and_batch(s: Shares) -> tuple[float, float]:
    """Meat block and batch in kg, from the two balances that the shares must meet:

    meat  = masses of meat + (shares of meat) meat + (shares of batch) batch, over the meat lines
    batch = all masses     + (shares of meat) meat + (shares of batch) batch, over all lines

    OutOfRange where no positive weights meet both.
    """
    need(
        s.pct_of_batch < 100,
        f"the shares of batch add up to {s.pct_of_batch:g} %, which leaves nothing for the other lines; "
        "they must add up to less than 100 %: give at least one line as a mass",
    )
    need(
        s.mass_kg > 0,
        "every amount is a share, so nothing says how large the batch is; give at least one line as a mass",
    )
    of_meat = [1 - s.meat_pct_of_meat / 100, -s.meat_pct_of_batch / 100]
    of_batch = [-s.pct_of_meat / 100, 1 - s.pct_of_batch / 100]
    need(
        of_meat[0] * of_batch[1] - of_meat[1] * of_batch[0] > 1e-9,
        "the shares cannot all hold: the meat lines given as shares already make up the entire meat block or more; "
        "give the main meat as a mass",
    )
    meat, batch = np.linalg.solve([of_meat, of_batch], [s.meat_mass_kg, s.mass_kg])
    return float(meat), float(batch)


def resolve(amounts: Sequence[Amount], is_meat: Sequence[bool]) -> tuple[float, ...]:
    """Kilograms of each line. OutOfRange where the shares cannot hold together."""
    shares = any(amount.basis for amount in amounts)
    of = dict(zip(BASES, meat_and_batch(sums(amounts, is_meat)))) if shares else {}
    return tuple(a.number / 100 * of[a.basis] if a.basis else a.number for a in amounts)


def working(
    names: Sequence[str],
    amounts: Sequence[Amount],
    is_meat: Sequence[bool],
    meat_kg: float,
    batch_kg: float,
) -> tuple[Step, ...]:
    """Meat block, batch, and each line given as a share, in steps for a pencil."""
    s = sums(amounts, is_meat)
    terms = {
        "a": Term("a", s.meat_mass_kg, "kg", "meat given as a mass"),
        "p": Term("p", s.meat_pct_of_meat, "%", "meat given as a share of meat"),
        "q": Term("q", s.meat_pct_of_batch, "%", "meat given as a share of batch"),
        "w": Term("w", s.mass_kg, "kg", "all lines given as a mass"),
        "P": Term("P", s.pct_of_meat, "%", "all lines given as a share of meat"),
        "Q": Term("Q", s.pct_of_batch, "%", "all lines given as a share of batch"),
        "meat": Term("meat", meat_kg, "kg"),
    }

    def made(what: str, formula: str, used: Sequence[str], answer: float) -> Step:
        return Step(what, formula, tuple(terms[symbol] for symbol in used), answer, "kg")

    formula, used = "meat = a", "a"
    if s.meat_pct_of_batch:
        formula = "meat = (a × (1 − Q / 100) + q / 100 × w) / ((1 − p / 100) × (1 − Q / 100) − P / 100 × q / 100)"
        used = "aQqwpP"
    elif s.meat_pct_of_meat:
        formula, used = "meat = a / (1 − p / 100)", "ap"
    steps = [made("Meat block", formula, used, meat_kg)]

    formula, symbols = "w", ["w"]
    if s.pct_of_meat:
        formula, symbols = "w + P / 100 × meat", ["w", "P", "meat"]
    if s.pct_of_batch:
        formula, symbols = f"({formula}) / (1 − Q / 100)", [*symbols, "Q"]
    steps.append(made("Batch, everything in the bowl", f"batch = {formula}", symbols, batch_kg))

    for name, a in zip(names, amounts):
        if a.basis:
            base = meat_kg if a.basis == "meat" else batch_kg
            put_in = Term("share", a.number, f"% of {a.basis}"), Term(a.basis, base, "kg")
            formula = f"weight = share / 100 × {a.basis}"
            steps.append(Step(f"{name}: {a.written}", formula, put_in, a.number / 100 * base, "kg"))
    return tuple(steps)
