"""Do the water, fat and protein of a cooked product follow from the raw composition and the cook loss?

Of 100 kg raw with R % of a part, (100 − L) kg stay with C % of it, so C (100 − L) / R per cent of the part is retained. More
than 100 % retained is impossible: nothing makes protein in a cooker. Then a composition, a loss or a sample is wrong.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from kit import tables
from kit.errors import Fault, OutOfRange, UnknownName, need, need_between
from kit.working import Step, step


@dataclass(frozen=True)
class PartBooks:
    """Per 100 kg raw: what each part lost, and what is left unexplained of the cook loss."""

    retained_pct: dict[str, float]
    """of the part in the raw product"""
    lost_kg: dict[str, float]
    """per 100 kg raw; below 0 the part grew"""
    cook_loss_kg: float
    unexplained_kg: float
    """cook loss less the parts lost: salt, ash, sugars, and error"""
    disagreement_points: dict[str, float]
    """printed retention less what the composition gives"""
    faults: tuple[Fault, ...]
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]


def part_books(
    raw_pct: Mapping[str, float],
    cooked_pct: Mapping[str, float],
    cook_loss_pct: float,
    printed_retained_pct: Mapping[str, float] | None = None,
    source: str = "",
) -> PartBooks:
    """The books of each part through one cook. Percentages of raw and of cooked weight; loss of raw weight.

    Raises OutOfRange outside 0 to 100, for parts that add up to more than 100, and for a part with no raw share. A part that
    grew is listed in `faults` and left as it is.
    """
    loss = need_between("cook loss", cook_loss_pct, 0, 100, "give it as % of the raw weight")
    printed = dict(printed_retained_pct or {})
    for name in (*cooked_pct, *printed):
        if name not in raw_pct:
            raise UnknownName("part", name, raw_pct)
    missing = [name for name in raw_pct if name not in cooked_pct]
    need(
        bool(raw_pct) and not missing,
        f"{', '.join(missing) or 'every part'}: no cooked share; give raw and cooked for the same parts",
    )
    for when, shares in (("raw", raw_pct), ("cooked", cooked_pct)):
        for name, share in shares.items():
            need_between(f"{when} {name}", share, 0, 100, "give it as % of that product")
        total = sum(shares.values())
        if total > 100 + tables.value("yields_analysis_excess_pct"):
            raise OutOfRange(
                f"the {when} parts add up to {total:.4g} %; they cannot be more than 100 % beyond the doubt of an analysis"
            )
    retained, lost, faults, steps = {}, {}, [], []
    for name, raw in raw_pct.items():
        need(
            raw > 0,
            f"raw {name} is 0 %: a share retained of nothing cannot be stated; leave it out",
        )
        cooked = cooked_pct[name]
        retained[name] = cooked * (100 - loss) / raw
        lost[name] = raw - cooked * (100 - loss) / 100
        terms = {
            "C": (cooked, "%", f"{name} cooked"),
            "L": (loss, "%", "cook loss"),
            "R": (raw, "%", f"{name} raw"),
        }
        steps += [
            step(f"{name} retained", "T = C × (100 − L) / R", retained[name], "%", **terms),
            step(
                f"{name} lost from 100 kg raw",
                "D = R − C × (100 − L) / 100",
                lost[name],
                "kg",
                **terms,
            ),
        ]
        if retained[name] > 100:
            faults.append(
                Fault(
                    f"{retained[name]:.1f} % of the {name} came out of the cook; more than 100 % cannot be retained",
                    field=name,
                    remedy="one of the two analyses, the cook loss or the sampling is off by at least the excess",
                )
            )
    apart = {name: value - retained[name] for name, value in printed.items()}
    worth_a_note = tables.value("yields_retention_gap_points")
    notes = tuple(
        f"{name}: {printed[name]:.4g} % retained is printed, but composition and cook loss give {retained[name]:.4g} %"
        for name in apart
        if abs(apart[name]) > worth_a_note
    )
    return PartBooks(
        retained,
        lost,
        loss,
        loss - sum(lost.values()),
        apart,
        tuple(faults),
        notes,
        (source,) if source else (),
        tuple(steps),
    )


@dataclass(frozen=True)
class Printed:
    """One row of a published table: composition raw and cooked, cook loss, and the retention that it prints itself, all in percent."""

    raw_pct: dict[str, float]
    cooked_pct: dict[str, float]
    cook_loss_pct: float
    retained_pct: dict[str, float]
    source: str


def printed_patties() -> dict[float, Printed]:
    """Fat level (%) -> what a published trial on ground patties (no emulsion) prints."""
    rows = tables.read_rows("yields", "ground_pork_patties.csv")
    found = {}
    for level in dict.fromkeys(row["fat_level_pct"] for row in rows):
        mine = [row for row in rows if row["fat_level_pct"] == level]
        raw, cooked, printed = (
            {r["part"]: float(r[column]) for r in mine if r[column]}
            for column in ("raw_pct", "cooked_pct", "printed_retained_pct")
        )
        found[float(level)] = Printed(
            raw,
            cooked,
            float(mine[0]["cook_loss_pct"]),
            printed,
            tables.cite(mine[0]["source"], mine[0]["where"], mine[0]["status"]),
        )
    return found


def published_patties() -> dict[float, PartBooks]:
    """Fat level (%) -> books of that trial, whose printed fat retention its own table contradicts."""
    return {
        level: part_books(
            row.raw_pct, row.cooked_pct, row.cook_loss_pct, row.retained_pct, row.source
        )
        for level, row in printed_patties().items()
    }
