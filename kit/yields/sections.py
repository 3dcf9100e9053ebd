"""Between which two weights did a loss happen, and whose loss is it?

The main stream is a row of weights. Between two neighbours lies a section: the inside of one stage,
the transfer from one stage to the next, or, where a weight is missing, both together.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from kit import units
from kit.stages import STAGES
from kit.yields.ledger import (
    ADDITION,
    IN,
    ORDER,
    OUT,
    REWORK_IN,
    REWORK_OUT,
    SAMPLE,
    SCRAP,
    SIGN,
    WeightEntry,
    points,
    root_sum,
)

ROUNDING = 1e-9
"""differences smaller than this share of the weights are binary rounding, not kilograms"""


@dataclass(frozen=True)
class Section:
    """Two neighbouring main-stream weights, and the side flows between them."""

    start: WeightEntry
    end: WeightEntry
    stages: tuple[str, ...]
    """the stages whose insides lie between; none: a transfer from one stage to the next"""
    skipped: tuple[str, ...]
    """stages between, of which nothing is written"""
    sides: tuple[WeightEntry, ...]

    @property
    def stage(self) -> str:
        """ "cook", "cook + chill" where a weight between is missing, "chop to stuff" for a transfer."""
        return " + ".join(self.stages) or f"{self.start.stage} to {self.end.stage}"

    @property
    def is_transfer(self) -> bool:
        return not self.stages

    def kg_of(self, *kinds: str) -> float:
        """Kilograms of the side flows of these kinds."""
        return sum(e.kg for e in self.sides if e.kind in kinds)

    @property
    def in_kg(self) -> float:
        return self.start.kg

    @property
    def out_kg(self) -> float:
        return self.end.kg

    @property
    def added_kg(self) -> float:
        return self.kg_of(ADDITION)

    @property
    def all_in_kg(self) -> float:
        return self.in_kg + self.kg_of(ADDITION, REWORK_IN)

    @property
    def lost_kg(self) -> float:
        """What is missing here; below 0: a gain with no addition, left as it is."""
        return self.in_kg + sum(SIGN[e.kind] * e.kg for e in self.sides) - self.out_kg

    @property
    def lost_sd_kg(self) -> float | None:
        return root_sum((self.start.sd_kg, self.end.sd_kg, *(e.sd_kg for e in self.sides)))

    @property
    def loss_kg(self) -> float:
        """Everything that is neither product, rework nor sample: scrap and lost."""
        return self.lost_kg + self.kg_of(SCRAP)

    @property
    def yield_pct(self) -> float:
        """Out of everything that went in."""
        return 100 * self.out_kg / self.all_in_kg

    @property
    def good_pct(self) -> float:
        """The same with rework and samples counted as good product."""
        return 100 * (self.out_kg + self.kg_of(REWORK_OUT, SAMPLE)) / self.all_in_kg

    @property
    def gained(self) -> bool:
        """More came out than went in, with nothing added."""
        return self.lost_kg < -ROUNDING * self.all_in_kg

    @property
    def is_unrecorded(self) -> bool:
        """Unrecorded: a transfer, or a gain in a stage."""
        return self.is_transfer or self.gained

    def gain_in_words(self, system: str = units.METRIC) -> str:
        """What came out beyond what went in."""
        into, out = (units.show(kg, "kg", system) for kg in (self.all_in_kg, self.out_kg))
        small = 6 if -self.lost_kg < 0.01 else None
        gain = units.show(-self.lost_kg, "kg", system, small)
        if self.is_transfer:
            return f"{out} came in where {into} went out, {gain} more"
        return f"{gain} more came out than went in ({into} in)"

    @property
    def bridge(self) -> str:
        """What a missing weight leaves open, in one sentence; empty where none is missing."""
        nothing = f"nothing is written for {_all(self.skipped)}" if self.skipped else ""
        if self.is_transfer:
            between = f"between {self.start.stage} and {self.end.stage}"
            told = f"{nothing}: what was lost there is in the unrecorded loss {between}"
            return told if nothing else ""
        ends = {(p.stage, p.kind) for p in (self.start, self.end)}
        wanted = [(stage, kind) for stage in self.stages for kind in (IN, OUT)]
        missing = [WeightEntry(*mark, 0).label for mark in wanted if mark not in ends]
        if not missing:
            return ""
        return (
            f"{_all([f'the weight {label}' for label in missing])} "
            f"{'is' if len(missing) == 1 else 'are'} missing{'; ' if nothing else ''}{nothing}: "
            f"bridged from the weight {self.start.label} to the weight {self.end.label}, "
            f"so the loss of {_all(self.stages)} also holds whatever was lost in transfer"
        )


def sections(entries: Iterable[WeightEntry]) -> tuple[Section, ...]:
    """The sections of checked entries, in the order of the line."""
    entries = tuple(entries)
    sides = [e for e in entries if e.kind in SIGN]
    stream, order = points(entries), list(STAGES)
    found = []
    for start, end in zip(stream, stream[1:]):
        between = order[ORDER[start.stage] + 1 : ORDER[end.stage]]
        busy = [s for s in between if any(e.stage == s for e in sides)]
        if start.kind == IN:
            busy.insert(0, start.stage)
        if end.kind == OUT:
            busy.append(end.stage)
        stages = tuple(dict.fromkeys(busy))
        skipped = tuple(s for s in between if s not in busy)
        held = tuple(e for e in sides if stages and start.place < e.place < end.place)
        found.append(Section(start, end, stages, skipped, held))
    return tuple(found)


def _all(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
