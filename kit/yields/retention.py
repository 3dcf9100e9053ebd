"""Do the water, fat and protein of a cooked product follow from the raw composition and cook loss?

Of 100 kg raw with R % of a part, (100 − L) kg stay with C % of it: C (100 − L) / R per cent of the
part is retained. More than 100 % retained is impossible: then a composition, a loss or a sample is
wrong.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from kit import tables
from kit.errors import Fault, OutOfRange, UnknownName, need, need_between
from kit.working import Result, step


@dataclass(frozen=True)
class PartBalance(Result):
    """Per 100 kg raw: what each part lost, and what is left unexplained of the cook loss."""

    retained_pct: dict[str, float]
    """of the part in the raw product"""
    lost_kg: dict[str, float]
    """per 100 kg raw; below 0 the part grew"""
    cook_loss_kg: float
    unrecorded_kg: float
    """cook loss less the parts lost: salt, ash, sugars, and error"""
    disagreement_points: dict[str, float]
    """printed retention less what the composition gives"""
    faults: tuple[Fault, ...]


def part_balance(
    raw_pct: Mapping[str, float],
    cooked_pct: Mapping[str, float],
    cook_loss_pct: float,
    printed_retained_pct: Mapping[str, float] | None = None,
    source: str = "",
) -> PartBalance:
    """The balance of each part through one cook.

    raw_pct, cooked_pct: the same parts in percent of the raw and of the cooked weight, 0 to 100.
    cook_loss_pct: percent of the raw weight. printed_retained_pct: a retention to compare with.
    source: where the figures are from. A part that grew is listed in `faults` and left as it is.
    Raises OutOfRange outside 0 to 100, for parts that exceed 100 together, and for no raw share.
    """
    loss = need_between("cook loss", cook_loss_pct, 0, 100, "give it as % of the raw weight")
    printed = dict(printed_retained_pct or {})
    for name in (*cooked_pct, *printed):
        if name not in raw_pct:
            raise UnknownName("part", name, raw_pct)
    missing = [name for name in raw_pct if name not in cooked_pct]
    need(
        bool(raw_pct) and not missing,
        f"{', '.join(missing) or 'every part'}: no cooked share; "
        "give raw and cooked for the same parts",
    )
    _need_shares("raw", raw_pct)
    _need_shares("cooked", cooked_pct)
    retained, lost, faults, steps = {}, {}, [], []
    for name, raw in raw_pct.items():
        need(
            raw > 0,
            f"raw {name} is 0 %: a share retained of nothing cannot be stated; leave it out",
        )
        cooked = cooked_pct[name]
        kept = retained[name] = cooked * (100 - loss) / raw
        lost[name] = raw - cooked * (100 - loss) / 100
        terms: dict[str, Any] = {
            "C": (cooked, "%", f"{name} cooked"),
            "L": (loss, "%", "cook loss"),
            "R": (raw, "%", f"{name} raw"),
        }
        stays, goes = f"{name} retained", f"{name} lost from 100 kg raw"
        formula = "D = R − C × (100 − L) / 100"
        steps += [
            step(stays, "T = C × (100 − L) / R", kept, "%", key=stays, **terms),
            step(goes, formula, lost[name], "kg", key=goes, **terms),
        ]
        if kept > 100:
            what = f"{kept:.1f} % of the {name} came out of the cook"
            remedy = "one of the two analyses, the cook loss or the sampling is off"
            faults.append(
                Fault(
                    f"{what}; more than 100 % cannot be retained",
                    field=name,
                    remedy=f"{remedy} by at least the excess",
                )
            )
    apart = {name: value - retained[name] for name, value in printed.items()}
    noted = tables.value("yields_retention_gap_points")
    return PartBalance(
        retained,
        lost,
        loss,
        loss - sum(lost.values()),
        apart,
        tuple(faults),
        own_notes=tuple(
            f"{name}: {printed[name]:.4g} % retained is printed, "
            f"but composition and cook loss give {retained[name]:.4g} %"
            for name, gap in apart.items()
            if abs(gap) > noted
        ),
        own_sources=(source,) if source else (),
        own_working=tuple(steps),
    )


def _need_shares(when: str, shares: Mapping[str, float]) -> None:
    for name, share in shares.items():
        need_between(f"{when} {name}", share, 0, 100, "give it as % of that product")
    total = sum(shares.values())
    if total > 100 + tables.value("yields_analysis_excess_pct"):
        raise OutOfRange(
            f"the {when} parts add up to {total:.4g} %; "
            "they cannot be more than 100 % beyond the uncertainty of an analysis"
        )


@dataclass(frozen=True)
class Printed:
    """One row of a published table: composition, cook loss and the retention it prints, in percent."""

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
        source = tables.cite(mine[0]["source"], mine[0]["where"], mine[0]["status"])
        loss = float(mine[0]["cook_loss_pct"])
        found[float(level)] = Printed(raw, cooked, loss, printed, source)
    return found


def published_patties() -> dict[float, PartBalance]:
    """Fat level (%) -> balance of that trial, whose fat retention its own table contradicts."""
    return {
        level: part_balance(
            row.raw_pct, row.cooked_pct, row.cook_loss_pct, row.retained_pct, row.source
        )
        for level, row in printed_patties().items()
    }
