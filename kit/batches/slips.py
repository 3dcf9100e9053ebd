"""Is a single figure in the wrong unit? A weight a factor off its neighbours, a temperature in the other scale."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from kit import tables
from kit.batches.noise import beside, far_out
from kit.batches.patterns import products
from kit.batches.table import ARRAYS, BatchTable
from kit.yields.mistakes import SLIPS


@dataclass(frozen=True)
class Slip:
    """One figure of one batch (0-based) that stands far off, and the factor that would set it right; None: far off, and no unit explains it."""

    batch: int
    where: str
    stage: str
    shown: float
    factor: float | None
    words: str
    kg_off: float
    """kilograms by which the mass balance of this batch is wrong because of it; 0 for a temperature"""


LOOKED_FOR = SLIPS[:6]
"""of a table of batches; ounces and two places of the decimal point are looked for in single records alone"""
SIDES = {
    "in_kg": "into",
    "out_kg": "out of",
    "added_kg": "added at",
    "rework_in_kg": "rework into",
}
"""array of a table of batches -> what an error in it is called, before the stage"""


def links(w) -> np.ndarray:
    """(n, 2S − 1) log ratios along the main stream: out over all in for each stage, then in over the out before. `w`: {name of ARRAYS: (n, S)}."""
    with np.errstate(invalid="ignore", divide="ignore"):
        through = np.log(
            (w["out_kg"] + w["rework_out_kg"] + w["sample_kg"])
            / (w["in_kg"] + w["added_kg"] + w["rework_in_kg"])
        )
        across = np.log(w["in_kg"][:, 1:] / w["out_kg"][:, :-1])
    return np.concatenate([through, across], axis=1)


def weight_slips(table: BatchTable) -> tuple[Slip, ...]:
    """Batches in which some link of the main stream is far off its median over all batches, each with the single figure that explains it best."""
    logs = links(vars(table))
    columns = [column[np.isfinite(column)] for column in logs.T]
    middle = np.array([np.median(c) if len(c) else np.nan for c in columns])
    scatter = [_scatter(c) if len(c) else np.nan for c in columns]
    off = np.abs(logs - middle)
    with np.errstate(invalid="ignore"):
        wild = off > np.maximum(tables.value("batches_slip_log"), 8 * np.array(scatter))
    return tuple(
        _explained(table, int(i), off[i], middle) for i in np.flatnonzero(wild.any(axis=1))
    )


def strays(table: BatchTable) -> tuple[Slip, ...]:
    """Single batches that stand apart from their neighbours and from the tail of all others, by less than a wrong unit would. At most three."""
    names = (*table.stages, *table.handovers())
    logs, codes = links(vars(table)), products(table)
    for mine in (codes == code for code in np.unique(codes)):
        some = np.isfinite(logs[mine]).any(axis=0)
        logs[np.ix_(mine, some)] -= np.nanmedian(logs[np.ix_(mine, some)], axis=0)
    chance = tables.value("batches_stray_chance") / len(names)
    worst: dict[int, tuple[float, int, float]] = {}
    for j, column in enumerate(logs.T):
        off = beside(column)
        usual = _scatter(off[np.isfinite(off)]) if np.isfinite(off).any() else 0.0
        for i in far_out(column, chance) if usual > 0 else ():
            if np.exp(-abs(off[i])) < 1 - tables.value("batches_stray_pct") / 100:
                worst[int(i)] = max(
                    worst.get(int(i), (0.0, 0, 0.0)), (abs(off[i]) / usual, j, off[i])
                )
    found = []
    for i in sorted(worst, key=lambda i: -worst[i][0])[:3]:
        _, j, apart = worst[i]
        stage = names[j].split(" to ")[0]
        shown, pct = float(table.out_kg[i, table.place(stage)]), 100 * np.expm1(apart)
        words = f"{names[j]} stands alone, {abs(pct):.2g} % {'above' if pct > 0 else 'below'} the batches around it"
        kg = float(abs(np.nan_to_num(shown) * np.expm1(apart)))
        found.append(Slip(i, names[j], stage, shown, None, words, kg))
    return tuple(found)


def _scatter(x: np.ndarray) -> float:
    return tables.value("sd_per_mad") * float(np.median(np.abs(x - np.median(x))))


def _explained(table: BatchTable, i: int, off: np.ndarray, middle: np.ndarray) -> Slip:
    """The slip of one figure of batch `i` that brings its links, `off` their medians, nearest to them."""
    least, best = max(tables.value("batches_slip_left"), 0.1 * np.nanmax(off)), None
    one = {name: getattr(table, name)[i : i + 1] for name in ARRAYS}
    for name, side in SIDES.items():
        for j, stage in enumerate(table.stages):
            shown = float(one[name][0, j])
            if not shown > 0:
                continue
            for times, words in LOOKED_FOR:
                trial = one[name].copy()
                trial[0, j] /= times
                after = np.nanmax(np.abs(links(one | {name: trial})[0] - middle))
                if after < least:
                    wrong = float(abs(shown / times - shown))
                    least = after
                    best = Slip(i, f"{side} {stage}", stage, shown, 1 / times, words, wrong)
    if best is not None:
        return best
    link = (*table.stages, *table.handovers())[int(np.nanargmax(off))]
    stage = link.split(" to ")[0]
    out_kg, lost_kg = (kg[i, table.place(stage)] for kg in (table.out_kg, table.lost_kg))
    words = f"{link} is far off its usual ratio, and no single unit explains it"
    return Slip(i, link, stage, float(out_kg), None, words, float(abs(np.nan_to_num(lost_kg))))


def fact_slips(table: BatchTable) -> tuple[Slip, ...]:
    """Temperatures (columns ending in _C) that read like °F, or °F read twice."""
    found = []
    for name, x in table.facts.items():
        have = x[np.isfinite(x)]
        if not name.endswith("_C") or len(have) < 5:
            continue
        middle, scatter = float(np.median(have)), max(_scatter(have), 0.5)
        turned = (x - 32) / 1.8
        hit = (np.abs(x - middle) > 8 * scatter) & (np.abs(turned - middle) < 4 * scatter)
        for i in np.flatnonzero(hit):
            words = f"{name} reads like °F: {x[i]:.1f} °F is {turned[i]:.1f} °C"
            found.append(Slip(int(i), name, "", float(x[i]), None, words, 0.0))
    return tuple(found)


def without(table: BatchTable, slips: Iterable[Slip]) -> BatchTable:
    """The table with slipped figures blanked, so that the rest of a batch can still be used. The file is not touched.

    The balance of a stage is lost with what was added to it.
    """
    into, out = table.in_kg.copy(), table.out_kg.copy()
    facts = {name: x.copy() for name, x in table.facts.items()}
    for slip in slips:
        if slip.where in facts:
            facts[slip.where][slip.batch] = np.nan
        elif slip.factor is None:
            places = [table.place(stage) for stage in slip.where.split(" to ")]
            into[slip.batch, places] = out[slip.batch, places] = np.nan
        else:
            held = out if slip.where.startswith(SIDES["out_kg"]) else into
            held[slip.batch, table.place(slip.stage)] = np.nan
    return table.changed(in_kg=into, out_kg=out, facts=facts)
