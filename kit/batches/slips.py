"""Is a single figure in the wrong unit? A weight a factor off its neighbours, a temperature in the other scale."""

from dataclasses import dataclass

import numpy as np

from kit import tables
from kit.batches.table import BatchTable


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
    """kilograms by which the books of this batch are wrong because of it; 0 for a temperature"""


_POUND, _OUNCE = (1000 / tables.value(name) for name in ("pound_g", "ounce_g"))
UNIT_SLIPS = (
    (_POUND, "pounds written as kilograms", "lb typed where kg were meant"),
    (
        1 / _POUND,
        "kilograms turned into kilograms once more, as if they had been pounds",
        "kg typed where lb were meant",
    ),
    (10.0, "a figure too many (ten times too large)", "the decimal point one place off"),
    (0.1, "a figure missing (ten times too small)", "the decimal point one place off"),
    (1000.0, "grams written as kilograms", "g typed where kg were meant"),
    (0.001, "tonnes written as kilograms", "kg typed where g were meant, or t where kg"),
    (_OUNCE, "", "oz typed where kg were meant"),
    (100.0, "", "the decimal point two places off"),
    (0.01, "", "the decimal point two places off"),
)
"""(how many times the right figure is written, as told of a table of batches, as told of single records); "" is not looked for"""


WEIGHTS = ("in_kg", "out_kg", "added_kg", "rework_in_kg", "rework_out_kg", "sample_kg")


def links(w) -> np.ndarray:
    """(n, 2S − 1) log ratios along the main stream: out over all in for each stage, then in over the out before. `w`: {name of WEIGHTS: (n, S)}."""
    with np.errstate(invalid="ignore", divide="ignore"):
        through = np.log(
            (w["out_kg"] + w["rework_out_kg"] + w["sample_kg"])
            / (w["in_kg"] + w["added_kg"] + w["rework_in_kg"])
        )
        across = np.log(w["in_kg"][:, 1:] / w["out_kg"][:, :-1])
    return np.concatenate([through, across], axis=1)


def weight_slips(table: BatchTable) -> tuple[Slip, ...]:
    """Batches in which some link of the main stream is far off its median over all batches, each with the single figure that explains it best."""
    far, left = tables.value("batches_slip_log"), tables.value("batches_slip_left")
    logs, names = (
        links({name: getattr(table, name) for name in WEIGHTS}),
        (*table.stages, *table.handovers()),
    )
    seen = np.isfinite(logs)
    with np.errstate(all="ignore"):
        middle = np.array([np.median(c[k]) if k.any() else np.nan for c, k in zip(logs.T, seen.T)])
        scatter = np.array(
            [
                tables.value("sd_per_mad") * np.median(np.abs(c[k] - m)) if k.any() else np.nan
                for c, k, m in zip(logs.T, seen.T, middle)
            ]
        )
        off = np.abs(logs - middle)
        wild = off > np.maximum(far, 8 * scatter)
    return tuple(
        _explained(table, int(i), logs, middle, names, far, left)
        for i in np.flatnonzero(wild.any(axis=1))
    )


def _explained(table, i, logs, middle, names, far, left) -> Slip:
    worst = np.nanmax(np.abs(logs[i] - middle))
    best = None
    one = {name: getattr(table, name)[i : i + 1] for name in WEIGHTS}
    for field in ("in_kg", "out_kg", "added_kg", "rework_in_kg"):
        for j, stage in enumerate(table.stages):
            value = getattr(table, field)[i, j]
            if not np.isfinite(value) or value <= 0:
                continue
            for times, words, _ in UNIT_SLIPS:
                if not words:
                    continue
                factor = 1 / times
                trial = one[field].copy()
                trial[0, j] *= factor
                after = np.nanmax(np.abs(links(one | {field: trial})[0] - middle))
                if after < max(left, 0.1 * worst) and (best is None or after < best[0]):
                    best = (after, field, stage, value, factor, words)
    if best is None:
        link = names[int(np.nanargmax(np.abs(logs[i] - middle)))]
        stage = link.split(" to ")[0]
        j = table.stages.index(stage)
        return Slip(
            i,
            link,
            stage,
            float(table.out_kg[i, j]),
            None,
            f"{link} is far off its usual ratio, and no single unit explains it",
            float(abs(np.nan_to_num(table.lost_kg[i, j]))),
        )
    _, field, stage, value, factor, words = best
    side = {
        "in_kg": "into",
        "out_kg": "out of",
        "added_kg": "added at",
        "rework_in_kg": "rework into",
    }[field]
    return Slip(
        i, f"{side} {stage}", stage, float(value), factor, words, float(abs(value * factor - value))
    )


def fact_slips(table: BatchTable) -> tuple[Slip, ...]:
    """Temperatures (columns ending in _C) that read like °F, or °F read twice."""
    found = []
    for name, x in table.facts.items():
        have = x[np.isfinite(x)]
        if not name.endswith("_C") or len(have) < 5:
            continue
        middle = float(np.median(have))
        scatter = max(tables.value("sd_per_mad") * float(np.median(np.abs(have - middle))), 0.5)
        turned = (x - 32) / 1.8
        hit = (np.abs(x - middle) > 8 * scatter) & (np.abs(turned - middle) < 4 * scatter)
        found += [
            Slip(
                int(i),
                name,
                "",
                float(x[i]),
                None,
                f"{name} reads like °F: {x[i]:.1f} °F is {turned[i]:.1f} °C",
                0.0,
            )
            for i in np.flatnonzero(hit)
        ]
    return tuple(found)


def without(table: BatchTable, slips) -> BatchTable:
    """The table with slipped figures blanked, so that the rest of a batch can still be used. The file is not touched."""
    copies = {
        name: np.array(getattr(table, name))
        for name in ("in_kg", "out_kg", "added_kg", "rework_in_kg")
    }
    facts = {name: x.copy() for name, x in table.facts.items()}
    for slip in slips:
        if slip.where in facts:
            facts[slip.where][slip.batch] = np.nan
        elif slip.where.startswith("into "):
            copies["in_kg"][slip.batch, table.stages.index(slip.stage)] = np.nan
        elif slip.where.startswith("out of "):
            copies["out_kg"][slip.batch, table.stages.index(slip.stage)] = np.nan
        elif slip.where.startswith(("added", "rework")):
            # the balance of that stage is lost with it
            copies["in_kg"][slip.batch, table.stages.index(slip.stage)] = np.nan
        else:
            for stage in slip.where.split(" to "):
                copies["in_kg"][slip.batch, table.stages.index(stage)] = np.nan
                copies["out_kg"][slip.batch, table.stages.index(stage)] = np.nan
    return table.changed(**copies, facts=facts)
