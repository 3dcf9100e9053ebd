"""One cure sheet: what is weighed, on which bases, and what it is meant to be."""

from dataclasses import dataclass
from datetime import date

from kit.cure.dose import Bases, CureLine
from kit.cure.salts import convert
from kit.cure.scale import Scale
from kit.errors import OutOfRange, need_between
from kit.rules.limits import Limit


@dataclass(frozen=True, kw_only=True)
class Plan(Bases):
    """One cure sheet. Only meat_kg and batch_kg are needed; each further input makes more dosing errors visible.

    limits: rows the dose is held against. target_ppm (of target_basis, counted as target_as): what the sheet says it wants.
    scale: the one that weighs the cure. bowl_kg: the batch as weighed after mixing. unread_blends: seasoning blends whose label nobody
    read for cure.  on: the day whose law stands in where `limits` hold no ceiling (today where left out).
    """

    cure: tuple[CureLine, ...] = ()
    limits: tuple[Limit, ...] = ()
    target_ppm: float | None = None
    target_basis: str = "meat"
    target_as: str = "NaNO2"
    scale: Scale | None = None
    bowl_kg: float | None = None
    unread_blends: tuple[str, ...] = ()
    on: date | None = None

    def __post_init__(self):
        super().__post_init__()
        self.need_base_kg(self.target_basis)
        if self.target_ppm is not None:
            need_between("target_ppm", self.target_ppm, 0, 1e6)
            convert(self.target_ppm, self.target_as, "NaNO2")
        if self.bowl_kg is not None:
            need_between("bowl_kg", self.bowl_kg, 1e-6, 1e7)

    @property
    def weigher(self) -> Scale:
        """The scale. OutOfRange where none is named."""
        if self.scale is None:
            raise OutOfRange("a weigh list needs a scale; give the smallest step it shows")
        return self.scale

    @property
    def target_kg(self) -> float | None:
        """Nitrite (kg as NaNO2) that the sheet's target stands for."""
        if self.target_ppm is None:
            return None
        target = convert(self.target_ppm, self.target_as, "NaNO2")
        return target * self.need_base_kg(self.target_basis) / 1e6

    @property
    def assayed(self) -> tuple[CureLine, ...]:
        """The lines whose nitrite is known."""
        return tuple(line for line in self.cure if line.premix.assayed)

    @property
    def sources(self) -> tuple[CureLine, ...]:
        """The lines that bring nitrite for certain."""
        return tuple(line for line in self.assayed if line.nitrite_kg > 0)
