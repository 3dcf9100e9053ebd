"""How much did the person write, and how many kilograms is that in this batch?"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import compress
from typing import Any

import numpy as np

from kit.errors import WrongUnit
from kit.faults import need_said, said
from kit.units import lone_comma, read, without_fractions
from kit.working import Step, steps_from, working_of

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
    at = {"written": written, "examples": EXAMPLES}
    need_said("," not in text, "amount with a comma", WrongUnit, **at)
    need_said(not _VOLUME.search(text), "volume", WrongUnit, **at)
    hit = _NUMBER_UNIT.fullmatch(text)
    if not hit:
        raise WrongUnit(said("no amount", **at))
    need_said(bool(hit[2]), "amount alone", WrongUnit, **at)
    number, unit, plain = float(hit[1]), hit[2], f"{hit[1]} {hit[2]}"
    share = _BASIS.fullmatch(unit)
    head, basis = (share[1], share[2]) if share else (unit, "")
    pct_per = _pct_per(head)
    sign = "negative" if number else "zero"
    need_said(number > 0, "nothing of it", written=plain, sign=sign)
    if pct_per is None:
        need_said(not basis, "mass of a basis", WrongUnit, written=plain, basis=basis)
        mass = number / _PLAIN[unit] if unit in _PLAIN else read(plain, "kg", "amount")
        ends = {"least": LEAST_KG, "most": MOST_KG}
        inside = LEAST_KG <= mass <= MOST_KG
        need_said(inside, "weight of an amount", written=plain, mass=mass, **ends)
        return Amount(plain, mass_kg=mass)
    return _share(plain, number * pct_per, basis)


def _share(written: str, pct: float, basis: str) -> Amount:
    named = basis.removesuffix(" block")
    need_said(bool(basis), "share of what", WrongUnit, written=written)
    need_said(named in BASES, "share of another basis", WrongUnit, written=written, basis=basis)
    need_said(pct >= 1e-8, "too small", written=written)
    need_said(pct <= 100, "too large a share", written=written, pct=pct, basis=named)
    return Amount(written, pct=pct, basis=named)


def _pct_per(head: str) -> float | None:
    """Percent that one of the unit `head` stands for ('%' 1, 'g/kg' 0.1); None if it is no share."""
    if head in _SHARES:
        return _SHARES[head]
    per = _PER.fullmatch(head)
    if not per:
        return None
    below = float(per[2] or 1)
    need_said(below > 0, "per nothing", head=head)
    return 100 * _unit_kg(per[1]) / (below * _unit_kg(per[3]))


def _unit_kg(unit: str) -> float:
    return 1 / _PLAIN[unit] if unit in _PLAIN else read(f"1 {unit}", "kg", "amount")


def sums(amounts: Iterable[Amount]) -> dict[str, float]:
    """{basis: sum}: masses in kg under '', shares in percent under 'meat' and 'batch'."""
    found = dict.fromkeys(("", *BASES), 0.0)
    for amount in amounts:
        found[amount.basis] += amount.number
    return found


def meat_and_batch(every: dict[str, float], meats: dict[str, float]) -> tuple[float, float]:
    """Meat block and batch in kg, from the two balances that the shares of all lines and of the meat lines must meet:

    meat  = masses of meat + (shares of meat) meat + (shares of batch) batch, over the meat lines
    batch = all masses     + (shares of meat) meat + (shares of batch) batch, over all lines

    OutOfRange where no positive weights meet both.
    """
    need_said(every["batch"] < 100, "batch of shares", share=every["batch"])
    need_said(every[""] > 0, "shares alone")
    of_meat = [1 - meats["meat"] / 100, -meats["batch"] / 100]
    of_batch = [-every["meat"] / 100, 1 - every["batch"] / 100]
    need_said(of_meat[0] * of_batch[1] - of_meat[1] * of_batch[0] > 1e-9, "meat of shares")
    meat, batch = np.linalg.solve([of_meat, of_batch], [meats[""], every[""]])
    return float(meat), float(batch)


def resolve(amounts: Sequence[Amount], is_meat: Sequence[bool]) -> tuple[float, ...]:
    """Kilograms of each line. OutOfRange where the shares cannot hold together."""
    of: dict[str, float] = {}
    if any(amount.basis for amount in amounts):
        meats = compress(amounts, is_meat)
        of = dict(zip(BASES, meat_and_batch(sums(amounts), sums(meats))))
    return tuple(a.number / 100 * of[a.basis] if a.basis else a.number for a in amounts)


def working(
    names: Sequence[str],
    amounts: Sequence[Amount],
    is_meat: Sequence[bool],
    meat_kg: float,
    batch_kg: float,
) -> tuple[Step, ...]:
    """Meat block, batch, and each line given as a share, in steps for a pencil."""
    every, meats = sums(amounts), sums(compress(amounts, is_meat))
    given = dict(zip("apqwPQ", (*meats.values(), *every.values())))
    meat, batch = "a", "w"
    if meats["batch"]:
        meat = "(a × (1 − Q / 100) + q / 100 × w) / ((1 − p / 100) × (1 − Q / 100) − P / 100 × q / 100)"
    elif meats["meat"]:
        meat = "a / (1 − p / 100)"
    if every["meat"]:
        batch = "w + P / 100 × meat"
    if every["batch"]:
        batch = f"({batch}) / (1 − Q / 100)"
    is_ = {"meat_is": meat, "batch_is": batch}
    steps = working_of("meat and batch", meat=meat_kg, batch=batch_kg, **given, **is_)
    known: dict[str, Any] = {"meat": (meat_kg, "kg"), "batch": (batch_kg, "kg")}
    for name, a in zip(names, amounts):
        if a.basis:
            known |= {"share": (a.number, f"% of {a.basis}")}
            known["weight"] = a.number / 100 * known[a.basis][0]
            row = (f"{name}: {a.written}", f"weight = share / 100 × {a.basis}", "kg")
            steps += steps_from(known, row)
    return steps
