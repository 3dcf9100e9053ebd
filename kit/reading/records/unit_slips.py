"""Weights a factor of a unit off what the batch's other weights and the usual shares lead to expect."""

from collections.abc import Iterator

import numpy as np

from kit.reading.records.finding import RecordFinding, finding, listed, median, scatter
from kit.reading.records.summary import Summary
from kit.reading.words import IN, OUT
from kit.tables import value
from kit.working import figure
from kit.yields.mistakes import SLIPS

_LOGS = np.log([slip[0] for slip in SLIPS])
_ROUNDS, _WIDEST = 6, 0.3


def slips_of(s: Summary, twice: np.ndarray, explained: np.ndarray) -> Iterator[RecordFinding]:
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
            said = {"where": listed(where), "times": figure(float(np.exp(np.median(off[at]))), 3)}
            said |= {"factor": figure(SLIPS[slip][0], 4), "slip": SLIPS[slip][1]}
            every = at.size == np.isfinite(off).sum()
            key = "slip of all" if every else "slip"
            yield finding(s, key, n, stages[0], row[n, at], **said)


def _levels(kg: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(ln kg less the batch's level and the usual share, scatter of each weight, how far a level is off by a slip); a minority of slips moves no median."""
    x = np.log(np.where(kg > 0, kg, np.nan))
    level = _row_medians(x, np.nan)
    for _ in range(_ROUNDS):
        usual = np.array([median(column) for column in (x - level[:, None]).T])
        middle = median(level)
        level = _row_medians(x - usual, middle)
    rest, away = x - usual - level[:, None], level - middle
    off = _matches(away, scatter(away), value("records_slip_sds"))
    rest += np.where(off >= 0, _LOGS[off], 0.0)[:, None]
    spread = np.array([scatter(column) for column in rest.T])
    return rest, spread, np.where(off >= 0, away - _LOGS[off], 0.0)


def _matches(rest: np.ndarray, spread, reach_sds: float = 3.0) -> np.ndarray:
    """The slip whose factor is nearest to `rest`, far beyond the scatter; -1 if twice or half is nearer."""
    apart = np.abs(rest[..., None] - _LOGS)
    closest = apart.min(axis=-1)
    match = np.log1p(value("records_slip_match_pct") / 100)
    far = np.abs(rest) > np.maximum(value("records_slip_sds") * spread, np.log(1.5))
    near = closest <= np.minimum(np.maximum(reach_sds * spread, match), _WIDEST)
    own = far & near & (closest < np.abs(np.abs(rest) - np.log(2)))
    return np.where(own, apart.argmin(axis=-1), -1)


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
