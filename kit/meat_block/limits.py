"""A limit as a straight line in the amounts.

Every limit says that a quantity, scale × (n · z) / (d · z), is at most or at least some figure, where z is each material's
part of the batch. Multiplied out it is a straight line in z, which is what a linear programme needs.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from kit.errors import need_between, need_known
from kit.faults import need_said
from kit.materials import Material
from kit.meat_block.mix import compose
from kit.meat_block.quantities import quantities, weigh

AT_MOST, AT_LEAST = "at most", "at least"
Limits = Mapping[str, tuple[float | None, float | None]]
"""what the mix must meet: a name of `quantities` -> (least, most), None where there is no bound"""


@dataclass(frozen=True)
class LimitValue:
    """One limit and its value at the answer."""

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
    """One row: scale × (n · z) / (d · z) is at most (or at least) the limit. Lines of one name are relaxed together."""

    name: str
    side: str
    limit: float
    unit: str
    n: np.ndarray
    d: np.ndarray
    scale: float
    law_of_nature: bool = False
    """this one cannot give way"""

    @property
    def sign(self) -> int:
        return 1 if self.side == AT_MOST else -1

    @property
    def row(self) -> np.ndarray:
        """Its product with z is at most 0."""
        return self.sign * (self.n - self.limit / self.scale * self.d)

    def value(self, z) -> float:
        below = float(self.d @ z)
        return self.scale * float(self.n @ z) / below if below > 1e-12 else float("nan")

    def per_unit(self, z) -> float:
        """What loosening the limit by one unit adds to the bound."""
        return float(self.d @ z) / self.scale

    def stands(self, value: float, worth: float = 0.0) -> LimitValue:
        return LimitValue(self.name, self.side, self.limit, value, self.unit, worth)


def constraints(
    materials: Sequence[Material],
    limits: Limits,
    batch_kg: float,
    cook_yield_pct: float,
    least_kg,
    most_kg,
) -> tuple[Constraint, ...]:
    """Every limit as lines, in a fixed order. Refused: a limit that is no number, an unknown quantity, unknown collagen."""
    whole = np.ones(len(materials))
    parts = compose(materials, np.eye(len(materials))).parts_kg(cook_yield_pct)
    # a batter cannot lose more water than it holds
    water = ("water left after the cook", AT_LEAST, 0.0, "kg", parts["finished_water"])
    found = [Constraint(*water, whole, batch_kg, law_of_nature=True)]
    for key, (low, high) in limits.items():
        need_known("quantity to limit", key, quantities())
        quantity = quantities()[key]
        need_said(low is None or not quantity.surplus, "greatest value only", quantity=quantity)
        if "collagen" in quantity.over:
            _need_collagen_known(materials, parts["collagen"])
        name = f"{quantity.title} {quantity.basis}"
        under = weigh(quantity.under, parts) * whole
        for side, limit in ((AT_LEAST, low), (AT_MOST, high)):
            if limit is not None:
                need_between(f"limit on {name}", limit, 0, np.finfo(float).max)
                # the greatest of several lines is at most the limit where each of them is
                lines = (weigh(over, parts) * whole for over in quantity.lines)
                unit, scale = quantity.unit, quantity.scale
                found += [Constraint(name, side, limit, unit, n, under, scale) for n in lines]
    for m, least, most, only in zip(materials, least_kg, most_kg, np.eye(len(materials))):
        for name, side, limit in (("least", AT_LEAST, least), ("stock of", AT_MOST, most)):
            if limit < np.inf and (limit or side == AT_MOST):
                name = f"{name} {m.name}"
                found.append(Constraint(name, side, limit, "kg", only, whole, batch_kg))
    return tuple(found)


def _need_collagen_known(materials: Sequence[Material], collagen: np.ndarray) -> None:
    unknown = [m.name for m, missing in zip(materials, np.isnan(collagen)) if missing]
    need_said(not unknown, "collagen unknown", unknown=", ".join(unknown))


def bounds(what: str, given, default: float, materials: Sequence[Material]) -> np.ndarray:
    """One bound for each material, kg; `default` where there is none."""
    if given is None:
        return np.full(len(materials), default)
    count, wanted = len(given), len(materials)
    need_said(count == wanted, "bounds for materials", what=what, given=count, materials=wanted)
    for m, bound in zip(materials, given):
        need_said(bound is None or bound >= 0, "bound below 0", what=what, m=m, bound=bound)
    return np.array([default if bound is None else bound for bound in given], float)
