"""Where to look first: at most five findings, each with its evidence, its effect, its uncertainty and the next measurement; or "nothing stands out"."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from kit import tables
from kit.batches.costs import check_prices
from kit.batches.groups import parts_of
from kit.batches.patterns import acts_on
from kit.batches.search import MOST as MOST_CAUSES
from kit.batches.search import Hit, Searched, search
from kit.batches.slips import Slip, fact_slips, strays, weight_slips, without
from kit.batches.table import BatchTable
from kit.errors import need_between
from kit.working import Result, Step, steps_from

MOST = 5


@dataclass(frozen=True)
class Finding:
    """One thing to look at. Batches are 0-based here and counted from 1 in the sentences."""

    cause: str
    """a key of SAYS, or 'unit error', 'odd batch'"""
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
        searched = search(cleaned, chance)
        told = [
            *(_from_slip(s, table) for s in mine),
            *(_from_hit(h, cleaned, prices, rows) for h in searched.hits),
        ]
        found += [replace(f, sentence=f"{said}: {f.sentence}") if said else f for f in told]
        pairs, slips = pairs + searched.pairs, [*slips, *mine]
        for line in _notes(searched, cleaned):
            notes[line] = [*notes.get(line, []), said]
    told_of = [
        line if len(where) == len(parts) else f"{'; '.join(where)}: {line}"
        for line, where in notes.items()
    ]
    cleaned = without(table, slips) if slips else table
    found.sort(
        key=lambda f: (not f.is_record_fault, f.kg <= 0, 0 if f.is_record_fault else -abs(f.kg))
    )
    kept = tuple(found[:MOST])
    return Findings(
        kept,
        kept[0].sentence if kept else f"Nothing stands out in {table.n} batches.",
        cleaned,
        own_notes=(*_counted(table, parts, pairs, alpha, found[MOST:]), *told_of, PROOF),
        own_sources=(
            tables.number("batches_alpha").cite(),
            tables.cite("kit", "chances from the same batches in shuffled order", "computed"),
        ),
        own_working=(
            *(line for f in kept if f.cause in SAYS for line in _step(f)),
            *(line for s in slips if s.factor for line in _slip_step(s, s.factor)),
        ),
    )


PROOF = "a finding says where figures moved together; it proves no cause"


def _counted(table, parts, pairs, alpha, dropped) -> Iterator[str]:
    yield (
        f"{pairs:,} pairs of loss and cause were tried; a plant in which nothing is wrong gets a finding in about {100 * alpha:g} "
        "of 100 such searches"
    )
    if len(parts) > 1:
        said = "; ".join(f"{name} ({len(rows):,})" for name, rows in parts.items())
        yield f"{table.n:,} batches were searched in {len(parts)} parts, each for itself: {said}"
    if dropped:
        yield f"{len(dropped)} more findings are left out of the list: {'; '.join(f.sentence for f in dropped)}"


def _notes(searched: Searched, table: BatchTable) -> Iterator[str]:
    if searched.sticky:
        yield (
            f"neighbouring batches resemble one another at {', '.join(searched.sticky)}: levels and drifts there had to be clearer "
            "before they counted"
        )
    for j in table.expected_stages():
        lacking = np.isfinite(table.loss_pct[:, j]) & ~np.isfinite(table.judged_loss_pct[:, j])
        left_out = f"; {lacking.sum()} batches without an expectation are left out there"
        yield (
            f"the loss at {table.stages[j]} is corrected for recipe changes"
            f"{left_out if lacking.any() else ''}"
        )
    most = int(tables.value("batches_label_levels"))
    for label, values in table.labels.items():
        many = len(set(values) - {""})
        if many > most and acts_on().get(label, ("",))[0] == "label":
            yield f"{label} has {many} values and is not searched: at most {most} are told apart; group them in the records"
    if len(searched.hits) == MOST_CAUSES:
        yield f"the search ends after {MOST_CAUSES} causes; look again once these are settled"
    if table.n < 20:
        yield "fewer than 20 batches: only large changes can stand out"


def _slip_step(s: Slip, factor: float) -> tuple[Step, ...]:
    known = {
        "w": s.shown * factor,
        "s": (s.shown, "kg", "as written"),
        "f": (factor, "", s.words),
    }
    return steps_from(known, (f"batch {s.batch + 1}, {s.where}, set right", "w = s × f", "kg"))


def _step(f: Finding) -> tuple[Step, ...]:
    through = "what went through with it, each batch as often as the pattern says"
    known = {
        "K": f.kg,
        "e": (f.effect, "percentage points", "effect"),
        "A": (100 * f.kg / f.effect, "kg", through),
    }
    return steps_from(known, (f"kilograms, {f.sentence.rstrip('.')}", "K = e × A / 100", "kg"))


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


SAYS = {
    "step": (
        "{stage} loses {size}{since}.",
        "Catch and weigh what leaves {stage} beside the product for ten batches, and ask what was changed, repaired or replaced around batch {start}.",
    ),
    "episode": (
        "{stage} lost {size} from batch {start} to batch {end}, and then no longer.",
        "Ask what was different at {stage} from batch {start} to batch {end}: people, material, weather, repairs; write such days down from now on.",
    ),
    "odd day": (
        "{stage} lost {size} on one day, from batch {start} to batch {end}.",
        "Look up that day's tickets for {stage}, and ask who was there and what was made.",
    ),
    "season": (
        "The loss at {stage} rises and falls slowly with the time of year, by {swing} percentage points.",
        "Write down air and meat temperature at {stage} beside each batch for a year; compare batches of one season only.",
    ),
    "drift": (
        "The loss at {stage} {grows} slowly, by {points} percentage points over these batches.",
        "Look for wear at {stage}: weigh its losses again after the next service, ten batches before and ten after.",
    ),
    "label": (
        "{stage} loses {size} with {who}.",
        "Let {who} and the others do the same lot at {stage} on one day, ten batches each, in drawn order.",
    ),
    "label from": (
        "{stage} loses {size} with {who}{since}.",
        "Check {who} at {stage} for what changed around batch {start}; weigh the same lot there and elsewhere, in drawn order.",
    ),
    "column": (
        "The loss at {stage} follows {via}: {size} for each unit of it.",
        "Hold {via} at two levels on purpose, both within your validated process, in drawn order, and weigh {stage} for as many batches as it takes to see a difference of that size.",
    ),
    "rework twice": (
        "Rework seems to be counted twice at {stage}{since}: each kilogram of it shows up as {points} kg lost.",
        "Follow the rework of one day on paper: is it inside the weight into {stage} and written as rework as well?",
    ),
    "rework": (
        "The loss at {stage} follows the rework taken in{since}: {points} kg for each kilogram.",
        "Weigh rework by itself into {stage} for ten batches.",
    ),
    "scale": (
        "The {series} seems to read {way} and {way}{about}.",
        "Put a known test weight on the {series} at the start and end of every shift for a week.",
    ),
    "missing on the way": (
        "Between {ends} {points} % of the weight is missing{growing}.",
        "Weigh one batch twice, on leaving {stage} and on arriving at the next, on the same scale.",
    ),
    "gained on the way": (
        "Between {ends} {points} % of the weight is gained{growing}.",
        "Put a known test weight on both scales, the one after {stage} and the next.",
    ),
}
"""cause -> what is said of it, and the measurement that would settle it"""
COLUMN_SINCE = "{stage} loses {size}{since}, and {via} changed at the same time."
COLUMN_OF = "{stage} loses {size} with {who}{since}, and its {via} changed at the same time."
SCALE_SINCE = "The {series} seems to read {points} % too {high}{since}."
"""said in place of SAYS where a column has a start or a person, or a scale is off by a fixed share"""


def _sentences(h: Hit, rows: np.ndarray) -> tuple[str, str]:
    """What is said of a hit, and the next measurement. `rows`: places in the whole table."""
    more, start = h.effect > 0, None if h.start is None else rows[h.start] + 1
    who = " ".join(h.who) if h.who and h.who[0] != "rework" else ""
    since = "" if start is None else f" since batch {start}"
    said, measure = SAYS[h.cause]
    if h.cause == "column" and start is not None:
        said = COLUMN_SINCE
    if h.cause == "column" and who:
        said = COLUMN_OF
    if h.begins:
        since += f", when {h.begins} began"
    if h.cause == "scale" and set(np.unique(h.pattern)) == {0.0, 1.0}:
        said = SCALE_SINCE
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
        "who": who.replace("smokehouse smokehouse", "smokehouse").replace(
            "supplier supplier", "supplier"
        ),
        "via": _plain(h.via),
        "points": f"{abs(h.effect):.2g}",
        "size": f"{abs(h.effect):.2g} percentage points {'more' if more else 'less'}",
        "grows": "grows" if more else "shrinks",
        "way": "higher" if more else "lower",
        "high": "high" if more else "low",
    }
    sentence = said.format(**words)
    return sentence[0].upper() + sentence[1:], measure.format(**words)


def _from_hit(h: Hit, table: BatchTable, prices: Mapping[str, float], rows) -> Finding:
    """`rows`: places of this table's batches in the whole one."""
    kg, kg_interval = _kilograms(h, table)
    touched = tuple(rows[h.touched].tolist())
    is_record_fault = h.cause in ("scale", "rework twice", "gained on the way")
    sentence, next_measurement = _sentences(h, rows)
    low, high = sorted(h.effect_interval)
    doubts = [
        "what moved together need not be the cause, and the size is a little flattered because it was picked as the clearest"
    ]
    if h.rivals:
        doubts.insert(0, f"nearly as likely: {'; '.join(_rival(rows, *one) for one in h.rivals)}")
    if len(h.likely_starts) > 1:
        first, last = rows[[h.likely_starts[0], h.likely_starts[-1]]] + 1
        doubts.insert(0, f"the start may lie anywhere from batch {first} to {last}")
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
        who=None if h.who and h.who[0] == "rework" else h.who,
        via=h.via,
        scale=h.series if h.cause == "scale" else None,
        effect=h.effect,
        effect_interval=h.effect_interval,
        kg_interval=kg_interval,
        money=None if is_record_fault or h.stage not in prices else kg * prices[h.stage],
        chance=h.chance,
    )


def _rival(rows, series: str, family: str, who, via, start: int) -> str:
    """Another explanation in words."""
    at = f"batch {rows[start] + 1}"
    said = {
        "step": f"a new level from {at}",
        "drift": "a slow drift",
        "drift from": f"a drift from {at}",
        "label": f"{who[0]} {who[1]}" if who else "",
        "label from": f"{who[0]} {who[1]} from {at}" if who else "",
        "fact": str(via),
        "rework": f"rework from {at}",
        "episode": f"an episode about {at}",
        "odd day": f"the day of {at}",
        "season": "the season",
    }[family]
    return f"{series}: {said}"


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
