"""A limit as a straight line in the amounts.

Every limit here says that a share, scale × (n · z + c) / (d · z + d0), is at most or at least some figure, where z is each material's
part of the batch. Multiplied out it is a straight line in z, which is what a linear programme needs.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from kit.errors import UnknownName, need, need_between
from kit.materials import Material
from kit.materials.composition import SPECIES
from kit.meat_block.mix import AT, columns

AT_MOST, AT_LEAST = "at most", "at least"


@dataclass(frozen=True)
class WaterRule:
    """Added water of the finished product = W − times_protein × (P − max(P2 − group2_allowance_pct, 0)), never less than 0.

    W, P and P2 are water, protein and non-meat ("group 2") protein in percent of the finished product.
    """

    times_protein: float
    group2_allowance_pct: float
    added_water_high_pct: float | None = None
    fat_and_added_water_high_pct: float | None = None


@dataclass(frozen=True)
class OwnLimit:
    """A limit of the user's own: the sum over materials of kg × `per_kg[name]` lies between `low` and `high`, in `unit`."""

    name: str
    per_kg: Mapping[str, float]
    low: float | None = None
    high: float | None = None
    unit: str = "kg"


@dataclass(frozen=True)
class Limits:
    """What the mix must meet. None means no limit. Percentages are of the finished product unless the name says otherwise."""

    fat_low_pct: float | None = None
    fat_high_pct: float | None = None
    protein_low_pct: float | None = None
    protein_high_pct: float | None = None
    water_high_pct: float | None = None
    salt_low_pct: float | None = None
    salt_high_pct: float | None = None
    collagen_high_pct_of_protein: float | None = None
    species_pct_of_meat: Mapping[str, tuple[float | None, float | None]] = field(
        default_factory=dict
    )
    """species -> (least, greatest) share of the meat block"""
    poultry_high_pct_of_non_water: float | None = None
    mechanically_separated_high_pct_of_meat: float | None = None
    binder_high_pct: float | None = None
    isolate_high_pct: float | None = None
    caseinate_high_pct: float | None = None
    binder_and_isolate_share_high: float | None = None
    """binder / binder_high_pct + isolate / isolate_high_pct, at most this (1 in the usual reading)"""
    water_rule: WaterRule | None = None
    own: tuple[OwnLimit, ...] = ()


@dataclass(frozen=True)
class LimitValue:
    """How one limit stands at the answer."""

    name: str
    side: str
    limit: float
    value: float
    unit: str
    worth_per_unit: float = 0.0
    """money saved on the whole batch per unit by which the limit is loosened, for a small change; 0 where it does not bind"""

    @property
    def room(self) -> float:
        """Units left before the limit; negative where it is broken."""
        return self.limit - self.value if self.side == AT_MOST else self.value - self.limit

    @property
    def binds(self) -> bool:
        return abs(self.room) <= 1e-5 * max(1.0, abs(self.limit))


@dataclass(frozen=True)
class Constraint:
    """One row: scale × (n · z + c) / (d · z + d0) is at most (or at least) the limit. Lines of one name are relaxed together."""

    name: str
    side: str
    limit: float
    unit: str
    n: np.ndarray
    c: float
    d: np.ndarray
    d0: float
    scale: float
    law_of_nature: bool = False
    """this one cannot give way"""

    @property
    def sign(self) -> int:
        return 1 if self.side == AT_MOST else -1

    @property
    def row(self) -> np.ndarray:
        return self.sign * (self.n - self.limit / self.scale * self.d)

    @property
    def bound(self) -> float:
        return self.sign * (self.limit / self.scale * self.d0 - self.c)

    def value(self, z) -> float:
        below = float(self.d @ z) + self.d0
        return self.scale * (float(self.n @ z) + self.c) / below if below > 1e-12 else float("nan")

    def per_unit(self, z) -> float:
        """What loosening the limit by one unit adds to the bound."""
        return (float(self.d @ z) + self.d0) / self.scale


class _Rows:
    """Gathers the lines of one batch."""

    def __init__(self, materials: Sequence[Material], batch_kg: float, cook_yield_pct: float):
        share = columns(materials)
        self.batch_kg = batch_kg
        self.column = {name: share[:, at] for name, at in AT.items()}
        self.nothing = np.zeros(len(materials))
        self.finished = cook_yield_pct / 100
        self.lost = 1 - self.finished  # the loss is water
        self.made: list[Constraint] = []

    def add(self, name, low, high, n, c=0.0, d=None, d0=0.0, unit="%", scale=100.0):
        """A least and a greatest share; None where there is none."""
        d = self.nothing if d is None else d
        for side, limit in ((AT_LEAST, low), (AT_MOST, high)):
            if limit is not None:
                limit = need_between(f"limit on {name}", limit, 0, np.finfo(float).max)
                self.made.append(Constraint(name, side, limit, unit, n, c, d, d0, scale))

    def of_finished(self, name, low, high, n, c=0.0):
        self.add(name, low, high, n, c, d0=self.finished, unit="% of finished")

    def of_kg(self, name, low, high, n, unit="kg"):
        self.add(name, low, high, n, d0=1.0, unit=unit, scale=self.batch_kg)


def constraints(
    materials: Sequence[Material],
    limits: Limits,
    batch_kg: float,
    cook_yield_pct: float,
    least_kg,
    most_kg,
) -> tuple[Constraint, ...]:
    """Every limit as lines, in a fixed order. Refused: a limit that is no number, an unknown species or material, unknown collagen."""
    rows = _Rows(materials, batch_kg, cook_yield_pct)
    column, lost, meat = rows.column, rows.lost, rows.column["meat"]
    # a batter cannot lose more water than it holds
    name, water = "water left after the cook", column["water"]
    rows.made.append(
        Constraint(
            name, AT_LEAST, 0.0, "kg", water, -lost, rows.nothing, 1.0, batch_kg, law_of_nature=True
        )
    )
    for part, low, high in (
        ("fat", limits.fat_low_pct, limits.fat_high_pct),
        ("protein", limits.protein_low_pct, limits.protein_high_pct),
        ("water", None, limits.water_high_pct),
        ("salt", limits.salt_low_pct, limits.salt_high_pct),
    ):
        constant = -lost if part == "water" else 0.0
        rows.of_finished(f"{part} of the finished product", low, high, column[part], constant)
    if limits.collagen_high_pct_of_protein is not None:
        _need_collagen_known(materials, column)
    rows.add(
        "collagen share of the protein",
        None,
        limits.collagen_high_pct_of_protein,
        column["collagen"],
        d=column["protein"],
        unit="% of protein",
    )
    for species, (low, high) in limits.species_pct_of_meat.items():
        if species not in SPECIES:
            raise UnknownName("species", species, SPECIES)
        mine = np.array([m.kind == "meat" and m.species == species for m in materials], float)
        rows.add(f"{species} in the meat block", low, high, mine, d=meat, unit="% of meat")
    rows.add(
        "poultry",
        None,
        limits.poultry_high_pct_of_non_water,
        column["class poultry"] + column["class mechanically separated poultry"],
        d=1 - column["added_water"],
        unit="% of all but water",
    )
    rows.add(
        "mechanically separated meat",
        None,
        limits.mechanically_separated_high_pct_of_meat,
        column["class mechanically separated"],
        d=meat,
        unit="% of meat",
    )
    _add_binders(rows, limits)
    if limits.water_rule is not None:
        _add_water_rule(rows, limits.water_rule)
    for own in limits.own:
        rows.of_kg(own.name, own.low, own.high, _own_weights(own, materials), own.unit)
    for n, m in enumerate(materials):
        only = rows.nothing.copy()
        only[n] = 1
        rows.of_kg(f"least {m.name}", least_kg[n] or None, None, only)
        rows.of_kg(f"stock of {m.name}", None, most_kg[n] if most_kg[n] < np.inf else None, only)
    return tuple(rows.made)


def _add_binders(rows: _Rows, limits: Limits) -> None:
    for name, limit, rule_class in (
        ("binder", limits.binder_high_pct, "binder"),
        ("isolated soy protein", limits.isolate_high_pct, "isolated soy protein"),
        ("sodium caseinate", limits.caseinate_high_pct, "sodium caseinate"),
    ):
        held = rows.column[f"class {rule_class}"]
        rows.add(name, None, limit, held, d0=1.0, unit="% of batch")
    if limits.binder_and_isolate_share_high is None:
        return
    need(
        bool(limits.binder_high_pct and limits.isolate_high_pct),
        "the joint limit on binder and isolate needs both single limits, above 0; give them",
    )
    binder, isolate = rows.column["class binder"], rows.column["class isolated soy protein"]
    joint = 100 * (binder / limits.binder_high_pct + isolate / limits.isolate_high_pct)
    name, high = "binder and isolate together", limits.binder_and_isolate_share_high
    rows.add(name, None, high, joint, d0=1.0, unit="of 1", scale=1.0)


def _add_water_rule(rows: _Rows, rule: WaterRule) -> None:
    """The rule is the greatest of straight lines, so 'at most' holds when it holds for each: no branch is needed.

    max(P2 − a, 0) is either 0 or P2 − a, whichever is greater; added water is 0 or more.
    """
    column, lost = rows.column, rows.lost
    plain = column["water"] - rule.times_protein * column["protein"]
    with_group2 = plain + rule.times_protein * column["group2_protein"]
    beyond = -rule.times_protein * rule.group2_allowance_pct / 100 * rows.finished
    for name, fat, limit in (
        ("added water", 0.0, rule.added_water_high_pct),
        ("fat and added water", column["fat"], rule.fat_and_added_water_high_pct),
    ):
        for n, c in ((plain, -lost), (with_group2, beyond - lost), (rows.nothing, 0.0)):
            rows.of_finished(name, None, limit, n + fat, c)


def _own_weights(own: OwnLimit, materials) -> np.ndarray:
    names = [m.name for m in materials]
    for name in own.per_kg:
        if name not in names:
            raise UnknownName(f"material of the limit {own.name!r}:", name, names)
    need(
        own.low is not None or own.high is not None,
        f"the limit {own.name!r} has neither a low nor a high bound; give one",
    )
    weights = np.array([own.per_kg.get(name, 0.0) for name in names], float)
    need(
        bool(np.isfinite(weights).all()),
        f"the limit {own.name!r} has a weight that is no finite number",
    )
    return weights


def _need_collagen_known(materials, column) -> None:
    gap = (column["protein"] > 0) & (column["collagen_known_protein"] == 0)
    unknown = [m.name for m, missing in zip(materials, gap) if missing]
    need(
        not unknown,
        f"the collagen share of {', '.join(unknown)} is not published, so a limit on collagen cannot be reckoned; give it "
        "(by_lab with collagen_pct_of_protein), or leave out the material or the limit",
    )


def bounds(what: str, given, default: float, materials: Sequence[Material]) -> np.ndarray:
    """One bound for each material, kg; `default` where there is none."""
    if given is None:
        return np.full(len(materials), default)
    need(
        len(given) == len(materials),
        f"{what}: {len(given)} values for {len(materials)} materials; give one each, None where there is none",
    )
    for m, bound in zip(materials, given):
        need(
            bound is None or bound >= 0,
            f"{what} of {m.name} is {bound} kg; it must be 0 kg or more for every material",
        )
    return np.array([default if bound is None else bound for bound in given], float)
