"""What was weighed, at which stage, and is any entry impossible?

A ledger is a sequence of `WeightEntry`. Main-stream weights are `in` (what a stage got from the
stage before it) and `out` (what it passed on). All else is a side flow: additions, rework, samples,
scrap.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import hypot, isfinite

from kit import units
from kit.errors import nearest
from kit.faults import Faults
from kit.stages import STAGES

IN, OUT, GIVEAWAY = "in", "out", "giveaway"
ADDITION, REWORK_IN, REWORK_OUT = "addition", "rework in", "rework out"
SAMPLE, SCRAP = "sample", "scrap"
SIGN = {ADDITION: 1, REWORK_IN: 1, REWORK_OUT: -1, SAMPLE: -1, SCRAP: -1}
"""side flows: +1 comes into the batch at the stage, -1 leaves it"""
KINDS = (IN, OUT, *SIGN, GIVEAWAY)
ORDER = {stage: number for number, stage in enumerate(STAGES)}
PLACE = {IN: 0.0, ADDITION: 0.25, REWORK_IN: 0.25, REWORK_OUT: 0.5, SAMPLE: 0.5, SCRAP: 0.5}
PLACE |= {OUT: 0.75, GIVEAWAY: 0.8}
"""where in a stage: in, then what is put in, then what is taken out, then out"""


@dataclass(frozen=True)
class WeightEntry:
    """One weight. Several of one kind at one stage are added up if their names differ (carts)."""

    stage: str
    kind: str
    """one of KINDS; `giveaway` is net weight of the packs less the weight on the labels"""
    kg: float
    name: str = ""
    sd_kg: float | None = None
    """standard deviation of the weighing; None where it is not known"""

    @property
    def label(self) -> str:
        if self.kind in (IN, OUT) and not self.name:
            return f"into {self.stage}" if self.kind == IN else f"out of {self.stage}"
        return f"{self.name or self.kind} at {self.stage}"

    @property
    def place(self) -> float:
        return place_of(self.stage, self.kind)


def place_of(stage: str, kind: str) -> float:
    """Where along the line a weight is taken."""
    return ORDER[stage] + PLACE[kind]


def at(
    stage: str,
    in_kg=None,
    out_kg=None,
    *,
    additions_kg=None,
    rework_in_kg=None,
    rework_out_kg=None,
    samples_kg=None,
    scrap_kg=None,
    giveaway_kg=None,
    sd_kg=None,
) -> tuple[WeightEntry, ...]:
    """The weights of one stage. Numbers are kg; text such as '12 lb' and quantities are read.

    stage: one of kit.stages.STAGES.
    in_kg, out_kg, additions_kg, rework_in_kg, rework_out_kg, samples_kg, scrap_kg: kg, 0 or more; an
    amount, or a mapping of names to amounts, additions_kg={"ice": 250, "dry goods": 45}.
    giveaway_kg: net weight of the packs less the labels, kg; below 0 where packs are short.
    sd_kg: standard deviation of every weight of the stage, kg, 0 or more.
    Returns the entries of a ledger. Raises WrongUnit for another unit.
    """
    sides = (additions_kg, rework_in_kg, rework_out_kg, samples_kg, scrap_kg)
    sd = None if sd_kg is None else _kg(sd_kg, f"sd at {stage}")
    return tuple(
        WeightEntry(stage, kind, _kg(kg, f"{name or kind} at {stage}"), str(name), sd)
        for kind, given in zip(KINDS, (in_kg, out_kg, *sides, giveaway_kg))
        if given is not None
        for name, kg in (given if isinstance(given, Mapping) else {"": given}).items()
    )


def _kg(written, field: str) -> float:
    plain = isinstance(written, (int, float)) and not isinstance(written, bool)
    return float(written) if plain else units.read(written, "kg", field, bare="kg")


def checked(entries: Iterable[WeightEntry]) -> tuple[WeightEntry, ...]:
    """The entries in the order of the line. Faulty with every fault at once: unknown words, negative or infinite weights, one weight twice."""
    entries, faults = tuple(entries), Faults("", "the ledger cannot be used")
    seen: dict[tuple[str, str, str], WeightEntry] = {}
    for entry in entries:
        field = f"{entry.stage}, {entry.name or entry.kind}"
        _note_faults(entry, field, faults)
        key = (entry.stage, entry.kind, entry.name)
        if key in seen:
            faults.say("weight twice", name=field)
        seen[key] = entry
    at_pack = [e for e in seen.values() if e.stage == "pack"]
    given, packed = (sum(e.kg for e in at_pack if e.kind == kind) for kind in (GIVEAWAY, OUT))
    if given > packed:
        faults.say("more given away", name="pack, giveaway", given=given, packed=packed)
    faults.stop_if_any()
    if not any(e.kind in (IN, OUT) for e in entries):
        faults.stop("no main weight", name="ledger")
    return tuple(sorted(entries, key=lambda e: (e.place, KINDS.index(e.kind))))


def _note_faults(entry: WeightEntry, field: str, faults: Faults) -> None:
    """What is wrong with one entry by itself."""
    for what, word, known in (("stage", entry.stage, STAGES), ("kind", entry.kind, KINDS)):
        if word not in known:
            near = f"nearest: {', '.join(nearest(word, known))}"
            faults.say("unknown word", name=field, entry=what, word=word, remedy=near)
    if not isfinite(entry.kg):
        faults.say("weight without end", name=field, kg=entry.kg)
    elif entry.kg < 0 and entry.kind != GIVEAWAY:
        faults.say("weight below 0", name=field, kg=entry.kg)
    elif entry.kg == 0 and entry.kind == IN:
        faults.say("nothing came in", name=field)
    if entry.sd_kg is not None and not (isfinite(entry.sd_kg) and entry.sd_kg >= 0):
        faults.say("uncertainty of an entry", name=field, sd=entry.sd_kg)
    if entry.kind == GIVEAWAY and entry.stage != "pack":
        faults.say("giveaway elsewhere", name=field)


def points(entries: Iterable[WeightEntry]) -> tuple[WeightEntry, ...]:
    """The main stream of checked entries, in order: parts are added, standard deviations in quadrature."""
    parts: dict[tuple[str, str], list[WeightEntry]] = {}
    for entry in entries:
        if entry.kind in (IN, OUT):
            parts.setdefault((entry.stage, entry.kind), []).append(entry)
    found = (
        WeightEntry(stage, kind, sum(e.kg for e in es), sd_kg=root_sum(e.sd_kg for e in es))
        for (stage, kind), es in parts.items()
    )
    return tuple(sorted(found, key=lambda p: p.place))


def root_sum(sds: Iterable[float | None]) -> float | None:
    """Independent standard deviations together; None where one of them is not known."""
    listed = tuple(sds)
    known = [sd for sd in listed if sd is not None]
    return hypot(*known) if len(known) == len(listed) else None
