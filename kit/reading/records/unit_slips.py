"""Weights a factor of a unit off what the batch's other weights and the usual shares lead to expect."""

from dataclasses import dataclass

import numpy as np

from kit.batches.slips import UNIT_SLIPS
from kit.reading.records.finding import LEAST_SD, SLIP, RecordFinding, listed, median
from kit.reading.records.summary import Summary
from kit.reading.words import IN, OUT
from kit.tables import value
from kit.working import figure, step

_LOGS = np.log([slip[0] for slip in UNIT_SLIPS])
_ROUNDS, _WIDEST = 6, 0.3


@dataclass(frozen=True)
class _Weights:
    """The weights that go with the size of a batch: main stream by stage, additions by name. Arrays of (batches, labels)."""

    labels: tuple[tuple[str, str, str], ...]
    kg: np.ndarray
    row: np.ndarray
    key: tuple[int, ...]
    """column of each among the keys of the summary"""


def _scaled(s: Summary) -> _Weights:
    main = [
        n
        for n, (_, kind) in enumerate(s.keys)
        if kind in (IN, OUT) and (s.count[:, n] > 0).sum() >= value("records_usual_batches")
    ]
    labels = (*((*s.keys[n], "") for n in main), *s.part_keys)
    return _Weights(
        labels,
        np.hstack([s.kg[:, main], s.part_kg]),
        np.hstack([s.row[:, main], s.part_row]),
        (*main, *(s.keys.index(part[:2]) for part in s.part_keys)),
    )


def _levels(w: _Weights) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """ln kg taken apart into the batch's level, the usual share of each weight, and what is left: (rest, scatter of each weight, level's own slip).

    Medians both ways, so that a minority of slipped weights moves neither. A batch whose level itself is off by the factor of a slip, in a plant
    whose batches are alike in size, has that factor put back into the rest; the third array is how far its level is off, 0 elsewhere.
    """
    x = np.where(w.kg > 0, np.log(np.where(w.kg > 0, w.kg, 1)), np.nan)
    level, middle = _row_medians(x, np.nan), np.nan
    for _ in range(_ROUNDS):
        usual = _column_medians(x - level[:, None])
        middle = median(level)
        level = _row_medians(x - usual, middle)
    rest, away = x - usual - level[:, None], level - middle
    off = _matches(
        away, max(value("sd_per_mad") * median(np.abs(away)), LEAST_SD), value("records_slip_sds")
    )
    factors = _LOGS
    rest = rest + np.where(off >= 0, factors[off], 0.0)[:, None]
    scatter = np.maximum(value("sd_per_mad") * _column_medians(np.abs(rest)), LEAST_SD)
    return rest, scatter, np.where(off >= 0, away - factors[off], 0.0)


def slips_of(s: Summary, twice: np.ndarray) -> tuple[list[RecordFinding], np.ndarray]:
    """Findings, and which keys of the summary they touch; batches in `twice` are passed over, since their sums are doubled anyway."""
    touched = np.zeros(s.kg.shape, dtype=bool)
    w = _scaled(s)
    if len(s.batches) < value("records_usual_batches") or not w.labels:
        return [], touched
    rest, scatter, level = _levels(w)
    which = np.where(twice[:, None], -1, _matches(rest, scatter))
    found = []
    for n in np.flatnonzero((which >= 0).any(axis=1)):
        for slip in sorted({int(place) for place in which[n] if place >= 0}):
            at = np.flatnonzero(which[n] == slip)
            touched[n, [w.key[k] for k in at]] = True
            found.append(_slip(s, w, int(n), at, slip, rest[n] + level[n]))
    return found, touched


def _slip(
    s: Summary, w: _Weights, n: int, at: np.ndarray, slip: int, off: np.ndarray
) -> RecordFinding:
    factor, _, name = UNIT_SLIPS[slip]
    every = at.size == np.isfinite(off).sum()
    where = (
        "every weight of the batch"
        if every
        else listed([f"{_called(w.labels[k])} ({figure(w.kg[n, k])} kg)" for k in at])
    )
    against = (
        "what other batches weigh"
        if every
        else "what the batch's other weights and the usual shares lead to expect"
    )
    kg, expected = float(w.kg[n, at[0]]), float(w.kg[n, at[0]] / np.exp(off[at[0]]))
    return RecordFinding(
        SLIP,
        str(s.batches[n]),
        w.labels[at[0]][0],
        f"{where}: {figure(float(np.exp(np.median(off[at]))), 3)} times {against}; {name} would be {figure(factor, 4)} times",
        "look at the scale's ticket"
        + (", and whether the batch really was of that size" if every else "")
        + "; correct the record if it is so",
        tuple(int(r) for r in w.row[n, at][:6]),
        (
            step(
                f"How far off is {_called(w.labels[at[0]])}?",
                "r = w / e",
                kg / expected,
                "",
                w=(kg, "kg", "as written"),
                e=(expected, "kg", "expected"),
            ),
        ),
    )


def _called(label: tuple[str, str, str]) -> str:
    stage, kind, name = label
    return f"{name or kind} at {stage}"


def _matches(rest: np.ndarray, scatter, reach_sds: float = 3.0) -> np.ndarray:
    """The slip whose factor is nearest, where `rest` is far beyond the scatter and near to that factor; else -1.

    What is nearer to twice or half is no slip of unit: a double batch, a weight written twice.
    """
    logs = _LOGS
    near = np.minimum(
        np.maximum(
            reach_sds * np.asarray(scatter), np.log1p(value("records_slip_match_pct") / 100)
        ),
        _WIDEST,
    )
    with np.errstate(invalid="ignore"):
        far = np.abs(rest) > value("records_slip_sds") * np.asarray(scatter)
    which = np.full(rest.shape, -1)
    at = np.flatnonzero(far.ravel() & (np.abs(rest.ravel()) > np.log(1.5)))
    if at.size:
        found = rest.ravel()[at]
        apart = np.abs(found[:, None] - logs)
        best = apart.argmin(axis=1)
        least = apart[np.arange(at.size), best]
        which.ravel()[at] = np.where(
            (least <= np.broadcast_to(near, rest.shape).ravel()[at])
            & (least < np.abs(np.abs(found) - np.log(2))),
            best,
            -1,
        )
    return which


def _column_medians(x: np.ndarray) -> np.ndarray:
    return np.array([median(column) for column in x.T])


def _row_medians(x: np.ndarray, near: float) -> np.ndarray:
    """Median of each row without its gaps; of two middle values the one nearer to `near` (their mean where `near` is nan)."""
    if not x.shape[1]:
        return np.full(x.shape[0], np.nan)
    ordered, n = np.sort(x, axis=1), np.isfinite(x).sum(axis=1)
    low, high = (
        np.take_along_axis(ordered, np.maximum(place, 0)[:, None], axis=1)[:, 0]
        for place in ((n - 1) // 2, np.minimum(n // 2, x.shape[1] - 1))
    )
    return (
        (low + high) / 2
        if np.isnan(near)
        else np.where(np.abs(low - near) <= np.abs(high - near), low, high)
    )
