"""Weights in and out that changed places, and weight that came from nowhere."""

import numpy as np

from kit.reading.records.finding import (
    GREW,
    LEAST_SD,
    SWAPPED,
    RecordFinding,
    listed,
    median,
    scatter,
)
from kit.reading.records.summary import Summary
from kit.reading.words import IN, OUT, SIGN
from kit.tables import value
from kit.working import figure

_SETTLED_KG = 1e-9
_LOOK = (
    "look for an addition or rework that was not written (a shower's water counts), a tare left on, "
    "or a scale that reads high"
)


def swaps_of(s: Summary, slipped: np.ndarray) -> tuple[list[RecordFinding], np.ndarray]:
    """Stages whose yield is far off as written, and usual once in and out change places."""
    found, swapped = [], np.zeros(s.kg.shape, dtype=bool)
    column = {key: n for n, key in enumerate(s.keys)}
    for stage in dict.fromkeys(stage for stage, _ in s.keys):
        i, o = column.get((stage, IN)), column.get((stage, OUT))
        if i is None or o is None:
            continue
        sides = [n for (at, kind), n in column.items() if at == stage and SIGN.get(kind, 0) > 0]
        added = np.nan_to_num(s.kg[:, sides]).sum(axis=1)
        into, out = s.kg[:, i], s.kg[:, o]
        good = (into > 0) & (out > 0) & ~slipped[:, i] & ~slipped[:, o]
        if good.sum() < value("records_usual_batches"):
            continue
        with np.errstate(invalid="ignore", divide="ignore"):
            written, turned = np.log(out / (into + added)), np.log(into / (out + added))
        usual = median(written[good])
        far = good & _swapped(written - usual, turned - usual, scatter(written[good] - usual))
        for n in np.flatnonzero(far):
            kg = float(into[n]), float(out[n])
            percent = [100 * float(np.exp(each)) for each in (written[n], turned[n], usual)]
            rows = (int(s.row[n, i]), int(s.row[n, o]))
            found.append(_swap(str(s.batches[n]), stage, kg, percent, rows))
        swapped[far, i] = swapped[far, o] = True
    return found, swapped


def _swapped(written: np.ndarray, turned: np.ndarray, spread: float) -> np.ndarray:
    """Far off the usual as written, near to it once turned round."""
    match = np.log1p(value("records_swap_match_pct") / 100)
    grown = np.log1p(value("records_growth_tolerance_pct") / 100)
    far = np.abs(written) > max(6 * spread, 2 * grown)
    near = np.abs(turned) <= max(4 * spread, match)
    return far & near & (np.abs(turned) < np.abs(written) / 2)


def _swap(batch: str, stage: str, kg, percent, rows) -> RecordFinding:
    into, out = kg
    what = (
        f"{figure(into)} kg in and {figure(out)} kg out of {stage} give a yield of {percent[0]:.1f} %; "
        f"the other way round {percent[1]:.1f} %, and usual is {percent[2]:.1f} %"
    )
    remedy = "look at the record; change the two if it is so"
    return RecordFinding(SWAPPED, batch, stage, what, remedy, rows)


def growth_of(s: Summary, explained: np.ndarray) -> list[RecordFinding]:
    """From each main-stream weight to the next one that was weighed: more than went in, all additions and takings counted.

    A gain counts when it is beyond the tolerance and beyond the scatter of that step in the other batches, so that two scales' noise is no
    finding. A step where most batches gain is told once.
    """
    before, beside = np.full(len(s.kg), np.nan), np.zeros(len(s.kg))
    at, doubtful = np.full(len(s.kg), -1), np.zeros(len(s.kg), dtype=bool)
    told: list[tuple[int, RecordFinding]] = []
    for k, (_, kind) in enumerate(s.keys):
        kg, there = s.kg[:, k], s.count[:, k] > 0
        if kind in SIGN:
            beside += np.where(there, SIGN[kind] * np.nan_to_num(kg), 0)
            doubtful |= explained[:, k]
        if kind not in (IN, OUT):
            continue
        for start in np.unique(at[there & (at >= 0)]):
            n = np.flatnonzero(there & (at == start) & ~doubtful & ~explained[:, k])
            grew, often = _gains(before[n] + beside[n], kg[n])
            for i in grew:
                batch = int(n[i]), float(before[n[i]]), float(beside[n[i]])
                told.append((batch[0], _grown(s, *batch, int(start), k, often)))
        before, at = np.where(there, kg, before), np.where(there, k, at)
        beside, doubtful = (
            np.where(there, 0.0, beside),
            np.where(there, explained[:, k], doubtful),
        )
    return [finding for _, finding in sorted(told, key=lambda entry: entry[0])]


def _gains(base: np.ndarray, after: np.ndarray) -> tuple[np.ndarray, str]:
    """Which of the batches gain from one weight to the next, and how often that is so where it is usual."""
    least, sound = np.log1p(value("records_growth_tolerance_pct") / 100), (base > 0) & (after > 0)
    ratio = np.where(sound, after / np.where(base > 0, base, 1), 1)
    gain = np.where(sound, np.log(ratio), np.where(after > base + _SETTLED_KG, np.inf, -np.inf))
    grew = gain > least
    if gain.size >= value("records_usual_batches"):
        usual = median(gain)
        if usual > least:
            return np.flatnonzero(grew)[:1], f"; so do {int(grew.sum())} of {gain.size} batches"
        grew &= gain > usual + value("records_growth_sds") * scatter(gain - usual, LEAST_SD / 4)
    return np.flatnonzero(grew), ""


def _grown(
    s: Summary, n: int, before: float, beside: float, start: int, k: int, often: str
) -> RecordFinding:
    (from_stage, from_kind), (stage, kind) = s.keys[start], s.keys[k]
    after = float(s.kg[n, k])
    gain, had = after - before - beside, (s.count > 0).mean(axis=0) > 0.5
    expected = [
        f"{side} at {place}"
        for other, (place, side) in enumerate(s.keys)
        if start < other < k and SIGN.get(side, 0) > 0 and s.count[n, other] == 0 and had[other]
    ]
    missing = f"; {listed(expected)}, which most batches have, is not written" if expected else ""
    moved = f" and {figure(beside)} kg of additions less takings" if beside else ""
    way = {IN: "into", OUT: "out of"}
    what = (
        f"{figure(before)} kg {way[from_kind]} {from_stage}{moved}, then {figure(after)} kg "
        f"{way[kind]} {stage}: {figure(gain)} kg more{missing}{often}"
    )
    rows = (int(s.row[n, start]), int(s.row[n, k]))
    return RecordFinding(GREW, str(s.batches[n]), stage, what, _LOOK, rows)
