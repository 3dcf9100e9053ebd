"""Which mix of the meats on hand has the fat that is wanted; where none has, what is missing?

Every other line keeps its ratio to the meat, so that fat less the wanted fat is a straight line in the kilograms of each meat.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

import numpy as np
import scipy as sp

from kit.chain.cook_yield import cook_yield
from kit.errors import need_between
from kit.materials import material
from kit.sheet import Line, Sheet
from kit.working import Result, working_of

FINISHED, BATCH, MEAT = "finished", "batch", "meat"
BASES = {FINISHED: "the finished product", BATCH: "the raw batter", MEAT: "the meat block"}
BOUGHT = {
    "pork": ("pork backfat", "pork shoulder, lean"),
    "beef": ("beef fat, retail cuts", "beef shank, lean"),
    "chicken": ("chicken skin", "chicken ground"),
    "turkey": ("chicken skin", "turkey ground 93"),
}
"""species with most of the meat -> (fatter, leaner) material that is proposed where no line of the sheet serves"""
CLOSE_KG = 1e-6
LEAST_USED = 0.5
"""part of the main meat (that with most protein) that a mix must use; one that leaves more of it is not what was asked for"""


@dataclass(frozen=True)
class Missing:
    """What to buy so that everything used meets the target."""

    name: str
    fat_pct: float
    kg: float


@dataclass(frozen=True)
class MeatMix(Result):
    """`sheet` holds the amounts of the mix. `reached_pct`: its fat in percent of `basis`; `left_kg`: what stays of each meat."""

    sheet: Sheet
    target_pct: float
    basis: str
    reached_pct: float
    left_kg: dict[str, float]
    missing: Missing | None
    short_kg: float
    """meat that is lacking for the batch that is wanted; 0 where none is"""

    @property
    def reached(self) -> bool:
        return abs(self.reached_pct - self.target_pct) < 0.005

    @property
    def what_to_do(self) -> str:
        """What to add, in a few words; '' where the target is met."""
        if self.reached:
            return ""
        if self.missing is None:
            return "nothing on hand or on the list reaches it"
        return f"add {self.missing.kg:.2f} kg of {self.missing.name} ({self.missing.fat_pct:.0f} % fat)"

    @property
    def words(self) -> str:
        """The mix in plain sentences."""
        of = f"fat in {BASES[self.basis]}"
        lacking = f" {self.short_kg:.2f} kg of meat is lacking for the batch wanted."
        short = lacking if self.short_kg else ""
        if self.reached:
            used = "; ".join(f"{kg:.2f} kg of {n} stays" for n, kg in self.left_kg.items())
            return f"{self.target_pct:g} % {of} is met{f': {used}' if used else ''}.{short}"
        away = "cannot be reached with what is on hand: "
        if self.missing:
            away = f"is not reached: {self.what_to_do}, or "
        return f"{self.target_pct:g} % {of} {away}accept {self.reached_pct:.1f} % {of}.{short}"


def mix_for_fat(sheet: Sheet) -> MeatMix | None:
    """The mix that comes closest to the sheet's `fat_target_pct`; None for a sheet without one.

    A meat's amount is what is on hand, and the batch is as large as that allows, or as `batch_target_kg` says. Where a line has a stock, its amount
    is the plan and the stock the bound. Of several mixes that meet the target the cheapest is taken where every meat has a price, else the one
    nearest to the amounts written.
    """
    plan = sheet.process
    if plan.fat_target_pct is None:
        return None
    basis = plan.fat_target_basis or FINISHED
    slope = _Slope(sheet, plan.fat_target_pct, basis)
    wanted_kg = _wanted_meat_kg(sheet)
    most = np.array([line.kg if line.stock_kg is None else line.stock_kg for line in slope.meats])
    short = 0.0 if wanted_kg is None else max(wanted_kg - float(most.sum()), 0.0)
    kg = most if short else _best(slope, most, wanted_kg)
    reached = slope.pct(kg)
    off = float(slope.e @ kg)
    found = slope.missing(off) if abs(reached - slope.target_pct) >= 0.005 else None
    left = {line.name: float(stay) for line, stay in zip(slope.meats, most - kg) if stay > 0.0005}
    thing, per_kg = found or (None, None)
    steps = working_of(
        "mix for fat",
        F=float(slope.fat @ kg),
        a=slope.other_fat,
        M=float(kg.sum()),
        d=slope.base_kg,
        p=reached,
        basis=BASES[basis],
        thing=thing and thing.name,
        x=thing and thing.kg,
        g=off,
        e=per_kg,
    )
    return MeatMix(
        _with_meat(sheet, slope.meats, kg),
        slope.target_pct,
        basis,
        reached,
        left,
        thing,
        short if short > CLOSE_KG else 0.0,
        own_working=steps,
        own_sources=tuple(line.material.cite() for line in slope.meats),
    )


class _Slope:
    """Fat less the wanted fat, kg, as e · m for the kilograms m of each meat."""

    def __init__(self, sheet: Sheet, target_pct: float, basis: str):
        self.target_pct = need_between("fat wanted, %", target_pct, 0, 95)
        self.meats: Sequence[Line] = sheet.of_kind("meat")
        others = [line for line in sheet.lines if line.kind != "meat"]
        meat_kg = sheet.meat_kg
        share = sum(line.kg * line.material.fat_pct for line in others) / 100 / meat_kg
        yields = cook_yield(sheet).pct / 100 if basis == FINISHED else 1.0
        self.other_fat = 0.0 if basis == MEAT else share
        self.base_kg = 1.0 if basis == MEAT else yields * sheet.batch_kg / meat_kg
        self.fat = np.array([line.material.fat_pct for line in self.meats]) / 100
        self.e = self.per_kg(self.fat)

    def per_kg(self, fat):
        """What a kilogram of meat with this fat fraction adds to fat less wanted fat, with all that follows it."""
        return fat + self.other_fat - self.target_pct / 100 * self.base_kg

    def pct(self, kg) -> float:
        total = float(kg.sum())
        return 100 * (float(self.fat @ kg) + self.other_fat * total) / (self.base_kg * total)

    def missing(self, off: float) -> tuple[Missing, float] | None:
        """What corrects it, and what a kilogram of it adds: the most effective meat of the sheet, else the usual one of its species."""
        own = {line.name: line.material.fat_pct for line in self.meats}
        kg_by: dict[str, float] = {}
        for line in self.meats:
            kg_by[line.material.species] = kg_by.get(line.material.species, 0.0) + line.kg
        usual = BOUGHT.get(max(kg_by, key=kg_by.__getitem__), BOUGHT["pork"])[off > 0]
        bought = {usual: material(usual).fat_pct}
        for known in (own, bought):
            each = {name: float(self.per_kg(fat / 100)) for name, fat in known.items()}
            name = (min if off > 0 else max)(each, key=each.__getitem__)
            if each[name] * off < 0:
                return Missing(name, known[name], -off / each[name]), each[name]
        return None


def _wanted_meat_kg(sheet: Sheet) -> float | None:
    """The meat of the batch that is wanted; None where it is to be as large as what is on hand."""
    if sheet.process.batch_target_kg is not None:
        return sheet.process.batch_target_kg * sheet.meat_kg / sheet.batch_kg
    stocked = any(line.stock_kg is not None for line in sheet.of_kind("meat"))
    return sheet.meat_kg if stocked else None


def _best(slope: _Slope, most: np.ndarray, wanted_kg: float | None) -> np.ndarray:
    """Kilograms of each meat: on target where that can be, else all on hand, or for a wanted batch the mix that comes closest."""
    n = len(most)
    bounds = [(0.0, float(each)) for each in most]
    if wanted_kg is None:
        found = sp.optimize.linprog(-np.ones(n), A_eq=slope.e[None], b_eq=[0.0], bounds=bounds)
        main = int(np.argmax(most * [line.material.protein_pct for line in slope.meats]))
        usable = found.status == 0 and found.x[main] >= LEAST_USED * most[main]
        return _clean(found.x, most) if usable else most
    total = (np.ones((1, n)), [wanted_kg])

    def least(cost, *held):
        return sp.optimize.linprog(cost, None, None, *held, bounds=bounds).x

    reach = [least(way * slope.e, *total) for way in (1, -1)]
    low, high = (float(slope.e @ x) for x in reach)
    if not low <= 0 <= high:
        return _clean(reach[0] if low > 0 else reach[1], most)
    prices = [line.price_per_kg for line in slope.meats]
    on_target = (np.vstack([np.ones(n), slope.e]), [wanted_kg, 0.0])
    if all(price is not None for price in prices):
        return _clean(least(prices, *on_target), most)
    # nearest to the proportions written: each meat's distance from its share is a variable of its own
    share = np.array([line.kg for line in slope.meats])
    share, eye = share * wanted_kg / share.sum(), np.eye(n)
    apart = (np.block([[eye, -eye], [-eye, -eye]]), [*share, *-share])
    wide = (np.hstack([on_target[0], np.zeros((2, n))]), on_target[1])
    cost, both = [*np.zeros(n), *np.ones(n)], [*bounds, *[(0.0, inf)] * n]
    return _clean(sp.optimize.linprog(cost, *apart, *wide, bounds=both).x[:n], most)


def _clean(kg: np.ndarray, most: np.ndarray) -> np.ndarray:
    kg = np.where(kg < CLOSE_KG, 0.0, kg)
    return np.where(most - kg < CLOSE_KG, most, kg)


def _with_meat(sheet: Sheet, meats: Sequence[Line], kg: np.ndarray) -> Sheet:
    """The sheet with these meats; a mass of any other line keeps its ratio to the meat, a meat of nothing is left out."""
    scale = float(kg.sum()) / sheet.meat_kg
    masses = (line for line in sheet.lines if not line.amount.basis)
    wanted = {line.name: line.kg * scale for line in masses}
    wanted |= {line.name: float(each) for line, each in zip(meats, kg)}
    moved = {n: x for n, x in wanted.items() if abs(x - sheet.line(n).kg) > 1e-9 * sheet.line(n).kg}
    return sheet.with_amounts({n: f"{x:.9f} kg" if x else "" for n, x in moved.items()})
