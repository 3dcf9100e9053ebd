"""What looks wrong although every cell can be read? Duplicates, swapped weights, growth, slips of unit: named with evidence, never repaired."""

from collections.abc import Collection, Iterator

import numpy as np
import pandas as pd

from kit.reading.records.finding import (
    DUPLICATE,
    LEAST_SD,
    RecordFinding,
    finding,
    listed,
    median,
    scatter,
)
from kit.reading.records.summary import KEYS, Summary
from kit.reading.records.unit_slips import slips_of
from kit.reading.words import IN, OUT, SIGN
from kit.tables import value
from kit.working import figure

_SETTLED_KG = 1e-9


def find(s: Summary, incomplete: Collection[str] = ()) -> tuple[RecordFinding, ...]:
    """All findings, duplicates first; growth is not told of `incomplete` batches, which lost a row."""
    if not len(s.batches):
        return ()
    found = [*_duplicates(s), *_alike(s), *_long(s)]
    doubled = {finding.batch for finding in found if finding.kind == DUPLICATE}
    explained = np.zeros(s.kg.shape, dtype=bool)
    found += slips_of(s, np.array([batch in doubled for batch in s.batches]), explained)
    found += _swaps(s, explained)
    explained |= np.array([batch in incomplete for batch in s.batches])[:, None]
    return (*found, *_growth(s, explained))


# --- written twice, under two names, over many days ---


def _duplicates(s: Summary) -> Iterator[RecordFinding]:
    held = s.count > 0
    typical = np.array([np.median(column[column > 0]) for column in s.count.T])
    doubled = (~held | (s.count >= 2 * typical)).all(axis=1) & (held.sum(axis=1) >= 2)
    doubled &= len(s.batches) >= value("records_usual_batches")
    repeats = dict(list(s.repeats.groupby("batch", sort=False)))
    for n, batch in enumerate(s.batches):
        group, weights = repeats.get(batch), int(held[n].sum())
        if group is not None and group["key"].nunique() == weights:
            times, rows = _times(group["count"].min()), {*group["first_row"], *group["last_row"]}
            yield finding(s, "duplicate", n, "", sorted(rows), weights=weights, times=times)
        elif doubled[n]:
            said = {"weights": weights, "weighings": s.count[n].sum()}
            yield finding(s, "doubled", n, "", s.row[n][held[n]], **said)
        elif group is not None:
            for one in group.itertuples():
                stage, kind = KEYS[one.key]
                said = {"kind": kind, "named": f" ({one.name})" if one.name else ""}
                said |= {"times": _times(one.count), "kg": figure(one.kg)}
                key = "filled twice" if one.fixed else "written twice"
                yield finding(s, key, n, stage, (one.first_row, one.last_row), **said)


def _times(count: int) -> str:
    return {2: "twice", 3: "three times"}.get(int(count), f"{int(count)} times")


def _alike(s: Summary) -> Iterator[RecordFinding]:
    """Batches of different names whose weights are all the same, at least three of them."""
    first: dict[bytes, int] = {}
    held, kg = s.count > 0, np.nan_to_num(s.kg, nan=-1.0) + 0.0
    for n in np.flatnonzero(held.sum(axis=1) >= 3).tolist():
        other = first.setdefault(kg[n].tobytes(), int(n))
        if other != n:
            rows = [s.row[at][held[at]][0] for at in (other, n)]
            said = {"weights": int(held[n].sum()), "other": s.batches[other]}
            yield finding(s, "alike", n, "", rows, **said)


def _long(s: Summary) -> Iterator[RecordFinding]:
    days = (s.per_batch["last"] - s.per_batch["first"]) / pd.Timedelta(days=1)
    for n in np.flatnonzero(days > value("records_longest_days")).tolist():
        yield finding(s, "long", n, "", s.row[n][s.count[n] > 0][:1], days=days[n])


# --- in and out that changed places ---


def _swaps(s: Summary, explained: np.ndarray) -> Iterator[RecordFinding]:
    """Stages whose yield is far off as written, and usual once in and out change places; marks them as `explained`."""
    column = {key: n for n, key in enumerate(s.keys)}
    for i, (stage, kind) in enumerate(s.keys):
        o = column.get((stage, OUT))
        if kind != IN or o is None:
            continue
        sides = [n for (at, side), n in column.items() if at == stage and SIGN.get(side, 0) > 0]
        added = np.nan_to_num(s.kg[:, sides]).sum(axis=1)
        into, out = s.kg[:, i], s.kg[:, o]
        good = (into > 0) & (out > 0) & ~explained[:, [i, o]].any(axis=1)
        if good.sum() < value("records_usual_batches"):
            continue
        with np.errstate(invalid="ignore", divide="ignore"):
            written, turned = np.log(out / (into + added)), np.log(into / (out + added))
        usual = median(written[good])
        far = good & _swapped(written - usual, turned - usual, scatter(written[good] - usual))
        for n in np.flatnonzero(far).tolist():
            yields = {"written": written[n], "turned": turned[n], "usual": usual}
            said = {name: 100 * np.exp(log) for name, log in yields.items()}
            said |= {"into": figure(float(into[n])), "out": figure(float(out[n]))}
            yield finding(s, "swapped", n, stage, s.row[n, [i, o]], **said)
        explained[np.ix_(far, [i, o])] = True


def _swapped(written: np.ndarray, turned: np.ndarray, spread: float) -> np.ndarray:
    """Far off the usual as written, near to it once turned round."""
    match = np.log1p(value("records_swap_match_pct") / 100)
    grown = np.log1p(value("records_growth_tolerance_pct") / 100)
    far = np.abs(written) > max(6 * spread, 2 * grown)
    near = np.abs(turned) <= max(4 * spread, match)
    return far & near & (np.abs(turned) < np.abs(written) / 2)


# --- weight that came from nowhere ---


def _growth(s: Summary, explained: np.ndarray) -> list[RecordFinding]:
    """From each main-stream weight to the next: more than went in, additions and takings counted; a step where most batches gain is told once."""
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
            told += [
                (i, _grown(s, i, before[i], beside[i], start, k, often)) for i in n[grew].tolist()
            ]
        before, at = np.where(there, kg, before), np.where(there, k, at)
        beside, doubtful = np.where(there, 0, beside), np.where(there, explained[:, k], doubtful)
    return [found for _, found in sorted(told, key=lambda entry: entry[0])]


def _gains(base: np.ndarray, after: np.ndarray) -> tuple[np.ndarray, str]:
    """Which of the batches gain from one weight to the next, and how often that is so where it is usual."""
    least, sound = np.log1p(value("records_growth_tolerance_pct") / 100), (base > 0) & (after > 0)
    gain = np.where(after > base + _SETTLED_KG, np.inf, -np.inf)
    gain[sound] = np.log(after[sound] / base[sound])
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
    usual = (s.count > 0).mean(axis=0) > 0.5
    expected = [
        f"{side} at {place}"
        for other, (place, side) in enumerate(s.keys)
        if start < other < k and SIGN.get(side, 0) > 0 and not s.count[n, other] and usual[other]
    ]
    missing = f"; {listed(expected)}, which most batches have, is not written" if expected else ""
    moved = f" and {figure(beside)} kg of additions less takings" if beside else ""
    after, ways = float(s.kg[n, k]), {IN: "into", OUT: "out of"}
    said = {"from_way": ways[from_kind], "from_stage": from_stage, "moved": moved}
    said |= {"way": ways[kind], "missing": missing, "often": often, "before": figure(before)}
    said |= {"after": figure(after), "gain": figure(after - before - beside)}
    return finding(s, "grew", n, stage, s.row[n, [start, k]], **said)
