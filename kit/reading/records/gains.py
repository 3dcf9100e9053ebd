"""Weights in and out that changed places, and weight that came from nowhere."""

import numpy as np

from kit.reading.records.finding import GREW, LEAST_SD, SWAPPED, RecordFinding, listed, median
from kit.reading.records.summary import Summary
from kit.reading.words import IN, OUT, SIGN
from kit.tables import value
from kit.working import figure, step

_SETTLED_KG = 1e-9


def swaps_of(s: Summary, slipped: np.ndarray) -> tuple[list[RecordFinding], np.ndarray]:
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
        usual = median(written[good])
        scatter = max(value("sd_per_mad") * median(np.abs(written[good] - usual)), LEAST_SD)
        far = (
            good
            & (np.abs(written - usual) > max(6 * scatter, 2 * grown))
            & (np.abs(turned - usual) <= max(4 * scatter, match))
        )
        far &= np.abs(turned - usual) < np.abs(written - usual) / 2
        for n in np.flatnonzero(far):
            percent = [100 * float(np.exp(each)) for each in (written[n], turned[n], usual)]
            found.append(
                RecordFinding(
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
) -> list[tuple[int, RecordFinding]]:
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
        usual = median(gain)
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
            value("sd_per_mad") * median(np.abs(gain - usual)), LEAST_SD / 4
        )
    return [
        (int(n[i]), _grown(s, n[i], start, k, float(before[i]), float(beside[i]), 0, n.size))
        for i in np.flatnonzero(grew)
    ]


def _grown(
    s: Summary, n: int, start: int, k: int, before: float, beside: float, usual: int, of: int
) -> RecordFinding:
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
        f"; {listed([' at '.join(s.keys[m][::-1]) for m in expected])}, which most batches have, is not written"
        if expected
        else ""
    )
    often = f"; so do {usual} of {of} batches" if usual else ""
    moved = f" and {figure(beside)} kg of additions less takings" if beside else ""
    return RecordFinding(
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
