"""Invented plants of another hand: lots, resembling neighbours, heavy tails, products, weekdays, seasons, missing cells. Nothing here describes a real plant."""

from dataclasses import dataclass

import numpy as np

from kit.batches import BatchTable

NOISES = (
    "independent",
    "lots 30 %",
    "lots 60 %",
    "neighbours 0.3",
    "neighbours 0.6",
    "lognormal",
    "t of 3",
    "products",
    "weekday",
    "season",
)
CAUSES = ("step", "drift", "episode", "odd day", "label", "scale step")
SIZES = (0.5, 1.0, 1.5, 2.0, 3.0)
"""standard deviations of the stage"""
STAGES = ("thaw", "trim", "chop", "stuff", "cook", "chill", "peel", "pack")
MEAN_PCT = dict(zip(STAGES, (1.6, 4.0, 0.5, 1.1, 9.0, 1.4, 1.0, 0.9)))
SD_POINTS = dict(zip(STAGES, (0.3, 0.5, 0.15, 0.25, 0.7, 0.25, 0.2, 0.22)))
WEIGHING_PCT = 0.04
ACTS = {
    "operator": ("trim", "stuff", "peel", "pack"),
    "smokehouse": ("cook", "chill"),
    "supplier": ("thaw", "trim", "cook"),
}


@dataclass(frozen=True)
class Truth:
    """What was put in. `t` of the true pattern in the losses as weighed, products, weekdays and season taken out, by generalised least squares with the correlation that
    the noise was drawn with; `plain_t` as if batches were independent."""

    cause: str
    stage: str
    size: float
    start: int | None
    who: tuple[str, str] | None
    t: float
    plain_t: float


def _shape(rng, noise, n, lot):
    """(n,) noise of mean 0 and standard deviation 1 of the named kind."""
    z = rng.standard_normal(n)
    if noise.startswith("lots"):
        share = 0.3 if "30" in noise else 0.6
        return (1 - share) ** 0.5 * z + share**0.5 * rng.standard_normal(lot.max() + 1)[lot]
    if noise.startswith("neighbours"):
        rho = float(noise.split()[1])
        for i in range(1, n):
            z[i] = rho * z[i - 1] + (1 - rho**2) ** 0.5 * z[i]
        return z
    if noise == "lognormal":
        # the losses themselves, spread 0.7 on the log scale
        return (np.exp(0.7 * z) - np.exp(0.245)) / (np.exp(0.49) * np.expm1(0.49)) ** 0.5
    return rng.standard_t(3, n) / 3**0.5 if noise == "t of 3" else z


def made(seed: int, noise: str = "independent", cause: str = "", size: float = 1.5, n: int = 0):
    """(table, Truth or None): one plant of 25 to 300 batches with this noise and, if named, this cause."""
    rng = np.random.default_rng([31_337, seed, NOISES.index(noise), len(cause), int(size * 10)])
    n = n or int(np.exp(rng.uniform(np.log(25), np.log(300))))
    lot = np.repeat(np.arange(n), rng.integers(2, 8, n))[:n]
    day = np.repeat(np.arange(n), rng.integers(1, 4, n))[:n]
    day += 2 * (day // 5)  # no weekends
    if noise == "season":
        day = 500 * day // day[-1]
    labels = {
        "lot": np.array([f"{240_000 + 7 * k}" for k in lot]),
        "supplier": np.array(["100232", "100417", "100518"])[rng.integers(0, 3, n)[lot]],
        "smokehouse": np.array(["1", "2", "3"])[rng.integers(0, 3, n)],
        "operator": np.array(["1", "2", "3"])[(day + rng.integers(0, 2, n)) % 3],
    }
    stages = tuple(
        s for s in STAGES if s in ("chop", "stuff", "cook", "pack") or rng.random() < 0.7
    )
    loss = {s: SD_POINTS[s] * _shape(rng, noise, n, lot) for s in stages}
    product, turn = np.zeros(n, int), np.zeros(n)
    if noise == "products":
        # runs of three products; each has its own loss at every stage, one of them starts late
        product = rng.integers(0, 3, n)[np.arange(n) // int(rng.integers(1, 6))]
        product[: n // 3] %= 2
        labels["product"] = np.array(["4011", "4012", "4020"])[product]
        for s in stages:
            loss[s] += SD_POINTS[s] * rng.normal(0, 1.5, 3)[product]
    if noise == "weekday":
        for s in stages:
            loss[s] += SD_POINTS[s] * rng.normal(0, 0.6, 7)[day % 7]
    if noise == "season":
        phase = rng.uniform(0, 2 * np.pi)
        turn = np.sin(2 * np.pi * day / 365 + phase)
        for s in stages:
            loss[s] += SD_POINTS[s] * rng.uniform(0.3, 1) * turn
    pattern, start, who, stage = None, None, None, ""
    if cause:
        pattern, start, who, stage = _planted(rng, cause, n, day, labels, stages)
        if cause != "scale step":
            loss[stage] = loss[stage] + size * SD_POINTS[stage] * pattern
    table = _weighed(
        rng, n, stages, loss, labels, day, size * pattern if cause == "scale step" else None, stage
    )
    if not cause:
        return table, None
    y = table.missing_pct if cause == "scale step" else table.loss_pct
    at = max(table.place(stage) - 1, 0) if cause == "scale step" else table.place(stage)
    own = np.eye(n) if cause == "scale step" else _correlation(noise, n, lot)
    levels = day % 7 if noise == "weekday" else product
    known = np.column_stack([turn, *(levels == k for k in np.unique(levels))])
    found = (_t(y[:, at], pattern, known, v) for v in (own, np.eye(n)))
    return table, Truth(cause, stage, size, start, who, *found)


def _planted(rng, cause, n, day, labels, stages):
    order, stage = np.arange(n), str(rng.choice(stages))
    start = int(np.clip(rng.integers(n // 4, 3 * n // 4 + 1), 6, n - 6))
    if cause == "step":
        return (order >= start).astype(float), start, None, stage
    if cause == "drift":
        # the whole rise is three times the stated size
        return 3 * order / n, None, None, stage
    if cause == "episode":
        start = int(rng.integers(5, max(6, n // 2)))
        length = int(max(6, rng.uniform(0.1, 0.3) * n))
        return ((order >= start) & (order < start + length)).astype(float), start, None, stage
    if cause == "odd day":
        days, count = np.unique(day, return_counts=True)
        inner = (days > day[5]) & (days < day[-6])  # at the very end it could as well be a step
        at = int(rng.choice(days[inner & (count >= count[inner].max())]))
        return 3.0 * (day == at), int(np.argmax(day == at)), None, stage
    if cause == "label":
        label = str(rng.choice(list(ACTS)))
        stage = str(rng.choice([s for s in ACTS[label] if s in stages]))
        level = str(rng.choice(np.unique(labels[label])))
        return (labels[label] == level).astype(float), None, (label, level), stage
    # a scale into a stage reads too high from `start` on
    return (order >= start).astype(float), start, None, str(rng.choice(stages[1:]))


def _correlation(noise, n, lot) -> np.ndarray:
    """(n, n) of the noise as drawn."""
    if noise.startswith("lots"):
        share = 0.3 if "30" in noise else 0.6
        return (1 - share) * np.eye(n) + share * (lot[:, None] == lot)
    if noise.startswith("neighbours"):
        return float(noise.split()[1]) ** np.abs(np.arange(n)[:, None] - np.arange(n))
    return np.eye(n)


def _t(y, pattern, known, v) -> float:
    seen = np.isfinite(y)
    x = np.column_stack([pattern, known])[seen]
    root = np.linalg.cholesky(v[np.ix_(seen, seen)])
    x, y = np.linalg.solve(root, x), np.linalg.solve(root, y[seen])
    b, _, rank, _ = np.linalg.lstsq(x, y, rcond=None)
    left = y - x @ b
    inverse = np.linalg.pinv(x.T @ x)
    s2 = (left**2).sum() / max(len(left) - rank, 1)
    return float(abs(b[0]) / (s2 * inverse[0, 0]) ** 0.5) if inverse[0, 0] > 0 else 0.0


def _weighed(rng, n, stages, loss, labels, day, scale_step, at) -> BatchTable:
    kg = rng.uniform(280, 520, n)
    into, out = np.empty((n, len(stages))), np.empty((n, len(stages)))
    added = np.zeros((n, len(stages)))
    for j, s in enumerate(stages):
        into[:, j] = kg
        added[:, j] = 0.28 * kg if s == "chop" else 0.0
        kg = (kg + added[:, j]) * (1 - np.maximum(MEAN_PCT[s] + loss[s], -0.5) / 100)
        out[:, j] = kg
        kg = kg * (1 - np.abs(rng.normal(0.03, 0.02, n)) / 100)
    for held in (into, out):
        held *= 1 + WEIGHING_PCT / 100 * rng.standard_normal(held.shape)
    if scale_step is not None:
        # sizes are of the hand-over's own scatter; both weights at this stage stand on one scale
        j, off = stages.index(at), 1 + scale_step * 2**0.5 * WEIGHING_PCT / 100
        into[:, j] *= off
        out[:, j] *= off
    share = rng.uniform(0.03, 0.08)
    for held in (into, out):
        held[rng.random(held.shape) < share] = np.nan
    gone = {k: np.where(rng.random(n) < share / 2, "", v) for k, v in labels.items()}
    scales = {(s, side): f"scale {s}" for s in stages for side in ("in", "out")}
    dates = np.datetime64("2024-01-08T06:00:00") + day * np.timedelta64(86400, "s")
    facts = {"chop_end_C": rng.normal(12.5, 0.8, n), "humidity_pct": rng.normal(60, 3, n)}
    return BatchTable(
        tuple(f"B{i + 1:04d}" for i in range(n)),
        stages,
        into,
        out,
        added,
        dates=dates,
        labels=gone,
        facts=facts,
        scales=scales,
    )
