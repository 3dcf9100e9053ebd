"""What the books of one batch say: the shapes of the answer."""

from dataclasses import dataclass

from kit.errors import Fault, UnknownName
from kit.working import Step
from kit.yields.ledger import Point


@dataclass(frozen=True)
class StageLine:
    """One stage, or several where a weight between them is missing. `lost_kg` < 0 is a gain with no addition, left as it is."""

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
    lost_sd_kg: float | None
    yield_pct: float
    """out of everything that went into the stage"""
    good_pct: float
    """the same with rework and samples counted as good product"""
    bridge: str

    @property
    def all_in_kg(self) -> float:
        return self.in_kg + self.added_kg + self.rework_in_kg

    @property
    def loss_kg(self) -> float:
        """Everything that is neither product, rework nor sample: scrap and lost."""
        return self.lost_kg + self.scrap_kg


@dataclass(frozen=True)
class HandOver:
    """Out of one stage against into the next. Positive: kilograms missing on the way."""

    from_stage: str
    to_stage: str
    out_kg: float
    in_kg: float
    unexplained_kg: float
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
class Compared:
    """Predicted loss of one line beside the weighed one."""

    stage: str
    predicted_kg: float
    weighed_kg: float
    difference_kg: float
    """weighed less predicted: positive is more lost than expected"""
    sd_kg: float | None


@dataclass(frozen=True)
class Row:
    """One bar of the waterfall: a change of `kg` from `from_kg` to `to_kg`; `start` and `end` stand on the floor."""

    label: str
    kind: str
    stage: str
    kg: float
    from_kg: float
    to_kg: float
    sd_kg: float | None


@dataclass(frozen=True)
class Books:
    """One batch's kilograms."""

    stages: tuple[StageLine, ...]
    handovers: tuple[HandOver, ...]
    start: Point
    end: Point
    added_kg: float
    rework_in_kg: float
    rework_out_kg: float
    samples_kg: float
    scrap_kg: float
    lost_kg: float
    """lost inside stages, gains left out"""
    unexplained_kg: float
    """signed sum of the hand-overs and of gains with no addition"""
    unexplained_sd_kg: float | None
    giveaway_kg: float | None
    bases: tuple[Base, ...]
    yields: tuple[Yield, ...]
    compared: tuple[Compared, ...]
    rows: tuple[Row, ...]
    faults: tuple[Fault, ...]
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]

    @property
    def all_in_kg(self) -> float:
        return self.start.kg + self.added_kg + self.rework_in_kg

    @property
    def unexplained_pct_of_all_in(self) -> float:
        return 100 * self.unexplained_kg / self.all_in_kg

    @property
    def sold_kg(self) -> float | None:
        """Packed less given away: the weight on the labels."""
        return None if self.giveaway_kg is None else self.end.kg - self.giveaway_kg

    def stage(self, name: str) -> StageLine:
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
