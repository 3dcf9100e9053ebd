"""What looks wrong although every cell can be read? Named with evidence, never repaired; data/records/findings.csv says in which words."""

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.reading.records.summary import KEYS, Summary
from kit.tables import rows_by, value
from kit.working import figure
from kit.yields.ledger import IN, OUT, SIGN
from kit.yields.mistakes import SLIPS

_WORDS = rows_by("key", "records", "findings.csv")
KINDS_OF_FINDING = tuple(dict.fromkeys(row["kind"] for row in _WORDS.values()))
_DUPLICATE = "duplicate batch"
COUNTED_TWICE = (_DUPLICATE, "duplicate weighing")
"""kinds that make the sums of a batch too high"""
_LEAST_SD = 0.004
"""scatter of a log ratio below which weights are not told apart"""
_MOST_ROWS = 6
_SETTLED_KG = 1e-9
_LOGS = np.log([slip[0] for slip in SLIPS])
_ROUNDS, _WIDEST = 6, 0.3


@dataclass(frozen=True)
class RecordFinding:
    """One thing to look at. The weights stay as they are written."""

    kind: str
    batch: str
    stage: str
    what: str
    """a sentence with the evidence"""
    remedy: str
    rows: tuple[int, ...] = ()

    def __str__(self) -> str:
        rows = f" (row{'s' if len(self.rows) > 1 else ''} {', '.join(map(str, self.rows))})"
        return f"{self.kind}: batch {self.batch}{rows if self.rows else ''}: {self.what} — {self.remedy}"


def find(s: Summary, incomplete: Collection[str] = ()) -> tuple[RecordFinding, ...]:
    """All findings: a step that gains in most batches first, then duplicates; growth is not told of `incomplete` batches, which lost a row."""
    if not len(s.batches):
        return ()
    found = [*_duplicates(s), *_alike(s), *_long(s)]
    doubled = {finding.batch for finding in found if finding.kind == _DUPLICATE}
    explained = np.zeros(s.kg.shape, dtype=bool)
    found += _slips(s, np.array([batch in doubled for batch in s.batches]), explained)
    found += _swaps(s, explained)
    explained |= np.array([batch in incomplete for batch in s.batches])[:, None]
    usual, single = _growth(s, explained)
    return (*usual, *found, *single)


def _finding(
    s: Summary, key: str, n: int, stage: str, rows: Iterable[int], **said
) -> RecordFinding:
    """One finding of batch number `n`, in the words of `key`."""
    words = _WORDS[key]
    what = words["what"].format(stage=stage, **said)
    shown = tuple(dict.fromkeys(map(int, rows)))[:_MOST_ROWS]
    return RecordFinding(words["kind"], str(s.batches[n]), stage, what, words["remedy"], shown)


def _median(x: np.ndarray) -> float:
    """Without gaps; nan where nothing is left."""
    x = x[np.isfinite(x)]
    return float(np.median(x)) if x.size else np.nan


def _scatter(x: np.ndarray, least: float = _LEAST_SD) -> float:
    """Standard deviation of `x` around 0 by the median of what is left, at least `least`."""
    return max(value("sd_per_mad") * _median(np.abs(x)), least)


def _listed(parts: list[str]) -> str:
    return parts[0] if len(parts) == 1 else ", ".join(parts[:-1]) + " and " + parts[-1]


# --- written twice, under two names, over many days ---


def _duplicates(s: Summary) -> Iterator[RecordFinding]:
    held = s.count > 0
    typical = np.array([np.median(column[column > 0]) for column in s.count.T])
    doubled = (~held | (s.count >= 2 * typical)).all(axis=1) & (held.sum(axis=1) >= 2)
    doubled &= len(s.batches) >= value("records_usual_batches")
    repeats = dict(list(s.repeats.groupby("batch", sort=False)))
    again = doubled | np.isin(np.arange(len(held)), list(repeats))
    for n in np.flatnonzero(again).tolist():
        group, weights = repeats.get(n), int(held[n].sum())
        if group is not None and group["key"].nunique() == weights:
            times, rows = _times(group["count"].min()), {*group["first_row"], *group["last_row"]}
            yield _finding(s, "duplicate", n, "", sorted(rows), weights=weights, times=times)
        elif doubled[n]:
            said = {"weights": weights, "weighings": s.count[n].sum()}
            yield _finding(s, "doubled", n, "", s.row[n][held[n]], **said)
        elif group is not None:
            for one in group.itertuples():
                stage, kind = KEYS[one.key]
                said = {"kind": kind, "named": f" ({one.name})" if one.name else ""}
                said |= {"times": _times(one.count), "kg": figure(one.kg)}
                key = "filled twice" if one.fixed else "written twice"
                yield _finding(s, key, n, stage, (one.first_row, one.last_row), **said)


def _times(count: int) -> str:
    return {2: "twice", 3: "three times"}.get(int(count), f"{int(count)} times")


def _alike(s: Summary) -> Iterator[RecordFinding]:
    """Batches of different names whose weights are all the same, at least three of them."""
    first: dict[bytes, int] = {}
    held, kg = s.count > 0, np.nan_to_num(s.kg, nan=-1.0) + 0.0
    mark = (kg * np.sqrt(np.arange(2, kg.shape[1] + 2))).sum(axis=1)
    may_be = pd.Series(mark).duplicated(keep=False) & (held.sum(axis=1) >= 3)
    for n in np.flatnonzero(may_be).tolist():
        other = first.setdefault(kg[n].tobytes(), int(n))
        if other != n:
            rows = [s.row[at][held[at]][0] for at in (other, n)]
            said = {"weights": int(held[n].sum()), "other": s.batches[other]}
            yield _finding(s, "alike", n, "", rows, **said)


def _long(s: Summary) -> Iterator[RecordFinding]:
    days = (s.per_batch["last"] - s.per_batch["first"]) / pd.Timedelta(days=1)
    for n in np.flatnonzero(days > value("records_longest_days")).tolist():
        yield _finding(s, "long", n, "", s.row[n][s.count[n] > 0][:1], days=days[n])


# --- a factor of a unit off what the batch's other weights and the usual shares lead to expect ---


def _slips(s: Summary, twice: np.ndarray, explained: np.ndarray) -> Iterator[RecordFinding]:
    """Findings among weights that go with the size of a batch, not `twice` entered; marks the keys they touch as `explained`."""
    least = value("records_usual_batches")
    weighed = (s.count > 0).sum(axis=0) >= least
    main = [n for n, (_, kind) in enumerate(s.keys) if kind in (IN, OUT) and weighed[n]]
    columns = [(n, s.keys[n][1]) for n in main]
    columns += [(s.keys.index((stage, kind)), name or kind) for stage, kind, name in s.part_keys]
    if len(s.batches) < least or not columns:
        return
    kg, row = np.hstack([s.kg[:, main], s.part_kg]), np.hstack([s.row[:, main], s.part_row])
    rest, spread, level = _levels(kg)
    which = np.where(twice[:, None], -1, _matches(rest, spread))
    for n in np.flatnonzero((which >= 0).any(axis=1)).tolist():
        for slip in np.unique(which[n][which[n] >= 0]):
            at = np.flatnonzero(which[n] == slip)
            keys, names = zip(*(columns[k] for k in at))
            explained[n, list(keys)] = True
            stages = [s.keys[key][0] for key in keys]
            titles = [f"{name} at {stage}" for name, stage in zip(names, stages)]
            where = [f"{title} ({figure(x)} kg)" for title, x in zip(titles, kg[n, at])]
            off = rest[n] + level[n]
            said = {"where": _listed(where), "times": figure(float(np.exp(np.median(off[at]))), 3)}
            said |= {"factor": figure(SLIPS[slip][0], 4), "slip": SLIPS[slip][1]}
            every = at.size == np.isfinite(off).sum()
            key = "unit error in all" if every else "unit error"
            yield _finding(s, key, n, stages[0], row[n, at], **said)


def _levels(kg: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(ln kg less the batch's level and the usual share, scatter of each weight, how far a level is off by a slip); a minority of slips moves no median."""
    x = np.log(np.where(kg > 0, kg, np.nan))
    level, across = _row_medians(x, np.nan), np.ascontiguousarray(x.T)
    for _ in range(_ROUNDS):
        usual = np.array([_median(column) for column in across - level])
        middle = _median(level)
        level = _row_medians(x - usual, middle)
    rest, away = x - usual - level[:, None], level - middle
    off = _matches(away, _scatter(away), value("records_slip_sds"))
    rest += np.where(off >= 0, _LOGS[off], 0.0)[:, None]
    spread = np.array([_scatter(column) for column in rest.T])
    return rest, spread, np.where(off >= 0, away - _LOGS[off], 0.0)


def _matches(rest: np.ndarray, spread, reach_sds: float = 3.0) -> np.ndarray:
    """The slip whose factor is nearest to `rest`, far beyond the scatter; -1 if twice or half is nearer."""
    spread, which = np.broadcast_to(spread, rest.shape), np.full(rest.shape, -1)
    far = np.abs(rest) > np.maximum(value("records_slip_sds") * spread, np.log(1.5))
    off, match = rest[far], np.log1p(value("records_slip_match_pct") / 100)
    near = np.minimum(np.maximum(reach_sds * spread[far], match), _WIDEST)
    apart = np.abs(off[:, None] - _LOGS)
    closest = apart.min(axis=1)
    own = (closest <= near) & (closest < np.abs(np.abs(off) - np.log(2)))
    which[far] = np.where(own, apart.argmin(axis=1), -1)
    return which


def _row_medians(x: np.ndarray, near: float) -> np.ndarray:
    """Median of each row without its gaps; of two middle values the one nearer to `near` (their mean where `near` is nan)."""
    ordered, n = np.sort(x, axis=1), np.isfinite(x).sum(axis=1)
    low, high = (
        np.take_along_axis(ordered, np.maximum(place, 0)[:, None], axis=1)[:, 0]
        for place in ((n - 1) // 2, np.minimum(n // 2, x.shape[1] - 1))
    )
    if np.isnan(near):
        return (low + high) / 2
    return np.where(np.abs(low - near) <= np.abs(high - near), low, high)


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
        usual = _median(written[good])
        far = good & _swapped(written - usual, turned - usual, _scatter(written[good] - usual))
        for n in np.flatnonzero(far).tolist():
            yields = {"written": written[n], "turned": turned[n], "usual": usual}
            said = {name: 100 * np.exp(log) for name, log in yields.items()}
            said |= {"into": figure(float(into[n])), "out": figure(float(out[n]))}
            yield _finding(s, "swapped", n, stage, s.row[n, [i, o]], **said)
        explained[np.ix_(far, [i, o])] = True


def _swapped(written: np.ndarray, turned: np.ndarray, spread: float) -> np.ndarray:
    """Far off the usual as written, near to it once turned round."""
    match = np.log1p(value("records_swap_match_pct") / 100)
    grown = np.log1p(value("records_growth_tolerance_pct") / 100)
    far = np.abs(written) > max(6 * spread, 2 * grown)
    near = np.abs(turned) <= max(4 * spread, match)
    return far & near & (np.abs(turned) < np.abs(written) / 2)


# --- weight that came from nowhere ---


def _growth(s: Summary, explained: np.ndarray) -> tuple[list[RecordFinding], list[RecordFinding]]:
    """From each main-stream weight to the next: more than went in, additions and takings counted; a step where most batches gain is told once, apart from the others."""
    before, beside = np.full(len(s.kg), np.nan), np.zeros(len(s.kg))
    at, doubtful = np.full(len(s.kg), -1), np.zeros(len(s.kg), dtype=bool)
    usual: list[RecordFinding] = []
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
            grown = [(i, _grown(s, i, before[i], beside[i], start, k, often)) for i in n[grew]]
            usual += [finding for _, finding in grown if often]
            told += [] if often else grown
        before, at = np.where(there, kg, before), np.where(there, k, at)
        beside, doubtful = np.where(there, 0, beside), np.where(there, explained[:, k], doubtful)
    return usual, [found for _, found in sorted(told, key=lambda entry: entry[0])]


def _gains(base: np.ndarray, after: np.ndarray) -> tuple[np.ndarray, str]:
    """Which of the batches gain from one weight to the next, and how often that is so where it is usual."""
    least, sound = np.log1p(value("records_growth_tolerance_pct") / 100), (base > 0) & (after > 0)
    gain = np.where(after > base + _SETTLED_KG, np.inf, -np.inf)
    gain[sound] = np.log(after[sound] / base[sound])
    grew = gain > least
    if gain.size >= value("records_usual_batches"):
        usual = _median(gain)
        if usual > least:
            return np.flatnonzero(grew)[:1], f"; so do {int(grew.sum())} of {gain.size} batches"
        grew &= gain > usual + value("records_growth_sds") * _scatter(gain - usual, _LEAST_SD / 4)
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
    missing = f"; {_listed(expected)}, which most batches have, is not written" if expected else ""
    moved = f" and {figure(beside)} kg of additions less takings" if beside else ""
    after, ways = float(s.kg[n, k]), {IN: "into", OUT: "out of"}
    said = {"from_way": ways[from_kind], "from_stage": from_stage, "moved": moved}
    said |= {"way": ways[kind], "missing": missing, "often": often, "before": figure(before)}
    said |= {"after": figure(after), "gain": figure(after - before - beside)}
    return _finding(s, "grew", n, stage, s.row[n, [start, k]], **said)
