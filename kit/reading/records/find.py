"""What looks wrong although every cell can be read? Duplicates, swapped weights, growth, slips of unit: named with evidence, never repaired."""

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.reading.records.summary import Summary
from kit.reading.records.words import IN, OUT, SIGN
from kit.tables import value
from kit.working import Step, figure, step

DUPLICATE, WEIGHED_TWICE, SAME_WEIGHTS, MANY_DAYS = (
    "duplicate batch",
    "duplicate weighing",
    "same weights, two names",
    "one name over many days",
)
SLIP, SWAPPED, GREW = "slip of unit", "swapped in and out", "grew without an addition"
KINDS_OF_FINDING = (DUPLICATE, WEIGHED_TWICE, SAME_WEIGHTS, MANY_DAYS, SLIP, SWAPPED, GREW)
_LB, _OZ = (value(name) / 1000 for name in ("pound_g", "ounce_g"))
SLIPS = (
    ("lb typed where kg were meant", 1 / _LB),
    ("kg typed where lb were meant", _LB),
    ("g typed where kg were meant", 1000.0),
    ("kg typed where g were meant, or t where kg", 0.001),
    ("oz typed where kg were meant", 1 / _OZ),
    ("the decimal point one place off", 10.0),
    ("the decimal point one place off", 0.1),
    ("the decimal point two places off", 100.0),
    ("the decimal point two places off", 0.01),
)
_ROUNDS, _LEAST_SD, _WIDEST = 6, 0.004, 0.3
_SETTLED_KG = 1e-9


@dataclass(frozen=True)
class Finding:
    """One thing to look at. The weights stay as they are written."""

    kind: str
    batch: str
    stage: str
    what: str
    """a sentence with the evidence"""
    remedy: str
    rows: tuple[int, ...] = ()
    working: tuple[Step, ...] = ()

    def __str__(self) -> str:
        rows = (
            f" (row{'s' if len(self.rows) > 1 else ''} {', '.join(map(str, self.rows))})"
            if self.rows
            else ""
        )
        return f"{self.kind}: batch {self.batch}{rows}: {self.what} — {self.remedy}"


def find(s: Summary, incomplete: Collection[str] = ()) -> tuple[Finding, ...]:
    """All findings, duplicates first. With fewer than `records_usual_batches` batches nothing is usual, and only duplicates and growth are told.

    Growth is not told of `incomplete` batches: they lost a row, which may be the addition, and the fault of that row says so.
    """
    if not len(s.batches):
        return ()
    found = [*_duplicates(s), *_alike(s), *_long(s)]
    doubled = {finding.batch for finding in found if finding.kind == DUPLICATE}
    slips, slipped = _slips(s, np.array([batch in doubled for batch in s.batches]))
    swaps, swapped = _swaps(s, slipped)
    lost = np.array([batch in incomplete for batch in s.batches])[:, None]
    return (*found, *slips, *swaps, *_growth(s, slipped | swapped | lost))


# --- written twice ---


def _duplicates(s: Summary):
    by_batch = (
        {batch: group for batch, group in s.repeats.groupby("batch", sort=False)}
        if len(s.repeats)
        else {}
    )
    place = {batch: n for n, batch in enumerate(s.batches)}
    typical = np.array([np.median(column[column > 0]) for column in s.count.T])
    held = s.count > 0
    doubled = (
        np.where(held, s.count >= 2 * typical, True).all(axis=1)
        & (held.sum(axis=1) >= 2)
        & (len(s.batches) >= value("records_usual_batches"))
    )
    for batch in dict.fromkeys((*by_batch, *s.batches[doubled])):
        n, group = place[batch], by_batch.get(batch)
        keys = int(held[n].sum())
        cells = (
            len(set(zip(group["stage"], group["kind"], strict=True))) if group is not None else 0
        )
        rows = (
            tuple(sorted({*group["first_row"], *group["last_row"]}))[:6]
            if group is not None
            else tuple(int(r) for r in s.row[n][held[n]][:6])
        )
        if cells == keys:
            yield Finding(
                DUPLICATE,
                batch,
                "",
                f"each of its {keys} weights stands {_times(int(group['count'].min()))} in the records",
                "strike one out; until then the sums count it more than once",
                tuple(int(r) for r in rows),
            )
        elif doubled[n]:
            yield Finding(
                DUPLICATE,
                batch,
                "",
                f"each of its {keys} kinds of weight was weighed at least twice as often as in other batches: {s.count[n][held[n]].sum()} weighings",
                "look for two batches under one name",
                tuple(int(r) for r in rows),
            )
        else:
            for entry in group.itertuples():
                named = f" ({entry.name})" if entry.name else ""
                what = (
                    f"{entry.stage} {entry.kind}{named} is filled in {_times(entry.count)}"
                    if entry.fixed
                    else f"{figure(entry.kg)} kg {entry.kind} at {entry.stage}{named} stands {_times(entry.count)}, with nothing (name, lot, time) to tell them apart"
                )
                yield Finding(
                    WEIGHED_TWICE,
                    batch,
                    entry.stage,
                    what,
                    "strike one out, or name the parts (cart 1, cart 2)",
                    (int(entry.first_row), int(entry.last_row)),
                )


def _times(count: int) -> str:
    return {2: "twice", 3: "three times"}.get(int(count), f"{int(count)} times")


def _alike(s: Summary):
    """Batches of different names whose weights are all the same, at least three of them."""
    enough = np.flatnonzero((s.count > 0).sum(axis=1) >= 3)
    if enough.size < 2:
        return
    whole = np.ascontiguousarray(np.nan_to_num(s.kg[enough], nan=-1.0) + 0.0)
    as_one = whole.view(np.dtype((np.void, whole.dtype.itemsize * whole.shape[1]))).ravel()
    _, first, inverse, counts = np.unique(
        as_one, return_index=True, return_inverse=True, return_counts=True
    )
    for again in np.flatnonzero((counts[inverse] > 1) & (np.arange(enough.size) != first[inverse])):
        n, other = enough[again], enough[first[inverse[again]]]
        weights = int((s.count[n] > 0).sum())
        yield Finding(
            SAME_WEIGHTS,
            str(s.batches[n]),
            "",
            f"all {weights} weights are those of batch {s.batches[other]}",
            "look for a batch copied under a new name",
            (int(s.row[other][s.count[other] > 0][0]), int(s.row[n][s.count[n] > 0][0])),
        )


def _long(s: Summary):
    most = value("records_longest_days")
    first, last = s.per_batch["first"].to_numpy(), s.per_batch["last"].to_numpy()
    days = (last.astype("datetime64[s]") - first.astype("datetime64[s]")).astype(
        "timedelta64[s]"
    ).astype(float) / 86_400
    days = np.where(np.isnat(first.astype("datetime64[s]")), 0, days)
    for n in np.flatnonzero(days > most):
        yield Finding(
            MANY_DAYS,
            str(s.batches[n]),
            "",
            f"{days[n]:.1f} days lie between its first weighing and its last",
            "look for two batches under one name, or a wrong date",
            (int(s.row[n][s.count[n] > 0][0]),),
        )


# --- slips of unit ---


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
        middle = _median(level)
        level = _row_medians(x - usual, middle)
    rest, away = x - usual - level[:, None], level - middle
    off = _matches(
        away, max(value("sd_per_mad") * _median(np.abs(away)), _LEAST_SD), value("records_slip_sds")
    )
    factors = np.log([factor for _, factor in SLIPS])
    rest = rest + np.where(off >= 0, factors[off], 0.0)[:, None]
    scatter = np.maximum(value("sd_per_mad") * _column_medians(np.abs(rest)), _LEAST_SD)
    return rest, scatter, np.where(off >= 0, away - factors[off], 0.0)


def _slips(s: Summary, twice: np.ndarray) -> tuple[list[Finding], np.ndarray]:
    """Findings, and which keys of the summary they touch; batches in `twice` are passed over, since their sums are doubled anyway."""
    touched = np.zeros(s.kg.shape, dtype=bool)
    w = _scaled(s)
    if len(s.batches) < value("records_usual_batches") or not w.labels:
        return [], touched
    rest, scatter, level = _levels(w)
    which = np.where(twice[:, None], -1, _matches(rest, scatter))
    found = []
    for n in np.flatnonzero((which >= 0).any(axis=1)):
        for slip in np.unique(which[n][which[n] >= 0]):
            at = np.flatnonzero(which[n] == slip)
            touched[n, [w.key[k] for k in at]] = True
            found.append(_slip(s, w, n, at, slip, rest[n] + level[n]))
    return found, touched


def _slip(s: Summary, w: _Weights, n: int, at: np.ndarray, slip: int, off: np.ndarray) -> Finding:
    name, factor = SLIPS[slip]
    every = at.size == np.isfinite(off).sum()
    where = (
        "every weight of the batch"
        if every
        else _listed([f"{_called(w.labels[k])} ({figure(w.kg[n, k])} kg)" for k in at])
    )
    against = (
        "what other batches weigh"
        if every
        else "what the batch's other weights and the usual shares lead to expect"
    )
    kg, expected = float(w.kg[n, at[0]]), float(w.kg[n, at[0]] / np.exp(off[at[0]]))
    return Finding(
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
    logs = np.log([factor for _, factor in SLIPS])
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


def _median(x: np.ndarray) -> float:
    x = x[np.isfinite(x)]
    return float(np.median(x)) if x.size else np.nan


def _column_medians(x: np.ndarray) -> np.ndarray:
    return np.array([_median(column) for column in x.T])


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


# --- swapped and grown ---


def _swaps(s: Summary, slipped: np.ndarray) -> tuple[list[Finding], np.ndarray]:
    """Stages whose yield is far off as written, and usual once in and out change places."""
    found, swapped = [], np.zeros(s.kg.shape, dtype=bool)
    column = {key: n for n, key in enumerate(s.keys)}
    match, grown = (
        np.log1p(value("records_swap_match_pct") / 100),
        np.log1p(value("records_growth_tolerance_pct") / 100),
    )
    for stage in dict.fromkeys(stage for stage, _ in s.keys):
        i, o = column.get((stage, IN)), column.get((stage, OUT))
        if i is None or o is None:
            continue
        added = np.sum(
            [
                np.nan_to_num(s.kg[:, column[stage, kind]])
                for kind, sign in SIGN.items()
                if sign > 0 and (stage, kind) in column
            ]
            or [np.zeros(len(s.kg))],
            axis=0,
        )
        into, out = s.kg[:, i], s.kg[:, o]
        good = (into > 0) & (out > 0) & ~slipped[:, i] & ~slipped[:, o]
        if good.sum() < value("records_usual_batches"):
            continue
        with np.errstate(invalid="ignore", divide="ignore"):
            written, turned = np.log(out / (into + added)), np.log(into / (out + added))
        usual = _median(written[good])
        scatter = max(value("sd_per_mad") * _median(np.abs(written[good] - usual)), _LEAST_SD)
        far = (
            good
            & (np.abs(written - usual) > max(6 * scatter, 2 * grown))
            & (np.abs(turned - usual) <= max(4 * scatter, match))
        )
        far &= np.abs(turned - usual) < np.abs(written - usual) / 2
        for n in np.flatnonzero(far):
            percent = [100 * float(np.exp(each)) for each in (written[n], turned[n], usual)]
            found.append(
                Finding(
                    SWAPPED,
                    str(s.batches[n]),
                    stage,
                    f"{figure(into[n])} kg in and {figure(out[n])} kg out of {stage} give a yield of {percent[0]:.1f} %; "
                    f"the other way round {percent[1]:.1f} %, and usual is {percent[2]:.1f} %",
                    "look at the record; change the two if it is so",
                    (int(s.row[n, i]), int(s.row[n, o])),
                    (
                        step(
                            f"Yield of {stage} as written",
                            "Y = 100 × O / (I + A)",
                            percent[0],
                            "%",
                            O=(float(out[n]), "kg", "out"),
                            I=(float(into[n]), "kg", "in"),
                            A=(float(added[n]), "kg", "added"),
                        ),
                        step(
                            f"Yield of {stage} with in and out changed",
                            "Y = 100 × I / (O + A)",
                            percent[1],
                            "%",
                            O=(float(out[n]), "kg", "written as out"),
                            I=(float(into[n]), "kg", "written as in"),
                            A=(float(added[n]), "kg", "added"),
                        ),
                    ),
                )
            )
        swapped[far, i] = swapped[far, o] = True
    return found, swapped


def _growth(s: Summary, explained: np.ndarray) -> list[Finding]:
    """From each main-stream weight to the next one that was weighed: more than went in, all additions and takings counted.

    A gain counts when it is beyond the tolerance and beyond the scatter of that step in the other batches, so that two scales' noise is no
    finding. A step where most batches gain is told once.
    """
    before, beside = np.full(len(s.kg), np.nan), np.zeros(len(s.kg))
    at, doubtful = np.full(len(s.kg), -1), np.zeros(len(s.kg), dtype=bool)
    told: list[tuple[int, Finding]] = []
    for k, (_, kind) in enumerate(s.keys):
        kg, there = s.kg[:, k], s.count[:, k] > 0
        if kind in SIGN:
            beside += np.where(there, SIGN[kind] * np.nan_to_num(kg), 0)
            doubtful |= explained[:, k]
        if kind not in (IN, OUT):
            continue
        for start in np.unique(at[there & (at >= 0)]):
            n = np.flatnonzero(there & (at == start) & ~doubtful & ~explained[:, k])
            told += _gains(s, int(start), k, n, before[n], beside[n])
        before, beside, at = (
            np.where(there, kg, before),
            np.where(there, 0.0, beside),
            np.where(there, k, at),
        )
        doubtful = np.where(there, explained[:, k], doubtful)
    return [finding for _, finding in sorted(told, key=lambda entry: entry[0])]


def _gains(
    s: Summary, start: int, k: int, n: np.ndarray, before: np.ndarray, beside: np.ndarray
) -> list[tuple[int, Finding]]:
    base, after, least = (
        before + beside,
        s.kg[n, k],
        np.log1p(value("records_growth_tolerance_pct") / 100),
    )
    gain = np.where(
        (base > 0) & (after > 0),
        np.log(np.where((base > 0) & (after > 0), after / np.where(base > 0, base, 1), 1)),
        np.where(after > base + _SETTLED_KG, np.inf, -np.inf),
    )
    grew = gain > least
    if n.size >= value("records_usual_batches"):
        usual = _median(gain)
        if usual > least:
            first = np.flatnonzero(grew)[0]
            return [
                (
                    int(n[first]),
                    _grown(
                        s,
                        n[first],
                        start,
                        k,
                        float(before[first]),
                        float(beside[first]),
                        int(grew.sum()),
                        n.size,
                    ),
                )
            ]
        grew &= gain > usual + value("records_growth_sds") * max(
            value("sd_per_mad") * _median(np.abs(gain - usual)), _LEAST_SD / 4
        )
    return [
        (int(n[i]), _grown(s, n[i], start, k, float(before[i]), float(beside[i]), 0, n.size))
        for i in np.flatnonzero(grew)
    ]


def _grown(
    s: Summary, n: int, start: int, k: int, before: float, beside: float, usual: int, of: int
) -> Finding:
    (from_stage, from_kind), (stage, kind) = s.keys[start], s.keys[k]
    after = float(s.kg[n, k])
    expected = [
        other
        for other, (_, side) in enumerate(s.keys)
        if start < other < k
        and SIGN.get(side, 0) > 0
        and s.count[n, other] == 0
        and (s.count[:, other] > 0).mean() > 0.5
    ]
    missing = (
        f"; {_listed([' at '.join(s.keys[m][::-1]) for m in expected])}, which most batches have, is not written"
        if expected
        else ""
    )
    often = f"; so do {usual} of {of} batches" if usual else ""
    moved = f" and {figure(beside)} kg of additions less takings" if beside else ""
    return Finding(
        GREW,
        str(s.batches[n]),
        stage,
        f"{figure(before)} kg {_way(from_kind)} {from_stage}{moved}, then {figure(after)} kg {_way(kind)} {stage}: "
        f"{figure(after - before - beside)} kg more{missing}{often}",
        "look for an addition or rework that was not written (a shower's water counts), a tare left on, or a scale that reads high",
        (int(s.row[n, start]), int(s.row[n, k])),
        (
            step(
                "Weight that came from nowhere",
                "G = B − A − S",
                after - before - beside,
                "kg",
                B=(after, "kg", f"{kind} at {stage}"),
                A=(before, "kg", f"{from_kind} at {from_stage}"),
                S=(beside, "kg", "additions less takings between"),
            ),
        ),
    )


def _way(kind: str) -> str:
    return "into" if kind == IN else "out of"


def _listed(parts: list[str]) -> str:
    return parts[0] if len(parts) == 1 else ", ".join(parts[:-1]) + " and " + parts[-1]


def table(findings) -> pd.DataFrame:
    """The findings as a table: kind, batch, stage, what, remedy, rows."""
    return pd.DataFrame(
        [
            {
                "kind": f.kind,
                "batch": f.batch,
                "stage": f.stage,
                "what": f.what,
                "remedy": f.remedy,
                "rows": ", ".join(map(str, f.rows)),
            }
            for f in findings
        ],
        columns=["kind", "batch", "stage", "what", "remedy", "rows"],
    )
