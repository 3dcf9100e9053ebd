"""Where to look first: at most five findings, each with its evidence, its effect, its uncertainty and the next measurement; or "nothing stands out"."""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from kit import tables
from kit.batches.groups import parts_of
from kit.batches.patterns import acts_on
from kit.batches.search import MOST as MOST_CAUSES
from kit.batches.search import Hit, search
from kit.batches.slips import Slip, fact_slips, strays, weight_slips, without
from kit.batches.table import BatchTable
from kit.errors import need_between
from kit.working import Result, Step, notes_of, working_of
from kit.yields.worth import check_prices

MOST = 5


@dataclass(frozen=True)
class Finding:
    """One thing to look at. Batches are 0-based here and counted from 1 in the sentences."""

    cause: str
    """of data/batches/findings.csv, or 'unit error', 'odd batch'"""
    stage: str
    start: int | None
    touched_batches: tuple[int, ...]
    kg: float
    """lost more than otherwise over all batches touched; for faults of the records, kilograms by which the mass balance is wrong"""
    is_record_fault: bool
    sentence: str
    evidence: str
    uncertainty: str
    next_measurement: str
    who: tuple[str, str] | None = None
    via: str | None = None
    scale: str | None = None
    effect: float = float("nan")
    """percentage points of what goes into the stage; for a column, per unit of it; for a scale, % that it reads too high"""
    effect_interval: tuple[float, float] | None = None
    kg_interval: tuple[float, float] | None = None
    money: float | None = None
    chance: float = 0.0
    """chance of this from random variation alone, with all that was tried"""


@dataclass(frozen=True)
class Findings(Result):
    """Ranked: faults of the records first, because they spoil every other figure, then by kilograms lost; what improved comes last."""

    findings: tuple[Finding, ...]
    verdict: str
    cleaned: BatchTable
    """the table with slipped figures blanked, as used"""


def find(
    table: BatchTable,
    *,
    alpha: float | None = None,
    price_per_kg: Mapping[str, float] | None = None,
) -> Findings:
    """Search all stages, transfers and scales for causes of loss.

    table: weights by batch and stage, kg, with labels and facts
    alpha: chance, 0.0001 to 0.5, that a plant without any cause gets a finding (a data row where left out)
    price_per_kg: {stage: the person's price of a kilogram lost there}; no money is shown without one
    Returns Findings: at most five, ranked; none where nothing stands out.
    Raises OutOfRange for too few batches or an alpha out of range.
    Valid for batches that are comparable: products must be told apart before.
    Source: largest of studentised statistics over permutations; data/reference/batches.csv.
    """
    alpha = tables.value("batches_alpha") if alpha is None else alpha
    need_between("chance of a false finding", alpha, 1e-4, 0.5)
    prices = price_per_kg or {}
    check_prices(prices, table.stages)
    parts = parts_of(table)
    chance = -float(np.expm1(np.log1p(-alpha) / len(parts)))
    slips: list[Slip] = []
    notes: dict[str, list[str]] = {}
    found, pairs = [], 0
    for said, rows in parts.items():
        part = table.at(rows) if said else table
        wrong = (*weight_slips(part), *fact_slips(part))
        cleaned = without(part, wrong) if wrong else part
        alone = strays(cleaned)
        cleaned = without(cleaned, alone) if alone else cleaned
        mine = [replace(s, batch=int(rows[s.batch])) for s in (*wrong, *alone)]
        hits, tried, sticky = search(cleaned, chance)
        told = [
            *(_from_slip(s, table) for s in mine),
            *(_from_hit(h, cleaned, rows) for h in hits),
        ]
        found += [replace(f, sentence=f"{said}: {f.sentence}") if said else f for f in told]
        pairs, slips = pairs + tried, [*slips, *mine]
        for line in _notes(len(hits), sticky, cleaned):
            notes[line] = [*notes.get(line, []), said]
    told_of = [
        line if len(where) == len(parts) else f"{'; '.join(where)}: {line}"
        for line, where in notes.items()
    ]
    cleaned = without(table, slips) if slips else table
    found.sort(
        key=lambda f: (not f.is_record_fault, f.kg <= 0, 0 if f.is_record_fault else -abs(f.kg))
    )
    kept = priced(found[:MOST], prices)
    return Findings(
        kept,
        kept[0].sentence if kept else f"Nothing stands out in {table.n} batches.",
        cleaned,
        own_notes=(
            *_counted(table, parts, pairs, alpha, found[MOST:]),
            *told_of,
            *notes_of("finding", {}),
        ),
        own_sources=(
            tables.number("batches_alpha").cite(),
            tables.computed("chances from the same batches in shuffled order"),
        ),
        own_working=(
            *(step for f in kept if f.effect_interval for step in _kilograms_step(f)),
            *(step for s in slips if s.factor for step in _slip_step(s, s.factor)),
        ),
    )


def priced(findings: Iterable[Finding], price_per_kg: Mapping[str, float]) -> tuple[Finding, ...]:
    """The same with what each costs, where its stage has a price and it is no fault of the records."""
    return tuple(
        f
        if f.is_record_fault or f.stage not in price_per_kg
        else replace(f, money=f.kg * price_per_kg[f.stage])
        for f in findings
    )


def _counted(table, parts, pairs, alpha, dropped) -> tuple[str, ...]:
    return notes_of(
        "search for causes",
        {"parts": len(parts) > 1, "dropped": dropped},
        pairs=pairs,
        of_100=100 * alpha,
        n=table.n,
        parts=len(parts),
        said="; ".join(f"{name} ({len(rows):,})" for name, rows in parts.items()),
        more=len(dropped),
        dropped="; ".join(f.sentence for f in dropped),
    )


def _notes(found: int, sticky: list[str], table: BatchTable) -> Iterator[str]:
    yield from notes_of("likeness found", {"sticky": sticky}, sticky=", ".join(sticky))
    for j in table.expected_stages():
        lacking = np.isfinite(table.loss_pct[:, j]) & ~np.isfinite(table.judged_loss_pct[:, j])
        some, stage = lacking.sum(), table.stages[j]
        yield from notes_of(
            "recipe corrected", {"all": not some, "some": some}, stage=stage, some=some
        )
    most = int(tables.value("batches_label_levels"))
    for label, values in table.labels.items():
        many = len(set(values) - {""})
        if many > most and acts_on().get(label, ("",))[0] == "label":
            yield from notes_of("label of many", {}, label=label, many=many, most=most)
    holds = {"ended": found == MOST_CAUSES, "few": table.n < 20}
    yield from notes_of("end of the search", holds, most=MOST_CAUSES)


def _kilograms_step(f: Finding) -> tuple[Step, ...]:
    words, through_kg = f.sentence.rstrip("."), 100 * f.kg / f.effect
    return working_of("finding", sentence=words, K=f.kg, e=f.effect, A=through_kg)


def _slip_step(s: Slip, factor: float) -> tuple[Step, ...]:
    said = {"batch": s.batch + 1, "where": s.where, "words": s.words}
    return working_of("unit error", **said, w=s.shown * factor, s=s.shown, f=factor)


def _from_slip(s: Slip, table: BatchTable) -> Finding:
    name, counted = table.batches[s.batch], f"batch {s.batch + 1}"
    at = f"Batch {s.batch + 1 if name == counted else name}"
    sentence = f"{at}: {s.words}."
    if s.factor is not None:
        fits = f"{s.shown * s.factor:.1f} kg would fit"
        sentence = f"{at}: the weight {s.where} ({s.shown:.1f} kg) looks like {s.words}; {fits}."
    return Finding(
        "odd batch" if s.factor is None and s.where not in table.facts else "unit error",
        s.stage,
        s.batch,
        (s.batch,),
        s.kg_off,
        True,
        sentence,
        "the ratio to the weights before and after it is far outside that of all other batches",
        "the figure was left out here, not changed; only the paper or the scale's print can say what was weighed",
        "Look up the original ticket of this batch, and weigh the next batch twice at this place.",
    )


def _sentences(h: Hit, rows: np.ndarray) -> tuple[str, str]:
    """What is said of a hit, and the next measurement. `rows`: places in the whole table."""
    more, start = h.effect > 0, None if h.start is None else rows[h.start] + 1
    who = " ".join(h.who) if h.who else ""
    since = "" if start is None else f" since batch {start}"
    key = h.cause
    if key == "column" and (who or start is not None):
        key = "column of" if who else "column since"
    if key == "scale" and set(np.unique(h.pattern)) == {0.0, 1.0}:
        key = "scale since"
    if h.begins:
        since += f", when {h.begins} began"
    words = {
        "stage": h.stage,
        "series": h.series,
        "ends": h.series.replace(" to ", " and "),
        "start": start,
        "end": rows[h.touched][-1] + 1 if h.touched.any() else start,
        "swing": f"{2 * abs(h.effect):.2g}",
        "since": since,
        "about": since.replace("since", "since about"),
        "growing": since or ", growing slowly",
        "who": re.sub(r"\b(smokehouse|supplier) \1", r"\1", who),
        "via": _plain(h.via),
        "points": f"{abs(h.effect):.2g}",
        "size": f"{abs(h.effect):.2g} percentage points {'more' if more else 'less'}",
        "grows": "grows" if more else "shrinks",
        "way": "higher" if more else "lower",
        "high": "high" if more else "low",
    }
    says = tables.rows_by("cause", "batches", "findings.csv")[key]
    sentence = says["sentence"].format(**words)
    return sentence[0].upper() + sentence[1:], says["next_measurement"].format(**words)


def _from_hit(h: Hit, table: BatchTable, rows) -> Finding:
    """`rows`: places of this table's batches in the whole one."""
    kg, kg_interval = _kilograms(h, table)
    touched = tuple(rows[h.touched].tolist())
    is_record_fault = h.cause in ("scale", "rework twice", "gained on the way")
    sentence, next_measurement = _sentences(h, rows)
    low, high = sorted(h.effect_interval)
    doubts = []
    if len(h.likely_starts) > 1:
        first, last = rows[[h.likely_starts[0], h.likely_starts[-1]]] + 1
        doubts.append(f"the start may lie anywhere from batch {first} to {last}")
    if h.rivals:
        says = tables.rows_by("cause", "batches", "findings.csv")
        rivals = (
            f"{series}: "
            + says[family]["as_rival"].format(
                who=" ".join(who or ()), via=(who or ("",))[0], start=rows[start] + 1
            )
            for series, family, who, start in h.rivals
        )
        doubts.append(f"nearly as likely: {'; '.join(rivals)}")
    doubts.append(
        "what moved together need not be the cause, and the size is a little flattered because it was picked as the clearest"
    )
    return Finding(
        h.cause,
        h.stage,
        None if h.start is None else int(rows[h.start]),
        touched,
        kg,
        is_record_fault,
        sentence,
        f"effect {h.effect:.3g} (90 % interval {low:.3g} to {high:.3g}) over {len(touched)} of {table.n} batches; chance of this from "
        f"random variation alone: {odds(h.chance)}",
        "; ".join(doubts),
        next_measurement,
        h.who,
        h.via,
        h.series if h.cause == "scale" else None,
        h.effect,
        h.effect_interval,
        kg_interval,
        chance=h.chance,
    )


def odds(chance: float) -> str:
    return "less than 1 in 10,000" if chance < 1e-4 else f"1 in {1 / chance:,.0f}"


def _plain(name: str | None) -> str:
    if not name:
        return ""
    base, _, unit = name.rpartition("_")
    return {
        "pct": f"{base.replace('_', ' ')} (%)",
        "C": f"{base.replace('_', ' ')} temperature",
        "mm": base,
    }.get(unit, name)


def _kilograms(h: Hit, table: BatchTable) -> tuple[float, tuple[float, float]]:
    """Kilograms over the batches touched: effect times pattern times what went in. A column, or the season, counts from its median on the side that loses more."""
    if h.cause == "scale":
        j = [
            table.stages.index(s) for (s, side), scale in table.scales.items() if scale == h.series
        ]
        base = np.nan_to_num(table.in_kg[:, j]).max(axis=1)
    elif h.cause in ("missing on the way", "gained on the way"):
        base = np.nan_to_num(table.out_kg[:, table.place(h.stage)])
    else:
        base = np.nan_to_num(table.all_in_kg[:, table.place(h.stage)])
    shape = h.pattern
    if h.cause == "season" or (h.cause == "column" and h.who is None and h.start is None):
        side = 1 if h.effect > 0 else -1
        shape = side * np.maximum(side * (shape - np.median(shape)), 0)
    per_point = float((shape * base).sum()) / 100
    low, high = sorted(e * per_point for e in h.effect_interval)
    return h.effect * per_point, (low, high)
