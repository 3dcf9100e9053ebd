"""Weights a factor of a unit off what the batch's other weights and the usual shares lead to expect."""

import numpy as np

from kit.reading.records.finding import SLIP, RecordFinding, listed, median, scatter
from kit.reading.records.summary import Summary
from kit.reading.words import IN, OUT
from kit.tables import value
from kit.working import figure
from kit.yields.mistakes import SLIPS

_LOGS = np.log([slip[0] for slip in SLIPS])
_ROUNDS, _WIDEST = 6, 0.3


def slips_of(s: Summary, twice: np.ndarray) -> tuple[list[RecordFinding], np.ndarray]:
    """Findings, and the keys of the summary they touch, among weights that go with the size of a batch."""
    touched = np.zeros(s.kg.shape, dtype=bool)
    least = value("records_usual_batches")
    weighed = (s.count > 0).sum(axis=0) >= least
    main = [n for n, (_, kind) in enumerate(s.keys) if kind in (IN, OUT) and weighed[n]]
    labels = [*((*s.keys[n], "") for n in main), *s.part_keys]
    if len(s.batches) < least or not labels:
        return [], touched
    kg, row = np.hstack([s.kg[:, main], s.part_kg]), np.hstack([s.row[:, main], s.part_row])
    key = [*main, *(s.keys.index(part[:2]) for part in s.part_keys)]
    rest, spread, level = _levels(kg)
    which = np.where(twice[:, None], -1, _matches(rest, spread))
    found = []
    for n in np.flatnonzero((which >= 0).any(axis=1)):
        for slip in sorted({int(place) for place in which[n] if place >= 0}):
            at = np.flatnonzero(which[n] == slip)
            touched[n, [key[k] for k in at]] = True
            batch, rows = str(s.batches[n]), tuple(int(r) for r in row[n, at][:6])
            off = rest[n] + level[n]
            every = at.size == np.isfinite(off).sum()
            called = [labels[k] for k in at]
            found.append(_slip(batch, called, kg[n, at], off[at], every, slip, rows))
    return found, touched


def _levels(kg: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """ln kg taken apart into the batch's level, the usual share of each weight, and what is left: (rest, scatter of each weight, level's own slip).

    Medians both ways, so that a minority of slipped weights moves neither. A batch whose level itself is off by the factor of a slip, in a plant
    whose batches are alike in size, has that factor put back into the rest; the third array is how far its level is off, 0 elsewhere.
    """
    x = np.where(kg > 0, np.log(np.where(kg > 0, kg, 1)), np.nan)
    level, middle = _row_medians(x, np.nan), np.nan
    for _ in range(_ROUNDS):
        usual = np.array([median(column) for column in (x - level[:, None]).T])
        middle = median(level)
        level = _row_medians(x - usual, middle)
    rest, away = x - usual - level[:, None], level - middle
    off = _matches(away, scatter(away), value("records_slip_sds"))
    rest = rest + np.where(off >= 0, _LOGS[off], 0.0)[:, None]
    spread = np.array([scatter(column) for column in rest.T])
    return rest, spread, np.where(off >= 0, away - _LOGS[off], 0.0)


def _slip(
    batch: str, called: list, kg: np.ndarray, off: np.ndarray, every: bool, slip: int, rows
) -> RecordFinding:
    factor, name = SLIPS[slip]
    titles = [f"{name_ or kind} at {stage}" for stage, kind, name_ in called]
    where = listed([f"{title} ({figure(x)} kg)" for title, x in zip(titles, kg)])
    against = "what the batch's other weights and the usual shares lead to expect"
    really = ""
    if every:
        where, against = "every weight of the batch", "what other batches weigh"
        really = ", and whether the batch really was of that size"
    times = figure(float(np.exp(np.median(off))), 3)
    what = f"{where}: {times} times {against}; {name} would be {figure(factor, 4)} times"
    remedy = f"look at the scale's ticket{really}; correct the record if it is so"
    return RecordFinding(SLIP, batch, called[0][0], what, remedy, rows)


def _matches(rest: np.ndarray, spread, reach_sds: float = 3.0) -> np.ndarray:
    """The slip whose factor is nearest to `rest`, far beyond the scatter; -1 if twice or half is nearer."""
    spread, which = np.broadcast_to(spread, rest.shape), np.full(rest.shape, -1)
    with np.errstate(invalid="ignore"):
        far = np.abs(rest) > np.maximum(value("records_slip_sds") * spread, np.log(1.5))
    off = rest[far]
    apart = np.abs(off[:, None] - _LOGS)
    closest = apart.min(axis=1)
    match = np.log1p(value("records_slip_match_pct") / 100)
    near = np.minimum(np.maximum(reach_sds * spread[far], match), _WIDEST)
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
