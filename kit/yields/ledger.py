"""What was weighed, at which stage, and is any entry impossible?

A ledger is a sequence of `Entry`: one weight written in the books. Main-stream weights are `in` (what a stage got from
the stage before it) and `out` (what it passed on). Everything else is a side flow: additions, rework, samples, scrap.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import hypot, isfinite

from kit import units
from kit.errors import Fault, Faulty, nearest
from kit.stages import STAGES

IN, OUT = "in", "out"
ADDITION, REWORK_IN, REWORK_OUT, SAMPLE, SCRAP, GIVEAWAY = (
    "addition",
    "rework in",
    "rework out",
    "sample",
    "scrap",
    "giveaway",
)
SIGN = {ADDITION: 1, REWORK_IN: 1, REWORK_OUT: -1, SAMPLE: -1, SCRAP: -1}
"""side flows: +1 comes into the batch at the stage, -1 leaves it"""
KINDS = (IN, OUT, *SIGN, GIVEAWAY)
ORDER = {stage: number for number, stage in enumerate(STAGES)}


@dataclass(frozen=True)
class Entry:
    """One weight. Several of one kind at one stage are added up when their names differ (two carts, ice and salt)."""

    stage: str
    kind: str
    """one of KINDS; `giveaway` is part of what pack passed on: net weight less the weight on the labels"""
    kg: float
    name: str = ""
    sd_kg: float | None = None
    """standard deviation of the weighing; None where the scale's doubt is not known"""
    row: int | None = None
    """row of the record, as the person counts it"""

    @property
    def label(self) -> str:
        return f"{self.name or self.kind} at {self.stage}"


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
    row: int | None = None,
) -> tuple[Entry, ...]:
    """The entries of one stage. Plain numbers are kg; text such as '12 lb' and pint quantities are read.

    Any weight may be one amount or a mapping of names to amounts: additions_kg={"ice": 250, "dry goods": 45}.
    `sd_kg` is one doubt for every weight of the stage, or a mapping by kind or name: {"in": 2, "ice": 0.5}.
    """
    given = {
        IN: in_kg,
        OUT: out_kg,
        ADDITION: additions_kg,
        REWORK_IN: rework_in_kg,
        REWORK_OUT: rework_out_kg,
        SAMPLE: samples_kg,
        SCRAP: scrap_kg,
        GIVEAWAY: giveaway_kg,
    }
    amounts = [
        (kind, str(name), kg)
        for kind, weight in given.items()
        if weight is not None
        for name, kg in (weight.items() if isinstance(weight, Mapping) else [("", weight)])
    ]
    if isinstance(sd_kg, Mapping):
        unused = set(sd_kg) - {kind for kind, _, _ in amounts} - {name for _, name, _ in amounts}
        if unused:
            raise Faulty(
                f"weights at {stage}",
                [
                    Fault(
                        f"a doubt is given for {key!r}, which has no weight here",
                        field=stage,
                        remedy=f"weights here: {', '.join(name or kind for kind, name, _ in amounts)}",
                    )
                    for key in sorted(unused)
                ],
            )

    def doubt(kind, name):
        sd = sd_kg.get(name, sd_kg.get(kind)) if isinstance(sd_kg, Mapping) else sd_kg
        return None if sd is None else _kg(sd, f"sd of {name or kind} at {stage}")

    return tuple(
        Entry(stage, kind, _kg(kg, f"{name or kind} at {stage}"), name, doubt(kind, name), row)
        for kind, name, kg in amounts
    )


def _kg(written, field: str) -> float:
    plain = isinstance(written, (int, float)) and not isinstance(written, bool)
    return float(written) if plain else units.read(written, "kg", field, bare="kg")


def entry_faults(entries: Iterable[Entry]) -> tuple[Fault, ...]:
    """Entries that cannot be used at all: unknown words, negative or endless weights, the same weight written twice."""
    faults, seen = [], {}
    for entry in entries:

        def fault(what, remedy=""):
            faults.append(
                Fault(
                    what,
                    field=f"{entry.stage}, {entry.name or entry.kind}",
                    row=entry.row,
                    remedy=remedy,
                )
            )

        if entry.stage not in STAGES:
            fault(
                f"stage {entry.stage!r} is not known",
                f"nearest: {', '.join(nearest(entry.stage, STAGES))}",
            )
        if entry.kind not in KINDS:
            fault(
                f"kind {entry.kind!r} is not known",
                f"nearest: {', '.join(nearest(entry.kind, KINDS))}",
            )
        if not isfinite(entry.kg):
            fault(f"the weight is {entry.kg}, which is no amount", "leave a missing weight out")
        elif entry.kg < 0 and entry.kind != GIVEAWAY:
            fault(
                f"the weight is {entry.kg:g} kg; nothing weighs less than 0 kg",
                "check the tare and the sign; what leaves has a kind of its own",
            )
        elif entry.kg == 0 and entry.kind == IN:
            fault("0 kg came in", "leave a stage that was not weighed out of the record")
        if entry.sd_kg is not None and not (isfinite(entry.sd_kg) and entry.sd_kg >= 0):
            fault(
                f"the scale's doubt is {entry.sd_kg:g} kg; it must be 0 kg or more",
                "give a standard deviation, or none",
            )
        if entry.kind == GIVEAWAY and entry.stage != "pack":
            fault(
                "giveaway is written outside pack",
                "giveaway is what packs weigh above their labels; write it at pack",
            )
        key = (entry.stage, entry.kind, entry.name)
        if key in seen:
            fault(
                "this weight is written twice",
                "give each part a name of its own (cart 1, cart 2), or strike one out",
            )
        seen[key] = entry
    given = [e.kg for e in seen.values() if e.kind == GIVEAWAY and e.stage == "pack"]
    given_away, packed = (
        sum(given),
        sum(e.kg for e in seen.values() if e.kind == OUT and e.stage == "pack"),
    )
    if given and given_away > packed:
        faults.append(
            Fault(
                f"{given_away:g} kg given away is more than the {packed:g} kg packed",
                field="pack, giveaway",
                remedy="write the net weight of the packs as the weight out of pack",
            )
        )
    return tuple(faults)


@dataclass(frozen=True)
class Point:
    """One main-stream weight: what entered or left a stage. Parts are added, doubts in quadrature."""

    stage: str
    kind: str
    kg: float
    sd_kg: float | None

    @property
    def label(self) -> str:
        return f"into {self.stage}" if self.kind == IN else f"out of {self.stage}"

    @property
    def place(self) -> float:
        return place_of(self.stage, self.kind)


def place_of(stage: str, kind: str) -> float:
    """Where along the line a flow sits: in, then what is put in, then what is taken out, then out."""
    return (
        ORDER[stage]
        + {
            IN: 0.0,
            ADDITION: 0.25,
            REWORK_IN: 0.25,
            REWORK_OUT: 0.5,
            SAMPLE: 0.5,
            SCRAP: 0.5,
            OUT: 0.75,
            GIVEAWAY: 0.8,
        }[kind]
    )


def checked(entries: Iterable[Entry]) -> tuple[Entry, ...]:
    """The entries in the order of the line. Faulty with every fault at once."""
    entries = tuple(entries)
    faults = entry_faults(entries)
    if not faults and not any(e.kind in (IN, OUT) for e in entries):
        faults = (
            Fault(
                "no weight into or out of any stage",
                field="ledger",
                remedy="weigh at least what came in and what was packed",
            ),
        )
    if faults:
        raise Faulty("the ledger cannot be used", faults)
    return tuple(sorted(entries, key=lambda e: (place_of(e.stage, e.kind), KINDS.index(e.kind))))


def points(entries: Iterable[Entry]) -> tuple[Point, ...]:
    """The main stream of checked entries, in order."""
    parts: dict[tuple[str, str], list[Entry]] = {}
    for entry in entries:
        if entry.kind in (IN, OUT):
            parts.setdefault((entry.stage, entry.kind), []).append(entry)
    found = (
        Point(stage, kind, sum(e.kg for e in es), root_sum([e.sd_kg for e in es]))
        for (stage, kind), es in parts.items()
    )
    return tuple(sorted(found, key=lambda p: p.place))


def root_sum(doubts) -> float | None:
    """Independent doubts together; None when one of them is not known."""
    doubts = tuple(doubts)
    return None if any(sd is None for sd in doubts) else hypot(*doubts)
