"""What the mass balance of one batch says: the shapes of the answer."""

from dataclasses import dataclass

from kit.errors import Fault, UnknownName
from kit.working import Result
from kit.yields.ledger import Point


@dataclass(frozen=True)
class StageLoss:
    """One stage, or several where a weight between them is missing."""

    stage: str
    stages: tuple[str, ...]
    in_kg: float
    added_kg: float
    rework_in_kg: float
    rework_out_kg: float
    samples_kg: float
    scrap_kg: float
    out_kg: float
    lost_kg: float
    """below 0: a gain with no addition, left as it is"""
    lost_sd_kg: float | None
    bridge: str
    """what a missing weight leaves open, in one sentence"""

    @property
    def all_in_kg(self) -> float:
        return self.in_kg + self.added_kg + self.rework_in_kg

    @property
    def yield_pct(self) -> float:
        """Out of everything that went into the stage."""
        return 100 * self.out_kg / self.all_in_kg

    @property
    def good_pct(self) -> float:
        """The same with rework and samples counted as good product."""
        return 100 * (self.out_kg + self.rework_out_kg + self.samples_kg) / self.all_in_kg

    @property
    def loss_kg(self) -> float:
        """Everything that is neither product, rework nor sample: scrap and lost."""
        return self.lost_kg + self.scrap_kg


@dataclass(frozen=True)
class Transfer:
    """Out of one stage less into the next. Positive: kilograms missing on the way."""

    from_stage: str
    to_stage: str
    out_kg: float
    in_kg: float
    unrecorded_kg: float
    sd_kg: float | None
    bridge: str

    @property
    def name(self) -> str:
        return f"{self.from_stage} to {self.to_stage}"


@dataclass(frozen=True)
class Base:
    """A weight that yields can be stated on."""

    name: str
    kg: float
    sd_kg: float | None
    weighed: str
    """which weight stands for it"""
    place: float


@dataclass(frozen=True)
class Yield:
    """`of` as a percentage of `base`."""

    of: str
    base: str
    kg: float
    base_kg: float
    pct: float
    sd_pct: float | None
    with_rework_pct: float
    """rework sent back after the base counted as product, rework taken in after it taken off"""


@dataclass(frozen=True)
class WaterfallRow:
    """One bar of the waterfall: a change of `kg` from `from_kg` to `to_kg`."""

    label: str
    kind: str
    """start, a kind of side flow, lost, unexplained, end or giveaway"""
    stage: str
    kg: float
    from_kg: float
    to_kg: float
    sd_kg: float | None


@dataclass(frozen=True)
class MassBalance(Result):
    """One batch's kilograms."""

    stages: tuple[StageLoss, ...]
    transfers: tuple[Transfer, ...]
    start: Point
    end: Point
    added_kg: float
    rework_in_kg: float
    rework_out_kg: float
    samples_kg: float
    scrap_kg: float
    lost_kg: float
    """lost inside stages, gains left out"""
    unrecorded_kg: float
    """signed sum of the transfers and of gains with no addition"""
    giveaway_kg: float | None
    bases: tuple[Base, ...]
    yields: tuple[Yield, ...]
    rows: tuple[WaterfallRow, ...]
    faults: tuple[Fault, ...]
    """gains with nothing added"""

    @property
    def all_in_kg(self) -> float:
        return self.start.kg + self.added_kg + self.rework_in_kg

    @property
    def sold_kg(self) -> float | None:
        """Packed less given away: the weight on the labels."""
        return None if self.giveaway_kg is None else self.end.kg - self.giveaway_kg

    def stage(self, name: str) -> StageLoss:
        for line in self.stages:
            if name in line.stages:
                return line
        raise UnknownName("weighed stage", name, [s for line in self.stages for s in line.stages])

    def base(self, name: str) -> Base:
        for base in self.bases:
            if base.name == name:
                return base
        raise UnknownName("base", name, [b.name for b in self.bases])

    def yield_on(self, base: str) -> Yield:
        """The end of the line, as a percentage of the named base."""
        for line in self.yields:
            if line.base == base:
                return line
        raise UnknownName("base", base, [y.base for y in self.yields])
