"""Where to look first: at most five findings, each with its evidence, its effect, its doubt and the next measurement; or "nothing stands out"."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from kit import tables
from kit.batches.costs import check_prices
from kit.batches.search import Hit, Searched, search
from kit.batches.slips import Slip, fact_slips, weight_slips, without
from kit.batches.table import BatchTable
from kit.errors import need_between
from kit.working import Result, Step, step

MOST = 5


@dataclass(frozen=True)
class Finding:
    """One thing to look at. Batches are 0-based here and counted from 1 in the sentences."""

    cause: str
    """'unit slip', 'odd batch', 'rework twice', 'rework', 'scale', 'step', 'drift', 'label', 'label from', 'column', 'missing on the way',
    'gained on the way'"""
    stage: str
    who: tuple[str, str] | None
    via: str | None
    scale: str | None
    start: int | None
    likely_starts: tuple[int, ...]
    touched_batches: tuple[int, ...]
    effect: float
    """% points of what goes into the stage; for a column, per unit of it; for a scale, % that it reads too high; for a slip, its factor"""
    effect_interval: tuple[float, float] | None
    kg: float
    """lost more than otherwise over all batches touched; for faults of the records, kilograms by which the books are wrong"""
    kg_interval: tuple[float, float] | None
    money: float | None
    is_record_fault: bool
    chance: float
    """that noise alone, with all that was tried, does as well"""
    sentence: str
    evidence: str
    uncertainty: str
    next_measurement: str
    rivals: tuple[str, ...]


@dataclass(frozen=True)
class Findings(Result):
    """Ranked: faults of the records first, because they spoil every other figure, then by kilograms lost; what improved comes last."""

    findings: tuple[Finding, ...]
    verdict: str
    slips: tuple[Slip, ...]
    tried: int
    alpha: float
    cleaned: BatchTable
    """the table with slipped figures blanked, as used"""


def find(
    table: BatchTable,
    *,
    alpha: float | None = None,
    price_per_kg: Mapping[str, float] | None = None,
    rounds: int = 200,
) -> Findings:
    """Search all stages, transfers and scales for causes of loss.

    table: weights by batch and stage, kg, with labels and facts
    alpha: chance, 0.0001 to 0.5, that a plant without any cause gets a finding (a data row where left out)
    price_per_kg: {stage: the person's price of a kilogram lost there}; no money is shown without one
    rounds: permutations of the null, 1 or more
    Returns Findings: at most five, ranked; none where nothing stands out.
    Raises OutOfRange for too few batches or an alpha out of range.
    Valid for batches that are comparable: products must be told apart before.
    Source: largest of studentised statistics over permutations; data/reference/batches.csv.
    """
    alpha = (
        tables.value("batches_alpha")
        if alpha is None
        else need_between("chance of a false finding", alpha, 1e-4, 0.5)
    )
    prices = price_per_kg or {}
    check_prices(prices, table.stages)
    slips = (*weight_slips(table), *fact_slips(table))
    cleaned = without(table, slips) if slips else table
    searched = search(cleaned, alpha=alpha, rounds=rounds)
    found = [_from_slip(s, table) for s in slips] + [
        _from_hit(h, cleaned, searched) for h in searched.hits
    ]
    found = [_priced(f, prices) for f in found]
    found.sort(
        key=lambda f: (not f.is_record_fault, f.kg <= 0, -abs(f.kg) if not f.is_record_fault else 0)
    )
    dropped = len(found) - MOST
    kept = tuple(found[:MOST])
    notes = [
        f"{searched.pairs} pairs of loss and cause were tried; a plant in which nothing is wrong gets a finding in about {100 * alpha:g} "
        "of 100 such searches"
    ]
    if dropped > 0:
        notes.append(
            f"{dropped} more findings are left out of the list: {'; '.join(f.sentence for f in found[MOST:])}"
        )
    if searched.sticky:
        notes.append(
            f"neighbouring batches resemble one another at {', '.join(searched.sticky)}: levels and drifts there had to be clearer "
            "before they counted"
        )
    for j in cleaned.expected_stages():
        without_one = int(
            (
                np.isfinite(cleaned.loss_pct[:, j]) & ~np.isfinite(cleaned.judged_loss_pct[:, j])
            ).sum()
        )
        notes.append(
            f"the loss at {cleaned.stages[j]} is judged beside what the recipe lets expect"
            + (
                f"; {without_one} batches without an expectation are left out there"
                if without_one
                else ""
            )
        )
    if table.n < 20:
        notes.append("fewer than 20 batches: only large changes can stand out")
    notes.append("a finding says where figures moved together; it proves no cause")
    verdict = kept[0].sentence if kept else f"Nothing stands out in {table.n} batches."
    return Findings(
        kept,
        verdict,
        slips,
        searched.pairs,
        alpha,
        cleaned,
        own_notes=tuple(notes),
        own_sources=(
            tables.number("batches_alpha").cite(),
            tables.cite("kit", "chances from the same batches in shuffled order", "computed"),
        ),
        own_working=tuple(_step(f) for f in kept if f.cause not in ("unit slip", "odd batch"))
        + tuple(_slip_step(s, s.factor) for s in slips if s.factor),
    )


def _slip_step(s: Slip, factor: float) -> Step:
    return step(
        f"batch {s.batch + 1}, {s.where}, set right",
        "w = s × f",
        s.shown * factor,
        "kg",
        s=(s.shown, "kg", "as written"),
        f=(factor, "", s.words),
    )


def _step(f: Finding) -> Step:
    return step(
        f"kilograms, {f.sentence.rstrip('.')}",
        "K = e × A / 100",
        f.kg,
        "kg",
        e=(f.effect, "% points", "effect"),
        A=(
            100 * f.kg / f.effect,
            "kg",
            "what went through with it, each batch as often as the pattern says",
        ),
    )


def _priced(f: Finding, prices) -> Finding:
    price = prices.get(f.stage)
    if price is None or f.is_record_fault:
        return f
    return replace(f, money=f.kg * price)


def _from_slip(s: Slip, table: BatchTable) -> Finding:
    at = (
        f"Batch {table.batches[s.batch]}"
        if table.batches[s.batch] != f"batch {s.batch + 1}"
        else f"Batch {s.batch + 1}"
    )
    if s.where in table.facts:
        sentence, cause = f"{at}: {s.words}.", "unit slip"
    elif s.factor is None:
        sentence, cause = f"{at}: {s.words}.", "odd batch"
    else:
        sentence, cause = (
            f"{at}: the weight {s.where} ({s.shown:.1f} kg) looks like {s.words}; {s.shown * s.factor:.1f} kg would fit.",
            "unit slip",
        )
    return Finding(
        cause,
        s.stage,
        None,
        None,
        None,
        s.batch,
        (),
        (s.batch,),
        s.factor or float("nan"),
        None,
        s.kg_off,
        None,
        None,
        True,
        0.0,
        sentence,
        "the ratio to the weights before and after it is far outside that of all other batches",
        "the figure was left out here, not changed; only the paper or the scale's print can say what was weighed",
        "Look up the original ticket of this batch, and weigh the next batch twice at this place.",
        (),
    )


NEXT = {
    "step": "Catch and weigh what leaves {stage} beside the product for ten batches, and ask what was changed, repaired or replaced around batch {start}.",
    "drift": "Look for wear at {stage}: weigh its losses again after the next service, ten batches before and ten after.",
    "label": "Let {who} and the others do the same lot at {stage} on one day, ten batches each, in drawn order.",
    "label from": "Check {who} at {stage} for what changed around batch {start}; weigh the same lot there and elsewhere, in drawn order.",
    "column": "Hold {via} at two levels on purpose, both within your validated process, in drawn order, and weigh {stage} for as many batches as it takes to see a difference of that size.",
    "rework twice": "Follow the rework of one day on paper: is it inside the weight into {stage} and written as rework as well?",
    "rework": "Weigh rework by itself into {stage} for ten batches.",
    "scale": "Put a known test weight on the {scale} at the start and end of every shift for a week.",
    "missing on the way": "Weigh one batch twice, on leaving {stage} and on arriving at the next, on the same scale.",
    "gained on the way": "Put a known test weight on both scales, the one after {stage} and the next.",
}


def _from_hit(h: Hit, table: BatchTable, searched: Searched) -> Finding:
    scale = h.series if h.cause == "scale" else None
    kg, kg_interval = _kilograms(h, table)
    start = None if h.start is None else h.start + 1
    who = f"{h.who[0]} {h.who[1]}" if h.who and h.who[0] != "rework" else ""
    who = who.replace("cooker cooker", "cooker").replace("supplier supplier", "supplier")
    touched = tuple(int(i) for i in np.flatnonzero(h.touched))
    more = "more" if h.effect > 0 else "less"
    size = f"{abs(h.effect):.2g} points {more}"
    dated = h.cause in ("step", "label from", "rework twice", "rework") or (
        h.cause == "column" and h.start is not None
    )
    since = f" since batch {start}" if dated else ""
    behind = f", and its {_plain(h.via)} moved with it" if h.via and who else ""
    if h.cause == "scale":
        way, when = (
            "higher" if h.effect > 0 else "lower",
            "" if start is None else f" since about batch {start}",
        )
        sentence = f"The {scale} seems to read {way} and {way}{when}."
        if h.pattern.max() == 1 and set(np.unique(h.pattern)) <= {0.0, 1.0}:
            sentence = f"The {scale} seems to read {abs(h.effect):.2g} % too {'high' if h.effect > 0 else 'low'} since batch {start}."
    elif h.cause == "rework twice":
        sentence = f"Rework seems to be counted twice at {h.stage}{since}: each kilogram of it shows up as {h.effect:.2g} kg lost."
    elif h.cause == "rework":
        sentence = f"The loss at {h.stage} follows the rework taken in{since}: {h.effect:.2g} kg for each kilogram."
    elif h.cause in ("missing on the way", "gained on the way"):
        way = "missing" if h.effect > 0 else "gained"
        when = f" since batch {start}." if start else ", growing slowly."
        sentence = f"Between {h.series.replace(' to ', ' and ')} {abs(h.effect):.2g} % of the weight is {way}{when}"
    elif h.cause == "column" and who:
        sentence = f"{h.stage} loses {size} with {who}{since}{behind}."
    elif h.cause == "column" and h.start is not None:
        sentence = f"{h.stage} loses {size}{since}, and {_plain(h.via)} moved with it."
    elif h.cause == "column":
        sentence = f"The loss at {h.stage} follows {_plain(h.via)}: {abs(h.effect):.2g} points {more} for each unit of it."
    elif h.cause in ("label", "label from"):
        sentence = f"{h.stage} loses {size} with {who}{since}."
    elif h.cause == "drift":
        sentence = f"The loss at {h.stage} {'grows' if h.effect > 0 else 'shrinks'} slowly, by {abs(h.effect):.2g} points over these batches."
    else:
        sentence = f"{h.stage} loses {size}{since}."
    sentence = sentence[0].upper() + sentence[1:]
    low, high = sorted(h.effect_interval)
    evidence = (
        f"effect {h.effect:.3g} (95 % interval {low:.3g} to {high:.3g}) over {len(touched)} of {table.n} batches; noise alone does as well with "
        f"a chance of {_odds(h.chance)}"
    )
    uncertainty = []
    if len(h.likely_starts) > 1:
        uncertainty.append(
            f"the start may lie anywhere from batch {h.likely_starts[0] + 1} to {h.likely_starts[-1] + 1}"
        )
    if h.rivals:
        uncertainty.append(f"nearly as likely: {'; '.join(h.rivals)}")
    uncertainty.append(
        "what moved together need not be the cause, and the size is a little flattered because it was picked as the clearest"
    )
    text = NEXT[h.cause].format(stage=h.stage, start=start, who=who, via=_plain(h.via), scale=scale)
    return Finding(
        h.cause,
        h.stage,
        None if h.who and h.who[0] == "rework" else h.who,
        h.via,
        scale,
        h.start,
        h.likely_starts,
        touched,
        h.effect,
        h.effect_interval,
        kg,
        kg_interval,
        None,
        h.cause in ("scale", "rework twice", "gained on the way"),
        h.chance,
        sentence,
        evidence,
        "; ".join(uncertainty),
        text,
        h.rivals,
    )


def _odds(p: float) -> str:
    return "less than 1 in 10,000" if p < 1e-4 else f"1 in {1 / p:,.0f}"


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
    """Kilograms over the batches touched: effect times pattern times what went in. A column counts from its median on the side that loses more."""
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
    if h.cause == "column" and h.who is None and h.start is None:
        side = 1 if h.effect > 0 else -1
        shape = side * np.maximum(side * (shape - np.median(shape)), 0)
    per_point = float((shape * base).sum()) / 100
    low, high = sorted(e * per_point for e in h.effect_interval)
    return h.effect * per_point, (low, high)
